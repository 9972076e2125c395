"""What must not change a verdict: sides swapped, another unit, a constant, more trials.

Through `judge`, with everything that a metric and a figure can have: target ranges, important
changes, resolutions, figures of the asymmetry, grades.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
)
from casebook.domain.verdicts import What
from casebook.statistics.codes import code_of
from casebook.statistics.judgement import Judged, judge
from tests.statistics.caseloads import AVisit, a_figure, an_angle, frames_of

ASYMMETRY = code_of(What.ASYMMETRY)
CALLED = ["visit", "what", "call", "reason", "moved", "origin", "bridged", "refused", "latest_n"]
OF_ASYMMETRY = AppliesTo.ASYMMETRY
means = st.integers(8 * 64, 60 * 64).map(lambda x: x / 64)  # sums of these are exact
spreads = st.one_of(st.just(np.nan), st.sampled_from([0.25, 1.0, 3.0]))
readings = st.tuples(means, st.integers(2, 8), spreads)
figures_in_use = st.sampled_from(
    [
        (),
        (a_figure(between_sd=1.5, within_sd=2.0),),
        (a_figure(sem=2.0, sem_trials=5),),
        (a_figure(within_sd=2.0, origin=ErrorOrigin.WITHIN_SESSION),),
        (a_figure(sem=2.0, sem_trials=3), a_figure(sem=1.0, sem_trials=5, applies_to=OF_ASYMMETRY)),
        (a_figure(between_sd=1.0, within_sd=2.0, applies_to=OF_ASYMMETRY),),
    ]
)


@st.composite
def courses(draw: st.DrawFn) -> list[AVisit]:
    references = draw(st.integers(1, 2))
    return [
        AVisit(
            readings={(0, side): draw(readings) for side in (0, 1)}, reference=place < references
        )
        for place in range(references + draw(st.integers(1, 2)))
    ]


@st.composite
def metrics(draw: st.DrawFn) -> Metric:
    better = draw(st.sampled_from(Better))
    ranged = better is Better.RANGE
    return an_angle(
        better=better,
        scale=Scale.RATIO,
        resolution=draw(st.sampled_from([0.0, 0.5])),
        important_change=draw(st.sampled_from([None, 4.0])),
        target_low=20.0 if ranged else None,
        target_high=30.0 if ranged else None,
        asymmetry_form=draw(
            st.sampled_from(
                [AsymmetryForm.DIFFERENCE, AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO]
            )
        ),
    )


def _judge(
    frames: tuple[pd.DataFrame, pd.DataFrame], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> Judged:
    return judge(*frames, (metric,), figures)


@settings(max_examples=30)
@given(courses(), metrics(), figures_in_use)
def test_swapping_the_sides_swaps_what_stands_behind_an_asymmetry_and_nothing_else(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    values, visits = frames_of(course)
    one = _judge((values, visits), metric, figures).verdicts
    swapped = values.assign(side=1 - values["side"])
    other = _judge((swapped, visits), metric, figures).verdicts
    back = other.assign(what=other["what"].map({0: 1, 1: 0, 3: 3}).astype(np.int8))
    back = back.sort_values(["visit", "what"], ignore_index=True)
    pd.testing.assert_frame_equal(one[CALLED], back[CALLED])
    for mine, theirs in (
        ("left_change", "right_change"),
        ("right_change", "left_change"),
        ("left_mdc95", "right_mdc95"),
        ("right_mdc95", "left_mdc95"),
        ("p_important", "p_important"),
        ("best_sem", "best_sem"),
        ("latest_sem", "latest_sem"),
    ):
        np.testing.assert_allclose(one[mine], back[theirs], rtol=1e-9, atol=1e-12)
    assert (one["worse"] == -back["worse"]).all()


@settings(max_examples=30)
@given(courses(), metrics(), figures_in_use, st.sampled_from([0.125, 4.0, 1024.0]))
def test_another_unit_changes_no_verdict_and_no_probability(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...], by: float
) -> None:
    def times(number: float | None) -> float | None:
        return None if number is None else number * by

    form = metric.asymmetry_form
    in_the_unit = [
        figure
        for figure in figures
        if figure.applies_to is AppliesTo.SIDE_VALUE or form is AsymmetryForm.DIFFERENCE
    ]
    values, visits = frames_of(course)
    one = _judge((values, visits), metric, figures).verdicts
    other = _judge(
        (values.assign(mean=values["mean"] * by, sd=values["sd"] * by), visits),
        replace(
            metric,
            resolution=metric.resolution * by,
            important_change=times(metric.important_change),
            target_low=times(metric.target_low),
            target_high=times(metric.target_high),
        ),
        tuple(
            replace(
                figure,
                between_sd=times(figure.between_sd),
                within_sd=times(figure.within_sd),
                sem=times(figure.sem),
            )
            if figure in in_the_unit
            else figure
            for figure in figures
        ),
    ).verdicts
    pd.testing.assert_frame_equal(one[CALLED], other[CALLED])
    for column in ("p_better", "p_important"):
        np.testing.assert_allclose(one[column], other[column], rtol=1e-9, atol=1e-12)
    factor = np.where((one["what"] == ASYMMETRY) & (form is not AsymmetryForm.DIFFERENCE), 1.0, by)
    for column in ("change", "mdc95", "best_sem", "latest_sem"):
        np.testing.assert_allclose(one[column] * factor, other[column], rtol=1e-9, atol=1e-12)


@settings(max_examples=30)
@given(courses(), metrics(), figures_in_use, st.integers(-64, 64))
def test_a_constant_added_to_all_visits_and_to_the_range_changes_no_verdict_on_a_difference(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...], shift: int
) -> None:
    def moved(number: float | None) -> float | None:
        return None if number is None else number + shift

    metric = replace(metric, asymmetry_form=AsymmetryForm.DIFFERENCE)
    values, visits = frames_of(course)
    one = _judge((values, visits), metric, figures).verdicts
    with_range = replace(
        metric, target_low=moved(metric.target_low), target_high=moved(metric.target_high)
    )
    moved_values = values.assign(mean=values["mean"] + shift)
    other = _judge((moved_values, visits), with_range, figures).verdicts
    pd.testing.assert_frame_equal(one[CALLED], other[CALLED])
    for column in ("change", "mdc95", "p_better", "p_important"):
        np.testing.assert_allclose(one[column], other[column], rtol=1e-9, atol=1e-9)
    # The verdict on the difference of sides does not ask where the range is.
    left = _judge((moved_values, visits), metric, figures).verdicts
    asymmetry = one["what"] == ASYMMETRY
    same = ["visit", "call", "reason"]
    pd.testing.assert_frame_equal(one.loc[asymmetry, same], left.loc[asymmetry, same])


@settings(max_examples=30)
@given(
    courses(), metrics(), figures_in_use, st.sampled_from([np.nan, 0.25, 3.0]), st.integers(1, 5)
)
def test_more_trials_at_every_visit_never_raise_an_error(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...], sd: float, more: int
) -> None:
    values, visits = frames_of(course)
    # One spread everywhere, so that pooling weighs nothing differently.
    values = values.assign(sd=sd)
    one = _judge((values, visits), metric, figures)
    other = _judge((values.assign(n=values["n"] + more), visits), metric, figures)
    slack = 1.0 + 1e-12
    for frame, column in (("measures", "sem"), ("verdicts", "mdc95")):
        before, now = getattr(one, frame)[column], getattr(other, frame)[column]
        known = before.notna()
        assert now[known].notna().all()
        assert (now[known] <= before[known] * slack).all()
    # Nor can they do more than they are said to.
    best, least = one.verdicts["best_sem"], other.verdicts["latest_sem"]
    told = best.notna() & least.notna()
    assert (best[told] <= least[told] * slack).all()


@settings(max_examples=30)
@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=2, max_size=4),
    st.integers(0, 2),
    st.sampled_from([Better.HIGHER, Better.LOWER]),
)
def test_grades_change_by_more_than_the_step_or_not_at_all(
    grades: list[tuple[int, int]], step: int, better: Better
) -> None:
    metric = an_angle(scale=Scale.GRADE, grades=("a", "b", "c", "d"), better=better)
    figures = tuple(
        ErrorFigure(
            metric="test_drop",
            applies_to=applies_to,
            origin=ErrorOrigin.OWN,
            grade_step=step,
            source="regrading",
        )
        for applies_to in AppliesTo
    )
    course = [
        AVisit(
            readings={(0, 0): (float(left), 1, np.nan), (0, 1): (float(right), 1, np.nan)},
            reference=place == 0,
        )
        for place, (left, right) in enumerate(grades)
    ]
    found = judge(*frames_of(course), (metric,), figures).verdicts
    sides = found[found["what"] != ASYMMETRY]
    moved = (sides["change"].abs() > step).to_numpy()
    better_way = (sides["change"] > 0) == (better is Better.HIGHER)
    expected = np.where(~moved, 2, np.where(better_way, 0, 1))
    np.testing.assert_array_equal(sides["call"], expected)
    asymmetry = found[found["what"] == ASYMMETRY]
    grown = asymmetry["latest"].abs() - asymmetry["baseline"].abs()
    assert ((asymmetry["call"] == 1) == (grown > step)).all()
    assert (grown[asymmetry["call"] == 0] < -step).all()
