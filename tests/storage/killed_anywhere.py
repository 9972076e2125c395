"""Run as a program: do jobs in children that are killed in the midst of writing.

Everything is imported once; each job is done by a fork. A line of JSON on standard input says
which job, on which casebook and when to kill; a line on standard output says how it went.
The child kills itself (SIGKILL) at a statement or within one, or is killed by this program a
moment after it has begun to commit.
"""

from __future__ import annotations

import json
import mmap
import os
import signal
import sqlite3
import struct
import sys
import time
import traceback
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from casebook.domain.sides import Side
from casebook.domain.visits import Visit, value_of_trials
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.recording import find_visit, record_visit
from casebook.services.undoing_imports import list_imports, undo_import
from tests.builders import BEND, STRENGTH, a_visit

WRITES = ("INSERT", "UPDATE", "DELETE")
FIRST_DAY = date(2025, 1, 1)
# Statements, those since the first one that writes, calls of the progress handler since then.
COUNTERS = struct.Struct("3q")
INSTRUCTIONS = 100


def saved_visit(number: int) -> Visit:
    """The visit that a save stores: every metric of the tests with all of its trials."""
    return a_visit(visited_on=FIRST_DAY + timedelta(days=number))


def amended_values(number: int) -> tuple[Any, ...]:
    """Values that an amendment brings."""
    return tuple(
        value_of_trials(metric, side, [40.0 + number, 41.0 + number, 42.5])
        for metric in (STRENGTH, BEND)
        for side in (Side.LEFT, Side.RIGHT)
    )


def import_file(folder: Path, number: int) -> Path:
    """Two visits of a new runner, 24 readings."""
    path = folder / f"visits-{number}.csv"
    rows = [
        f"I-{number},2025-03-{day:02d},10,{metric},{side},{trial},{40 + trial}"
        for day in (2, 16)
        for metric in (STRENGTH, BEND)
        for side in ("left", "right")
        for trial in (1, 2, 3)
    ]
    header = "runner,visit_date,speed_km_h,metric,side,trial,value"
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def save(casebook: Casebook, number: int, _folder: Path) -> None:
    record_visit(casebook, saved_visit(number), by="AB")


def amend(casebook: Casebook, number: int, _folder: Path) -> None:
    day = a_visit().visited_on
    stored = find_visit(casebook, "T-001", day)
    if stored is None:
        raise AssertionError("the visit to be amended is gone")
    change = VisitChange(values=amended_values(number), details={"speed_km_h": 9.0 + number / 100})
    amend_visit(
        casebook,
        "T-001",
        day,
        1,
        change,
        expected_revision=stored.revision,
        reason="read again",
        by="AB",
    )


def bring(casebook: Casebook, number: int, folder: Path) -> None:
    report = import_files(casebook, [import_file(folder, number)], by="AB")
    if not report.ok:
        raise AssertionError(f"the import was refused: {report.problems}")


def undo(casebook: Casebook, number: int, _folder: Path) -> None:
    runs = [
        run
        for run in list_imports(casebook)
        if run.files[0]["name"] == f"visits-{number}.csv" and run.undone_at is None
    ]
    undo_import(casebook, runs[0].id, reason="wrong file", by="AB")


JOBS: dict[str, Callable[[Casebook, int, Path], None]] = {
    "save": save,
    "amend": amend,
    "import": bring,
    "undo": undo,
}


def _watch(engine: Engine, told: mmap.mmap, order: dict[str, Any], signal_to: int) -> None:  # noqa: C901
    """Count what the child does, and kill it when its moment has come."""
    counts = [0, 0, 0]

    def count(which: int, kind: str) -> None:
        counts[which] += 1
        told[:] = COUNTERS.pack(*counts)
        if order["kill"] == kind and counts[which] > order["after"]:
            os.kill(os.getpid(), signal.SIGKILL)

    @event.listens_for(engine, "before_cursor_execute")
    def _before(_conn: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        counts[0] += 1
        if counts[1] or statement.lstrip().upper().startswith(WRITES):
            count(1, "statement")

    @event.listens_for(engine, "commit")
    def _commit(_conn: Any) -> None:
        # Units that only read end without a commit.
        if order["kill"] == "commit":
            os.write(signal_to, b"c")

    def progress() -> int:
        if counts[1]:
            count(2, "instruction")
        return 0

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _record: Any) -> None:
        if isinstance(connection, sqlite3.Connection):
            connection.set_progress_handler(progress, INSTRUCTIONS)


# Made once, so that no child has to put every statement into words anew.
_KEPT: dict[str, Casebook] = {}


def run(order: dict[str, Any]) -> dict[str, Any]:
    """Do one job in a child; how it ended and how far it came.

    One that is not to be killed is done here first, for what it teaches the children.
    """
    casebook = _KEPT.setdefault(order["url"], open_casebook(order["url"]))
    if order["kill"] == "":
        JOBS[order["job"]](casebook, order["number"] + 1, Path(order["folder"]))
    casebook.engine.dispose()
    told = mmap.mmap(-1, COUNTERS.size)
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            _watch(casebook.engine, told, order, say)
            JOBS[order["job"]](casebook, order["number"], Path(order["folder"]))
            if order["kill"] == "commit":
                signal.pause()  # until the kill that is on its way
            code = 0
        except Exception:
            traceback.print_exc()
        finally:
            os._exit(code)
    os.close(say)
    if order["kill"] == "commit" and os.read(hear, 1):
        until = time.perf_counter() + order["after"] / 1_000_000
        while time.perf_counter() < until:
            pass
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    os.close(hear)
    statements, writing, instructions = COUNTERS.unpack(told[:])
    return {
        "killed": os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL,
        "code": os.WEXITSTATUS(status) if os.WIFEXITED(status) else None,
        "statements": statements,
        "writing": writing,
        "instructions": instructions,
    }


def main() -> None:
    for line in sys.stdin:
        print(json.dumps(run(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
