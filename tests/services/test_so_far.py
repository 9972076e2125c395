"""The error that a change is held against while it is typed is the one of the verdict."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Condition,
    ErrorFigure,
    ErrorOrigin,
    Scale,
)
from casebook.domain.reach import Reach
from casebook.domain.sides import Side
from casebook.domain.verdicts import Call, What
from casebook.domain.visits import (
    Conditions,
    MissingReason,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services.cataloguing import adopt_figure, list_figures
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.reviewing import review_runner
from casebook.services.so_far import side_figures, so_far, unlike
from tests.builders import STRENGTH, a_metric, a_visit

LAST = value_of_trials(STRENGTH, Side.LEFT, (300.0, 302.0, 298.0))
FIGURE = ErrorFigure(
    metric=STRENGTH,
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    between_sd=4.0,
    within_sd=6.0,
    source="own",
)
MEAN_OF_7 = replace(FIGURE, between_sd=None, within_sd=None, sem=3.0, sem_trials=7)
LOWER = replace(FIGURE, between_sd=None, origin=ErrorOrigin.WITHIN_SESSION)


@pytest.mark.parametrize(("right", "marking_sd"), [(330.0, None), (305.0, None), (330.0, 40.0)])
def test_the_limit_and_its_call_agree_with_the_verdict_after_the_save(
    sqlite_clinic: Casebook, right: float, marking_sd: float | None
) -> None:
    adopt_figure(sqlite_clinic, FIGURE)
    last = replace(LAST, marking_sd=marking_sd)
    now = value_of_trials(STRENGTH, Side.LEFT, (right, right + 2.0))
    for day, kind, value in (
        (date(2026, 1, 5), VisitKind.BASELINE, last),
        (date(2026, 2, 5), VisitKind.REVIEW, now),
    ):
        record_visit(sqlite_clinic, a_visit(visited_on=day, kind=kind, values=(value,)), by="")
    figure = side_figures(list_figures(sqlite_clinic))[STRENGTH]
    told = so_far(a_metric(), figure, now, last)
    review = review_runner(sqlite_clinic, "T-001")
    verdict = next(v for v in review.verdicts if (v.metric, v.what) == (STRENGTH, What.LEFT))
    assert told is not None
    assert told.limit == pytest.approx(verdict.mdc95)
    assert (told.reach is Reach.BEYOND) == (verdict.verdict is Call.IMPROVED)


def test_nothing_is_said_that_the_figure_does_not_bear() -> None:
    metric = a_metric()
    few, many = (value_of_mean(STRENGTH, Side.LEFT, 400.0, n) for n in (3, 7))
    seven = value_of_mean(STRENGTH, Side.LEFT, 300.0, 7)
    reached = [
        so_far(metric, figure, now, last)
        for figure, now, last in (
            (None, many, seven),
            (MEAN_OF_7, few, seven),
            (MEAN_OF_7, many, seven),
            (LOWER, many, seven),
            (LOWER, seven, seven),
        )
    ]
    assert [one.reach for one in reached if one] == [
        Reach.NO_FIGURE,
        Reach.NEEDS_TRIALS,
        Reach.BEYOND,
        Reach.BEYOND_LOWER_BOUND,
        Reach.WITHIN,
    ]
    missing = missing_value(STRENGTH, Side.LEFT, MissingReason.PAINFUL)
    assert so_far(metric, FIGURE, missing, LAST) is None


def test_a_grade_is_held_against_the_step_of_repeat_grading() -> None:
    metric = a_metric(
        unit="{grade}", scale=Scale.GRADE, grades=tuple("abcd"), asymmetry_form=AsymmetryForm.NONE
    )
    step = replace(FIGURE, between_sd=None, within_sd=None, grade_step=1)
    grades = [value_of_trials(STRENGTH, Side.LEFT, (grade,)) for grade in (0.0, 1.0, 2.0)]
    told = [so_far(metric, step, grade, grades[0]) for grade in grades]
    assert [one.reach for one in told if one] == [Reach.WITHIN, Reach.WITHIN, Reach.BEYOND]


def test_conditions_that_differ_are_found_and_those_not_recorded_are_not() -> None:
    last = Conditions(speed_km_h=10.0, surface="treadmill", frames_per_s=120.0)
    now = Conditions(speed_km_h=12.0, surface=" Treadmill", footwear="racing")
    assert unlike(now, last) == {Condition.SPEED}
