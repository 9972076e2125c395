"""Cohorts whose true courses are known, as they stand loaded; no database behind them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import AsymmetryForm, Better, Scale
from casebook.domain.verdicts import What
from casebook.services.cohort import VISITS, LoadedCohort
from casebook.services.cohort_levels import LEVELS, REFERENCES, small
from casebook.statistics.codes import code_of
from tests.builders import a_metric
from tests.services.drawn_cohorts import AS_OF, drawn_cohort

SCORE, SIDED, GRADE = 0, 1, 2
# Days from the programme's start, which is on the second.
DAYS = (-14, 0, 28, 56, 84, 140)
START = 20_050.0
METRICS = (
    a_metric(
        key="test_pain", unit="{score}", scale=Scale.SCORE, sided=False, better=Better.LOWER,
        asymmetry_form=AsymmetryForm.NONE,
    ),
    a_metric(key="test_force", unit="N", position=1),
    a_metric(
        key="test_grade", unit="1", scale=Scale.GRADE, sided=False, better=Better.LOWER,
        asymmetry_form=AsymmetryForm.NONE, grades=("none", "some", "much"), resolution=1.0,
        plausible_low=0.0, plausible_high=2.0, position=2,
    ),
)  # fmt: skip
# Level, slope a week, step, slope of performance less injury, level a km/h, slope a tenth of
# adherence; SDs of own levels, own slopes and readings.
LEVEL, SLOPE, STEP, BY_KIND, BY_SPEED, BY_ADHERENCE = 20.0, -0.2, -1.5, 0.15, 0.8, -0.04
OWN_LEVEL, OWN_SLOPE, ERROR = 2.0, 0.1, 1.0


def grown_cohort(runners: int = 200, seed: int = 1) -> LoadedCohort:
    """Runners seen six times, twice before the start: a score, an asymmetry (half of them to the
    left), and a grade whose odds fall less in performance programmes.
    """
    random = np.random.default_rng(seed)
    each = len(DAYS)
    runner = np.repeat(np.arange(runners), each)
    visit = np.arange(runners * each)
    reference = np.tile([day <= 0 for day in DAYS], runners)
    kind, speed = np.arange(runners) % 2, random.normal(10.0, 1.0, runners)
    adherence = random.uniform(0.3, 1.0, runners).round(2)
    day = START + np.tile(np.array(DAYS, dtype=float), runners)
    day[~reference] += random.integers(-3, 4, int((~reference).sum()))
    week = (day - START) / 7.0
    slope = SLOPE + BY_KIND * kind + BY_ADHERENCE * 10 * (adherence - adherence.mean())
    slope = slope + random.normal(0, OWN_SLOPE, runners)
    level = LEVEL + BY_SPEED * (speed - speed.mean()) + random.normal(0, OWN_LEVEL, runners)
    score = level[runner] + slope[runner] * week + STEP * ~reference
    score = score + random.normal(0, ERROR, visit.size)
    leaning = np.where(random.random(runners) < 0.5, -1.0, 1.0)
    apart = leaning[runner] * score
    latent = 0.8 * kind[runner] - np.where(reference, 0.0, 1.0)
    grade = np.digitize(latent + random.logistic(size=visit.size), [-1.0, 1.0]).astype(float)
    base = drawn_cohort(runners, seed)
    metric = np.repeat([SCORE, SIDED, GRADE], visit.size)
    what = np.repeat([code_of(What.NONE), code_of(What.ASYMMETRY), code_of(What.NONE)], visit.size)
    on = np.repeat([code_of(On.VALUE), code_of(On.ASYMMETRY), code_of(On.VALUE)], runners)
    value = np.concatenate([score, apart, grade])
    first = reference.reshape(runners, each)
    baselines = [
        np.where(first, part.reshape(runners, each), 0).sum(axis=1) / first.sum(axis=1)
        for part in (score, apart, grade)
    ]
    return replace(
        base,
        metrics=METRICS,
        runners=base.runners.assign(
            kind=kind.astype("int8"), start_day=START, registered_day=20_000.0,
            first_visit_day=START - 14, baseline_first_day=START - 14, baseline_last_day=START,
            baseline_speed=speed, adherence=adherence, onset_day=19_990.0,
        ),
        visits=small(
            {
                "runner": runner, "visit_id": visit + 1, "day": day,
                "kind": np.zeros(visit.size), "counts": np.ones(visit.size),
                "reference": reference, "later": ~reference,
                "due_day": np.full(visit.size, np.nan),
                "speed_km_h": speed[runner], "clinician": np.zeros(visit.size),
            },
            VISITS,
        ),
        levels=small(
            {
                "runner": np.tile(runner, 3), "visit": np.tile(visit, 3), "metric": metric,
                "what": what, "reference": np.tile(reference, 3), "value": value,
                "sem": np.full(value.size, ERROR), "origin": np.zeros(value.size),
                "refused": np.zeros(value.size),
                "ref": np.concatenate([runner, runner + runners, runner + 2 * runners]),
                "call": np.full(value.size, -1), "reason": np.full(value.size, -1),
                "moved": np.full(value.size, -1), "change": np.full(value.size, np.nan),
                "mdc95": np.full(value.size, np.nan),
            },
            LEVELS,
        ),
        references=small(
            {
                "runner": np.tile(np.arange(runners), 3),
                "metric": np.repeat([SCORE, SIDED, GRADE], runners),
                "what": what[:: each], "baseline": np.concatenate(baselines),
                "sem": np.full(3 * runners, ERROR), "visits": np.full(3 * runners, 2),
                "origin": np.zeros(3 * runners), "on": on, "worse": np.zeros(3 * runners),
            },
            REFERENCES,
        ),
    )  # fmt: skip


assert START + max(DAYS) < AS_OF
