"""A de-identified export of 2,000 and of 20,000 runners: memory bounded, time linear.

20,000 runners x 6 visits x 20 metrics x 2 sides, read from a file, made alike, written as CSV,
Parquet and one workbook (whose values go on in further sheets after a million rows) and logged.
Each size runs in a
process of its own, whose peak resident memory is read from the system; its processor seconds are
compared, so that a busy machine does not count.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from casebook.domain.exporting import ExportSettings
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import export_audit
from casebook.services.exporting_keys import fresh_key
from casebook.services.keeping import create_casebook, open_casebook
from tests.exportable import UNTIL, add_cohort

SMALL, LARGE = 2_000, 20_000
VISITS, METRICS = 6, 20
ALLOWED_MB = 1_000
# Ten times the runners in at most so many times the time of a tenth.
ALLOWED_RATIO = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One size: processor seconds, peak resident memory in MB, rows of values."""

    runners: int
    seconds: float
    peak_mb: float
    values: int
    exported: int

    @property
    def per_runner_ms(self) -> float:
        return 1000 * self.seconds / self.runners


def export_once(path: Path, folder: Path) -> dict[str, float]:
    """Export within this process; what it took."""
    casebook = open_casebook(str(path))
    settings = ExportSettings(
        purpose=Purpose.AUDIT,
        as_of=UNTIL + timedelta(days=7),
        formats=tuple(FileFormat),
    )
    began = time.process_time()
    report = export_audit(casebook, settings, folder, key=fresh_key(), by="KM")
    seconds = time.process_time() - began
    casebook.close()
    return {
        "seconds": seconds,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "values": report.n_rows["values"],
        "exported": report.facts.exported,
    }


def measure(room: Path, runners: int) -> Measured:
    """Make a casebook of a size, and export it in a fresh process."""
    path, folder = room / f"{runners}.sqlite", room / f"{runners}"
    casebook = create_casebook(str(path))
    add_cohort(casebook, runners, visits=VISITS, metrics=METRICS)
    casebook.close()
    said = subprocess.run(
        [sys.executable, "-m", "tests.bench.export_scale", "--once", path, folder],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = json.loads(said.stdout)
    shutil.rmtree(folder)
    path.unlink()
    return Measured(
        runners=runners,
        seconds=found["seconds"],
        peak_mb=found["peak_mb"],
        values=int(found["values"]),
        exported=int(found["exported"]),
    )


def main(argv: list[str] | None = None) -> int:
    """Measure both sizes and say whether the bounds hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--once", nargs=2, type=Path, metavar=("CASEBOOK", "FOLDER"))
    parser.add_argument("--small", type=int, default=SMALL)
    parser.add_argument("--large", type=int, default=LARGE)
    given = parser.parse_args(argv)
    if given.once:
        print(json.dumps(export_once(*given.once)))
        return 0
    with tempfile.TemporaryDirectory() as name:
        small, large = (measure(Path(name), size) for size in (given.small, given.large))
    for one in (small, large):
        print(
            f"export of {one.runners} runners ({one.exported} left, {one.values} values): "
            f"{one.seconds:.1f} s, {one.per_runner_ms:.2f} ms a runner, peak {one.peak_mb:.0f} MB"
        )
    ratio = large.per_runner_ms / small.per_runner_ms
    print(
        f"time a runner {ratio:.2f} times (bound {ALLOWED_RATIO}), "
        f"peak {large.peak_mb:.0f} MB (bound {ALLOWED_MB})"
    )
    return int(ratio > ALLOWED_RATIO or large.peak_mb > ALLOWED_MB)


if __name__ == "__main__":
    raise SystemExit(main())
