"""How long an import takes beside a plain one, measured in one run.

The plain one is Python's csv reader and `sqlite3.executemany` into one table that has the
indexes an import keeps up: one natural key for every trial, one for every value, one by metric.
`python -m tests.bench.import_speed` measures at full size (200,000 values).
"""

from __future__ import annotations

import argparse
import csv
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from casebook.services.importing import import_files
from casebook.services.keeping import create_casebook

FULL_SIZE = 200_000
ALLOWED = 4.0
# Metric and about what it reads, so that the table is one a clinic could have.
METRICS = {
    "contralateral_pelvic_drop": (3, 9),
    "knee_flexion_midstance": (38, 48),
    "knee_flexion_at_contact": (10, 20),
    "rearfoot_eversion_peak": (5, 15),
    "hip_abductor_strength": (200, 350),
    "contact_time": (210, 280),
    "step_length": (85, 110),
    "ankle_dorsiflexion_peak": (20, 32),
}
HEADER = (
    "runner",
    "visit_date",
    "metric",
    "side",
    "trial",
    "value",
    "kind",
    "speed_km_h",
    "surface",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Seconds of each, and their ratio (medians of the repeats)."""

    values: int
    trials: int
    plain_s: float
    import_s: float
    again_s: float

    @property
    def ratio(self) -> float:
        return self.import_s / self.plain_s


def write_table(path: Path, n_values: int, trials: int) -> None:
    """A tidy table of invented values; `trials` for each metric and side of a visit."""
    chance = random.Random(20_260_401)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER)
        for number, row in zip(range(n_values), _rows(trials), strict=False):
            del number
            writer.writerow((*row[:5], f"{chance.uniform(*METRICS[str(row[2])]):.1f}", *row[5:]))


def _rows(trials: int) -> Iterator[tuple[object, ...]]:
    visit = 0
    while True:
        runner, month = f"B-{visit // 6:05d}", visit % 6 + 1
        visit += 1
        for metric in METRICS:
            for side in ("left", "right"):
                for trial in range(1, trials + 1):
                    yield (
                        runner,
                        f"2025-{month:02d}-10",
                        metric,
                        side,
                        trial,
                        "baseline" if month == 1 else "review",
                        "10.5",
                        "treadmill",
                    )


def plain_import(path: Path, database: Path) -> float:
    """Seconds for the csv reader and `executemany`."""
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute(
        "CREATE TABLE reading (id INTEGER PRIMARY KEY, runner TEXT NOT NULL,"
        " visit_date TEXT NOT NULL, metric TEXT NOT NULL, side TEXT NOT NULL,"
        " trial INTEGER NOT NULL, value REAL NOT NULL, kind TEXT, speed_km_h REAL, surface TEXT,"
        " UNIQUE (runner, visit_date, metric, side, trial))"
    )
    connection.execute("CREATE INDEX by_metric ON reading (metric)")
    start = time.perf_counter()
    with path.open(newline="", encoding="utf-8") as file:
        rows = csv.reader(file)
        next(rows)
        with connection:
            connection.executemany(
                "INSERT INTO reading (runner, visit_date, metric, side, trial, value, kind,"
                " speed_km_h, surface) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                rows,
            )
    took = time.perf_counter() - start
    connection.close()
    return took


def product_import(path: Path, database: Path, n_values: int) -> tuple[float, float]:
    """Seconds of the product's import into a new casebook, and of the same file again."""
    casebook = create_casebook(str(database))
    try:
        start = time.perf_counter()
        report = import_files(casebook, [path])
        first = time.perf_counter() - start
        if report.added != n_values or report.problems:
            raise AssertionError(f"the benchmark's own table was not imported: {report}")
        start = time.perf_counter()
        again = import_files(casebook, [path])
        second = time.perf_counter() - start
        if again.unchanged != n_values or again.added:
            raise AssertionError(f"a second import was not the same: {again}")
    finally:
        casebook.close()
    return first, second


def measure(n_values: int = FULL_SIZE, *, trials: int = 7, repeats: int = 3) -> Measured:
    """Time both, taking turns so that a busy machine slows both alike."""
    plain, ours, again = [], [], []
    with tempfile.TemporaryDirectory(prefix="casebook-bench-") as name:
        folder = Path(name)
        table = folder / "visits.csv"
        write_table(table, n_values, trials)
        for turn in range(repeats):
            plain.append(plain_import(table, folder / f"plain{turn}.sqlite"))
            first, second = product_import(table, folder / f"casebook{turn}.sqlite", n_values)
            ours.append(first)
            again.append(second)
    return Measured(
        values=n_values,
        trials=trials,
        plain_s=statistics.median(plain),
        import_s=statistics.median(ours),
        again_s=statistics.median(again),
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--values", type=int, default=FULL_SIZE)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    worst = 0.0
    for trials in (7, 1):
        measured = measure(given.values, trials=trials, repeats=given.repeats)
        worst = max(worst, measured.ratio)
        print(
            f"{measured.values} values, {trials} a side: csv and executemany "
            f"{measured.plain_s:.2f} s, import {measured.import_s:.2f} s, ratio "
            f"{measured.ratio:.2f} (allowed {ALLOWED:g}); the same file again "
            f"{measured.again_s:.2f} s"
        )
    return 0 if worst <= ALLOWED else 1


if __name__ == "__main__":
    raise SystemExit(main())
