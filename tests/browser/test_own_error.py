"""A clinic's own error figure in a browser: adopted from its repeat visits, used by a verdict."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.running import settle
from tests.browser.test_main_job import choose_metric, main_part, say_who

pytestmark = pytest.mark.browser


def test_a_study_is_adopted_and_the_verdict_names_it_as_its_source(
    page: Page, app_address: str
) -> None:
    page.goto(f"{app_address}/repeatability?metric=ankle_dorsiflexion_peak")
    expect(page.get_by_role("heading", name="Repeatability")).to_be_visible(timeout=60_000)
    expect(main_part(page)).to_contain_text("or less can be error alone", timeout=90_000)
    settle(page)
    expect(main_part(page)).to_contain_text("In force")
    expect(main_part(page)).to_contain_text("published")
    say_who(page)
    main_part(page).get_by_text("From now on every verdict on this metric").click()
    settle(page)
    main_part(page).get_by_role("button", name="Adopt as").click()
    expect(main_part(page)).to_contain_text("Every verdict uses it", timeout=30_000)
    settle(page)
    expect(main_part(page)).to_contain_text("Own repeat study: 10 runners, 2 sessions")

    page.goto(f"{app_address}/runner?runner=SKV-13")
    expect(page.get_by_role("heading", name="SKV-13")).to_be_visible(timeout=60_000)
    settle(page)
    main_part(page).get_by_role("radio", name="All", exact=True).or_(
        main_part(page).get_by_role("button", name="All", exact=True)
    ).first.click()
    settle(page)
    row = main_part(page).locator("tr", has_text="Own repeat study: 10 runners").first
    expect(row).to_contain_text("your own measurements")

    # Unfolded, the verdict tells its calculation and where its error comes from.
    choose_metric(page, label_of(row.locator("td").first.inner_text()))
    main_part(page).get_by_text("Why: the calculation").last.click()
    settle(page)
    expect(main_part(page)).to_contain_text("MDC95 = 1.96")
    expect(main_part(page)).to_contain_text("Own repeat study: 10 runners")

    # And it is taken back.
    page.goto(f"{app_address}/repeatability?metric=ankle_dorsiflexion_peak")
    expect(main_part(page)).to_contain_text("or less can be error alone", timeout=90_000)
    settle(page)
    main_part(page).get_by_role("button", name="Retire it").click()
    expect(main_part(page)).to_contain_text("is retired and kept", timeout=30_000)
    expect(main_part(page).get_by_role("button", name="Retire it")).to_have_count(0)


def label_of(cell: str) -> str:
    return cell.strip().splitlines()[0]
