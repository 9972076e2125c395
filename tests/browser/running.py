"""The real app in a process of its own, and a headless Chromium to look at it."""

from __future__ import annotations

import http.client
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import IO

from playwright.sync_api import BrowserContext, Locator, Page, expect, sync_playwright
from playwright.sync_api import TimeoutError as NotInTime

ADDRESS = "127.0.0.1"
READY_WITHIN_S = 90.0
LONGEST_MS = 90_000
OPENINGS = 6
# Notes when the page asks its server to run (field 11 of Streamlit's message) and when a run
# begins (field 4 of its answers, behind two others); at rest is who has been so for a moment.
LISTENS = """
(() => {
  const asks = (data) => (ArrayBuffer.isView(data) ? data : new Uint8Array(data))[0] === 0x5a;
  const length = (bytes, at) => {
    let size = 0, shift = 0;
    do size |= (bytes[at] & 127) << shift, shift += 7; while (bytes[at++] & 128);
    return [size, at];
  };
  const begins = (bytes) => {
    let at = 0;
    while (bytes[at] === 0x0a || bytes[at] === 0x12) {
      const [size, from] = length(bytes, at + 1);
      at = from + size;
    }
    return bytes[at] === 0x22;
  };
  let waiting = 0, runs = 0;
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (data) {
    if (!this.heard) {
      this.heard = true;
      this.addEventListener("message", ({ data }) => {
        if (data instanceof ArrayBuffer && begins(new Uint8Array(data))) waiting = 0, runs++;
      });
    }
    if (asks(data)) waiting = Date.now();
    return send.call(this, data);
  };
  let asker = 0, looks = 0;
  window.casebookAtRest = (who) => {
    const now = Date.now();
    // An action's message leaves a moment after it: what was at rest before it says nothing.
    if (who !== asker) asker = who, looks = 0;
    // A part that is no longer there is asked for in vain: no answer comes.
    const answered = !waiting || now - waiting > 20_000;
    const rests = runs && answered && document.querySelector(
      "[data-testid=stApp][data-test-script-state=notRunning]"
      + "[data-test-connection-state=CONNECTED]")
      && !document.querySelector("[data-stale=true]");
    looks = rests ? looks + 1 : 0;
    return looks > 3;
  };
})();
"""
ASKERS = count(1)
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


class Restartable:
    """`casebook serve` that is ended and started again at the same address."""

    def __init__(self, db: Path) -> None:
        self._db = db
        self._port = _free_port()
        self._running = ExitStack()
        self.runs = False
        self.address = f"http://{ADDRESS}:{self._port}"

    def start(self) -> None:
        """Start it, unless it runs."""
        if not self.runs:
            self._running.enter_context(running_app(self._db, port=self._port))
            self.runs = True

    def stop(self) -> None:
        """End it."""
        self._running.close()
        self.runs = False


@contextmanager
def chromium() -> Iterator[BrowserContext]:
    """A headless Chromium, the system's own, whose tabs share what was loaded, as a person's do.

    Streamlit is some megabytes of script: without a profile each tab fetches and compiles it anew.
    """
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        raise FileNotFoundError("Chromium is not installed: apt-get install chromium")
    with (
        TemporaryDirectory(ignore_cleanup_errors=True) as profile,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=path,
            args=list(FLAGS),
            viewport={"width": 1280, "height": 900},
            reduced_motion="reduce",
        )
        browser.set_default_timeout(LONGEST_MS)
        browser.set_default_navigation_timeout(LONGEST_MS)
        browser.add_init_script(LISTENS)
        try:
            yield browser
        finally:
            browser.close()


def settle(page: Page) -> None:
    """Wait until what the last action asked for is drawn.

    The app is at rest before it begins as well: so what the page asks of it is listened to.
    """
    page.wait_for_function(
        "(who) => window.casebookAtRest(who)", arg=next(ASKERS), timeout=LONGEST_MS, polling=30
    )


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
            option.wait_for(timeout=10_000)
            option.click(timeout=10_000)
        page.keyboard.press("Tab")
        settle(page)
        if _chosen(box, words):
            return
    raise AssertionError(f"'{words}' can't be chosen")


def moved_to(page: Page, name: str, heading: str = "") -> Locator:
    """Another page of the app by its link beside every page, drawn; gives the page's own part."""
    page.get_by_test_id("stSidebar").get_by_role("link", name=name, exact=True).click()
    return drawn(page, heading or name)


def drawn(page: Page, heading: str) -> Locator:
    """The page's own part, once it stands under that heading and is drawn."""
    main = page.get_by_test_id("stMain")
    expect(main.get_by_role("heading", name=heading).first).to_be_visible(timeout=LONGEST_MS)
    settle(page)
    return main


def _chosen(box: Locator, words: str) -> bool:
    """Whether a drop-down bears the words, as a label or its value, or has gone once answered."""
    if not box.count():
        return True
    borne: str = box.evaluate(
        "one => one.closest('[data-testid=stMultiSelect]')?.textContent ?? one.value"
    )
    return bool(borne) and words.lower() in borne.lower()


def _free_port() -> int:
    """A free port that the system gives nobody else, for it lies below those it chooses from."""
    while True:
        port = 20_000 + secrets.randbelow(12_000)
        with socket.socket() as door, suppress(OSError):
            door.bind((ADDRESS, port))
            return port


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
