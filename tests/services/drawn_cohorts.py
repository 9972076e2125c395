"""Cohorts drawn at random, as they stand loaded; no database behind them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import AsymmetryForm, Better, Scale
from casebook.domain.verdicts import Call, Reason, SideMoved, What
from casebook.domain.visits import VisitKind
from casebook.services.cohort import MISSING, VISITS, LoadedCohort
from casebook.services.cohort_levels import LEVELS, REFERENCES, on_codes
from casebook.services.cohort_runners import COMPLAINTS, CONSENTS, RUNNERS, WEEKS
from tests.builders import METRICS, a_metric

AS_OF = 20_700
SIDED, WHOLE = 0, 1
METRICS_DRAWN = (
    METRICS[0],
    a_metric(
        key="test_pain", unit="{score}", scale=Scale.SCORE, sided=False, better=Better.LOWER,
        asymmetry_form=AsymmetryForm.NONE, important_change=2.0, position=1,
    ),
)  # fmt: skip
CLINICIANS = ("ab", "cd", "ef")


def drawn_cohort(runners: int, seed: int) -> LoadedCohort:
    """A cohort in which every runner may lack anything; two metrics, up to four visits."""
    random = np.random.default_rng(seed)
    visits = _visits(random, runners)
    references, levels = _measured(random, visits)
    reference = visits[visits["reference"]]
    first = reference.groupby("runner")["day"].min().reindex(range(runners))
    return LoadedCohort(
        stamp=(1, seed),
        metrics=METRICS_DRAWN,
        clinicians=CLINICIANS,
        runners=_frame(
            RUNNERS,
            runners,
            runner_id=np.arange(runners) + 1,
            sex=random.integers(0, 4, runners),
            birth_year=_lacking(random, random.integers(1950, 2005, runners).astype(float)),
            registered_day=np.full(runners, 20_000.0),
            first_visit_day=first.to_numpy(),
            programme_id=np.arange(runners) + 1,
            kind=(random.random(runners) < 0.25).astype(int),
            start_day=_lacking(random, np.full(runners, 20_050.0)),
            end_day=np.full(runners, np.nan),
            adherence=_lacking(random, random.random(runners).round(1)),
            injury_id=np.arange(runners) + 1,
            region=random.integers(0, 3, runners),
            pathology=random.integers(0, 3, runners),
            injury_side=random.integers(0, 2, runners),
            onset=random.integers(0, 2, runners),
            onset_day=np.full(runners, 19_990.0),
            first_run_day=_lacking(random, 20_000.0 + random.integers(0, 300, runners)),
            fully_back_day=np.full(runners, np.nan),
            baseline_first_day=first.to_numpy(),
            baseline_last_day=first.to_numpy(),
            baseline_speed=np.full(runners, 10.0),
            clinician=random.integers(-1, len(CLINICIANS), runners),
        ),
        consents=_frame(
            CONSENTS,
            runners,
            runner=np.arange(runners),
            purpose=np.zeros(runners, dtype=int),
            given_day=np.full(runners, 20_000.0),
            withdrawn_day=_lacking(random, np.full(runners, 20_100.0), 0.9),
        ),
        visits=visits,
        levels=levels,
        references=references,
        # None: the runners' own columns then stand for every day.
        complaints=pd.DataFrame({name: np.empty(0, kind) for name, kind in COMPLAINTS.items()}),
        weeks=pd.DataFrame({name: np.empty(0, kind) for name, kind in WEEKS.items()}),
        missing=_missing(random, visits),
    )


def _visits(random: np.random.Generator, runners: int) -> pd.DataFrame:
    number = random.integers(0, 4, runners)
    runner = np.repeat(np.arange(runners), number)
    order = np.concatenate([np.arange(n) for n in number])
    last = order == number[runner] - 1
    discharge = last & (order > 0) & (random.random(runner.size) < 0.4)
    kinds = list(VisitKind)
    baseline, review = kinds.index(VisitKind.BASELINE), kinds.index(VisitKind.REVIEW)
    day = 20_040.0 + 150.0 * order + random.integers(0, 10, runner.size)
    return _frame(
        VISITS,
        runner.size,
        runner=runner,
        visit_id=np.arange(runner.size) + 1,
        day=day,
        kind=np.where(
            discharge, kinds.index(VisitKind.DISCHARGE), np.where(order == 0, baseline, review)
        ),
        counts=np.ones(runner.size, dtype=bool),
        reference=order == 0,
        later=order > 0,
        due_day=_lacking(random, day + 150.0),
        speed_km_h=np.full(runner.size, 10.0),
        clinician=np.zeros(runner.size, dtype=int),
    )


def _measured(
    random: np.random.Generator, visits: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    whats = [(SIDED, 0), (SIDED, 1), (SIDED, 3), (WHOLE, 2)]
    visit = np.repeat(np.arange(len(visits)), len(whats))
    metric = np.tile([one for one, _ in whats], len(visits))
    what = np.tile([two for _, two in whats], len(visits))
    # Of a metric everything is there or nothing.
    there = random.random((len(visits), 2)) < 0.85
    rows = there[visit, metric]
    visit, metric, what = visit[rows], metric[rows], what[rows]
    runner = visits["runner"].to_numpy()[visit]
    reference = visits["reference"].to_numpy()[visit]
    at = np.flatnonzero(reference)
    side = random.integers(-1, 2, int(runner.max(initial=0)) + 1)
    worse = np.where(metric[at] == SIDED, side[runner[at]], 0)
    references = _frame(
        REFERENCES,
        at.size,
        runner=runner[at],
        metric=metric[at],
        what=what[at],
        baseline=random.normal(200.0, 40.0, at.size),
        sem=np.full(at.size, 8.0),
        visits=np.ones(at.size, dtype=int),
        origin=np.zeros(at.size, dtype=int),
        on=on_codes(what[at].astype(np.int8), worse.astype(np.int8)),
        worse=worse,
    )
    place = {key: row for row, key in enumerate(zip(runner[at], metric[at], what[at], strict=True))}
    ref = np.array(
        [place.get(key, -1) for key in zip(runner, metric, what, strict=True)], dtype=int
    )
    call = random.choice(len(Call), visit.size, p=(0.25, 0.1, 0.4, 0.25))
    reason = np.where(
        call == list(Call).index(Call.CANNOT_SAY),
        random.choice([list(Reason).index(Reason.NOT_LIKE_FOR_LIKE),
                       list(Reason).index(Reason.NO_ERROR_FIGURE)], visit.size),
        -1,
    )  # fmt: skip
    levels = _frame(
        LEVELS,
        visit.size,
        runner=runner,
        visit=visit,
        metric=metric,
        what=what,
        reference=reference,
        value=random.normal(210.0, 40.0, visit.size),
        sem=np.full(visit.size, 8.0),
        origin=np.zeros(visit.size, dtype=int),
        refused=np.zeros(visit.size, dtype=bool),
        ref=ref,
        call=np.where(reference, -1, call),
        reason=np.where(reference, -1, reason),
        moved=np.where(reference, -1, random.integers(-1, len(SideMoved) - 1, visit.size)),
        change=np.where(reference, np.nan, 0.0),
        mdc95=np.full(visit.size, 20.0),
    )
    assert len(What) == len(On) == 4
    return references, levels


def _missing(random: np.random.Generator, visits: pd.DataFrame) -> pd.DataFrame:
    rows = np.flatnonzero(random.random(len(visits)) < 0.5)
    return _frame(
        MISSING,
        rows.size,
        runner=visits["runner"].to_numpy()[rows],
        visit=rows,
        metric=random.integers(0, 2, rows.size),
        what=np.zeros(rows.size, dtype=int),
        reason=random.integers(0, 3, rows.size),
    )


def _lacking(random: np.random.Generator, numbers: np.ndarray, share: float = 0.2) -> np.ndarray:
    return np.where(random.random(numbers.size) < share, np.nan, numbers)


def _frame(kinds: dict[str, str], rows: int, **columns: np.ndarray) -> pd.DataFrame:
    assert set(columns) == set(kinds)
    assert all(column.shape == (rows,) for column in columns.values())
    return pd.DataFrame({name: columns[name].astype(kind) for name, kind in kinds.items()})
