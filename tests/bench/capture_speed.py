"""What an import and a save cost with the history that they tell, measured in one run each.

The import of a million values is held against raw `executemany` into tables of the same columns,
checks and indexes, fed with the very rows that the import stored (its visits, values, trials and
history entries), and its memory is measured in a process of its own. On SQLite, where all is
done within the process, both are taken in processor seconds: neighbours on the machine count
less. The save of a visit of 25 metrics on both sides with 7 trials is measured in a store of 2
million values and in one of 20,000, taking turns. `--postgresql` does both on a PostgreSQL
server of the tests' own.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import MetaData, create_engine, text
from sqlalchemy.engine import make_url

from casebook.domain.metrics import Metric
from casebook.domain.sides import Side
from casebook.domain.visits import Visit, VisitKind, value_of_trials
from casebook.services.cataloguing import save_metric
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, create_casebook, open_casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner
from tests.bench.import_speed import write_table
from tests.bench.two_people import bench_server
from tests.builders import a_metric, a_runner

VALUES = 1_000_000
ALLOWED_IMPORT = 3.0
ALLOWED_MB = 500
LARGE, SMALL = 2_000_000, 20_000
SAVES = 40
ALLOWED_SAVE_S = 0.150
ALLOWED_SAVE = 1.3
METRICS, TRIALS = 25, 7
STORED = ("runner", "visit", "value", "trial", "import_run", "history")
ROWS_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """Seconds of both, and the resident memory of the import's process."""

    values: int
    import_s: float
    raw_s: float
    resident_mb: float

    @property
    def ratio(self) -> float:
        return self.import_s / self.raw_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """Median seconds of a save in the large and in the small store."""

    large_s: float
    small_s: float

    @property
    def ratio(self) -> float:
        return self.large_s / self.small_s


def in_a_process(url: str, table: Path) -> tuple[float, float]:
    """Seconds and megabytes of an import in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.capture_speed", "--child", url, str(table)],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    return told["seconds"], told["mb"]


def _child(url: str, table: str) -> None:
    casebook = open_casebook(url)
    clock = _clock(casebook.engine.dialect.name)
    start = clock()
    report = import_files(casebook, [table])
    seconds = clock() - start
    casebook.close()
    if not report.ok or not report.added:
        raise AssertionError(f"the benchmark's own table was not imported: {report.problems}")
    mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    print(json.dumps({"seconds": seconds, "mb": mb}))


def _clock(kind: str) -> Callable[[], float]:
    # A server works in processes of its own: there only the wall's clock tells.
    return time.process_time if kind == "sqlite" else time.perf_counter


def raw_copy(source: Path, into: Path) -> float:
    """Seconds in which `executemany` writes the stored rows into a second, empty casebook.

    Rows are read before the clock starts, table by table, in the order in which they were stored.
    """
    reader = sqlite3.connect(source)
    writer = sqlite3.connect(into)
    for pragma in ("journal_mode = WAL", "synchronous = NORMAL", "foreign_keys = ON"):
        writer.execute(f"PRAGMA {pragma}")
    writer.execute("PRAGMA cache_size = -65536")
    there = {
        table: writer.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in STORED
    }
    seconds = 0.0
    writer.execute("BEGIN")
    for table in STORED:
        rows = reader.execute(f"SELECT * FROM {table} LIMIT -1 OFFSET {there[table]}")
        marks = ", ".join("?" * len(rows.description))
        while batch := rows.fetchmany(ROWS_AT_ONCE):
            start = time.process_time()
            writer.executemany(f"INSERT INTO {table} VALUES ({marks})", batch)
            seconds += time.process_time() - start
    start = time.process_time()
    writer.commit()
    seconds += time.process_time() - start
    writer.close()
    reader.close()
    return seconds


def raw_copy_postgresql(source: str, into: str) -> float:
    """The same through psycopg's `executemany`, which sends its rows in one pipeline."""
    reader, writer = create_engine(source), create_engine(into)
    tables = MetaData()
    tables.reflect(reader, only=STORED)
    seconds = 0.0
    with reader.connect() as read, writer.connect() as write:
        there = {one: write.execute(text(f"SELECT count(*) FROM {one}")).scalar() for one in STORED}
        cursor = write.connection.cursor()
        for name in STORED:
            table = tables.tables[name]
            order = ", ".join(column.name for column in table.primary_key)
            rows = read.execution_options(yield_per=ROWS_AT_ONCE).execute(
                text(f"SELECT * FROM {name} ORDER BY {order} OFFSET {there[name]}")
            )
            columns = list(rows.keys())
            names = ", ".join(f'"{column}"' for column in columns)
            marks = ", ".join(["%s"] * len(columns))
            for part in rows.partitions():
                batch = [_adapted(row) for row in part]
                start = time.perf_counter()
                cursor.executemany(f"INSERT INTO {name} ({names}) VALUES ({marks})", batch)
                seconds += time.perf_counter() - start
        start = time.perf_counter()
        write.connection.commit()
        seconds += time.perf_counter() - start
    reader.dispose()
    writer.dispose()
    return seconds


def _adapted(row: Any) -> tuple[Any, ...]:
    return tuple(json.dumps(one) if isinstance(one, list | dict) else one for one in row)


def measure_import(places: Places, n_values: int, *, trials: int = TRIALS) -> Imported:
    """Import once in a process of its own, and write the same rows raw."""
    with tempfile.TemporaryDirectory(prefix="casebook-bench-") as name:
        table = Path(name) / "visits.csv"
        write_table(table, n_values, trials)
        ours, bare = places.new(), places.new()
        seconds, mb = in_a_process(ours, table)
        if places.kind == "sqlite":
            raw = raw_copy(_file(ours), _file(bare))
        else:
            raw = raw_copy_postgresql(ours, bare)
    return Imported(values=n_values, import_s=seconds, raw_s=raw, resident_mb=mb)


def _file(url: str) -> Path:
    return Path(str(make_url(url).database))


@dataclass(slots=True, kw_only=True)
class Places:
    """Where new casebooks are made: files of a folder, or databases of a server."""

    kind: str
    folder: Path
    server: Any = None
    made: int = 0

    def new(self) -> str:
        """Address of a new casebook."""
        self.made += 1
        if self.kind == "sqlite":
            place = str(self.folder / f"casebook-{self.made}.sqlite")
        else:
            place = self.server.url(self.server.create())
        casebook = create_casebook(place)
        casebook.close()
        return casebook.url


@contextmanager
def places(kind: str) -> Iterator[Places]:
    """Places for one run, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="casebook-bench-") as name:
        if kind == "sqlite":
            yield Places(kind=kind, folder=Path(name))
            return
        with bench_server() as server:
            yield Places(kind=kind, folder=Path(name), server=server)


def bench_metrics() -> tuple[Metric, ...]:
    """25 metrics with two sides."""
    return tuple(
        a_metric(key=f"bench_{number:02d}", label=f"Invented {number}") for number in range(METRICS)
    )


def _filled(places_: Places, n_values: int) -> Casebook:
    with tempfile.TemporaryDirectory(prefix="casebook-bench-") as name:
        table = Path(name) / "visits.csv"
        url = places_.new()
        # A run takes three million values at most, and the whole store should not be one import.
        write_table(table, min(n_values, 1_000_000), 1)
        casebook = open_casebook(url)
        rest = n_values
        while rest > 0:
            report = import_files(casebook, [table])
            if not report.ok:
                raise AssertionError(report.problems[:3])
            rest -= 1_000_000
            renamed = table.read_text().replace("\nB-", f"\nC{rest % 7}-")
            table.write_text(renamed)
    for metric in bench_metrics():
        save_metric(casebook, metric, expected_revision=None)
    register_runner(casebook, a_runner(code="S-1"))
    return casebook


def measure_saves(places_: Places, large: int, small: int, saves: int = SAVES) -> Saved:
    """Save visits in a large store and in a small one by turns; median of each."""
    stores = (_filled(places_, large), _filled(places_, small))
    took: tuple[list[float], list[float]] = ([], [])
    chance = random.Random(20_261_127)
    for number in range(saves + 2):
        visit = _visit(number, chance)
        for casebook, seconds in zip(stores, took, strict=True):
            start = time.perf_counter()
            saved = record_visit(casebook, visit, by="AB")
            seconds.append(time.perf_counter() - start)
            if saved.added != 2 * METRICS:
                raise AssertionError(f"a save stored {saved.added} values")
    for casebook in stores:
        casebook.close()
    # The first two make connections and put statements into words.
    return Saved(large_s=statistics.median(took[0][2:]), small_s=statistics.median(took[1][2:]))


def _visit(number: int, chance: random.Random) -> Visit:
    values = tuple(
        value_of_trials(
            metric.key, side, [round(chance.uniform(200, 350), 1) for _ in range(TRIALS)]
        )
        for metric in bench_metrics()
        for side in (Side.LEFT, Side.RIGHT)
    )
    day = date(2020, 1, 1) + timedelta(days=number)
    return Visit(
        runner="S-1", visited_on=day, kind=VisitKind.REVIEW, values=tuple(map(replace, values))
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--values", type=int, default=VALUES)
    parser.add_argument("--large", type=int, default=LARGE)
    parser.add_argument("--saves", type=int, default=SAVES)
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--child", nargs=2)
    given = parser.parse_args()
    if given.child:
        _child(*given.child)
        return 0
    kind = "postgresql" if given.postgresql else "sqlite"
    fine = True
    with places(kind) as room:
        for trials in (TRIALS, 1):
            one = measure_import(room, given.values, trials=trials)
            fine &= one.ratio <= ALLOWED_IMPORT and one.resident_mb < ALLOWED_MB
            print(
                f"{kind}, {one.values} values, {trials} a side: import {one.import_s:.2f} s, raw "
                f"executemany of the same rows {one.raw_s:.2f} s, ratio {one.ratio:.2f} (allowed "
                f"{ALLOWED_IMPORT:g}); {one.resident_mb:.0f} MB resident (allowed {ALLOWED_MB})",
                flush=True,
            )
        saved = measure_saves(room, given.large, SMALL, given.saves)
    fine &= saved.large_s < ALLOWED_SAVE_S and saved.ratio <= ALLOWED_SAVE
    print(
        f"{kind}, a visit of {METRICS} metrics x 2 sides x {TRIALS} trials: "
        f"{saved.large_s * 1000:.0f} ms at {given.large} values (allowed "
        f"{ALLOWED_SAVE_S * 1000:.0f}), {saved.small_s * 1000:.0f} ms at {SMALL}, ratio "
        f"{saved.ratio:.2f} (allowed {ALLOWED_SAVE:g})"
    )
    return 0 if fine else 1


if __name__ == "__main__":
    raise SystemExit(main())
