"""An audit of what is loaded, beside loading it.

5,000 runners x 6 visits x 20 metrics x 2 sides (and the asymmetry of each pair), every metric
with an error figure, half of the programmes for performance, adherence entered for most. The
project's bound: a changed choice is answered in less than a second once the cohort is loaded;
that is held here as a share of the time that loading takes in the same run, in processor seconds.
"""

from __future__ import annotations

import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from pathlib import Path

from sqlalchemy import insert, select, update

from casebook.domain.audit import AuditChoice, OutcomeVisit
from casebook.domain.programmes import ProgrammeKind
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort, load_cohort
from casebook.services.keeping import Casebook
from casebook.storage.session import writing
from casebook.storage.tables import AdherenceRow, ProgrammeRow
from tests.bench.caseload_speed import make_store
from tests.bench.caseloads import FIRST_DAY

RUNNERS, VISITS = 5_000, 6
# An audit takes at most so much of the time that loading takes.
MOST_OF_LOADING = 0.2
MOST_SECONDS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditSpeed:
    """Processor seconds to load, and the slowest of the choices' medians."""

    load_s: float
    audit_s: float
    levels: int

    @property
    def of_loading(self) -> float:
        return self.audit_s / self.load_s


def make_cohort(path: Path, runners: int) -> Casebook:
    """A store with two kinds of programme and weeks of adherence."""
    casebook = make_store(path, runners, visits=VISITS)
    with writing(casebook.engine) as unit:
        ids = list(unit.scalars(select(ProgrammeRow.id).order_by(ProgrammeRow.id)))
        unit.execute(
            update(ProgrammeRow)
            .where(ProgrammeRow.id % 2 == 1)
            .values(kind=ProgrammeKind.PERFORMANCE)
        )
        unit.execute(
            insert(AdherenceRow),
            [
                {
                    "programme_id": key,
                    "week_start": FIRST_DAY,
                    "sessions_planned": 10,
                    "sessions_done": key % 11,
                }
                for key in ids
                if key % 7
            ],
        )
        unit.commit()
    return casebook


def choices() -> tuple[AuditChoice, ...]:
    """What a user turns to: everything, one kind, another visit, a few metrics, another day."""
    whole = AuditChoice(as_of=FIRST_DAY + timedelta(weeks=52))
    return (
        whole,
        replace(whole, kinds=(ProgrammeKind.INJURY,)),
        replace(whole, visit=OutcomeVisit.FIRST),
        replace(whole, metrics=("contralateral_pelvic_drop", "contact_time")),
        replace(whole, as_of=FIRST_DAY + timedelta(weeks=13)),
    )


def measure(casebook: Casebook, *, rounds: int = 3) -> AuditSpeed:
    """Load once, then audit by each choice some times."""
    kept: list[LoadedCohort] = []
    load_s = _seconds(lambda: kept.append(load_cohort(casebook)))
    loaded = kept[0]
    slowest = max(
        statistics.median(_seconds(partial(audit, loaded, choice)) for _ in range(rounds))
        for choice in choices()
    )
    return AuditSpeed(load_s=load_s, audit_s=slowest, levels=len(loaded.levels))


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> int:
    """Measure at the promised size; 1 when a bound is broken."""
    with tempfile.TemporaryDirectory() as folder:
        casebook = make_cohort(Path(folder) / "cohort.sqlite", RUNNERS)
        found = measure(casebook)
        casebook.close()
    fine = found.of_loading <= MOST_OF_LOADING
    print(
        f"{RUNNERS} runners x {VISITS} visits, {found.levels} levels: loaded in "
        f"{found.load_s:.1f} s, audited in {found.audit_s:.2f} s at the slowest choice, "
        f"{found.of_loading:.1%} of loading (bound {MOST_OF_LOADING:.0%})"
        f"{'' if fine else ' - BROKEN'}; {MOST_SECONDS:g} s are promised"
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"most memory at any time, making the store included: {peak:.0f} MB")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
