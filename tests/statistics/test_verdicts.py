"""Verdicts on small cases that can be checked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm, t

from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    Condition,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    Scale,
)
from casebook.domain.verdicts import Call, Reason, SideMoved, What
from casebook.statistics.asymmetry import Refused
from casebook.statistics.codes import conditions_of
from casebook.statistics.judgement import judge
from tests.statistics.caseloads import (
    LEFT,
    NONE,
    RIGHT,
    AVisit,
    a_figure,
    a_pair,
    a_score,
    an_angle,
    before_and_after,
    frames_of,
    judged,
    kinds_flagged,
    origin_of,
    verdict_on,
    whats_of,
)

Z = norm.ppf(0.975)
# Two single visits with a SEM of 1 each.
MDC = Z * np.sqrt(2.0)


def test_marked_points_make_a_side_no_better_known_than_their_marking_lets_it_be() -> None:
    values, visits = frames_of(before_and_after(a_pair(8.0, 8.0), a_pair(5.0, 8.0)))
    values["marking_sd"] = [4.0, np.nan, 4.0, np.nan]
    found = judge(values, visits, (an_angle(),), (a_figure(),))
    left, right = verdict_on(found, What.LEFT), verdict_on(found, What.RIGHT)
    # Day to day 1, and of each of five trials 4 from marking: by hand.
    assert left.row.mdc95 == pytest.approx(Z * np.sqrt(2 * (1 + 16 / 5)), rel=1e-9)
    assert left.call is Call.UNCHANGED
    assert right.row.mdc95 == pytest.approx(MDC, rel=1e-9)


def test_a_change_beyond_the_mdc_is_called_by_the_better_direction() -> None:
    found = judged(before_and_after(a_pair(8.0, 8.0), a_pair(5.0, 11.0)))
    left, right = verdict_on(found, What.LEFT), verdict_on(found, What.RIGHT)
    assert (left.call, right.call) == (Call.IMPROVED, Call.WORSENED)
    assert left.row.mdc95 == pytest.approx(MDC, rel=1e-12)
    assert left.row.p_better == pytest.approx(norm.cdf(3 / np.sqrt(2)), rel=1e-9)
    assert right.row.p_better == pytest.approx(norm.cdf(-3 / np.sqrt(2)), rel=1e-9)


def test_higher_is_better_where_the_metric_says_so() -> None:
    metric = an_angle(better=Better.HIGHER)
    found = judged(before_and_after(a_pair(8.0, 8.0), a_pair(5.0, 11.0)), metrics=[metric])
    assert verdict_on(found, What.LEFT).call is Call.WORSENED
    assert verdict_on(found, What.RIGHT).call is Call.IMPROVED


def test_the_reference_is_the_mean_of_its_visits_with_the_error_of_a_mean() -> None:
    found = judged(
        [
            AVisit(readings=a_pair(4.0, 4.0), reference=True),
            AVisit(readings=a_pair(6.0, 4.0), reference=True),
            AVisit(readings=a_pair(5.0, 4.0), reference=True),
            AVisit(readings=a_pair(9.0, 4.0)),
        ]
    )
    row = verdict_on(found, What.LEFT).row
    assert (row.baseline, row.baseline_visits, row.change) == (5.0, 3, 4.0)
    assert row.se_change == pytest.approx(np.sqrt(1 + 1 / 3), rel=1e-12)


def test_only_later_visits_that_count_get_a_verdict() -> None:
    found = judged(
        [
            AVisit(readings=a_pair(1.0, 1.0)),
            AVisit(readings=a_pair(2.0, 2.0), reference=True),
            AVisit(readings=a_pair(3.0, 3.0), counts=False),
            AVisit(readings=a_pair(4.0, 4.0)),
        ]
    )
    assert set(found.verdicts["visit"]) == {103}
    assert set(found.measures["visit"]) == {100, 101, 103}
    assert set(found.expected["visit"]) == {103}


def test_a_repeat_measurement_is_no_reference() -> None:
    found = judged(
        [
            AVisit(readings=a_pair(1.0, 1.0), reference=True),
            AVisit(readings=a_pair(9.0, 9.0), reference=True, counts=False),
            AVisit(readings=a_pair(2.0, 2.0)),
        ]
    )
    assert verdict_on(found, What.LEFT).row.baseline == 1.0


def test_a_metric_first_measured_later_has_no_baseline() -> None:
    found = judged(before_and_after({}, a_pair(4.0, 5.0)))
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.NO_BASELINE)
    assert np.isnan(told.row.baseline)
    assert told.row.baseline_visits == 0


def test_a_runner_without_reference_visits_gets_rows_that_say_so() -> None:
    found = judged([AVisit(readings=a_pair(4.0, 5.0))])
    assert verdict_on(found, What.LEFT).reason is Reason.NO_BASELINE
    assert found.references.empty


def test_a_metric_not_measured_at_the_later_visit_has_no_row() -> None:
    found = judged(before_and_after(a_pair(4.0, 5.0), {(0, LEFT): (4.0, 3, 1.0)}))
    assert whats_of(found.verdicts) == ["left"]
    assert whats_of(found.references) == ["left", "right", "asymmetry"]


def test_a_mean_that_is_no_number_is_missing() -> None:
    found = judged(before_and_after(a_pair(4.0, 5.0), a_pair(4.0, np.nan)))
    assert whats_of(found.verdicts) == ["left"]


def test_without_any_figure_or_trials_no_verdict_is_given() -> None:
    found = judged(before_and_after(a_pair(4.0, 5.0), a_pair(14.0, 25.0)), figures=[])
    for what in (What.LEFT, What.ASYMMETRY):
        told = verdict_on(found, what)
        assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.NO_ERROR_FIGURE)
        assert origin_of(told) is ErrorOrigin.NONE
        assert told.moved is None
        assert np.isnan(told.row.mdc95)


def test_trials_alone_can_only_show_that_nothing_changed() -> None:
    before = {(0, LEFT): (5.0, 4, 2.0), (0, RIGHT): (5.0, 4, 2.0)}
    after = {(0, LEFT): (5.5, 4, 2.0), (0, RIGHT): (15.0, 4, 2.0)}
    found = judged(before_and_after(before, after), figures=[])
    left, right = verdict_on(found, What.LEFT), verdict_on(found, What.RIGHT)
    assert left.call is Call.UNCHANGED
    assert (right.call, right.reason) == (Call.CANNOT_SAY, Reason.ONLY_WITHIN_SESSION)
    assert origin_of(left) is ErrorOrigin.WITHIN_SESSION
    assert left.row.figure == -1
    # Both visits: 2 / sqrt(4) = 1.
    assert left.row.mdc95 == pytest.approx(MDC, rel=1e-12)
    assert np.isnan(left.row.p_better)
    both = verdict_on(found, What.ASYMMETRY)
    assert (both.call, both.reason, both.moved) == (
        Call.CANNOT_SAY,
        Reason.ONLY_WITHIN_SESSION,
        None,
    )
    assert found.flags.empty
    assert found.expected["tests"].tolist() == [0]


def test_sides_within_a_lower_bound_of_error_have_not_moved() -> None:
    visit = {(0, LEFT): (5.0, 4, 2.0), (0, RIGHT): (9.0, 4, 2.0)}
    found = judged(before_and_after(visit, visit), figures=[])
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.UNCHANGED, SideMoved.NEITHER)


def test_a_within_session_figure_is_a_lower_bound_and_comes_before_the_runners_trials() -> None:
    figure = a_figure(origin=ErrorOrigin.WITHIN_SESSION, within_sd=4.0)
    reading = {(0, LEFT): (5.0, 4, 0.1)}
    found = judged(before_and_after(reading, reading), figures=[figure])
    row = verdict_on(found, What.LEFT).row
    assert row.figure == 0
    assert row.latest_sem == pytest.approx(2.0, rel=1e-12)


def test_an_own_figure_replaces_a_published_one_and_the_later_of_two_counts() -> None:
    figures = [
        a_figure(sem=9.0, sem_trials=5, origin=ErrorOrigin.PUBLISHED),
        a_figure(sem=3.0, sem_trials=5),
        a_figure(sem=2.0, sem_trials=5),
        a_figure(sem=8.0, sem_trials=5, origin=ErrorOrigin.PUBLISHED),
        a_figure(metric="another", sem=7.0, sem_trials=5),
    ]
    found = judged(before_and_after(a_pair(1.0, 1.0), a_pair(1.0, 1.0)), figures=figures)
    told = verdict_on(found, What.LEFT)
    assert (told.row.figure, told.row.latest_sem) == (2, 2.0)
    assert origin_of(told) is ErrorOrigin.OWN


def test_fewer_trials_than_the_figure_are_never_used_silently() -> None:
    figure = a_figure(sem=1.0, sem_trials=7)
    bare = judged(before_and_after(a_pair(1.0, 1.0, n=7), a_pair(9.0, 9.0)), figures=[figure])
    for what in (What.LEFT, What.ASYMMETRY):
        told = verdict_on(bare, what)
        assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.FEWER_TRIALS_THAN_FIGURE)
    with_trials = judged(
        before_and_after(a_pair(1.0, 1.0, n=7, sd=2.0), a_pair(9.0, 9.0, sd=2.0)),
        figures=[figure],
    )
    told = verdict_on(with_trials, What.LEFT)
    assert told.call is Call.WORSENED
    assert told.row.bridged
    # Two sides of 7 and two of 5 trials: 20 degrees of freedom, allowed for by Student's t.
    widened = (2.0 * t.ppf(0.975, 20) / Z) ** 2
    assert told.row.latest_sem == pytest.approx(np.sqrt(1 + widened * (1 / 5 - 1 / 7)), rel=1e-12)
    # With the figure's seven trials it would be the figure's SEM.
    assert (told.row.latest_n, told.row.best_sem) == (5, 1.0)
    assert verdict_on(with_trials, What.ASYMMETRY).row.bridged


def test_too_few_trials_at_the_reference_withhold_the_verdict_too() -> None:
    figure = a_figure(sem=1.0, sem_trials=7)
    found = judged(before_and_after(a_pair(1.0, 1.0), a_pair(9.0, 9.0, n=7)), figures=[figure])
    assert verdict_on(found, What.LEFT).reason is Reason.FEWER_TRIALS_THAN_FIGURE


def test_the_runners_trials_are_pooled_over_all_visits_and_both_sides() -> None:
    course = [
        AVisit(readings={(0, LEFT): (5.0, 3, 1.0)}, reference=True),
        AVisit(readings={(0, RIGHT): (5.0, 3, 3.0)}, counts=False),
        AVisit(readings={(0, LEFT): (5.0, 1, np.nan)}),
    ]
    found = judged(course, figures=[])
    row = verdict_on(found, What.LEFT).row
    assert row.latest_sem == pytest.approx(np.sqrt((1.0 + 9.0) / 2), rel=1e-12)


def test_the_resolution_is_a_floor_under_the_error_of_trials() -> None:
    same = {(0, LEFT): (5.0, 4, 0.0)}
    found = judged(before_and_after(same, same), metrics=[an_angle(resolution=6.0)], figures=[])
    assert verdict_on(found, What.LEFT).row.latest_sem == pytest.approx(
        6.0 / np.sqrt(12) / 2, rel=1e-12
    )


@pytest.mark.parametrize(
    ("unit", "frames", "floor"),
    [
        ("ms", 60.0, 1000 / 60 / np.sqrt(6)),
        ("s", 60.0, 1 / 60 / np.sqrt(6)),
        ("ms", np.nan, 2.0 / np.sqrt(12)),
        ("%", 60.0, 2.0 / np.sqrt(12)),
    ],
)
def test_the_frame_rate_is_the_floor_under_a_duration(
    unit: str, frames: float, floor: float
) -> None:
    metric = an_angle(unit=unit, scale=Scale.RATIO, floor_kind=FloorKind.INTERVAL, resolution=2.0)
    same = {(0, LEFT): (200.0, 4, 0.0)}
    found = judged(before_and_after(same, same, frames_per_s=frames), metrics=[metric], figures=[])
    assert verdict_on(found, What.LEFT).row.latest_sem == pytest.approx(floor / 2, rel=1e-12)


def test_neither_way_is_better_and_so_a_move_cannot_be_judged() -> None:
    found = judged(
        before_and_after(a_pair(1.0, 1.0), a_pair(9.0, 1.0)), metrics=[an_angle(better=Better.NONE)]
    )
    told = verdict_on(found, What.LEFT)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.NO_BETTER_DIRECTION)
    assert verdict_on(found, What.RIGHT).call is Call.UNCHANGED
    assert verdict_on(found, What.ASYMMETRY).call is Call.WORSENED


@pytest.mark.parametrize(
    ("before", "after", "call"),
    [
        (160.0, 175.0, Call.IMPROVED),
        (200.0, 185.0, Call.IMPROVED),
        (175.0, 160.0, Call.WORSENED),
        (160.0, 150.0, Call.WORSENED),
        (172.0, 188.0, Call.CANNOT_SAY),  # moves inside the range
        (185.0, 191.0, Call.CANNOT_SAY),  # leaves it, by less than the error
        (169.0, 175.0, Call.CANNOT_SAY),  # enters it, from less far than the error
        (168.0, 191.0, Call.CANNOT_SAY),  # leaps over it, hardly nearer
        (192.0, 169.0, Call.CANNOT_SAY),
        (160.0, 191.0, Call.IMPROVED),  # leaps over it and ends nearer by 9
        (169.0, 199.0, Call.WORSENED),  # leaps over it and ends farther by 8
        (169.0, 171.0, Call.UNCHANGED),
    ],
)
def test_a_range_is_judged_by_the_distance_to_it(before: float, after: float, call: Call) -> None:
    metric = an_angle(better=Better.RANGE, target_low=170.0, target_high=190.0)
    found = judged(
        before_and_after({(0, LEFT): (before, 1, np.nan)}, {(0, LEFT): (after, 1, np.nan)}),
        metrics=[metric],
    )
    told = verdict_on(found, What.LEFT)
    assert told.call is call
    assert (told.reason is Reason.NO_BETTER_DIRECTION) == (call is Call.CANNOT_SAY)


def test_the_chance_of_being_better_counts_only_ends_nearer_to_the_range() -> None:
    metric = an_angle(better=Better.RANGE, target_low=10.0, target_high=11.0)
    found = judged(
        before_and_after({(0, LEFT): (5.0, 1, np.nan)}, {(0, LEFT): (15.0, 1, np.nan)}),
        metrics=[metric],
        figures=[a_figure(sem=1.0, sem_trials=1)],
    )
    # It leapt over the range and ended one nearer, within error: no verdict and no chance.
    assert np.isnan(verdict_on(found, What.LEFT).row.p_better)
    nearer = judged(
        before_and_after({(0, LEFT): (5.0, 1, np.nan)}, {(0, LEFT): (9.0, 1, np.nan)}),
        metrics=[metric],
        figures=[a_figure(sem=1.0, sem_trials=1)],
    )
    se = np.sqrt(2.0)
    expected = norm.cdf(7 / se) - norm.cdf(-4 / se)
    assert verdict_on(nearer, What.LEFT).row.p_better == pytest.approx(expected, rel=1e-9)


def test_a_pair_whose_asymmetry_has_no_meaning_says_so() -> None:
    metric = an_angle(scale=Scale.RATIO, asymmetry_form=AsymmetryForm.PERCENT)
    before, after = a_pair(100.0, 90.0), a_pair(-5.0, 5.0)
    latest = judged(before_and_after(before, after), metrics=[metric])
    told = verdict_on(latest, What.ASYMMETRY)
    assert told.reason is Reason.FORMULA_REFUSED
    assert told.row.refused == Refused.MEAN_NEAR_ZERO
    earlier = judged(before_and_after(after, before), metrics=[metric])
    assert verdict_on(earlier, What.ASYMMETRY).reason is Reason.FORMULA_REFUSED
    assert earlier.references["refused"].tolist() == [0, 0, Refused.MEAN_NEAR_ZERO]


def test_reference_visits_without_a_meaningful_asymmetry_are_left_out_of_its_mean() -> None:
    metric = an_angle(scale=Scale.RATIO, asymmetry_form=AsymmetryForm.PERCENT)
    course = [
        AVisit(readings=a_pair(-5.0, 5.0), reference=True),
        AVisit(readings=a_pair(90.0, 110.0), reference=True),
        AVisit(readings=a_pair(90.0, 110.0)),
    ]
    row = verdict_on(judged(course, metrics=[metric]), What.ASYMMETRY).row
    assert (row.baseline, row.baseline_visits, row.refused) == (20.0, 1, Refused.FINE)


def test_the_asymmetry_takes_its_error_from_both_sides() -> None:
    found = judged(before_and_after(a_pair(10.0, 16.0), a_pair(10.0, 10.0)))
    told = verdict_on(found, What.ASYMMETRY)
    assert told.row.latest_sem == pytest.approx(np.sqrt(2.0), rel=1e-12)
    # Change in a side difference of SEM 1 a side: z * 2 * SEM.
    assert told.row.mdc95 == pytest.approx(Z * 2.0, rel=1e-12)
    assert (told.row.left_change, told.row.right_change) == (0.0, -6.0)
    assert told.row.left_mdc95 == pytest.approx(MDC, rel=1e-12)
    assert np.isnan(verdict_on(found, What.LEFT).row.left_change)


def test_a_side_of_which_it_cannot_be_told_whether_it_moved_has_no_mdc_beside_the_asymmetry() -> (
    None
):
    own = a_figure(sem=0.5, sem_trials=3, applies_to=AppliesTo.ASYMMETRY)
    # The sides have nothing but their own trials: a lower bound, beyond which nothing is told.
    course = before_and_after(a_pair(10.0, 16.0, sd=1.0), a_pair(10.0, 10.0, sd=1.0))
    row = verdict_on(judged(course, figures=[own]), What.ASYMMETRY).row
    assert (row.left_change, row.right_change) == (0.0, -6.0)
    assert row.left_mdc95 == pytest.approx(Z * np.sqrt(2.0 / 5), rel=1e-12)
    assert np.isnan(row.right_mdc95)


def test_a_figure_for_the_asymmetry_itself_comes_first() -> None:
    own = a_figure(sem=0.5, sem_trials=3, applies_to=AppliesTo.ASYMMETRY)
    found = judged(
        before_and_after(a_pair(10.0, 16.0), a_pair(10.0, 10.0)), figures=[a_figure(), own]
    )
    row = verdict_on(found, What.ASYMMETRY).row
    assert (row.figure, row.latest_sem) == (1, 0.5)


def test_parts_of_an_asymmetry_figure_average_over_its_trials() -> None:
    own = a_figure(between_sd=1.0, within_sd=2.0, applies_to=AppliesTo.ASYMMETRY)
    found = judged(
        before_and_after(a_pair(10.0, 16.0, n=4), a_pair(10.0, 10.0, n=4)), figures=[own]
    )
    row = verdict_on(found, What.ASYMMETRY).row
    assert row.latest_sem == pytest.approx(np.sqrt(2.0), rel=1e-12)
    assert verdict_on(found, What.LEFT).reason is Reason.NO_ERROR_FIGURE


def test_fewer_trials_than_an_asymmetry_figure_add_both_sides_trials() -> None:
    own = a_figure(sem=1.0, sem_trials=4, applies_to=AppliesTo.ASYMMETRY)
    found = judged(
        before_and_after(a_pair(10.0, 16.0, n=2, sd=3.0), a_pair(10.0, 10.0, n=2, sd=3.0)),
        figures=[own],
    )
    row = verdict_on(found, What.ASYMMETRY).row
    # Four sets of two trials: 4 degrees of freedom.
    widened = (3.0 * t.ppf(0.975, 4) / Z) ** 2
    assert row.latest_sem == pytest.approx(np.sqrt(1 + 2 * widened * (1 / 2 - 1 / 4)), rel=1e-12)
    assert row.bridged


def test_a_spread_of_very_few_trials_is_nothing_to_go_by() -> None:
    figure = a_figure(sem=1.0, sem_trials=7)
    # Three sets of two trials: 3 degrees of freedom, one fewer than it takes.
    course = before_and_after(
        {(0, LEFT): (1.0, 2, 2.0), (0, RIGHT): (1.0, 2, 2.0)},
        {(0, LEFT): (9.0, 2, 2.0), (0, RIGHT): (9.0, 1, np.nan)},
    )
    told = verdict_on(judged(course, figures=[figure]), What.LEFT)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.FEWER_TRIALS_THAN_FIGURE)
    assert not told.row.bridged
    # What more trials would give is known all the same.
    assert told.row.best_sem == 1.0


def test_what_more_trials_could_bring_the_error_down_to_is_told_as_far_as_it_is_known() -> None:
    visit = a_pair(10.0, 12.0, n=4, sd=1.0)
    parts = judged(before_and_after(visit, visit), figures=[a_figure(between_sd=3.0, within_sd=2)])
    left, both = verdict_on(parts, What.LEFT).row, verdict_on(parts, What.ASYMMETRY).row
    assert (left.best_sem, left.latest_sem) == (3.0, np.sqrt(10.0))
    assert both.best_sem == pytest.approx(3.0 * np.sqrt(2.0), rel=1e-12)
    enough = judged(before_and_after(visit, visit), figures=[a_figure(sem=2.0, sem_trials=4)])
    assert verdict_on(enough, What.LEFT).row.best_sem == 2.0
    alone = judged(before_and_after(visit, visit), figures=[])
    assert np.isnan(verdict_on(alone, What.LEFT).row.best_sem)


def a_graded(**changes: object) -> Metric:
    return an_angle(scale=Scale.GRADE, grades=("good", "fair", "poor", "bad"), **changes)


def a_step(step: int, **changes: object) -> ErrorFigure:
    return ErrorFigure(
        **{
            "metric": "test_drop",
            "applies_to": AppliesTo.SIDE_VALUE,
            "origin": ErrorOrigin.OWN,
            "grade_step": step,
            "source": "regrading",
        }
        | changes
    )


@pytest.mark.parametrize(
    ("before", "after", "step", "call"),
    [
        (3.0, 1.0, 1, Call.IMPROVED),
        (0.0, 2.0, 1, Call.WORSENED),
        (0.0, 1.0, 1, Call.UNCHANGED),
        (4 / 3, 7 / 3, 1, Call.UNCHANGED),  # a step of one in floating point's clothes
        (0.0, 1.0, 0, Call.WORSENED),
        (1.0, 1.0, 0, Call.UNCHANGED),
    ],
)
def test_a_grade_changed_when_it_moved_by_more_than_repeat_grading_does(
    before: float, after: float, step: int, call: Call
) -> None:
    course = before_and_after(a_pair(before, 0.0), a_pair(after, 0.0))
    told = verdict_on(judged(course, metrics=[a_graded()], figures=[a_step(step)]), What.LEFT)
    assert told.call is call
    assert (told.row.mdc95, origin_of(told)) == (step, ErrorOrigin.OWN)
    for number in ("se_change", "p_better", "p_important", "latest_sem", "baseline_sem"):
        assert np.isnan(getattr(told.row, number))


def test_grades_without_a_step_are_not_judged_whatever_trials_or_figures_there_are() -> None:
    course = before_and_after(a_pair(0.0, 0.0, sd=0.1), a_pair(3.0, 0.0, sd=0.1))
    for figures in ([], [a_figure()], [a_step(1, metric="another")]):
        found = judged(course, metrics=[a_graded()], figures=figures)
        told = verdict_on(found, What.LEFT)
        assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.NO_ERROR_FIGURE)
        assert origin_of(told) is ErrorOrigin.NONE
    # And a step is no figure of what is no grade.
    told = verdict_on(
        judged(before_and_after(a_pair(0, 0), a_pair(3, 0)), figures=[a_step(1)]), What.LEFT
    )
    assert told.reason is Reason.NO_ERROR_FIGURE


def test_the_asymmetry_of_grades_needs_a_step_of_its_own() -> None:
    course = before_and_after(a_pair(0.0, 2.0), a_pair(0.0, 0.0))
    alone = judged(course, metrics=[a_graded()], figures=[a_step(1)])
    told = verdict_on(alone, What.ASYMMETRY)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.NO_ERROR_FIGURE)
    both = judged(
        course,
        metrics=[a_graded()],
        figures=[a_step(1), a_step(1, applies_to=AppliesTo.ASYMMETRY)],
    )
    told = verdict_on(both, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.IMPROVED, SideMoved.WORSE_SIDE_GAINED)
    assert (told.row.right_change, told.row.right_mdc95, told.row.worse) == (-2.0, 1.0, 1)


def test_an_asymmetry_of_grades_has_no_direction_within_the_step() -> None:
    steps = [a_step(1), a_step(1, applies_to=AppliesTo.ASYMMETRY)]
    within = judged(
        before_and_after(a_pair(0.0, 1.0), a_pair(0.0, 0.0)), metrics=[a_graded()], figures=steps
    )
    assert verdict_on(within, What.ASYMMETRY).row.worse == 0
    crossed = judged(
        before_and_after(a_pair(0.0, 2.0), a_pair(2.0, 0.0)), metrics=[a_graded()], figures=steps
    )
    told = verdict_on(crossed, What.ASYMMETRY)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.CROSSED_OVER)


def test_grades_raise_no_flag_for_they_have_no_p() -> None:
    steps = [a_step(1), a_step(1, applies_to=AppliesTo.ASYMMETRY)]
    found = judged(
        before_and_after(a_pair(0.0, 0.0), a_pair(0.0, 3.0)), metrics=[a_graded()], figures=steps
    )
    assert verdict_on(found, What.ASYMMETRY).call is Call.WORSENED
    assert found.flags.empty
    assert found.expected["tests"].tolist() == [0]


def test_the_chance_of_an_important_change_is_that_of_better_by_more_than_it() -> None:
    metric = an_angle(important_change=2.0)
    found = judged(before_and_after(a_pair(9.0, 3.0), a_pair(5.0, 9.0)), metrics=[metric])
    left, right = verdict_on(found, What.LEFT).row, verdict_on(found, What.RIGHT).row
    # Lower is better; the change is -4 and +6 with a standard error of sqrt(2).
    assert left.p_important == pytest.approx(norm.cdf((4 - 2) / np.sqrt(2)), rel=1e-9)
    assert right.p_important == pytest.approx(norm.cdf((-6 - 2) / np.sqrt(2)), rel=1e-9)
    assert left.p_important < left.p_better
    # The important change is one of the value, not of the difference of sides.
    assert np.isnan(verdict_on(found, What.ASYMMETRY).row.p_important)
    without = judged(before_and_after(a_pair(9.0, 3.0), a_pair(5.0, 9.0)))
    assert np.isnan(verdict_on(without, What.LEFT).row.p_important)


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        # 10 away from 170 to 190: better by more than 4 means less than 6 away.
        (160.0, 172.0, norm.cdf((196 - 172) / np.sqrt(2)) - norm.cdf((164 - 172) / np.sqrt(2))),
        (200.0, 195.0, norm.cdf((196 - 195) / np.sqrt(2)) - norm.cdf((164 - 195) / np.sqrt(2))),
        (166.0, 180.0, 0.0),  # only 4 away: it cannot come nearer by more than that
        (167.0, 180.0, 0.0),
    ],
)
def test_an_important_change_towards_a_range_is_one_of_the_distance_to_it(
    before: float, after: float, expected: float
) -> None:
    metric = an_angle(
        better=Better.RANGE, target_low=170.0, target_high=190.0, important_change=4.0
    )
    found = judged(
        before_and_after({(0, LEFT): (before, 1, np.nan)}, {(0, LEFT): (after, 1, np.nan)}),
        metrics=[metric],
    )
    assert verdict_on(found, What.LEFT).row.p_important == pytest.approx(expected, abs=1e-12)


def test_a_within_session_asymmetry_figure_does_not_replace_figures_between_sessions() -> None:
    bound = a_figure(
        origin=ErrorOrigin.WITHIN_SESSION, within_sd=0.1, applies_to=AppliesTo.ASYMMETRY
    )
    course = before_and_after(a_pair(10.0, 16.0), a_pair(10.0, 10.0))
    with_sides = verdict_on(judged(course, figures=[a_figure(), bound]), What.ASYMMETRY)
    assert origin_of(with_sides) is ErrorOrigin.OWN
    alone = verdict_on(judged(course, figures=[bound]), What.ASYMMETRY)
    assert (origin_of(alone), alone.reason) == (
        ErrorOrigin.WITHIN_SESSION,
        Reason.ONLY_WITHIN_SESSION,
    )


def test_the_worse_side_gained_is_said() -> None:
    told = verdict_on(
        judged(before_and_after(a_pair(10.0, 20.0), a_pair(10.0, 12.0))), What.ASYMMETRY
    )
    assert (told.call, told.moved) == (Call.IMPROVED, SideMoved.WORSE_SIDE_GAINED)
    assert told.row.p_better > 0.975


def test_the_better_side_fell_is_said_and_flagged_although_the_asymmetry_shrank() -> None:
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(19.0, 20.0)))
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.IMPROVED, SideMoved.BETTER_SIDE_FELL)
    assert kinds_flagged(found) == ["better_side_fell"]


def test_both_sides_falling_is_flagged_when_the_better_one_fell_more() -> None:
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(19.0, 24.0)))
    assert verdict_on(found, What.ASYMMETRY).moved is SideMoved.BOTH
    assert kinds_flagged(found) == ["better_side_fell"]


def test_a_better_side_that_fell_while_the_worse_one_gained_is_no_flag() -> None:
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(13.0, 16.0)))
    assert verdict_on(found, What.ASYMMETRY).moved is SideMoved.BOTH
    assert kinds_flagged(found) == []


def test_an_asymmetry_that_grew_by_one_side_names_no_side_and_is_flagged() -> None:
    found = judged(before_and_after(a_pair(10.0, 14.0), a_pair(10.0, 20.0)))
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.WORSENED, None)
    assert kinds_flagged(found) == ["asymmetry_above_baseline"]
    assert found.flags["q"].between(found.flags["p"], 0.1).all()


def test_nothing_moved_is_said() -> None:
    told = verdict_on(
        judged(before_and_after(a_pair(10.0, 20.0), a_pair(10.5, 20.0))), What.ASYMMETRY
    )
    assert (told.call, told.moved) == (Call.UNCHANGED, SideMoved.NEITHER)


def test_the_worse_side_of_a_range_is_the_one_farther_from_it() -> None:
    metric = an_angle(better=Better.RANGE, target_low=8.0, target_high=12.0)
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(10.0, 13.0)), metrics=[metric])
    assert verdict_on(found, What.ASYMMETRY).moved is SideMoved.WORSE_SIDE_GAINED
    higher = an_angle(better=Better.HIGHER)
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(18.0, 20.0)), metrics=[higher])
    assert verdict_on(found, What.ASYMMETRY).moved is SideMoved.WORSE_SIDE_GAINED


def test_without_a_better_direction_no_side_is_the_worse() -> None:
    metric = an_angle(better=Better.NONE)
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(10.0, 12.0)), metrics=[metric])
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.IMPROVED, None)


def test_crossing_over_is_never_an_improvement() -> None:
    told = verdict_on(
        judged(before_and_after(a_pair(10.0, 20.0), a_pair(19.0, 12.0))), What.ASYMMETRY
    )
    assert (told.call, told.reason, told.moved) == (
        Call.CANNOT_SAY,
        Reason.CROSSED_OVER,
        SideMoved.CROSSED_OVER,
    )
    assert np.isnan(told.row.p_better)


def test_crossing_over_to_a_larger_asymmetry_is_worse_and_flagged() -> None:
    found = judged(before_and_after(a_pair(10.0, 14.0), a_pair(20.0, 10.0)))
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.moved) == (Call.WORSENED, SideMoved.CROSSED_OVER)
    assert kinds_flagged(found) == ["asymmetry_above_baseline"]


def test_a_flip_within_its_own_error_is_the_end_of_the_asymmetry() -> None:
    told = verdict_on(
        judged(before_and_after(a_pair(10.0, 20.0), a_pair(11.0, 10.0))), What.ASYMMETRY
    )
    assert told.call is Call.IMPROVED


def test_a_flip_too_uncertain_to_call_is_not_called() -> None:
    # The latest visit has one trial and a large error: larger on paper, not beyond error.
    figure = a_figure(between_sd=0.1, within_sd=3.0)
    found = judged(
        before_and_after(a_pair(10.0, 12.0, n=500), a_pair(17.0, 10.0, n=1)), figures=[figure]
    )
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.reason) == (Call.CANNOT_SAY, Reason.CROSSED_OVER)


def test_an_asymmetry_without_direction_can_only_grow() -> None:
    grown = verdict_on(
        judged(before_and_after(a_pair(10.0, 11.0), a_pair(18.0, 10.0))), What.ASYMMETRY
    )
    assert (grown.call, grown.moved) == (Call.WORSENED, None)
    assert np.isnan(grown.row.p_better)
    smaller = verdict_on(
        judged(before_and_after(a_pair(10.0, 12.5), a_pair(12.0, 10.0))), What.ASYMMETRY
    )
    assert (smaller.call, smaller.reason) == (Call.CANNOT_SAY, Reason.CROSSED_OVER)


@pytest.mark.parametrize(
    ("conditions", "differs"),
    [
        ({"speed_km_h": 10.4}, ()),
        ({"speed_km_h": 12.0}, (Condition.SPEED,)),
        ({"surface": "Treadmill "}, ()),
        ({"surface": "track"}, (Condition.SURFACE,)),
        ({"incline_pct": 1.0}, (Condition.INCLINE,)),
        ({"footwear": "racing shoes"}, (Condition.FOOTWEAR,)),
        ({"view": "side"}, (Condition.VIEW,)),
        ({"frames_per_s": 59.94}, ()),
        ({"frames_per_s": 240.0}, (Condition.FRAME_RATE,)),
        ({"assessor": "CD"}, (Condition.ASSESSOR,)),
        ({"pain_today": 2.0}, ()),
        ({"pain_today": 3.0}, (Condition.PAIN,)),
    ],
)
def test_what_differs_is_listed_and_forces_nothing_by_itself(
    conditions: dict[str, object], differs: tuple[Condition, ...]
) -> None:
    found = judged(before_and_after(a_pair(10.0, 20.0), a_pair(10.0, 12.0), **conditions))
    told = verdict_on(found, What.RIGHT)
    assert conditions_of(told.row.differs) == differs
    assert told.call is Call.IMPROVED


@pytest.mark.parametrize(
    ("column", "nothing", "condition"),
    [
        ("speed_km_h", np.nan, Condition.SPEED),
        ("incline_pct", np.nan, Condition.INCLINE),
        ("frames_per_s", np.nan, Condition.FRAME_RATE),
        ("pain_today", np.nan, Condition.PAIN),
        ("surface", "", Condition.SURFACE),
        ("footwear", " ", Condition.FOOTWEAR),
        ("view", "", Condition.VIEW),
        ("assessor", "", Condition.ASSESSOR),
    ],
)
def test_what_was_not_recorded_is_listed_apart_and_does_not_force(
    column: str, nothing: object, condition: Condition
) -> None:
    metric = an_angle(sensitive_to=tuple(Condition))
    course = before_and_after(a_pair(10.0, 20.0), a_pair(10.0, 12.0), **{column: nothing})
    told = verdict_on(judged(course, metrics=[metric]), What.RIGHT)
    assert conditions_of(told.row.not_recorded) == (condition,)
    assert conditions_of(told.row.differs) == ()
    assert told.call is Call.IMPROVED


def test_a_difference_to_which_the_metric_is_sensitive_withholds_the_verdict() -> None:
    metric = an_angle(sensitive_to=(Condition.SPEED,))
    found = judged(
        before_and_after(a_pair(10.0, 14.0), a_pair(10.0, 30.0), speed_km_h=14.0), metrics=[metric]
    )
    told = verdict_on(found, What.ASYMMETRY)
    assert (told.call, told.reason, told.moved) == (
        Call.CANNOT_SAY,
        Reason.NOT_LIKE_FOR_LIKE,
        None,
    )
    assert found.flags.empty


def test_each_reference_visit_at_which_it_was_measured_is_compared() -> None:
    course = [
        AVisit(readings=a_pair(10.0, 20.0), reference=True),
        AVisit(
            readings={(0, LEFT): (10.0, 5, np.nan)},
            reference=True,
            conditions={"surface": "track", "view": ""},
        ),
        AVisit(readings=a_pair(10.0, 20.0)),
    ]
    found = judged(course)
    left, right = verdict_on(found, What.LEFT).row, verdict_on(found, What.RIGHT).row
    assert conditions_of(left.differs) == (Condition.SURFACE,)
    assert conditions_of(left.not_recorded) == (Condition.VIEW,)
    assert (right.differs, right.not_recorded) == (0, 0)


def test_a_symptom_up_by_its_important_change_beyond_error_is_flagged() -> None:
    figure = a_figure("test_pain", between_sd=0.5, within_sd=0.0)
    course = before_and_after({(0, NONE): (2.0, 1, np.nan)}, {(0, NONE): (5.0, 1, np.nan)})
    found = judged(course, metrics=[a_score()], figures=[figure])
    assert kinds_flagged(found) == ["symptom_up"]
    assert verdict_on(found, What.NONE).call is Call.WORSENED
    assert found.expected["tests"].tolist() == [1]


@pytest.mark.parametrize(("after", "sd"), [(3.5, 0.1), (5.0, 3.0)])
def test_a_rise_less_than_important_or_within_error_is_not_flagged(after: float, sd: float) -> None:
    figure = a_figure("test_pain", between_sd=sd, within_sd=0.0)
    course = before_and_after({(0, NONE): (2.0, 1, np.nan)}, {(0, NONE): (after, 1, np.nan)})
    assert judged(course, metrics=[a_score()], figures=[figure]).flags.empty


def test_without_a_known_error_the_important_change_alone_raises_the_flag() -> None:
    course = before_and_after({(0, NONE): (1.3, 1, np.nan)}, {(0, NONE): (3.3, 1, np.nan)})
    found = judged(course, metrics=[a_score()], figures=[])
    assert kinds_flagged(found) == ["symptom_up"]
    assert found.flags[["p", "q"]].isna().all(axis=None)
    assert found.expected["tests"].tolist() == [0]


@pytest.mark.parametrize(
    ("better", "after", "flagged"),
    [(Better.HIGHER, 20.0, True), (Better.HIGHER, 40.0, False), (Better.NONE, 40.0, True)],
)
def test_a_score_of_which_more_is_better_gets_worse_when_it_falls(
    better: Better, after: float, flagged: bool
) -> None:
    course = before_and_after({(0, NONE): (30.0, 1, np.nan)}, {(0, NONE): (after, 1, np.nan)})
    found = judged(course, metrics=[a_score(better=better)], figures=[])
    assert bool(kinds_flagged(found)) is flagged


def test_a_score_without_an_important_change_raises_no_flag() -> None:
    course = before_and_after({(0, NONE): (1.0, 1, np.nan)}, {(0, NONE): (9.0, 1, np.nan)})
    found = judged(course, metrics=[a_score(important_change=None)], figures=[])
    assert found.flags.empty


def test_a_symptom_that_rose_is_flagged_even_where_the_visits_are_unlike() -> None:
    # The verdict is withheld; that the runner reports more pain must not be.
    metric = a_score(sensitive_to=(Condition.SPEED,))
    figure = a_figure("test_pain", between_sd=0.5, within_sd=0.0)
    course = before_and_after(
        {(0, NONE): (2.0, 1, np.nan)}, {(0, NONE): (6.0, 1, np.nan)}, speed_km_h=14.0
    )
    found = judged(course, metrics=[metric], figures=[figure])
    assert verdict_on(found, What.NONE).reason is Reason.NOT_LIKE_FOR_LIKE
    assert kinds_flagged(found) == ["symptom_up"]
    assert found.flags["p"].isna().all()
    assert found.expected["tests"].tolist() == [0]
