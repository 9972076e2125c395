"""In a browser: a messy spreadsheet is mapped by its questions, looked at, and stored."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from casebook.services.keeping import open_casebook
from casebook.services.recording import find_visit
from tests.browser.running import choose, drawn, settle
from tests.intake.workbooks import saved

pytestmark = pytest.mark.browser

MESSY = {
    "Spring": [
        ["Running lab, spring"],
        [],
        [
            "Hip abd strength R",
            "Athlete ID",
            "Seen on",
            "Hip abd strength L",
            "Contact time L (ms)",
        ],
        ["215", "NEW-7", "03/02/2026", "210,5", 245],
        [],
        ["1,2", "SD", "", "1,2", 3],
    ],
    "Legend": [["L", "is the left leg"], ["R", "is the right leg"]],
}
NARROW, WIDE = 400, 1280


def answer(main: Locator, page: Page, label: str, option: str) -> None:
    box = main.get_by_role("combobox", name=label).first
    choose(page, box, option, exact=True)
    expect(box).to_have_value(option)


def clipped(page: Page) -> list[str]:
    """Words of boxes and labels that are wider than their place."""
    found: list[str] = page.evaluate(
        """() => [...document.querySelectorAll(
            '[data-testid=stMain] [data-testid=stSelectbox] *, [data-testid=stMain] label *')]
          .filter(one => one.clientWidth > 20 && one.scrollWidth > one.clientWidth + 2)
          .map(one => one.value || one.textContent)"""
    )
    return found


def test_a_messy_spreadsheet_is_mapped_and_stored(
    page: Page, app_address: str, demo_file: Path, tmp_path: Path
) -> None:
    page.goto(f"{app_address}/import")
    main = drawn(page, "Import")
    path = saved(tmp_path / "spring.xlsx", MESSY)
    main.locator("input[type=file]").set_input_files(path)
    expect(main.get_by_text("say what its columns hold")).to_be_visible()
    settle(page)
    expect(main.get_by_role("button", name="Check the files")).to_be_disabled()
    answer(main, page, "Hip abd strength R", "Hip abductor strength, in N")
    answer(main, page, "Seen on", "Date of the visit")
    answer(main, page, "Dates are written", "day first (31/12/2025)")
    main.get_by_text("Leave out what sums up other rows: row 6").click()
    settle(page)
    shown = main.get_by_role("row", name="3 Feb 2026").filter(has_text="strength, left")
    expect(shown.first).to_contain_text("210.5 N")
    assert clipped(page) == []
    page.set_viewport_size({"width": NARROW, "height": 900})
    settle(page)
    assert clipped(page) == []
    # Some three screens of a telephone, with every question and the preview.
    height = main.get_by_test_id("stMainBlockContainer").evaluate("one => one.scrollHeight")
    assert height < 2_400
    page.set_viewport_size({"width": WIDE, "height": 900})
    settle(page)
    main.get_by_role("button", name="Check the files").click()
    expect(main.get_by_text("Checked, nothing stored yet")).to_be_visible()
    settle(page)
    choose(page, main.get_by_role("combobox", name="Who are you?"))
    store = main.get_by_role("button", name="Import", exact=True)
    expect(store).to_be_enabled()
    store.click()
    expect(main.get_by_text("Imported.")).to_be_visible()
    casebook = open_casebook(str(demo_file))
    try:
        stored = find_visit(casebook, "NEW-7", date(2026, 2, 3))
    finally:
        casebook.close()
    assert stored is not None
    assert sorted((v.metric, v.side.value, v.mean) for v in stored.visit.values) == [
        ("contact_time", "left", 245.0),
        ("hip_abductor_strength", "left", 210.5),
        ("hip_abductor_strength", "right", 215.0),
    ]
