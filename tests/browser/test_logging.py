"""In a browser: a visit typed by keyboard, taken up again, amended, and saved by two at once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, Value
from casebook.services.drafting import list_drafts
from casebook.services.keeping import create_casebook, open_casebook
from casebook.services.recording import StoredVisit, find_visit
from casebook.services.registering import register_user
from tests.app.conftest import DROP, NEW, STRENGTH, WORSE, furnish
from tests.browser.running import Restartable, drawn, settle

pytestmark = pytest.mark.browser

DROP_LABEL = "Pelvic drop on the other side"
STRENGTH_LABEL = "Hip abductor strength"
MARCH = date(2026, 3, 9)
REASON = "Why is what was stored changed?"


@pytest.fixture(scope="module")
def clinic_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("logging") / "clinic.sqlite"
    casebook = create_casebook(str(path))
    furnish(casebook)
    register_user(casebook, User(code="CD"))
    casebook.close()
    return path


@pytest.fixture(scope="module")
def app(clinic_file: Path) -> Iterator[Restartable]:
    app = Restartable(clinic_file)
    yield app
    app.stop()


@pytest.fixture
def address(app: Restartable) -> str:
    app.start()
    return app.address


def opened(page: Page, address: str, runner: str, who: str = "AB", more: str = "") -> Locator:
    page.goto(f"{address}/log?runner={runner}&who={who}{more}")
    page.locator("html[data-log-keys]").wait_for(state="attached", timeout=90_000)
    return drawn(page, "Log a visit")


def dated(page: Page, day: str) -> None:
    box = page.get_by_label("Date of the visit", exact=True)
    box.fill(day)
    box.press("Tab")
    settle(page)


def cell(page: Page, metric: str, side: str) -> Locator:
    return page.get_by_test_id("stMain").get_by_label(f"{metric}, {side}", exact=True)


def type_cell(page: Page, metric: str, side: str, text: str) -> None:
    cell(page, metric, side).fill(text)
    cell(page, metric, side).press("Enter")
    settle(page)


def stored(path: Path, runner: str, day: date) -> StoredVisit | None:
    casebook = open_casebook(str(path))
    try:
        return find_visit(casebook, runner, day)
    finally:
        casebook.close()


def values(visit: StoredVisit | None) -> dict[tuple[str, Side], Value]:
    assert visit is not None
    return {(value.metric, value.side): value for value in visit.visit.values}


def focused(page: Page) -> str:
    return str(page.evaluate("() => document.activeElement.getAttribute('aria-label') || ''"))


def test_a_visit_is_typed_by_enter_alone_and_saved_by_its_key(
    page: Page, address: str, clinic_file: Path
) -> None:
    main = opened(page, address, WORSE)
    dated(page, "6.4.2026")
    page.keyboard.press("Control+ArrowDown")
    assert focused(page) == f"{DROP_LABEL}, left"
    for text in ("4.1 4.4 3.9", "6,9 n=7", "172", "p", "9.1 kgf"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    assert focused(page) == "Next visit due"
    cell(page, STRENGTH_LABEL, "right").focus()
    page.keyboard.press("Shift+Enter")
    assert focused(page) == f"{STRENGTH_LABEL}, left"
    settle(page)
    # No error stands at a typed row, and the count below follows each cell.
    expect(main.get_by_text("5 values ready to be saved")).to_be_visible()
    expect(main.get_by_text("did not expect")).to_have_count(0)
    expect(main).to_contain_text("+2.7° so far, MDC 2.8°: within error")
    expect(main).to_contain_text("= 89.2 N")
    expect(main).to_contain_text("missing: painful")
    main.get_by_text("No review planned").click()
    settle(page)
    page.keyboard.press("Control+Enter")
    expect(page.get_by_text("5 values in one go").first).to_be_visible()
    found = values(stored(clinic_file, WORSE, date(2026, 4, 6)))
    assert found[DROP, Side.LEFT].trials == (4.1, 4.4, 3.9)
    assert found[DROP, Side.RIGHT].n_trials == 7
    assert found[STRENGTH, Side.LEFT].missing_reason is MissingReason.PAINFUL
    assert found[STRENGTH, Side.RIGHT].mean == pytest.approx(9.1 * 9.80665)


def test_a_grade_is_typed_or_chosen_by_its_words_and_a_reason_from_the_menu(
    page: Page, address: str
) -> None:
    main = opened(page, address, NEW)
    main.locator(".st-key-row_arm_swing_crossing input").first.focus()
    for text, leave in (("1", "Enter"), ("p", "Tab")):
        page.keyboard.type(text)
        page.keyboard.press(leave)
    row = main.locator(".st-key-row_arm_swing_crossing")
    expect(row).to_contain_text("1 (hand comes up to the midline)")
    expect(row).to_contain_text("missing: painful")
    settle(page)
    row.get_by_role("button", name="Choose").click()
    page.get_by_text("left: 2 · ").click()
    expect(row.locator("input").first).to_have_value("2")
    settle(page)
    main.locator(".st-key-row_lunge_distance").get_by_role("button", name="Why missing").click()
    page.get_by_text("both: equipment failed").click()
    for number in range(2):
        box = main.locator(".st-key-row_lunge_distance input").nth(number)
        expect(box).to_have_value("equipment")
    expect(main).to_contain_text("4 values ready to be saved")
    settle(page)
    main.get_by_role("button", name="Discard the draft").click()
    page.get_by_role("button", name="Yes, discard").click()
    expect(main).to_contain_text("The draft is discarded")
    expect(main).to_contain_text("0 values ready to be saved")


def test_a_draft_outlives_reload_restart_and_session_and_is_listed(
    browser: BrowserContext, address: str, app: Restartable, clinic_file: Path
) -> None:
    page = browser.new_page()
    main = opened(page, address, WORSE)
    dated(page, "7.4.2026")
    type_cell(page, STRENGTH_LABEL, "left", "305 30")
    place = page.url
    assert "draft=" in place
    page.reload()
    drawn(page, "Log a visit")
    expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("305 30")
    expect(page.get_by_label("Date of the visit", exact=True)).to_have_value("7.4.2026")
    settle(page)
    type_cell(page, STRENGTH_LABEL, "left", "305 303")
    type_cell(page, STRENGTH_LABEL, "right", "298")
    expect(main).to_contain_text("2 values ready to be saved")

    # Restarted under an open page, which the new process knows nothing of: the cell that stood
    # half typed is there, and so is what was typed before.
    page.locator("html[data-log-keys]").wait_for(state="attached")
    cell(page, STRENGTH_LABEL, "right").fill("299")
    app.stop()
    expect(cell(page, STRENGTH_LABEL, "left")).to_be_disabled()
    app.start()
    expect(cell(page, STRENGTH_LABEL, "right")).to_be_focused()
    expect(cell(page, STRENGTH_LABEL, "right")).to_have_value("299")
    expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("305 303")
    expect(main).to_contain_text("2 values ready to be saved")
    # And what is typed from now on is kept.
    settle(page)
    page.keyboard.press("Shift+Enter")
    expect(cell(page, STRENGTH_LABEL, "left")).to_be_focused()
    page.keyboard.type("305 304")
    expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("305 304")
    page.keyboard.press("Enter")
    settle(page)
    expect(main).to_contain_text("2 values ready to be saved")
    page.close()

    # Another session knows the draft by its address, with who types it.
    page = browser.new_page()
    page.goto(place)
    main = drawn(page, "Log a visit")
    expect(cell(page, STRENGTH_LABEL, "right")).to_have_value("299")
    expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("305 304")
    expect(page.get_by_role("combobox", name="Who are you?")).to_have_value(re.compile("AB"))
    # Without its address it is found in the list.
    page.goto(f"{address}/log?who=AB")
    expect(page.get_by_text("2 cells typed by AB")).to_be_visible()
    settle(page)
    page.get_by_role("button", name="Go on").click()
    expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("305 304")
    expect(cell(page, STRENGTH_LABEL, "right")).to_have_value("299")
    page.locator("html[data-log-keys]").wait_for(state="attached")
    settle(page)
    main.get_by_text("No review planned").click()
    settle(page)
    page.keyboard.press("Control+Enter")
    expect(page.get_by_text("2 values in one go").first).to_be_visible()
    page.close()
    casebook = open_casebook(str(clinic_file))
    assert list_drafts(casebook) == ()
    casebook.close()
    found = values(stored(clinic_file, WORSE, date(2026, 4, 7)))
    assert {place: one.trials for place, one in found.items()} == {
        (STRENGTH, Side.LEFT): (305.0, 304.0),
        (STRENGTH, Side.RIGHT): (299.0,),
    }


def test_a_stored_value_is_amended_with_a_reason_and_two_windows_choose(
    browser: BrowserContext, address: str, clinic_file: Path
) -> None:
    first, second = (browser.new_page() for _ in range(2))
    for page, who in ((first, "AB"), (second, "CD")):
        opened(page, address, WORSE, who)
        dated(page, "9.3.2026")
        expect(cell(page, STRENGTH_LABEL, "left")).to_have_value("296 298 300 302 304")
    type_cell(second, STRENGTH_LABEL, "left", "250")
    type_cell(second, DROP_LABEL, "left", "5")

    # The first to save is asked why, and amends.
    type_cell(first, STRENGTH_LABEL, "left", "301 302")
    type_cell(first, STRENGTH_LABEL, "right", "")
    main = first.get_by_test_id("stMain")
    expect(main).to_contain_text("stored: 296 298 300 302 304")
    expect(main).to_contain_text("1 changed, 1 struck out")
    first.keyboard.press("Control+Enter")
    expect(main).to_contain_text("Nothing was saved. Why is what was stored changed?")
    settle(first)
    first.get_by_label(REASON).fill("read from the wrong line")
    first.keyboard.press("Control+Enter")
    expect(first.get_by_text("2 fields amended").first).to_be_visible()

    # The second is told, field by field, and chooses: nothing of either is lost.
    second.get_by_label(REASON).fill("typed again from the sheet")
    second.keyboard.press("Control+Enter")
    main = second.get_by_test_id("stMain")
    expect(main).to_contain_text("saved this visit")
    settle(second)
    choice = main.get_by_role("radiogroup", name=f"{STRENGTH_LABEL}, left")
    expect(choice).to_contain_text("theirs: 301 302")
    expect(choice).to_contain_text("yours: 250")
    expect(main).to_contain_text("When you opened it: 296 298 300 302 304")
    expect(main).to_contain_text(f"{STRENGTH_LABEL}, right: 216 218 220 222 224 → –")
    kept = values(stored(clinic_file, WORSE, MARCH))
    assert kept[STRENGTH, Side.LEFT].trials == (301.0, 302.0)
    second.get_by_role("button", name="Save with what was chosen").click()
    expect(main).to_contain_text("choose theirs or yours for each field")
    settle(second)
    choice.get_by_text(re.compile("^theirs")).click()
    settle(second)
    second.get_by_role("button", name="Save with what was chosen").click()
    expect(second.get_by_text("1 field amended").first).to_be_visible()
    kept = values(stored(clinic_file, WORSE, MARCH))
    assert kept[STRENGTH, Side.LEFT].trials == (301.0, 302.0)
    assert kept[DROP, Side.LEFT].trials == (5.0,)
    assert (STRENGTH, Side.RIGHT) not in kept
    first.close()
    second.close()
