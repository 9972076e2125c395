"""Running the app: one Streamlit process on this machine's own address."""

from __future__ import annotations

import http
import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import typer

from casebook.domain.errors import StoreUnavailable, refuse
from casebook.places import folder

ADDRESS = "127.0.0.1"
READY_WITHIN_S = 60.0
STOPS_WITHIN_S = 5.0


def check_port(port: int) -> None:
    """Refuse a port that another program answers on.

    Raises
    ------
    InputRefused
        When it is taken, or not for this user to open.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        # A port that was let go of a second ago is free.
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind((ADDRESS, port))
        except OSError as problem:
            raise refuse(
                "port_taken",
                f"Port {port} of {ADDRESS} cannot be opened ({problem.strerror}): another program "
                f"(perhaps casebook itself) uses it. Give another one, such as "
                f"--port {port + 1 if port < 65535 else 8501}.",
                column="--port",
                value=port,
            ) from problem


def serve(url: str, *, port: int) -> None:
    """Run the app on a casebook until it is stopped from the keyboard or by a signal.

    Parameters
    ----------
    url : str
        Address of the casebook's database.
    port : int
        Port of 127.0.0.1.

    Raises
    ------
    StoreUnavailable
        When the app does not come up.
    """
    with _asked_to_stop(), _app(url, port) as process:
        # From here on being asked to stop is no fault, not even between two of these lines.
        try:
            _wait_until_it_answers(process, port)
            typer.echo(f"casebook is open at http://{ADDRESS}:{port} (Ctrl-C ends it)")
            sys.stdout.flush()
            process.wait()
        except KeyboardInterrupt:
            typer.echo("\ncasebook is closed.")
            return
        if process.returncode:
            raise StoreUnavailable(
                f"The app ended by itself (code {process.returncode}); what it said stands above."
            )


@contextmanager
def _app(url: str, port: int) -> Iterator[subprocess.Popen[bytes]]:
    place = folder("app")
    environment = os.environ | {
        "CASEBOOK_DATABASE_URL": url,
        # Many small matrices: threads that wait for one another take twenty times as long.
        "OPENBLAS_NUM_THREADS": os.environ.get("OPENBLAS_NUM_THREADS", "1"),
        "PYTHONPATH": os.pathsep.join(
            part for part in (str(place.parent), os.environ.get("PYTHONPATH", "")) if part
        ),
    }
    command = [
        *(sys.executable, "-m", "casebook.cli.app_process", "run", str(place / "main.py")),
        *("--server.headless", "true"),
        *("--server.address", ADDRESS),
        *("--server.port", str(port)),
        *("--server.fileWatcherType", "none"),
        *("--browser.gatherUsageStats", "false"),
        *("--logger.hideWelcomeMessage", "true"),
        *("--logger.level", "warning"),
    ]
    # What it greets with goes nowhere; its log, on standard error, stays. Nothing is written to
    # its standard input: that ends when this process does, and the app with it.
    process = subprocess.Popen(
        command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(STOPS_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@contextmanager
def _asked_to_stop() -> Iterator[None]:
    """Treat a polite signal to end like Ctrl-C, so that the app never outlives the command.

    Ctrl-C itself is asked for too: a program that a script started behind the scenes is born deaf
    to it.
    """

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _wait_until_it_answers(process: subprocess.Popen[bytes], port: int) -> None:
    until = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until:
        if process.poll() is not None:
            raise StoreUnavailable(
                f"The app did not start (code {process.returncode}); what it said stands above."
            )
        if _answers(port):
            return
        time.sleep(0.2)
    raise StoreUnavailable(f"The app did not answer within {READY_WITHIN_S:g} seconds.")


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
