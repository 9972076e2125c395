from __future__ import annotations

import math
from typing import Any

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    ErrorOrigin,
    Scale,
    check_figure_fits,
)
from tests.builders import a_metric


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"key": "Knie"}, "key"),
        ({"key": "1st"}, "key"),
        ({"key": "a" * 64}, "key"),
        ({"label": " "}, "label"),
        ({"unit": ""}, "unit"),
        ({"plausible_low": 900.0}, "plausible_low"),
        ({"plausible_high": math.inf}, "plausible_low"),
        ({"resolution": -0.1}, "resolution"),
        ({"resolution": math.nan}, "resolution"),
        ({"usual_trials": 0}, "usual_trials"),
        ({"better": Better.RANGE}, "target_low"),
        ({"better": Better.RANGE, "target_low": 5.0}, "target_low"),
        ({"better": Better.RANGE, "target_low": 5.0, "target_high": 5.0}, "target_low"),
        ({"better": Better.RANGE, "target_low": 5.0, "target_high": math.nan}, "target_low"),
        ({"sided": False}, "asymmetry_form"),
        (
            {"scale": Scale.GRADE, "grades": ("none",), "asymmetry_form": AsymmetryForm.NONE},
            "grades",
        ),
        ({"scale": Scale.INTERVAL}, "asymmetry_form"),
    ],
)
def test_a_metric_that_makes_no_sense_is_refused_by_name(
    changes: dict[str, Any], column: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        a_metric(**changes)
    assert [problem.column for problem in refused.value.problems] == [column]
    assert "expected" in str(refused.value)


def test_every_fault_of_a_metric_is_told_at_once() -> None:
    with pytest.raises(InputRefused) as refused:
        a_metric(label="", unit="", usual_trials=0)
    assert len(refused.value.problems) == 3


@pytest.mark.parametrize(
    "changes",
    [
        {"better": Better.RANGE, "target_low": 5.0, "target_high": 6.0},
        {"sided": False, "asymmetry_form": AsymmetryForm.NONE},
        {"scale": Scale.COUNT, "asymmetry_form": AsymmetryForm.LOG_RATIO},
        {"scale": Scale.INTERVAL, "asymmetry_form": AsymmetryForm.DIFFERENCE},
    ],
)
def test_a_sensible_metric_is_taken(changes: dict[str, Any]) -> None:
    metric = a_metric(**changes)
    assert all(getattr(metric, name) == value for name, value in changes.items())


def _figure(**changes: Any) -> ErrorFigure:
    start: dict[str, Any] = {
        "metric": "test_strength",
        "applies_to": AppliesTo.SIDE_VALUE,
        "origin": ErrorOrigin.OWN,
        "source": "a study in a test",
    }
    return ErrorFigure(**(start | changes))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sem": 1.0, "sem_trials": 3, "source": " "}, "no source"),
        ({"sem": 1.0, "sem_trials": 3, "origin": ErrorOrigin.NONE}, "origin is 'none'"),
        ({}, "not all zero"),
        ({"between_sd": 0.0, "within_sd": 0.0}, "not all zero"),
        ({"between_sd": -1.0, "within_sd": 1.0}, "zero or more"),
        ({"sem": math.nan, "sem_trials": 3}, "must be a number"),
        ({"sem": 1.0, "within_sd": 1.0}, "not both"),
        ({"sem": 1.0, "between_sd": 1.0}, "not both"),
        ({"sem": 1.0}, "number of trials"),
        ({"sem": 1.0, "sem_trials": 0}, "number of trials"),
        ({"between_sd": 1.0}, "within-session part beside it"),
        ({"between_sd": 1.0, "within_sd": 1.0, "sem_trials": 3}, "need none"),
        ({"within_sd": 1.0}, "lower bound"),
        (
            {"sem": 1.0, "sem_trials": 3, "origin": ErrorOrigin.WITHIN_SESSION},
            "only such a one is",
        ),
        ({"grade_step": 1, "sem": 1.0}, "stands alone"),
        ({"grade_step": 1, "within_sd": 1.0}, "stands alone"),
        ({"grade_step": 1, "sem_trials": 3}, "stands alone"),
        ({"grade_step": -1}, "whole number of grades, 0 to 20"),
        ({"grade_step": 21}, "whole number of grades, 0 to 20"),
        ({"grade_step": 1, "origin": ErrorOrigin.WITHIN_SESSION}, "own or published"),
        ({"grade_step": 1, "origin": ErrorOrigin.NONE}, "own or published"),
    ],
)
def test_an_error_figure_that_could_mislead_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputRefused, match=words) as refused:
        _figure(**changes)
    assert "test_strength" in str(refused.value)


@pytest.mark.parametrize(
    "changes",
    [
        {"sem": 1.0, "sem_trials": 3},
        {"between_sd": 1.0, "within_sd": 0.0},
        {"within_sd": 1.0, "origin": ErrorOrigin.WITHIN_SESSION},
        {"grade_step": 0},
        {"grade_step": 1, "origin": ErrorOrigin.PUBLISHED},
    ],
)
def test_each_of_the_four_kinds_of_figure_is_taken(changes: dict[str, Any]) -> None:
    figure = _figure(**changes)
    assert all(getattr(figure, name) == value for name, value in changes.items())


def test_a_figure_of_an_asymmetry_needs_a_metric_that_has_one() -> None:
    figure = _figure(sem=1.0, sem_trials=3, applies_to=AppliesTo.ASYMMETRY)
    check_figure_fits(figure, a_metric())
    with pytest.raises(InputRefused, match="asymmetry form is 'none'"):
        check_figure_fits(figure, a_metric(asymmetry_form=AsymmetryForm.NONE))


def test_a_grade_has_a_grade_step_and_nothing_else_has_one() -> None:
    graded = a_metric(
        scale=Scale.GRADE, grades=("good", "poor"), asymmetry_form=AsymmetryForm.DIFFERENCE
    )
    step, sem = _figure(grade_step=1), _figure(sem=1.0, sem_trials=3)
    check_figure_fits(step, graded)
    check_figure_fits(sem, a_metric())
    with pytest.raises(InputRefused, match="belongs to a graded metric only"):
        check_figure_fits(step, a_metric())
    with pytest.raises(InputRefused, match="a standard deviation of grades has no meaning"):
        check_figure_fits(sem, graded)
