"""The main job in a browser, with nothing from the code: what a clinician sees and types."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.running import choose, drawn, settle

pytestmark = pytest.mark.browser

MOST_TABS = 150
NOT_ALL = re.compile(r"^\s*\d+ open flag")


def tab_to(page: Page, name: str) -> None:
    """Press Tab until the field or button of that name has the focus."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        at = page.evaluate(
            "() => { const e = document.activeElement;"
            " return e.getAttribute('aria-label') || e.innerText || '' }"
        )
        if name in at:
            return
    raise AssertionError(f"'{name}' cannot be reached by the Tab key")


def drawn_points(page: Page) -> list[str]:
    """What a screen reader is told of every point in the charts, once they are drawn."""
    page.locator("svg.marks [aria-roledescription='point']").first.wait_for(
        state="attached", timeout=60_000
    )
    said = page.locator("svg.marks [aria-roledescription='point']").evaluate_all(
        "marks => marks.map(mark => mark.getAttribute('aria-label'))"
    )
    return [str(words) for words in said]


def test_a_flag_is_read_and_a_visit_logged_by_keyboard_shows_its_point_and_verdict(
    page: Page, app_address: str
) -> None:
    page.goto(app_address)
    main = drawn(page, "Caseload")
    expect(main.get_by_text("Nobody in this casebook")).to_have_count(0)
    expect(page.get_by_test_id("stSidebar")).to_contain_text("Invented data")

    # The caseload: who has a flag?
    page.get_by_role("radio", name="With a flag").or_(
        page.get_by_role("button", name="With a flag")
    ).first.click()
    settle(page)
    page.get_by_label("Search").fill("SKV-12")
    page.keyboard.press("Enter")
    expect(main).to_contain_text("open flag")
    settle(page)
    page.get_by_role("link", name="SKV-12").click()

    # The runner: what does the flag say?
    drawn(page, "SKV-12")
    assert "runner=SKV-12" in page.url
    expect(main).to_contain_text("Hip abductor strength: asymmetry up from")
    expect(main).to_contain_text("false flags on average")
    expect(main).to_contain_text("never replace it")
    before = drawn_points(page)
    assert before

    # The next visit, by keyboard alone.
    choose(page, page.get_by_test_id("stSidebar").get_by_role("combobox", name="Who are you?"))
    main.get_by_role("link", name="Log a visit").click()
    drawn(page, "Log a visit")
    main.get_by_label("Speed (km/h)").focus()
    tab_to(page, "Pelvic drop on the other side, left")
    page.keyboard.type("3.6 3.4 3.8 3.5 3.7 3.6 3.6")
    tab_to(page, "Pelvic drop on the other side, right")
    page.keyboard.type("2,6 n=7")
    tab_to(page, "Hip abductor strength, left")
    page.keyboard.type("305 311 308")
    tab_to(page, "Hip abductor strength, right")
    page.keyboard.type("312 309 315")
    tab_to(page, "Pain during running (0-10), whole body")
    page.keyboard.type("painful")
    tab_to(page, "Save the visit")
    settle(page)
    expect(main).to_contain_text("5 values ready to be saved")
    expect(main).to_contain_text("so far")
    page.keyboard.press("Enter")

    # Back at the runner: the visit, its point, and its verdict.
    expect(main.get_by_text("5 values in one go")).to_be_visible()
    drawn(page, "SKV-12")
    choose_metric(page, "Hip abductor strength")
    expect(main).to_contain_text("no change beyond error")
    page.wait_for_function(
        "() => [...document.querySelectorAll(\"svg.marks [aria-roledescription='point']\")]"
        ".some(mark => mark.getAttribute('aria-label').includes('308 N'))",
        polling=100,
        timeout=60_000,
    )
    assert len([point for point in drawn_points(page) if "308 N" in point]) == 1

    # And it stands after the page is loaded again from its address.
    page.reload()
    drawn(page, "SKV-12")
    expect(main).to_contain_text("5 visits")


def choose_metric(page: Page, name: str) -> None:
    if page.get_by_role("heading", name=name, exact=True).count():
        return
    choose(page, page.get_by_role("combobox", name="Metrics shown"), name)
    page.keyboard.press("Escape")


def test_the_charts_follow_the_dark_appearance(page: Page, app_address: str) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto(f"{app_address}/runner?runner=SKV-13")
    drawn(page, "SKV-13")
    expect(page.locator("svg.marks").first).to_be_visible()
    background = page.locator("svg.marks").first.evaluate("mark => mark.style.backgroundColor")
    app = page.get_by_test_id("stApp").evaluate("one => getComputedStyle(one).backgroundColor")
    assert background == app
    assert background == "rgb(23, 29, 33)"
