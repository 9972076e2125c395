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
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

from playwright.sync_api import Browser, Page, sync_playwright

ADDRESS = "127.0.0.1"
READY_WITHIN_S = 90.0
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
