"""A clinic's own error figure in a browser: adopted from its repeat visits, used by a verdict."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.running import drawn, settle
from tests.browser.test_main_job import choose_metric

pytestmark = pytest.mark.browser

STUDY = "repeatability?metric=ankle_dorsiflexion_peak&who=TERN"


def test_a_study_is_adopted_and_the_verdict_names_it_as_its_source(
    page: Page, app_address: str
) -> None:
    page.goto(f"{app_address}/{STUDY}")
    main = drawn(page, "Repeatability")
    expect(main).to_contain_text("or less can be error alone")
    expect(main).to_contain_text("In force")
    expect(main).to_contain_text("published")
    settle(page)
    main.get_by_text("From now on every verdict on this metric").click()
    adopt = main.get_by_role("button", name="Adopt as TERN")
    expect(adopt).to_be_enabled()
    settle(page)
    adopt.click()
    expect(main).to_contain_text("Every verdict uses it")
    expect(main).to_contain_text("Own repeat study: 10 runners, 2 sessions")

    page.goto(f"{app_address}/runner?runner=SKV-13")
    drawn(page, "SKV-13")
    main.get_by_role("radio", name="All", exact=True).or_(
        main.get_by_role("button", name="All", exact=True)
    ).first.click()
    # The figures are numbered below the table.
    told = main.get_by_text("Error figures:")
    expect(told).to_contain_text("your own measurements: Own repeat study: 10 runners")
    settle(page)
    number = re.search(r"\[(\d+)\][^\[]*Own repeat study: 10 runners", told.inner_text())
    assert number, told.inner_text()
    row = main.locator("tr", has_text=f"own [{number[1]}]").first
    expect(row).to_be_visible()

    # Unfolded, the verdict tells its calculation and where its error comes from.
    choose_metric(page, label_of(row.locator("td").first.inner_text()))
    main.get_by_text("Why: the calculation").last.click()
    expect(main).to_contain_text("MDC95 = 1.96")
    expect(main).to_contain_text("Own repeat study: 10 runners")

    # And it is taken back.
    page.goto(f"{app_address}/{STUDY}")
    drawn(page, "Repeatability")
    main.get_by_role("button", name="Retire it").click()
    expect(main).to_contain_text("is retired and kept")
    expect(main.get_by_role("button", name="Retire it")).to_have_count(0)


def label_of(cell: str) -> str:
    return cell.strip().splitlines()[0]
