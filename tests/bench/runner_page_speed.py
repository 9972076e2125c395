"""Opening a runner's page with many runners stored, beside the same with few.

The script run is the app's own, from the entry to the last chart, as Streamlit's test bench
runs it: everything but the browser. Both stores are measured in one run, turn by turn, so
that a busy machine slows both alike.

Bounds of the project: at most 1.3 times as long with 2,000 runners as with 200, and under
0.5 s.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from streamlit.testing.v1 import AppTest

from tests.bench.caseloads import make_caseload

MAIN = Path(__file__).parents[2] / "app" / "main.py"
FEW, MANY = 200, 2_000
MOST_TIMES_AS_LONG = 1.3
LONGEST_RUN_S = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSpeed:
    """Median seconds of a script run with few and with many runners stored."""

    few_s: float
    many_s: float

    @property
    def ratio(self) -> float:
        return self.many_s / self.few_s


def measure(few: int = FEW, many: int = MANY, *, rounds: int = 9) -> PageSpeed:
    """Open pages of several runners in turn, in a store of few and in one of many."""
    taken: dict[int, list[float]] = {few: [], many: []}
    with tempfile.TemporaryDirectory() as folder:
        places = {size: Path(folder) / f"{size}.sqlite" for size in taken}
        for size, place in places.items():
            make_caseload(place, size).close()
        apps = {size: _app_on(place) for size, place in places.items()}
        for number in range(rounds + 1):
            for size, place in places.items():
                os.environ["CASEBOOK_DATABASE_URL"] = str(place)
                seconds = _open_runner(apps[size], f"B-{7 * number:05d}")
                if number > 0:  # the first run imports what later ones share
                    taken[size].append(seconds)
    return PageSpeed(few_s=statistics.median(taken[few]), many_s=statistics.median(taken[many]))


def _app_on(place: Path) -> AppTest:
    os.environ["CASEBOOK_DATABASE_URL"] = str(place)
    return AppTest.from_file(MAIN, default_timeout=120).run()


def _open_runner(app: AppTest, code: str) -> float:
    app.query_params["runner"] = code
    app.switch_page("screens/runner.py")
    begun = time.perf_counter()
    app.run()
    seconds = time.perf_counter() - begun
    shown = " ".join(str(title.value) for title in app.title).replace("\\", "")
    if app.exception or code not in shown:
        raise RuntimeError(f"the page of {code} did not open: {shown} {app.exception}")
    return seconds


def main() -> int:
    """Print the measure; 1 when a bound is broken."""
    speed = measure()
    fine = speed.ratio <= MOST_TIMES_AS_LONG and speed.many_s <= LONGEST_RUN_S
    print(
        f"runner page: {1000 * speed.few_s:.0f} ms with {FEW} runners stored, "
        f"{1000 * speed.many_s:.0f} ms with {MANY}: {speed.ratio:.2f} times as long "
        f"(at most {MOST_TIMES_AS_LONG}, and at most {1000 * LONGEST_RUN_S:.0f} ms)"
        f"{'' if fine else ' - BROKEN'}"
    )
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
