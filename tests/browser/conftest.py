"""One demo casebook, built as a user builds it, and one app and one browser on it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.running import chromium, running_app


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    built = subprocess.run(
        [sys.executable, "-m", "casebook.cli", "demo", "--no-serve", "--db", str(path)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"NO_COLOR": "1", "XDG_DATA_HOME": str(path.parent)},
    )
    assert built.returncode == 0, built.stderr
    return path


@pytest.fixture(scope="session")
def app_address(demo_file: Path) -> Iterator[str]:
    with running_app(demo_file) as address:
        yield address


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    yield context.new_page()
    context.close()
