"""What a course shows, what it says, and when it holds its tongue."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.statistics.course.enough import NotFitted
from casebook.statistics.course.nonoverlap import (
    Nonoverlap,
    nonoverlap_of_all_pairs,
    rank_sum_p,
)
from casebook.statistics.course.phases import Segments
from casebook.statistics.course.slopes import (
    KnownErrorLine,
    RankTrend,
    kendall_p,
    kendall_s,
    rank_trend,
)
from casebook.statistics.course.smoothing import SmoothedCourse
from casebook.statistics.course.whole import Course, course_of

PARTS = ("line", "ranks", "overlap", "tau_u", "segments", "smoothed")
NO_FIGURE = "no error figure: measure your own"


def steady(visits: int, *, start: float | None = None, sem: float = 0.5) -> Course:
    days = 30.0 * np.arange(visits)
    return course_of(days, 4.0 + 0.01 * days, np.full(visits, sem), start)


def why(part: object) -> str:
    assert isinstance(part, NotFitted)
    return part.why


def test_each_method_waits_for_its_number_of_visits() -> None:
    fitted = {
        visits: {name for name in PARTS if not isinstance(getattr(steady(visits), name), NotFitted)}
        for visits in (0, 1, 2, 3, 4)
    }
    assert fitted[0] == fitted[1] == fitted[2] == set()
    assert fitted[3] == {"line", "smoothed"}
    assert fitted[4] == {"line", "smoothed", "ranks"}


@pytest.mark.parametrize(
    ("before", "after", "fitted"),
    [(2, 6, set()), (3, 3, {"overlap", "tau_u"}), (4, 3, {"overlap", "tau_u"}), (4, 4, {"all"})],
)
def test_phases_are_compared_only_with_enough_visits_in_each(
    before: int, after: int, fitted: set[str]
) -> None:
    course = steady(before + after, start=30.0 * (before - 1))
    phased = ("overlap", "tau_u", "segments")
    found = {name for name in phased if not isinstance(getattr(course, name), NotFitted)}
    assert found == (set(phased) if fitted == {"all"} else fitted)


def test_a_method_that_was_not_used_says_what_it_lacks() -> None:
    course = steady(2, start=30.0)
    assert why(course.line) == why(course.smoothed) == "needs 3 visits, has 2"
    assert why(course.ranks) == "needs 4 visits, has 2"
    assert why(course.overlap) == (
        "needs 3 visits before the programme's start and 3 after it, has 2 and 0"
    )
    assert why(course.segments) == (
        "needs 4 visits before the programme's start and 4 after it, has 2 and 0"
    )
    assert why(steady(9).overlap) == why(steady(9).segments) == "no programme was started"


def test_without_an_error_figure_only_what_needs_none_is_told() -> None:
    course = course_of(range(8), range(8), [np.nan] * 8, 3)
    assert why(course.line) == why(course.smoothed) == NO_FIGURE
    assert isinstance(course.ranks, RankTrend)
    assert isinstance(course.segments, Segments)
    assert np.isnan(course.segments.level_change.measured_se)
    assert np.isfinite(course.segments.level_change.se)


def test_visits_without_a_known_error_are_left_out_of_the_line_and_counted() -> None:
    course = course_of([0, 10, 20, 30], [1.0, 2.0, 3.0, 40.0], [0.5, 0.5, 0.5, np.nan], None)
    assert isinstance(course.line, KnownErrorLine)
    assert course.line.visits == 3
    assert course.line.slope == pytest.approx(0.1)
    assert course.sentence.startswith("Over 3 visits with a known error in 20 days it rose")
    fewer = course_of([0, 10, 20, 30], [1.0, 2.0, 3.0, 4.0], [0.5, 0.5, 0.0, np.nan], None)
    assert why(fewer.line) == "needs 3 visits with a known error, has 2"


def test_a_visit_on_the_day_of_the_start_still_counts_as_before() -> None:
    course = course_of([0, 10, 20], [1.0, 2.0, 3.0], [1.0] * 3, 10)
    assert course.in_programme.tolist() == [False, False, True]


def test_two_sessions_of_one_day_are_one_point_with_the_error_of_their_mean() -> None:
    course = course_of([20, 0, 0, 10], [3.0, 1.0, 2.0, 2.0], [1.0, 3.0, 4.0, 1.0], None)
    assert course.days.tolist() == [0.0, 10.0, 20.0]
    assert course.values.tolist() == [1.5, 2.0, 3.0]
    assert course.sems.tolist() == [2.5, 1.0, 1.0]


def test_what_was_not_measured_is_no_visit_of_the_course() -> None:
    course = course_of([0, 10, 20], [1.0, np.nan, 3.0], [1.0] * 3, None)
    assert course.days.tolist() == [0.0, 20.0]


@pytest.mark.parametrize(
    ("days", "expected"), [([0, 1], "2, 3 and 3 elements"), ([0, 1, np.nan], "no finite number")]
)
def test_arrays_that_do_not_fit_are_refused(days: list[float], expected: str) -> None:
    with pytest.raises(ValueError, match=expected):
        course_of(days, [1.0, 2.0, 3.0], [1.0] * 3, None)


def test_scatter_beyond_the_error_widens_the_interval_and_is_said() -> None:
    course = course_of([0, 30, 60, 90], [1.0, 9.0, 2.0, 8.0], [0.5] * 4, None)
    assert isinstance(course.line, KnownErrorLine)
    assert course.line.widened
    assert course.line.birge > 1
    assert "scatter about that line more than measurement error explains" in course.sentence
    assert "no steady rise or fall beyond measurement error" in course.sentence


@pytest.mark.parametrize(
    ("values", "sems", "start", "sentence"),
    [
        ([], [], None, "There is no visit with a value yet."),
        ([3.0], [1.0], None, "One visit is too few for a course: it needs 3."),
        ([3.0, 4.0], [1.0] * 2, None, "Two visits are too few for a course: it needs 3."),
        (
            [3.0, 3.2, 3.1],
            [1.0] * 3,
            None,
            "Over 3 visits in 60 days there is no steady rise or fall beyond measurement error: "
            "the straight line through them changes by +0.10° (95 % interval −2.7° to 2.9°).",
        ),
        (
            [3.0, 6.0, 9.0],
            [1.0] * 3,
            None,
            "Over 3 visits in 60 days it rose by 6.0° (95 % interval 3.2° to 8.8°), beyond "
            "measurement error.",
        ),
        (
            [3.0, 6.0, 9.0],
            [np.nan] * 3,
            None,
            f"Over 3 visits in 60 days a change can't be told from measurement error "
            f"({NO_FIGURE}).",
        ),
        (
            [3.0, 6.0, 9.0, 8.0],
            [np.nan] * 4,
            None,
            f"Over 4 visits in 90 days a change can't be told from measurement error "
            f"({NO_FIGURE}); "
            "by their order alone the values show no steady rise or fall.",
        ),
        (
            [9.0, 8.0, 7.0, 6.0, 5.0],
            [np.nan] * 5,
            None,
            f"Over 5 visits in 120 days a change can't be told from measurement error "
            f"({NO_FIGURE}); "
            "by their order alone the values mostly fall (p = 0.017).",
        ),
        (
            list(np.arange(10.0)),
            [np.nan] * 10,
            None,
            f"Over 10 visits in 270 days a change can't be told from measurement error "
            f"({NO_FIGURE}); by their order alone the values mostly rise (p < 0.001).",
        ),
        (
            [3.0, 3.1, 2.9, 3.0, 6.0, 6.1, 5.9, 6.0],
            [0.3] * 8,
            90,
            "Over 8 visits in 210 days it rose by 4.0° (95 % interval 1.7° to 6.3°), beyond "
            "measurement error; the visits scatter about that line more than measurement error "
            "explains, and the interval allows for it; about the programme's start the level "
            "steps up by 3.1° (95 % interval 1.8° to 4.3°), which does not say why.",
        ),
        (
            [6.0, 6.1, 5.9, 3.0, 3.1, 5.9],
            [9.0] * 6,
            60,
            "Over 6 visits in 150 days there is no steady rise or fall beyond measurement error: "
            "the straight line through them changes by −1.8° (95 % interval −22.9° to 19.3°); a "
            "visit after the programme's start is lower than one before it in 94 % of the pairs "
            "(a tie counts half), which does not say why.",
        ),
    ],
)
def test_one_sentence_says_what_the_course_shows(
    values: list[float], sems: list[float], start: float | None, sentence: str
) -> None:
    found = course_of(30.0 * np.arange(len(values)), values, sems, start, unit="°")
    assert found.sentence == sentence


def test_a_step_down_and_a_higher_share_have_their_words_too() -> None:
    down = [6.0, 6.1, 5.9, 6.0, 3.0, 3.1, 2.9, 3.0]
    course = course_of(30.0 * np.arange(8), down, [0.3] * 8, 90)
    assert "the level steps down by 2.9 (95 % interval −4.2 to −1.7)" in course.sentence
    up = course_of(30.0 * np.arange(6), [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [1.0] * 6, 60)
    assert "is higher than one before it in 100 % of the pairs, which" in up.sentence


def test_no_sentence_names_a_cause() -> None:
    course = course_of(30.0 * np.arange(8), [3.0] * 4 + [6.0] * 4, [0.3] * 8, 90)
    for word in ("because", "caused", "thanks to", "due to", "effect", "worked"):
        assert word not in course.sentence


# Ties counted exactly: against every order of the values, one by one.
@pytest.mark.parametrize(
    "values", [(1, 2, 2, 3, 3, 3), (1, 1, 2, 2), (4, 4, 4, 4), (1, 2, 3, 4, 5, 5)]
)
def test_kendalls_p_with_ties_is_the_share_of_all_orders(values: tuple[int, ...]) -> None:
    days = np.arange(len(values), dtype=float)
    seen = np.array(values, dtype=float)[::-1]
    s = kendall_s(days, seen)
    all_s = [kendall_s(days, np.array(order, dtype=float)) for order in permutations(values)]
    share = np.mean([abs(one) >= abs(s) for one in all_s])
    ties = tuple(np.unique(values, return_counts=True)[1].tolist())
    assert kendall_p(s, ties) == pytest.approx(share, rel=1e-12)


def test_equal_values_have_no_trend_and_no_tau() -> None:
    trend = rank_trend(np.arange(5.0), np.full(5, 3.0))
    assert (trend.slope, trend.s, trend.tau, trend.p) == (0.0, 0, 0.0, 1.0)


def test_four_visits_have_a_slope_but_no_95_percent_interval() -> None:
    trend = rank_trend(np.arange(4.0), np.arange(4.0))
    assert (trend.slope, trend.slope_low, trend.slope_high) == (1.0, None, None)
    assert trend.p == pytest.approx(1 / 12)


@pytest.mark.parametrize(("shift", "nap"), [(100.0, 1.0), (-100.0, 0.0)])
def test_phases_wholly_apart_have_an_interval_that_ends_at_its_estimate(
    shift: float, nap: float
) -> None:
    before = np.array([1.0, 2.0, 3.0])
    found = nonoverlap_of_all_pairs(before, before + shift)
    assert (found.nap, found.se) == (nap, 0.0)
    assert (found.high if nap else found.low) == pytest.approx(nap)
    assert 0.1 < found.high - found.low < 0.9
    assert found.p == pytest.approx(0.1)


def test_when_everything_is_tied_the_rank_sum_says_nothing() -> None:
    assert rank_sum_p(np.full(3, 2.0), np.full(4, 2.0)) == 1.0


readings = st.floats(-50.0, 50.0).map(lambda x: round(x, 1))
errors = st.floats(0.3, 5.0).map(lambda x: round(x, 2))


@st.composite
def courses(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    gaps = draw(st.lists(st.integers(3, 90), min_size=8, max_size=10))
    days = np.cumsum(gaps).astype(float)
    size = len(gaps)
    values = draw(st.lists(readings, min_size=size, max_size=size))
    sems = draw(st.lists(errors, min_size=size, max_size=size))
    return days, np.array(values), np.array(sems), float(days[draw(st.integers(3, size - 5))])


def parts(course: Course) -> tuple[KnownErrorLine, RankTrend, Nonoverlap, Segments, SmoothedCourse]:
    assert isinstance(course.line, KnownErrorLine)
    assert isinstance(course.ranks, RankTrend)
    assert isinstance(course.overlap, Nonoverlap)
    assert isinstance(course.segments, Segments)
    assert isinstance(course.smoothed, SmoothedCourse)
    return course.line, course.ranks, course.overlap, course.segments, course.smoothed


@settings(max_examples=15)
@given(courses(), st.sampled_from([0.5, 4.0, 1024.0]))
def test_another_unit_changes_every_size_and_no_probability(
    given_course: tuple[np.ndarray, np.ndarray, np.ndarray, float], factor: float
) -> None:
    days, values, sems, start = given_course
    line, ranks, overlap, segments, smoothed = parts(course_of(days, values, sems, start))
    other = parts(course_of(days, factor * values, factor * sems, start))
    assert other[0].slope == pytest.approx(factor * line.slope, rel=1e-6, abs=1e-9 * factor)
    assert other[0].chi2 == pytest.approx(line.chi2, rel=1e-6)
    assert other[0].beyond_error == line.beyond_error
    assert other[1].p == ranks.p
    assert other[2] == overlap
    step = segments.level_change
    assert other[3].level_change.se == pytest.approx(factor * step.se, rel=1e-6)
    assert other[4].level == pytest.approx(factor * smoothed.level, rel=1e-6, abs=1e-6 * factor)
    assert other[4].low == pytest.approx(factor * smoothed.low, rel=1e-6, abs=1e-6 * factor)


@settings(max_examples=15)
@given(courses(), st.integers(-300, 300))
def test_a_constant_added_to_every_visit_moves_the_level_and_nothing_else(
    given_course: tuple[np.ndarray, np.ndarray, np.ndarray, float], constant: int
) -> None:
    days, values, sems, start = given_course
    values = np.round(values)  # whole numbers stay tied or untied when moved
    line, ranks, overlap, segments, smoothed = parts(course_of(days, values, sems, start))
    moved = parts(course_of(days + 7, values + constant, sems, start + 7))
    assert moved[0].slope == pytest.approx(line.slope, abs=1e-7)
    assert moved[0].start == pytest.approx(line.start + constant, abs=1e-6)
    assert moved[0].lack_of_fit_p == pytest.approx(line.lack_of_fit_p, abs=1e-7)
    assert (moved[1].s, moved[1].p) == (ranks.s, ranks.p)
    assert moved[2] == overlap
    assert moved[3].level_change.estimate == pytest.approx(segments.level_change.estimate, abs=1e-6)
    assert moved[4].level == pytest.approx(smoothed.level + constant, abs=1e-5)


@settings(max_examples=15)
@given(courses())
def test_seen_backwards_or_upside_down_the_course_turns_round(
    given_course: tuple[np.ndarray, np.ndarray, np.ndarray, float],
) -> None:
    days, values, sems, start = given_course
    line, ranks, overlap, segments, smoothed = parts(course_of(days, values, sems, start))
    down = parts(course_of(days, -values, sems, start))
    assert down[0].slope == pytest.approx(-line.slope, abs=1e-9)
    assert down[0].slope_low == pytest.approx(-line.slope_high, abs=1e-9)
    assert (down[1].s, down[1].p) == (-ranks.s, ranks.p)
    assert down[2].nap == pytest.approx(1 - overlap.nap, abs=1e-12)
    assert down[2].low == pytest.approx(1 - overlap.high, abs=1e-6)
    assert down[2].p == pytest.approx(overlap.p)
    assert down[3].level_change.high == pytest.approx(-segments.level_change.low, abs=1e-6)
    assert down[4].high == pytest.approx(-smoothed.low, abs=1e-6)
    back = course_of(-days, values, sems, None)
    assert isinstance(back.line, KnownErrorLine)
    assert isinstance(back.smoothed, SmoothedCourse)
    assert back.line.slope == pytest.approx(-line.slope, abs=1e-9)
    assert back.smoothed.level[::-1] == pytest.approx(smoothed.level, abs=1e-6)
    assert back.smoothed.low[::-1] == pytest.approx(smoothed.low, abs=1e-6)


@settings(max_examples=15)
@given(courses())
def test_the_order_in_which_visits_are_given_does_not_matter(
    given_course: tuple[np.ndarray, np.ndarray, np.ndarray, float],
) -> None:
    days, values, sems, start = given_course
    turned = course_of(days[::-1], values[::-1], sems[::-1], start)
    assert turned.sentence == course_of(days, values, sems, start).sentence


@settings(max_examples=25)
@given(courses())
def test_no_interval_is_narrower_than_measurement_error_alone_allows(
    given_course: tuple[np.ndarray, np.ndarray, np.ndarray, float],
) -> None:
    days, values, sems, start = given_course
    line, _, _, segments, _ = parts(course_of(days, values, sems, start))
    assert line.slope_high - line.slope_low >= 2 * 1.9599 * line.slope_se
    for one in (segments.level_before, segments.level_change, segments.slope_change):
        assert one.se == max(one.robust_se, one.plain_se, one.measured_se)


def test_a_phase_without_any_scatter_is_no_stumbling_block() -> None:
    values = np.array([1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0])
    course = course_of(3.0 * np.arange(1, 9), values, np.ones(8), 12.0)
    assert isinstance(course.segments, Segments)
    assert course.segments.level_before.robust_se == pytest.approx(0.0, abs=1e-6)
    assert course.segments.level_before.se > 0.5
