"""Killed at any moment of a save, an amendment, an import or its undoing: all of it or nothing."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from casebook.domain.errors import NotFound
from casebook.domain.visits import Visit
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.undoing_imports import list_imports
from casebook.storage.session import writing
from tests.builders import a_visit
from tests.storage.killed_anywhere import JOBS, amended_values, bring, saved_visit
from tests.storage.test_when_things_go_wrong import ROOT, _environment

KILLS = {"sqlite": 56, "postgresql": 12}
WAYS = {"sqlite": ("statement", "instruction", "commit"), "postgresql": ("statement", "commit")}
# How long a commit takes here: long enough for a kill before, within and after it.
COMMIT_US = 1_500
# Number of the jobs that are let end.
WHOLE = 400

Server = Callable[..., dict[str, Any]]


@contextmanager
def server(url: str, folder: Path) -> Iterator[Server]:
    """Does jobs in children of its own, killed as it is told."""
    program = subprocess.Popen(
        [sys.executable, "-m", "tests.storage.killed_anywhere"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=_environment(),
    )
    assert program.stdin is not None
    assert program.stdout is not None

    def do(job: str, number: int, kill: str = "", after: int = 0) -> dict[str, Any]:
        order = {"url": url, "folder": str(folder), "job": job, "number": number}
        print(json.dumps({**order, "kill": kill, "after": after}), file=program.stdin, flush=True)
        told = json.loads(program.stdout.readline())
        assert isinstance(told, dict)
        return told

    yield do
    program.stdin.close()
    assert program.wait(30) == 0
    program.stdout.close()


def _whole(found: tuple[Visit, ...]) -> bool:
    return len(found) == 2 and all(
        len(visit.values) == 4 and {len(value.trials) for value in visit.values} == {3}
        for visit in found
    )


def state(casebook: Casebook, job: str, number: int) -> str:
    """What there is of a job: nothing, the whole, or (which must never be) a half."""
    if job == "save":
        wanted = saved_visit(number)
        stored = find_visit(casebook, "T-001", wanted.visited_on)
        if stored is None:
            return "nothing"
        return "whole" if stored.visit.values == wanted.values else "half"
    if job == "amend":
        kept = find_visit(casebook, "T-001", a_visit().visited_on)
        assert kept is not None
        is_new = (
            set(amended_values(number)) <= set(kept.visit.values),
            kept.visit.conditions.speed_km_h == 9.0 + number / 100,
        )
        return {(True, True): "whole", (False, False): "nothing"}.get(is_new, "half")
    try:
        there = _whole(tuple(one.visit for one in list_visits(casebook, f"I-{number}")))
    except NotFound:
        there = None
    runs = [
        run.undone_at is None
        for run in list_imports(casebook)
        if run.files[0]["name"] == f"visits-{number}.csv"
    ]
    stands, gone = there is True and runs == [True], there is None
    if job == "import":
        return "whole" if stands else "nothing" if gone and runs == [] else "half"
    return "nothing" if stands else "whole" if gone and runs == [False] else "half"


def _let_go(casebook: Casebook) -> None:
    """Find the casebook as the next one does, when the killed one's server has let go."""
    casebook.engine.dispose()
    with writing(casebook.engine, alone=True):
        pass


def test_a_kill_at_any_moment_leaves_all_or_nothing_and_the_casebook_whole(
    clinic: Casebook, tmp_path: Path
) -> None:
    kind = clinic.engine.dialect.name
    chance = random.Random(20_261_127)
    record_visit(clinic, a_visit(), by="AB")
    for number in range(KILLS[kind]):
        if list(JOBS)[number % len(JOBS)] == "undo":
            bring(clinic, number, tmp_path)
    found: Counter[tuple[str, str]] = Counter()
    in_writing = 0
    with server(clinic.url, tmp_path) as do:
        # Once to the end each, to know how much there is to be cut off.
        whole = {}
        for job in ("save", "amend", "import", "undo"):
            whole[job] = do(job, WHOLE)
            assert (whole[job]["code"], whole[job]["killed"]) == (0, False)
            assert whole[job]["writing"] > 3
        for number in range(KILLS[kind]):
            job = list(JOBS)[number % len(JOBS)]
            way = WAYS[kind][number // len(JOBS) % len(WAYS[kind])]
            most = {
                "statement": whole[job]["writing"] - 1,
                "instruction": max(1, whole[job]["instructions"] - 1),
                "commit": COMMIT_US,
            }[way]
            told = do(job, number, way, chance.randint(0, most))
            _let_go(clinic)
            there = state(clinic, job, number)
            assert there != "half", (job, way, number)
            assert check_casebook(clinic).ok, (job, way, number)
            found[way, there] += 1
            in_writing += told["killed"] and told["writing"] > 0
            if there == "nothing" and number % 7 == 0:
                JOBS[job](clinic, number, tmp_path)
                assert state(clinic, job, number) == "whole"
    # Kills must land where it hurts: while something is written, and on both sides of a commit.
    assert in_writing == KILLS[kind], found
    assert found["statement", "nothing"] > 0
    assert sum(found["commit", there] for there in ("nothing", "whole")) >= KILLS[kind] // 4


@pytest.mark.parametrize("job", sorted(JOBS))
def test_every_job_has_a_way_to_tell_whether_it_was_done(
    sqlite_clinic: Casebook, tmp_path: Path, job: str
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="AB")
    if job == "undo":
        bring(sqlite_clinic, 1, tmp_path)
    assert state(sqlite_clinic, job, 1) == "nothing"
    JOBS[job](sqlite_clinic, 1, tmp_path)
    assert state(sqlite_clinic, job, 1) == "whole"
