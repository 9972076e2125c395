"""Every page, drawn on a desk's screen and then narrowed to a telephone's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import BrowserContext, Page, Request
from playwright.sync_api import TimeoutError as NotInTime

from tests.browser.running import drawn, moved_to, settle

pytestmark = pytest.mark.browser

# What is reached from every page, with the heading that it then bears.
BY_LINK = {
    "Runner": "SKV-13",
    "Programmes": "Programmes of SKV-13",
    "Hypotheses": "Working hypotheses",
    "Complaints": "Complaints",
    "History": "History",
    "Summary": "Summary of SKV-13",
    "Log a visit": "Log a visit",
    "Caseload": "Caseload",
    "Marked points": "Marked points",
    "Measurement sets": "Measurement sets",
    "Exercises": "Exercises",
    "Catalogue": "Catalogue",
    "Import": "Import",
    "Audit": "Audit",
    "Audit report": "Report of the audit",
    "Export": "Export",
}
# And what is shown of a metric that stands in the address.
BY_ADDRESS = {
    "repeatability?metric=hip_abductor_strength": "Repeatability",
    "plan?metric=hip_abductor_strength": "Plan measurement",
}
PAGES = (*BY_LINK, *BY_ADDRESS)
WIDTHS = (1280, 400)
OWN = {None, "127.0.0.1"}
# By how much the page, or the part of it that scrolls, is wider than the screen, once its charts
# are drawn.
BEYOND = """() => {
  const charts = [...document.querySelectorAll('[data-testid=stVegaLiteChart]')];
  if (!charts.every((one) => one.querySelector('svg.marks, canvas'))) return 'a chart is missing';
  return Math.max(...[document.documentElement, document.querySelector('[data-testid=stMain]')]
    .map((one) => one.scrollWidth - one.clientWidth));
}"""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What was noted while a page was open."""

    too_wide_by: dict[int, int | str]
    asked: tuple[str, ...]
    icon: str


@dataclass(frozen=True, kw_only=True)
class Tab:
    """A tab, the app's address, and whatever the tab asked of another address."""

    page: Page
    address: str
    asked: list[str]


@pytest.fixture(scope="module")
def tab(browser: BrowserContext, app_address: str) -> Iterator[Tab]:
    page = browser.new_page()
    asked: list[str] = []

    def note(request: Request) -> None:
        place = urlsplit(request.url)
        if place.scheme not in {"data", "blob"} and place.hostname not in OWN:
            asked.append(request.url)

    page.on("request", note)
    page.goto(f"{app_address}/runner?runner=SKV-13")
    drawn(page, "SKV-13")
    yield Tab(page=page, address=app_address, asked=asked)
    page.close()


@pytest.fixture(scope="module")
def seen(tab: Tab) -> Callable[[str], Seen]:
    """What was seen of a page, which is drawn once for all that is asked of it."""
    known: dict[str, Seen] = {}

    def look(name: str) -> Seen:
        if name not in known:
            known[name] = look_at(tab, name)
        return known[name]

    return look


def look_at(tab: Tab, name: str) -> Seen:
    page, too_wide_by = tab.page, {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        if width == WIDTHS[0] and name in BY_LINK:
            moved_to(page, name, BY_LINK[name])
        elif width == WIDTHS[0]:
            page.goto(f"{tab.address}/{name}")
            drawn(page, BY_ADDRESS[name])
        settle(page)
        # Charts and boxes take a moment to follow the screen.
        with suppress(NotInTime):
            page.wait_for_function(f"() => ({BEYOND})() <= 0", polling=100, timeout=15_000)
        too_wide_by[width] = page.evaluate(BEYOND)
    icon = page.locator("link[rel~='icon']").first.get_attribute("href") or ""
    return Seen(too_wide_by=too_wide_by, asked=tuple(tab.asked), icon=icon)


@pytest.mark.parametrize("name", PAGES)
def test_no_page_is_wider_than_the_screen(seen: Callable[[str], Seen], name: str) -> None:
    assert set(seen(name).too_wide_by) == set(WIDTHS)
    assert all(by == 0 for by in seen(name).too_wide_by.values()), seen(name).too_wide_by


@pytest.mark.parametrize("name", PAGES)
def test_no_page_asks_anything_of_another_address(seen: Callable[[str], Seen], name: str) -> None:
    assert seen(name).asked == ()
    icon = seen(name).icon
    assert urlsplit(icon).hostname in OWN, icon
    assert "/media/" in icon
