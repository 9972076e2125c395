"""Ten who save and ten who read one casebook at once: nothing lost, nobody turned away.

`python -m tests.bench.two_people` lets them work for a minute on SQLite and on PostgreSQL and
reports the slowest save. Each writer is a thread with a casebook of its own, as a server's
sessions are; every other writer adds to visits that the one before it has begun.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

from casebook.domain.sides import Side
from casebook.domain.visits import Visit, value_of_trials
from casebook.services.keeping import Casebook, check_casebook, create_casebook, open_casebook
from casebook.services.recording import list_visits, record_visit
from casebook.services.registering import register_runner
from tests.builders import BEND, STRENGTH, a_runner, a_visit
from tests.stores import Server, furnish, postgresql

WRITERS, READERS = 10, 10
FIRST_DAY = date(2020, 1, 1)
FULL_SECONDS = 60.0


@dataclass(slots=True, kw_only=True)
class Told:
    """What came of it.

    Attributes
    ----------
    saves : list of float
        Seconds of every save.
    reads : int
    refused : list of str
        What somebody was shown instead of a save or a page.
    expected : dict of (str, date) to set of str
        For each visit whose save was confirmed, the metrics confirmed to be stored.
    """

    saves: list[float] = field(default_factory=list)
    reads: int = 0
    refused: list[str] = field(default_factory=list)
    expected: dict[tuple[str, date], set[str]] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    whole: bool = False

    def words(self) -> str:
        """One line."""
        if not self.saves:
            return "nothing was saved"
        return (
            f"{len(self.saves)} saves (median {statistics.median(self.saves) * 1000:.0f} ms, "
            f"slowest {max(self.saves):.2f} s), {self.reads} reads, {len(self.refused)} refused, "
            f"{len(self.lost)} lost, casebook {'whole' if self.whole else 'NOT WHOLE'}"
        )

    @property
    def fine(self) -> bool:
        """Nothing lost, nobody turned away, the store whole."""
        return bool(self.saves) and self.whole and not self.lost and not self.refused


def work_together(url: str, seconds: float) -> Told:
    """Let ten write and ten read for a while, then compare with what they were told."""
    told = Told()
    stop = threading.Event()
    lock = threading.Lock()

    def guarded(work: Callable[[Casebook, int], None], number: int) -> None:
        casebook = open_casebook(url)
        try:
            while not stop.is_set():
                work(casebook, number)
        except Exception as error:  # whatever a user would have been shown
            with lock:
                told.refused.append(f"{type(error).__name__}: {error}")
        finally:
            casebook.close()

    days = [FIRST_DAY] * WRITERS

    def write(casebook: Casebook, number: int) -> None:
        runner, day = f"W-{number:02d}", days[number]
        days[number] += timedelta(days=1)
        start = time.perf_counter()
        first = record_visit(casebook, _first_part(runner, day), by="AB")
        between = time.perf_counter()
        with lock:
            told.saves.append(between - start)
            told.expected[runner, day] = {STRENGTH}
        second = _second_part(runner, day)
        record_visit(casebook, second, by="CD", expected_revision=first.revision)
        with lock:
            told.saves.append(time.perf_counter() - between)
            told.expected[runner, day].add(BEND)

    def read(casebook: Casebook, number: int) -> None:
        for stored in list_visits(casebook, f"W-{number % WRITERS:02d}"):
            # One saved half is whole in itself; less than that would be a torn read.
            if not stored.visit.values:
                raise AssertionError(f"a visit without its values was read: {stored}")
        with lock:
            told.reads += 1

    threads = [
        threading.Thread(target=guarded, args=(work, number))
        for work, many in ((write, WRITERS), (read, READERS))
        for number in range(many)
    ]
    for thread in threads:
        thread.start()
    stop.wait(seconds)
    stop.set()
    for thread in threads:
        thread.join()
    _compare(url, told)
    return told


def _first_part(runner: str, day: date) -> Visit:
    values = tuple(value_of_trials(STRENGTH, side, [300.0, 310.0, 305.0]) for side in _SIDES)
    return replace(a_visit(), runner=runner, visited_on=day, values=values)


def _second_part(runner: str, day: date) -> Visit:
    values = tuple(value_of_trials(BEND, side, [41.0, 42.0, 40.0]) for side in _SIDES)
    return replace(a_visit(), runner=runner, visited_on=day, values=values)


_SIDES = (Side.LEFT, Side.RIGHT)


def _compare(url: str, told: Told) -> None:
    casebook = open_casebook(url)
    try:
        for number in range(WRITERS):
            runner = f"W-{number:02d}"
            stored = {
                one.visit.visited_on: {value.metric for value in one.visit.values}
                for one in list_visits(casebook, runner)
            }
            told.lost += [
                f"{runner} {day}: {sorted(metrics)}"
                for (code, day), metrics in told.expected.items()
                if code == runner and not metrics <= stored.get(day, set())
            ]
        told.whole = check_casebook(casebook).ok
    finally:
        casebook.close()


def prepare(casebook: Casebook) -> None:
    """Metrics and ten runners to save for."""
    furnish(casebook)
    for number in range(WRITERS):
        register_runner(casebook, a_runner(code=f"W-{number:02d}"))


@contextmanager
def bench_server() -> Iterator[Server]:
    """A PostgreSQL server of this process's own."""
    made = postgresql.__wrapped__()
    yield next(made)
    next(made, None)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=FULL_SECONDS)
    given = parser.parse_args()
    fine = True
    with tempfile.TemporaryDirectory(prefix="casebook-bench-") as name, bench_server() as server:
        for kind, url in (
            ("SQLite", str(Path(name) / "casebook.sqlite")),
            ("PostgreSQL", server.url(server.create())),
        ):
            casebook = create_casebook(url)
            prepare(casebook)
            told = work_together(casebook.url, given.seconds)
            casebook.close()
            fine &= told.fine
            print(f"{kind}, {WRITERS} writers and {READERS} readers, {given.seconds:g} s: ", end="")
            print(told.words())
            for line in (*told.refused, *told.lost)[:10]:
                print(f"  {line}")
    return 0 if fine else 1


if __name__ == "__main__":
    raise SystemExit(main())
