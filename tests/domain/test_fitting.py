"""Does a value fit its metric?"""

from __future__ import annotations

import pytest

from casebook.domain.fitting import reading_problem, side_problem, value_problems
from casebook.domain.metrics import AsymmetryForm, Metric, Scale
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from tests.builders import STRENGTH, a_metric

GRADE = a_metric(
    scale=Scale.GRADE, grades=("good", "fair", "poor"), asymmetry_form=AsymmetryForm.DIFFERENCE
)
COUNT = a_metric(scale=Scale.COUNT)
ANGLE = a_metric(scale=Scale.INTERVAL, asymmetry_form=AsymmetryForm.DIFFERENCE)
WIDTH = a_metric(plausible_low=-5.0)
SCORE = a_metric(scale=Scale.SCORE, asymmetry_form=AsymmetryForm.DIFFERENCE)


@pytest.mark.parametrize(
    ("sided", "side", "code"),
    [
        (True, Side.LEFT, None),
        (True, Side.RIGHT, None),
        (True, Side.NONE, "side_missing"),
        (False, Side.NONE, None),
        (False, Side.LEFT, "side_not_expected"),
    ],
)
def test_a_side_is_given_where_there_are_sides_and_nowhere_else(
    sided: bool, side: Side, code: str | None
) -> None:
    problem = side_problem(a_metric(sided=sided, asymmetry_form=AsymmetryForm.NONE), side)
    assert (problem.code if problem else None) == code


@pytest.mark.parametrize(
    ("metric", "reading", "fits"),
    [
        (GRADE, 0.0, True),
        (GRADE, 2.0, True),
        (GRADE, 3.0, False),
        (GRADE, -1.0, False),
        (GRADE, 0.5, False),
        (COUNT, 25.0, True),
        (COUNT, 25.5, False),
        (COUNT, -1.0, False),
        (a_metric(), 0.0, True),
        (a_metric(), -310.0, False),
        (a_metric(), 5000.0, True),
        (WIDTH, -2.0, True),
        (ANGLE, -12.5, True),
        (SCORE, -1.0, True),
    ],
)
def test_a_reading_is_possible_on_its_scale_or_refused(
    metric: Metric, reading: float, fits: bool
) -> None:
    problem = reading_problem(metric, reading)
    assert (problem is None) == fits
    if problem is not None:
        assert f"{reading:g}" in problem.message
        assert metric.key in problem.message


@pytest.mark.parametrize(
    ("metric", "value", "problems"),
    [
        (GRADE, value_of_trials(STRENGTH, Side.LEFT, [0, 1, 1.5, 7]), 2),
        (GRADE, value_of_mean(STRENGTH, Side.LEFT, 1.5, 2), 0),
        (GRADE, value_of_mean(STRENGTH, Side.LEFT, 1.5, 1), 1),
        (GRADE, value_of_mean(STRENGTH, Side.LEFT, 2.1, 2), 1),
        (COUNT, value_of_mean(STRENGTH, Side.LEFT, 24.5, 2), 0),
        (COUNT, value_of_mean(STRENGTH, Side.LEFT, -0.5, 2), 1),
        (a_metric(), value_of_mean(STRENGTH, Side.LEFT, -5.0, 3), 1),
        (a_metric(), value_of_mean(STRENGTH, Side.NONE, -5.0, 3), 2),
        (a_metric(), missing_value(STRENGTH, Side.LEFT, MissingReason.PAINFUL), 0),
    ],
)
def test_every_misfit_of_a_value_is_told(metric: Metric, value: Value, problems: int) -> None:
    assert len(value_problems(metric, value)) == problems
