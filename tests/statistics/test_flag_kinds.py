"""Each kind of flag, and what must not raise it; numbers by hand and by statsmodels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.stats import norm

from casebook.domain.metrics import Better, Condition
from casebook.domain.programmes import TargetDirection
from casebook.domain.verdicts import Call, FlagKind, What
from casebook.statistics.codes import code_of
from casebook.statistics.judgement import Judged
from casebook.statistics.targets import no_targets
from tests.statistics.caseloads import (
    LEFT,
    NONE,
    RIGHT,
    AVisit,
    a_figure,
    a_pair,
    a_score,
    an_angle,
    judged,
    kinds_flagged,
)

SEM = np.sqrt(2.0)  # of R - L, as each side's is 1


def a_course(*asymmetries: float, references: int = 1) -> list[AVisit]:
    """Visits four weeks apart: the left side steady at 10, the right one larger by so much."""
    return [
        AVisit(readings=a_pair(10.0, 10.0 + size), reference=place < references)
        for place, size in enumerate(asymmetries)
    ]


def at_latest(found: Judged) -> pd.DataFrame:
    """Flags of the latest visit, by kind."""
    flags = found.flags[found.flags["visit"] == found.verdicts["visit"].max()]
    return flags.set_index(flags["kind"].map(lambda code: list(FlagKind)[code]))


def a_target(direction: TargetDirection, amount: float, what: What, due: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "runner": 1,
            "metric": 0,
            "what": code_of(what),
            "direction": code_of(direction),
            "amount": amount,
            "due": [due],
        }
    )


# The lucky best: chosen for being small, so that its p-value is paid for once a visit.
def test_larger_than_at_its_best_allows_for_the_best_being_chosen() -> None:
    found = judged(a_course(12.0, 4.0, 11.0, 12.0))
    flag = at_latest(found).loc[FlagKind.ASYMMETRY_ABOVE_BEST]
    assert flag["p"] == pytest.approx(3 * norm.sf(8.0 / (SEM * np.sqrt(2))), rel=1e-9)
    assert (flag["start"], flag["end"], flag["visits"]) == (4.0, 12.0, 3)
    assert flag["margin"] == pytest.approx(1.959964 * 2.0, rel=1e-6)


def test_what_one_baseline_would_prove_the_best_of_many_visits_does_not() -> None:
    # 4.5 above the smallest of ten: p = 0.012 alone, ten times that as the best.
    around = [8.0, 5.5, 8.2, 7.9, 8.1, 8.0, 7.8, 8.2, 8.0, 7.9]
    found = judged(a_course(*around, 10.0))
    assert norm.sf(4.5 / 2.0) < 0.025
    assert at_latest(found).empty


def test_with_one_earlier_visit_there_is_no_best_and_no_line() -> None:
    found = judged(a_course(2.0, 12.0))
    assert kinds_flagged(found) == ["asymmetry_above_baseline"]


def test_a_steady_rise_below_the_mdc_of_any_pair_is_a_drift() -> None:
    values = np.array([4.0, 4.5, 4.8, 5.3, 5.7, 6.1, 6.6, 7.0, 7.4, 7.8])
    found = judged(a_course(*values))
    asymmetry = found.verdicts[found.verdicts["what"] == code_of(What.ASYMMETRY)]
    assert (asymmetry["call"] == code_of(Call.UNCHANGED)).all()
    flag = at_latest(found).loc[FlagKind.DRIFT]
    days = 28.0 * np.arange(10)
    # statsmodels: weighted least squares with the errors as known.
    fit = sm.WLS(values, sm.add_constant(days), weights=np.full(10, 0.5)).fit(
        cov_type="fixed scale"
    )
    # Plainly to the right, so that the rise of the line is the narrower of the two tests.
    assert flag["p"] == pytest.approx(norm.sf(fit.params[1] / fit.bse[1]), rel=1e-6)
    assert flag["start"] == pytest.approx(fit.params[0], rel=1e-9)
    assert flag["end"] == pytest.approx(fit.predict([1.0, days[-1]])[0], rel=1e-9)
    assert flag["margin"] == pytest.approx(1.959964 * days[-1] * fit.bse[1], rel=1e-6)
    assert flag["visits"] == 10


def test_visits_with_less_error_weigh_more_in_the_line() -> None:
    figure = a_figure(between_sd=0.5, within_sd=2.0)
    counts, sizes = [1, 9, 4, 9], [4.0, 5.5, 8.0, 10.5]
    course = [
        AVisit(readings=a_pair(10.0, 10.0 + size, n=n), reference=place == 0)
        for place, (n, size) in enumerate(zip(counts, sizes, strict=True))
    ]
    flag = at_latest(judged(course, figures=[figure])).loc[FlagKind.DRIFT]
    weights = 1 / (2 * (0.25 + 4.0 / np.array(counts)))
    days = 28.0 * np.arange(4)
    fit = sm.WLS(sizes, sm.add_constant(days), weights=weights).fit(cov_type="fixed scale")
    assert flag["end"] == pytest.approx(fit.predict([1.0, days[-1]])[0], rel=1e-9)
    assert flag["p"] == pytest.approx(norm.sf(fit.params[1] / fit.bse[1]), rel=1e-6)


def test_a_rise_that_went_back_is_no_drift() -> None:
    # A line through these does not fit; its error is widened by how badly.
    found = judged(a_course(5.0, 5.0, 25.0, 25.0, 6.0))
    assert FlagKind.DRIFT not in at_latest(found).index


def test_visits_of_one_day_make_no_line() -> None:
    course = [
        AVisit(readings=a_pair(10.0, 10.0 + size), reference=place == 0, day=20_000)
        for place, size in enumerate([2.0, 6.0, 12.0])
    ]
    assert FlagKind.DRIFT not in at_latest(judged(course)).index


def test_falling_through_zero_to_the_other_side_is_no_drift_until_it_is_larger_there() -> None:
    through = at_latest(judged(a_course(8.0, 3.0, -2.0, -7.0)))
    assert FlagKind.DRIFT not in through.index
    beyond = at_latest(judged(a_course(4.0, -4.0, -12.0, -20.0)))
    assert FlagKind.DRIFT in beyond.index


def test_only_like_for_like_visits_make_the_best_and_the_line() -> None:
    course = a_course(12.0, 1.0, 11.0, 12.0)
    other = AVisit(readings=course[1].readings, conditions={"speed_km_h": 14.0})
    metric = an_angle(sensitive_to=(Condition.SPEED,))
    found = judged([course[0], other, *course[2:]], metrics=[metric])
    assert found.flags.empty
    insensitive = judged([course[0], other, *course[2:]])
    assert FlagKind.ASYMMETRY_ABOVE_BEST in at_latest(insensitive).index


def test_a_repeat_measurement_is_neither_the_best_nor_on_the_line() -> None:
    course = a_course(12.0, 1.0, 11.0, 12.0)
    again = AVisit(readings=course[1].readings, counts=False)
    assert judged([course[0], again, *course[2:]]).flags.empty


def test_a_metric_that_stands_out_names_each_kind_that_is_sure_by_itself() -> None:
    found = judged(a_course(4.0, 8.0, 12.0, 16.0))
    assert list(at_latest(found).index) == [
        FlagKind.ASYMMETRY_ABOVE_BASELINE,
        FlagKind.ASYMMETRY_ABOVE_BEST,
        FlagKind.DRIFT,
    ]
    assert at_latest(found)["q"].nunique() == 1
    # One metric is one test, whatever the number of its kinds.
    assert found.expected["tests"].tolist() == [1, 1, 1]
    assert found.expected["expected_false"].tolist() == pytest.approx([0.025] * 3)


@pytest.mark.parametrize(
    ("direction", "what", "amount", "reached", "missed"),
    [
        (TargetDirection.UP, What.RIGHT, 10.0, 29.0, 26.0),
        (TargetDirection.DOWN, What.RIGHT, 10.0, 11.0, 14.0),
        (TargetDirection.TOWARDS_ZERO, What.ASYMMETRY, 8.0, 13.0, 17.5),
    ],
)
def test_a_target_is_missed_when_it_falls_short_beyond_error(
    direction: TargetDirection, what: What, amount: float, reached: float, missed: float
) -> None:
    def flags(right: float) -> pd.DataFrame:
        course = [AVisit(readings=a_pair(10.0, 20.0), reference=True)]
        course += [AVisit(readings=a_pair(10.0, right))]
        figure = a_figure(between_sd=0.8, within_sd=0.0)
        target = a_target(direction, amount, what, due=20_010)
        found = judged(course, figures=[figure], targets=target)
        return found.flags[found.flags["kind"] == code_of(FlagKind.TARGET_MISSED)]

    assert flags(reached).empty
    (flag,) = flags(missed).itertuples()
    assert flag.what == code_of(what)
    start = 10.0 if what is What.ASYMMETRY else 20.0
    assert flag.start == start
    sign = -1.0 if direction is not TargetDirection.UP else 1.0
    assert flag.goal == start + sign * amount
    short = abs(flag.end - flag.goal)
    se = 0.8 * np.sqrt(2.0) * (np.sqrt(2.0) if what is What.ASYMMETRY else 1.0)
    ways = 2 if what is What.ASYMMETRY else 1
    assert flag.p == pytest.approx(ways * norm.sf(short / se), rel=1e-9)
    assert flag.q == pytest.approx(flag.p)


def missed_at(course: Sequence[AVisit], due: int, **more: Any) -> list[int]:
    target = a_target(TargetDirection.DOWN, 8.0, What.RIGHT, due=due)
    found = judged(course, targets=target, **more)
    return found.flags[found.flags["kind"] == code_of(FlagKind.TARGET_MISSED)]["visit"].tolist()


def test_a_target_is_looked_at_once_at_the_first_visit_that_could_show_it() -> None:
    course = a_course(10.0, 10.0, 10.0, 10.0)
    assert missed_at(course, due=20_000 + 40) == [102]
    assert missed_at(course, due=20_000 + 56) == [102]
    assert missed_at(course, due=20_000 + 57) == [103]
    assert missed_at(course, due=20_000 + 400) == []
    without = AVisit(readings={(0, LEFT): (10.0, 5, np.nan)})
    assert missed_at([*course[:2], without, course[3]], due=20_040) == [103]
    again = AVisit(readings=course[2].readings, counts=False)
    assert missed_at([*course[:2], again, course[3]], due=20_040) == [103]


def test_without_a_known_error_or_for_another_runner_no_target_is_called_missed() -> None:
    course = a_course(10.0, 10.0)
    assert missed_at(course, due=20_010) == [101]
    assert missed_at(course, due=20_010, figures=[]) == []
    other = a_target(TargetDirection.DOWN, 8.0, What.RIGHT, due=20_010).assign(runner=2)
    assert judged(course, targets=other).flags.empty
    assert judged(course, targets=no_targets()).flags.empty


def test_a_missed_target_does_not_count_among_the_false_flags_to_expect() -> None:
    target = a_target(TargetDirection.TOWARDS_ZERO, 9.0, What.ASYMMETRY, due=20_010)
    found = judged(a_course(10.0, 10.0), targets=target)
    assert kinds_flagged(found) == ["target_missed"]
    assert found.expected["tests"].tolist() == [1]
    bare = judged(a_course(10.0, 10.0))
    pd.testing.assert_frame_equal(found.expected, bare.expected)


def test_a_symptom_on_both_sides_is_one_metric_and_two_tests() -> None:
    figure = a_figure("test_pain", between_sd=0.5, within_sd=0.0)
    metric = a_score(sided=True)
    before = {(0, LEFT): (2.0, 1, np.nan), (0, RIGHT): (1.0, 1, np.nan)}
    after = {(0, LEFT): (6.0, 1, np.nan), (0, RIGHT): (6.0, 1, np.nan)}
    course = [AVisit(readings=before, reference=True), AVisit(readings=after)]
    found = judged(course, metrics=[metric], figures=[figure])
    assert kinds_flagged(found) == ["symptom_up", "symptom_up"]
    assert found.expected["tests"].tolist() == [1]


@pytest.mark.parametrize(
    ("better", "start", "after", "badness"),
    [
        (Better.LOWER, 2.0, 6.0, 6.0),
        (Better.NONE, 2.0, 6.0, 6.0),
        (Better.HIGHER, 8.0, 3.0, -3.0),
    ],
)
def test_how_bad_a_symptom_is_grows_the_way_it_gets_worse(
    better: Better, start: float, after: float, badness: float
) -> None:
    course = [
        AVisit(readings={(0, NONE): (start, 1, np.nan)}, reference=True),
        AVisit(readings={(0, NONE): (after, 1, np.nan)}),
    ]
    (flag,) = judged(course, metrics=[a_score(better=better)], figures=[]).flags.itertuples()
    assert flag.badness == badness
    assert not flag.badness_known


def test_how_bad_a_fallen_side_is_is_told_of_that_side() -> None:
    course = [
        AVisit(readings=a_pair(10.0, 20.0), reference=True),
        AVisit(readings=a_pair(19.0, 20.0)),
    ]
    (flag,) = judged(course).flags.itertuples()
    assert (flag.badness, flag.badness_sem, flag.badness_known) == (19.0, 1.0, True)
    ranged = an_angle(better=Better.RANGE, target_low=8.0, target_high=12.0)
    (flag,) = judged(course, metrics=[ranged]).flags.itertuples()
    assert flag.badness == 7.0
