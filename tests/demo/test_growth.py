"""Growth models of the demo clinic, held against the true mean slope of each metric there."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

import seed_demo
from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import CohortGrowth, FitCheck, Term
from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import AsymmetryForm, Metric, Scale
from casebook.services.cohort import LoadedCohort, load_cohort
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_growth import cohort_growth
from casebook.services.cohort_growth_rows import growth_rows
from casebook.services.keeping import open_casebook
from tests.demo.expected import LEVEL

CHOICE = AuditChoice(as_of=date(2026, 11, 27))
DAYS_A_WEEK = 7.0


@pytest.fixture(scope="module")
def loaded(demo_built: Path) -> Iterator[LoadedCohort]:
    casebook = open_casebook(str(demo_built))
    yield load_cohort(casebook)
    casebook.close()


def true_slope(loaded: LoadedCohort, at: int, on: On, truth: pd.DataFrame) -> float:
    """Mean over the runners of what truly changed a week, in the direction that is modelled."""
    metric = loaded.metrics[at]
    rows = growth_rows(loaded, choose(loaded, CHOICE), at, on, by=False, least=5)
    assert rows is not None
    references = loaded.references[
        (loaded.references["metric"] == at) & (loaded.references["what"] == 3)
    ].set_index("runner")
    slopes = []
    for runner in rows.runner:
        row = truth.loc[f"SKV-{runner + 1:02d}"]
        if on is On.VALUE:
            change = row["now_none"] - row["before_none"]
        else:
            before, now = (apart(metric, row, when) for when in ("before", "now"))
            change = (now - before) * (-1 if references.loc[runner, "baseline"] < 0 else 1)
        visits = loaded.visits[loaded.visits["runner"] == runner]
        weeks = visits["day"].max() - visits.loc[visits["reference"], "day"].max()
        slopes.append(change / (weeks / DAYS_A_WEEK))
    return float(np.mean(slopes))


def apart(metric: Metric, row: pd.Series, when: str) -> float:
    left, right = float(row[f"{when}_left"]), float(row[f"{when}_right"])
    if metric.asymmetry_form is AsymmetryForm.DIFFERENCE:
        return right - left
    return 100 * (right - left) / ((right + left) / 2)


def test_intervals_of_the_slope_hold_the_true_one_as_often_as_they_say(
    loaded: LoadedCohort,
) -> None:
    truth = seed_demo.truth()
    held = []
    for at, metric in enumerate(loaded.metrics):
        rows = truth[truth["metric"] == metric.key].set_index("runner")
        if metric.scale is Scale.GRADE or len(rows) < 20:
            continue
        on = On.ASYMMETRY if metric.sided else On.VALUE
        found = cohort_growth(loaded, CHOICE, metric.key, on, by=False)
        assert isinstance(found, CohortGrowth)
        assert found.check in {FitCheck.AGREES, FitCheck.CLOSED_FORM}
        slope = next(term for term in found.terms if term.what is Term.SLOPE)
        held.append(slope.low <= true_slope(loaded, at, on, rows) <= slope.high)
    assert len(held) >= 12
    assert sum(held) >= binom.ppf(LEVEL, len(held), 0.95)


def test_a_direction_that_was_picked_by_the_baseline_shows_as_a_step_that_is_none(
    loaded: LoadedCohort,
) -> None:
    """Regression to the mean, which the model's words warn of: nobody truly jumps at the start."""
    found = cohort_growth(loaded, CHOICE, "contralateral_pelvic_drop", On.ASYMMETRY)
    assert isinstance(found, CohortGrowth)
    step = next(term for term in found.terms if term.what is Term.STEP)
    assert step.estimate < 0
    assert any("expected by itself" in words for words in found.words)
