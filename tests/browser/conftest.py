"""One demo casebook, built as a user builds it, and one app and one browser on it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.running import chromium, running_app

# What is waited for comes: a test fails late, but never because its machine was busy.
expect.set_options(timeout=60_000)


@pytest.fixture(scope="session")
def demo_file(demo_built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo casebook that the browser's tests change."""
    return Path(shutil.copy(demo_built, tmp_path_factory.mktemp("demo") / "demo.sqlite"))


@pytest.fixture(scope="session")
def app_address(demo_file: Path) -> Iterator[str]:
    with running_app(demo_file) as address:
        yield address


@pytest.fixture(scope="session")
def browser() -> Iterator[BrowserContext]:
    """One browser for all tests; each tab in it is a session of the app's own."""
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser: BrowserContext) -> Iterator[Page]:
    tab = browser.new_page()
    yield tab
    tab.close()
