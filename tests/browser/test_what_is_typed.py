"""In a browser: what stands in a box is what is stored."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from casebook.services.keeping import open_casebook
from casebook.services.recording import StoredVisit, list_visits
from tests.browser.running import drawn, settle

pytestmark = pytest.mark.browser

RUNNER = "SKV-03"


def visits(db: Path) -> tuple[StoredVisit, ...]:
    casebook = open_casebook(str(db))
    try:
        return list_visits(casebook, RUNNER)
    finally:
        casebook.close()


def type_into(page: Page, label: str, text: str) -> None:
    box = page.get_by_test_id("stMain").get_by_label(label, exact=True)
    box.click()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type(text)
    page.keyboard.press("Tab")
    settle(page)


def save(page: Page) -> None:
    page.get_by_role("button", name="Save the visit").click()
    settle(page)


def test_a_future_date_stores_nothing_and_a_decimal_comma_stores_its_number(
    page: Page, app_address: str, demo_file: Path
) -> None:
    before = visits(demo_file)
    page.goto(f"{app_address}/log?runner={RUNNER}&who=TERN")
    main = drawn(page, "Log a visit")
    type_into(page, "Hip abductor strength, left", "305")
    type_into(page, "Speed (km/h)", "9,5")
    type_into(page, "Pain today (0 to 10)", "1,5")

    tomorrow = date.today() + timedelta(days=1)
    type_into(page, "Date of the visit", f"{tomorrow:%d/%m/%Y}")
    expect(main).to_contain_text("the last day that can stand here")
    save(page)
    expect(main).to_contain_text("Nothing was saved")
    assert visits(demo_file) == before

    type_into(page, "Date of the visit", date.today().isoformat())
    if not main.get_by_label("Next visit due", exact=True).input_value():
        main.get_by_text("No review planned").click()
        settle(page)
    save(page)
    expect(main.get_by_text("1 value in one go")).to_be_visible()
    (new,) = [one for one in visits(demo_file) if one not in before]
    assert new.visit.visited_on == date.today()
    assert new.visit.conditions.speed_km_h == 9.5
    assert new.visit.conditions.pain_today == 1.5
