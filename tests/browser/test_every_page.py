"""Every page, loaded once on a telephone's screen and then widened to a desk's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, Request, expect

from tests.browser.running import settle

pytestmark = pytest.mark.browser

PAGES = (
    "",
    "/runner?runner=SKV-13",
    "/programme?runner=SKV-13",
    "/hypotheses?runner=SKV-13",
    "/complaints?runner=SKV-13",
    "/summary?runner=SKV-13",
    "/log?runner=SKV-13",
    "/marks",
    "/exercises",
    "/catalogue",
    "/repeatability?metric=hip_abductor_strength",
    "/plan?metric=hip_abductor_strength",
    "/import",
    "/audit",
    "/audit-report",
    "/export",
)
WIDTHS = (400, 1280)
OWN = {None, "127.0.0.1"}


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What was noted while a page was open."""

    too_wide_by: dict[int, int]
    asked: list[str]
    icon: str


@pytest.fixture(scope="module")
def seen(browser: Browser, app_address: str) -> Callable[[str], Seen]:
    """What was seen of a page, which is loaded once for all that is asked of it."""
    known: dict[str, Seen] = {}

    def look(path: str) -> Seen:
        if path not in known:
            known[path] = look_at(browser, app_address + path)
        return known[path]

    return look


def look_at(browser: Browser, address: str) -> Seen:
    context = browser.new_context()
    asked: list[str] = []

    def note(request: Request) -> None:
        place = urlsplit(request.url)
        if place.scheme not in {"data", "blob"} and place.hostname not in OWN:
            asked.append(request.url)

    context.on("request", note)
    page = context.new_page()
    too_wide_by = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        if width == WIDTHS[0]:
            page.goto(address)
            expect(page.get_by_role("heading").first).to_be_visible(timeout=60_000)
        settle(page)
        # What is asked for late, and charts that are drawn anew.
        page.wait_for_timeout(300)
        too_wide_by[width] = beyond(page)
    icon = page.locator("link[rel~='icon']").first.get_attribute("href") or ""
    context.close()
    return Seen(too_wide_by=too_wide_by, asked=asked, icon=icon)


def beyond(page: Page) -> int:
    """By how much the page, or the part of it that scrolls, is wider than the screen."""
    parts = ("document.documentElement", "document.querySelector('[data-testid=stMain]')")
    return max(page.evaluate(f"() => {part}.scrollWidth - {part}.clientWidth") for part in parts)


@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_wider_than_the_screen(seen: Callable[[str], Seen], path: str) -> None:
    assert all(by <= 0 for by in seen(path).too_wide_by.values()), seen(path).too_wide_by


@pytest.mark.parametrize("path", PAGES)
def test_no_page_asks_anything_of_another_address(seen: Callable[[str], Seen], path: str) -> None:
    assert seen(path).asked == []
    icon = seen(path).icon
    assert urlsplit(icon).hostname in OWN, icon
    assert "/media/" in icon
