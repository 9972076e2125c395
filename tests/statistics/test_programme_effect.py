"""What changed about a programme: no more than the visits allow, and by the right side."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.metrics import Better
from casebook.domain.programme_effects import MetricEffect, counts_of
from casebook.domain.programmes import TargetDirection
from casebook.domain.verdicts import Call, SideMoved, What
from casebook.statistics.programme_effect import (
    MetricSeries,
    Readings,
    Span,
    effect_on,
    overlapping,
    phase_masks,
)

SPAN = Span(start=10.0, end=100.0)


def readings(days: list[float], values: list[float], sem: float = 1.0) -> Readings:
    return Readings(
        days=np.array(days), values=np.array(values), sems=np.full(len(days), sem)
    )  # fmt: skip


def series(data: Readings, **changes: Any) -> MetricSeries:
    made = MetricSeries(
        metric="m", what=What.LEFT, targeted=True, better=Better.HIGHER, readings=data
    )
    return replace(made, **changes)


DAYS = st.lists(st.integers(-50, 200), min_size=0, max_size=20, unique=True).map(
    lambda days: np.array(sorted(days), dtype=float)
)
SPANS = st.tuples(st.integers(-50, 150), st.none() | st.integers(1, 80)).map(
    lambda pair: Span(
        start=float(pair[0]), end=None if pair[1] is None else float(pair[0] + pair[1])
    )
)


@given(DAYS, SPANS, st.lists(SPANS, max_size=3))
def test_no_visit_lies_in_two_phases_of_one_programme_and_alone_all_lie_in_one(
    days: np.ndarray, span: Span, others: list[Span]
) -> None:
    masks = phase_masks(days, span, others)
    assert np.all(sum(mask.astype(int) for mask in masks) <= 1)
    alone = phase_masks(days, span)
    assert np.all(sum(mask.astype(int) for mask in alone) == 1)


def test_an_earlier_programme_ends_where_the_baseline_of_the_next_begins() -> None:
    days = np.array([0.0, 10.0, 40.0, 50.0, 80.0, 120.0])
    first, second = Span(start=10.0, end=50.0), Span(start=60.0, end=100.0)
    before, during, after = phase_masks(days, second, [first])
    assert days[before].tolist() == [50.0]
    assert days[during].tolist() == [80.0]
    assert days[after].tolist() == [120.0]
    assert days[phase_masks(days, first, [second])[2]].tolist() == []
    running = phase_masks(days, second, [Span(start=30.0)])
    assert days[running[0]].tolist() == [40.0, 50.0]


@pytest.mark.parametrize("until", [49.0, None])
def test_what_an_earlier_programme_changed_is_not_counted_for_the_next_as_well(
    until: float | None,
) -> None:
    # The first one brought 10 by day 50; nothing changed after the second began.
    data = readings([0, 28, 50, 80], [0.0, 6.0, 10.0, 10.5])
    found = effect_on(series(data), Span(start=50.0), [Span(start=0.0, end=until)])
    assert found.change is not None
    assert (found.change.change, found.call) == (0.5, Call.UNCHANGED)
    never = effect_on(series(data), Span(start=50.0), [Span(start=49.5)])
    assert (never.phases[0].visits, never.change) == (1, found.change)
    nothing = effect_on(series(data), Span(start=45.0), [Span(start=40.0)])
    assert (nothing.phases[0].visits, nothing.change) == (0, None)


def test_programmes_of_the_same_weeks_overlap_and_those_end_to_start_do_not() -> None:
    spans = [Span(start=0.0, end=10.0), Span(start=100.0), Span(start=99.0), Span(start=0.0)]
    assert overlapping(SPAN, spans) == (2, 3)


@pytest.mark.parametrize(
    ("last", "better", "call"),
    [
        (15.0, Better.HIGHER, Call.IMPROVED),
        (5.0, Better.HIGHER, Call.WORSENED),
        (5.0, Better.LOWER, Call.IMPROVED),
        (11.0, Better.HIGHER, Call.UNCHANGED),
        (15.0, Better.NONE, Call.CANNOT_SAY),
    ],
)
def test_the_last_visit_of_the_programme_is_held_against_the_mean_before(
    last: float, better: Better, call: Call
) -> None:
    data = readings([0, 10, 60, 90, 120], [9.0, 11.0, 99.0, last, 99.0])
    found = effect_on(series(data, better=better), SPAN)
    assert found.change is not None
    assert found.change.change == last - 10.0
    assert found.call is call
    half = 1.959964 * math.sqrt(1.0 + 0.5)
    assert found.change.low == pytest.approx(last - 10.0 - half, abs=1e-5)
    assert [phase.visits for phase in found.phases] == [2, 2, 1]
    assert found.kept is not None
    assert found.kept.change == 89.0


def test_a_range_is_better_when_it_is_reached() -> None:
    data = readings([0, 90], [160.0, 175.0])
    found = effect_on(series(data, better=Better.RANGE, low=170.0, high=180.0), SPAN)
    assert found.call is Call.IMPROVED


def test_without_a_visit_during_the_first_one_after_counts_and_nothing_besides() -> None:
    found = effect_on(series(readings([0, 110], [10.0, 20.0])), SPAN)
    assert found.change is not None
    assert found.change.change == 10.0
    assert found.kept is None
    later = effect_on(series(readings([0, 110, 130], [10.0, 20.0, 12.0])), SPAN)
    assert later.kept is not None
    assert later.kept.call is Call.UNCHANGED


@pytest.mark.parametrize("days", [[0.0], [50.0], []])
def test_with_visits_on_one_side_of_the_start_alone_there_is_no_change(days: list[float]) -> None:
    found = effect_on(series(readings(days, [10.0] * len(days))), SPAN)
    assert found.change is None
    assert found.call is Call.CANNOT_SAY
    assert found.levels is None
    assert found.overlap is None
    assert found.kept is None


def test_an_error_that_is_not_known_leaves_the_numbers_without_a_verdict() -> None:
    data = readings([0, 1, 2, 50, 60, 70], [1.0, 2.0, 3.0, 7.0, 8.0, 9.0], math.nan)
    found = effect_on(series(data, others=np.arange(20.0), other_sems=np.ones(20)), SPAN)
    assert found.change is not None
    assert found.change.beyond_error is None
    assert found.call is Call.CANNOT_SAY
    assert found.phases[0].sem is None
    assert found.regression is None
    assert found.overlap is not None
    assert found.overlap.higher == 1.0
    assert "needs 4 visits" in found.lacking


def test_with_four_visits_in_each_level_and_slope_come_out_as_they_were_put_in() -> None:
    days = np.array([-60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0, 80.0, 140.0])
    start = 10.0
    put_in = days > start
    values = 10.0 + 0.1 * (days - start) + 3.0 * put_in + 0.2 * put_in * (days - start)
    values[-1] = 1000.0  # after the end: no part of the line
    found = effect_on(series(readings(days.tolist(), values.tolist(), 0.1)), SPAN)
    assert found.levels is not None
    assert found.levels.level.change == pytest.approx(3.0)
    assert found.levels.slope.change == pytest.approx(0.2 * 7)
    assert found.levels.slope_before.change == pytest.approx(0.1 * 7)
    assert found.levels.slope_before.beyond_error
    assert found.lacking == ""


def asymmetry(of_left: list[float], of_right: list[float], **changes: Any) -> MetricEffect:
    days = [0.0, 5.0, 90.0]
    one, other = readings(days, of_left), readings(days, of_right)
    both = Readings(
        days=one.days, values=other.values - one.values, sems=np.hypot(one.sems, other.sems)
    )
    made = series(both, what=What.ASYMMETRY, left=one, right=other)
    return effect_on(replace(made, **changes), SPAN)


@pytest.mark.parametrize(
    ("left", "right", "call", "moved"),
    [
        ([10, 10, 19], [20, 20, 20], Call.IMPROVED, SideMoved.WORSE_SIDE_GAINED),
        ([10, 10, 10], [20, 20, 11], Call.IMPROVED, SideMoved.BETTER_SIDE_FELL),
        ([10, 10, 15], [20, 20, 15], Call.IMPROVED, SideMoved.BOTH),
        ([10, 10, 10], [20, 20, 20], Call.UNCHANGED, SideMoved.NEITHER),
        ([10, 10, 1], [20, 20, 20], Call.WORSENED, None),
        ([10, 10, 30], [20, 20, 20], Call.CANNOT_SAY, SideMoved.WORSE_SIDE_GAINED),
    ],
)
def test_an_asymmetry_that_shrank_tells_which_side_it_came_from(
    left: list[float], right: list[float], call: Call, moved: SideMoved | None
) -> None:
    found = asymmetry(left, right)
    assert (found.call, found.side_moved) == (call, moved)


@pytest.mark.parametrize(
    ("left", "right", "hollow"),
    [
        ([20, 20, 12], [30, 30, 15], True),
        ([20, 20, 12], [30, 30, 26], False),
        ([10, 10, 15], [20, 20, 15], False),
        ([20, 20, 30], [30, 30, 33], False),
    ],
)
def test_a_gap_that_closed_while_both_sides_became_worse_is_no_gain(
    left: list[float], right: list[float], hollow: bool
) -> None:
    found = asymmetry(left, right)
    assert found.side_moved is SideMoved.BOTH
    assert found.hollow is hollow


@pytest.mark.parametrize(
    ("aim", "last", "call"),
    [
        (TargetDirection.UP, 180.0, Call.IMPROVED),
        (TargetDirection.DOWN, 180.0, Call.WORSENED),
        (TargetDirection.UP, 171.0, Call.UNCHANGED),
        (None, 180.0, Call.CANNOT_SAY),
    ],
)
def test_where_neither_way_is_better_the_programmes_aim_says_which_is(
    aim: TargetDirection | None, last: float, call: Call
) -> None:
    data = readings([0, 5, 90], [170.0, 170.0, last])
    found = effect_on(series(data, better=Better.NONE, aim=aim), SPAN)
    assert (found.call, found.aimed) == (call, aim is not None)
    # What the catalogue knows to be better stays so, whatever was aimed at.
    known = effect_on(series(data, better=Better.HIGHER, aim=TargetDirection.DOWN), SPAN)
    assert not known.aimed
    assert known.call in {Call.IMPROVED, Call.UNCHANGED}


@pytest.mark.parametrize(
    ("last", "call"), [(1.0, Call.IMPROVED), (2.0, Call.UNCHANGED), (5.0, Call.WORSENED)]
)
def test_a_grade_is_held_against_its_step_as_every_other_verdict_on_it_is(
    last: float, call: Call
) -> None:
    data = readings([0, 5, 90], [3.0, 3.0, last], math.nan)
    found = effect_on(series(data, better=Better.LOWER, step=1.0), SPAN)
    assert found.call is call
    assert found.change is not None
    assert (found.change.within, found.change.low, found.change.beyond_error) == (1.0, None, None)


def test_an_asymmetry_of_grades_has_a_direction_beyond_its_step() -> None:
    shrank = asymmetry([1, 1, 1], [4, 4, 2], better=Better.LOWER, step=1.0)
    assert (shrank.call, shrank.side_moved) == (Call.IMPROVED, SideMoved.WORSE_SIDE_GAINED)


def test_sides_that_are_not_known_or_not_of_the_same_days_tell_nothing() -> None:
    assert asymmetry([10, 10, 19], [20, 20, 20], left=None).side_moved is None
    other = readings([1.0, 91.0], [20.0, 20.0])
    assert asymmetry([10, 10, 19], [20, 20, 20], right=other).side_moved is None
    assert asymmetry([10, 10, 19], [20, 20, 20], left=other).side_moved is None


@pytest.mark.parametrize(("last", "beyond"), [(70.0, True), (45.0, False), (10.0, True)])
def test_the_part_that_is_expected_by_itself_is_taken_off(last: float, beyond: bool) -> None:
    others = np.array([70.0, 90.0] * 10)
    data = readings([0, 90], [40.0, last], 5.0)
    found = effect_on(series(data, others=others, other_sems=np.full(20, 5.0)), SPAN)
    assert found.regression is not None
    assert found.regression.expected > 5.0
    assert found.beyond_regression is beyond


def test_where_nothing_is_known_of_the_error_later_nothing_is_beyond_the_expected_part() -> None:
    data = Readings(
        days=np.array([0.0, 90.0]), values=np.array([40.0, 60.0]), sems=np.array([5.0, math.nan])
    )
    others = np.array([70.0, 90.0] * 10)
    found = effect_on(series(data, others=others, other_sems=np.full(20, 5.0)), SPAN)
    assert found.regression is not None
    assert found.beyond_regression is None


@pytest.mark.simulated
@pytest.mark.parametrize("truth", [0.0, 8.0])
def test_simulated_runners_are_told_wrongly_as_seldom_as_stated(truth: float) -> None:
    generator, runs = np.random.default_rng(20261127), 500
    calls = []
    for _ in range(runs):
        values = generator.normal(0.0, 1.5, 4) + np.array([0.0, 0.0, 0.0, truth])
        calls.append(effect_on(series(readings([0, 5, 40, 90], values.tolist(), 1.5)), SPAN).call)
    if truth:
        assert calls.count(Call.IMPROVED) / runs > 0.95
        assert calls.count(Call.WORSENED) == 0
    else:
        limit = 0.05 + 3 * math.sqrt(0.05 * 0.95 / runs)
        assert 1 - calls.count(Call.UNCHANGED) / runs <= limit


@given(st.lists(st.floats(-20, 20), min_size=4, max_size=9), st.floats(-100, 100))
def test_moving_the_zero_moves_no_verdict(values: list[float], shift: float) -> None:
    days = [20.0 * number - 20.0 for number in range(len(values))]
    plain = effect_on(series(readings(days, values)), SPAN)
    moved = effect_on(series(readings(days, [value + shift for value in values])), SPAN)
    assert plain.change is not None
    assert moved.change is not None
    assert moved.change.change == pytest.approx(plain.change.change, abs=1e-9)
    # A change that equals its error to the last digit may fall on either side.
    if abs(abs(plain.change.change) - (plain.change.change - (plain.change.low or 0.0))) > 1e-9:
        assert moved.call is plain.call


def test_counts_tell_what_can_be_told_of_how_many() -> None:
    effects = [
        effect_on(series(readings([0, 90], [10.0, last])), SPAN) for last in (20.0, 10.0, 1.0)
    ]
    counts = counts_of([*effects, effect_on(series(readings([0], [1.0])), SPAN)])
    assert (counts.improved, counts.unchanged, counts.worsened, counts.not_told) == (1, 1, 1, 1)
    assert counts.share_improved == pytest.approx(1 / 3)
    assert counts_of([]).share_improved is None
