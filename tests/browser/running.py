"""The real app in a process of its own, and a headless Chromium to look at it."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

from playwright.sync_api import Browser, Locator, Page, sync_playwright
from playwright.sync_api import TimeoutError as NotInTime

ADDRESS = "127.0.0.1"
READY_WITHIN_S = 90.0
MOMENT_MS = 400
OPENINGS = 6
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def running_app(db: Path, *, port: int | None = None) -> Iterator[str]:
    """`casebook serve` on a casebook until the block ends; gives the app's address."""
    port = port or _free_port()
    command = [sys.executable, "-m", "casebook.cli", "serve", "--db", str(db), "--port", str(port)]
    with TemporaryFile() as said:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            env=os.environ | {"NO_COLOR": "1", "XDG_DATA_HOME": str(db.parent)},
        )
        try:
            _wait(process, port, said)
            yield f"http://{ADDRESS}:{port}"
        finally:
            process.terminate()
            try:
                process.wait(15)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@contextmanager
def chromium() -> Iterator[Browser]:
    """A headless Chromium, the system's own."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        raise FileNotFoundError("Chromium is not installed: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def settle(page: Page) -> None:
    """Wait until the app has drawn what it has to draw."""
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for(
        timeout=60_000
    )
    page.wait_for_function(
        "() => document.querySelectorAll('[data-stale=\"true\"]').length === 0", timeout=30_000
    )


def acted(page: Page) -> None:
    """Wait for what an action started: the app takes a moment to begin, then is drawn."""
    with suppress(NotInTime):
        page.wait_for_selector(
            "[data-testid='stApp'][data-test-script-state='running']",
            state="attached",
            timeout=MOMENT_MS,
        )
    settle(page)


def choose(page: Page, box: Locator, words: str = "", *, exact: bool = False) -> None:
    """Choose the first option that bears the words from a drop-down, opened by keyboard.

    A list that opens while the app draws it anew, or unfolds what it stands in, drops the choice
    without a word: then it is opened once more, as a person would.
    """
    option = page.get_by_role("option", name=words, exact=exact).first
    for _ in range(OPENINGS):
        box.focus()
        if words:
            page.keyboard.type(words)
        else:
            page.keyboard.press("ArrowDown")
        with suppress(NotInTime):
            option.wait_for(timeout=5_000)
            # What is pressed while the list is still opening is taken for the press that opened it.
            page.wait_for_timeout(MOMENT_MS)
            option.click(timeout=5_000)
        page.keyboard.press("Tab")
        acted(page)
        if _chosen(box, words):
            return
    raise AssertionError(f"'{words}' can't be chosen")


def _chosen(box: Locator, words: str) -> bool:
    """Whether a drop-down bears the words, as a label or its value, or has gone once answered."""
    if not box.count():
        return True
    borne: str = box.evaluate(
        "one => one.closest('[data-testid=stMultiSelect]')?.textContent ?? one.value"
    )
    return bool(borne) and words.lower() in borne.lower()


def _free_port() -> int:
    with socket.socket() as door:
        door.bind((ADDRESS, 0))
        return int(door.getsockname()[1])


def _wait(process: subprocess.Popen[bytes], port: int, said: IO[bytes]) -> None:
    until = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until:
        if process.poll() is not None:
            said.seek(0)
            raise RuntimeError(said.read().decode())
        if _answers(port):
            return
        time.sleep(0.05)
    raise TimeoutError(f"The app did not answer within {READY_WITHIN_S:g} seconds.")


def _answers(port: int) -> bool:
    # Not urllib, which would ask a proxy for this machine's own address.
    connection = http.client.HTTPConnection(ADDRESS, port, timeout=2)
    try:
        connection.request("GET", "/_stcore/health")
        return connection.getresponse().status == http.HTTPStatus.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
