"""How commands end: calmly, whatever happens."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook, casebook_process


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def status(port: int, path: str) -> int:
    connection = HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", path)
        return connection.getresponse().status
    finally:
        connection.close()


@pytest.fixture
def served(demo: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "casebook.cli", "serve", "--db", str(demo), "--port", str(port)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        assert process.stdout.readline().startswith(f"casebook is open at http://127.0.0.1:{port}")
        yield process, port
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def test_the_app_answers_until_ctrl_c_and_then_ends_calmly(
    served: tuple[subprocess.Popen[str], int],
):
    process, port = served
    assert status(port, "/_stcore/health") == 200
    assert status(port, "/") == 200
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: every process of the group
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "casebook is closed" in out
    assert "Traceback" not in out + err
    with pytest.raises(ConnectionError):
        status(port, "/_stcore/health")


def test_the_app_does_not_outlive_a_command_that_was_killed_outright(
    served: tuple[subprocess.Popen[str], int],
):
    process, port = served
    process.kill()
    process.wait()
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            status(port, "/_stcore/health")
        except ConnectionError:
            return
        time.sleep(0.05)
    pytest.fail("the app still answers")


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_port_in_use_is_told_with_another_one(casebook: Casebook, demo: Path, command: str):
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        door.listen()
        port = door.getsockname()[1]
        said = casebook(command, "--db", demo, "--port", port)
    assert said.code == 1
    assert f"Port {port}" in said.err
    assert "--port" in said.err


def test_what_nobody_foresaw_is_one_sentence_and_a_log(tmp_path: Path):
    """A damaged library in the environment stands for what nobody foresaw."""
    (tmp_path / "tqdm.py").write_text("raise RuntimeError('this library is damaged')", "utf-8")
    data = tmp_path / "data"
    said = casebook_process(
        "demo", "--no-serve", "--folder", tmp_path / "new",
        env=os.environ | {"PYTHONPATH": str(tmp_path), "XDG_DATA_HOME": str(data)},
    )  # fmt: skip
    log = data / "casebook" / "casebook.log"
    assert said.returncode == 1
    assert said.stdout == ""
    assert said.stderr.count("\n") == 1
    assert str(log) in said.stderr
    assert "this library is damaged" in log.read_text(encoding="utf-8")


def test_a_log_that_cannot_be_written_does_not_hide_the_sentence(tmp_path: Path):
    (tmp_path / "tqdm.py").write_text("raise RuntimeError('this library is damaged')", "utf-8")
    (tmp_path / "data").write_text("no folder", "utf-8")
    said = casebook_process(
        "demo", "--no-serve", "--folder", tmp_path / "new",
        env=os.environ | {"PYTHONPATH": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")},
    )  # fmt: skip
    assert said.returncode == 1
    assert "Traceback" not in said.stderr
    assert "could not be opened" in said.stderr


def test_a_reader_that_leaves_early_gets_no_complaint():
    process = subprocess.Popen(
        [sys.executable, "-m", "casebook.cli", "import", "--help"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == ""
    process.wait(60)
    process.stderr.close()


def test_a_terminal_of_another_encoding_still_gets_an_answer(empty: Path, tmp_path: Path):
    visits = tmp_path / "visits.csv"
    visits.write_text(
        "runner,visit_date,metric,side,trial,value\n🏃,2025-04-03,cadence,none,1,170\n", "utf-8"
    )
    # One process for all three, whose start takes longer than they do.
    said = subprocess.run(
        [
            *(sys.executable, "-c"),
            "import sys; from casebook.cli.calm import run\n"
            "for more in (['import', sys.argv[2]], ['review', '🏃'], ['review', '🏃', '--json']):\n"
            "    assert run([*more, '--db', sys.argv[1]]) == 0",
            *(empty, visits),
        ],
        capture_output=True, encoding="ascii", check=False,
        env=os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
    )  # fmt: skip
    assert (said.returncode, said.stderr) == (0, "")
    assert "\\U0001f3c3" in said.stdout
    assert '"runner": "\\ud83c\\udfc3"' in said.stdout


def test_help_is_there_at_once():
    """Services are imported by the command that needs them; a second is ten times the need."""
    start = time.perf_counter()
    said = casebook_process("--help")
    assert said.returncode == 0
    assert time.perf_counter() - start < 10
    modules = casebook_process("--help", env=os.environ | {"PYTHONPROFILEIMPORTTIME": "1"}).stderr
    for heavy in ("pandas", "sqlalchemy", "streamlit", "scipy"):
        assert f" {heavy}\n" not in modules
