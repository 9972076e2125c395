"""Predictions scored: only what the error allows is said, and never why."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.hypotheses import (
    Extent,
    LinkCall,
    LinkReason,
    LinkScore,
    Order,
    Outcome,
    Role,
)
from casebook.domain.metrics import ErrorOrigin
from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.domain.verdicts import Call, Reason, SideMoved, Verdict, What
from casebook.domain.wording import REASONS
from casebook.statistics.hypotheses import (
    followed_in_time,
    forecast_of,
    outcome_of,
    score_course,
    score_link,
    score_when_due,
    tally_of,
)
from tests.domain.test_hypotheses import HYPOTHESIS, a_link
from tests.domain.test_wording import VERDICT

DAY = date(2026, 6, 1)
UP = a_link(direction=TargetDirection.UP, amount=10.0, on=TargetOn.LEFT)
STILL = a_link(role=Role.STILL, direction=None, amount=None, on=TargetOn.LEFT)


def seen(change: float, mdc: float | None = 4.0, **changes: Any) -> Verdict:
    made = replace(
        VERDICT, what=What.LEFT, baseline=20.0, latest=20.0 + change, change=change, mdc95=mdc,
        latest_date=DAY, which_side_moved=None, verdict=Call.IMPROVED, reason=None,
    )  # fmt: skip
    return replace(made, **changes)


@pytest.mark.parametrize(
    ("change", "mdc", "call", "reason"),
    [
        (11.0, 4.0, LinkCall.AS_PREDICTED, None),
        (5.0, 4.0, LinkCall.AS_PREDICTED, None),
        (4.0, 4.0, LinkCall.DID_NOT_MOVE, None),
        (0.0, 4.0, LinkCall.DID_NOT_MOVE, None),
        (-4.0, 4.0, LinkCall.DID_NOT_MOVE, None),
        (-5.0, 4.0, LinkCall.OTHER_WAY, None),
        (3.0, 8.0, LinkCall.CANNOT_SAY, LinkReason.NOT_RULED_OUT),
        (0.0, 12.0, LinkCall.CANNOT_SAY, LinkReason.TOO_SMALL_TO_SEE),
        (-11.0, 12.0, LinkCall.CANNOT_SAY, LinkReason.TOO_SMALL_TO_SEE),
    ],
)
def test_a_prediction_is_told_by_its_error_alone(
    change: float, mdc: float, call: LinkCall, reason: LinkReason | None
) -> None:
    score = score_link(UP, seen(change, mdc))
    assert (score.call, score.reason) == (call, reason)
    assert (score.moved, score.error, score.on_date) == (change, mdc, DAY)


@given(
    st.floats(-50, 50), st.floats(0.1, 50), st.floats(0.1, 50),
    st.sampled_from([TargetDirection.UP, TargetDirection.DOWN]),
)  # fmt: skip
def test_turning_everything_round_turns_the_direction_and_nothing_else(
    change: float, mdc: float, amount: float, way: TargetDirection
) -> None:
    other = TargetDirection.DOWN if way is TargetDirection.UP else TargetDirection.UP
    one = score_link(replace(UP, direction=way, amount=amount), seen(change, mdc))
    turned = score_link(replace(UP, direction=other, amount=amount), seen(-change, mdc))
    assert (one.call, one.reason, one.extent, one.moved) == (
        turned.call, turned.reason, turned.extent, turned.moved,
    )  # fmt: skip
    if one.call is LinkCall.DID_NOT_MOVE:
        assert amount >= mdc
    if one.call in {LinkCall.AS_PREDICTED, LinkCall.OTHER_WAY}:
        assert abs(change) > mdc


def test_how_far_it_went_is_told_against_what_was_predicted() -> None:
    told = [score_link(UP, seen(change, 4.0)).extent for change in (12.0, 8.0, 4.5)]
    assert told == [Extent.AT_LEAST, Extent.NOT_TOLD_APART, Extent.LESS]


@pytest.mark.simulated
@pytest.mark.parametrize("truth", [0.0, 10.0])
def test_simulated_runners_are_told_wrongly_as_seldom_as_stated(truth: float) -> None:
    """SE 2, MDC 3.92, 10 predicted: wrong in 2.5 % of cases, up to Monte Carlo error."""
    se, runs = 2.0, 2000
    errors = np.random.default_rng(20261127).normal(0.0, se, runs)
    calls = [score_link(UP, seen(float(truth + error), 1.959964 * se)).call for error in errors]
    wrong = LinkCall.AS_PREDICTED if truth == 0 else LinkCall.DID_NOT_MOVE
    share = calls.count(wrong) / runs
    assert share <= 0.025 + 3 * math.sqrt(0.025 * 0.975 / runs)
    assert calls.count(LinkCall.AS_PREDICTED if truth else LinkCall.DID_NOT_MOVE) / runs > 0.9


def test_an_asymmetry_goes_towards_zero_by_its_size_and_not_by_crossing_over() -> None:
    link = a_link(direction=TargetDirection.TOWARDS_ZERO, amount=6.0, on=TargetOn.ASYMMETRY)
    shrunk = seen(9.0, 4.0, what=What.ASYMMETRY, baseline=-12.0, latest=-3.0)
    grown = seen(-9.0, 4.0, what=What.ASYMMETRY, baseline=-12.0, latest=-21.0)
    over = replace(shrunk, latest=9.0, change=21.0, reason=Reason.CROSSED_OVER)
    assert score_link(link, shrunk).call is LinkCall.AS_PREDICTED
    assert score_link(link, shrunk).moved == 9.0
    assert score_link(link, grown).call is LinkCall.OTHER_WAY
    assert score_link(link, over).reason is LinkReason.CROSSED_OVER
    whole = score_link(replace(link, amount=50.0), shrunk)
    assert (whole.asked, whole.extent) == (12.0, Extent.NOT_TOLD_APART)
    signed = a_link(direction=TargetDirection.UP, amount=6.0, on=TargetOn.ASYMMETRY)
    assert score_link(signed, over).call is LinkCall.AS_PREDICTED
    fell = replace(shrunk, which_side_moved=SideMoved.BETTER_SIDE_FELL)
    # Left the larger by 12: both fell, the better side further.
    both = replace(
        shrunk, which_side_moved=SideMoved.BOTH, worse_side=What.RIGHT, left_change=-15.0,
        right_change=-6.0,
    )  # fmt: skip
    assert [score_link(link, one).hollow for one in (shrunk, fell, both, grown)] == [
        False, True, True, False,
    ]  # fmt: skip


@pytest.mark.parametrize(
    "reason",
    [Reason.NOT_LIKE_FOR_LIKE, Reason.NO_ERROR_FIGURE, Reason.FEWER_TRIALS_THAN_FIGURE],
)
def test_without_a_verdict_nothing_is_said_and_the_reason_is_the_verdicts(reason: Reason) -> None:
    score = score_link(UP, seen(30.0, reason=reason, verdict=Call.CANNOT_SAY))
    assert (score.call, score.detail) == (LinkCall.CANNOT_SAY, REASONS[reason])


def test_an_error_that_is_only_a_lower_bound_or_not_known_says_nothing() -> None:
    within = score_link(UP, seen(0.0, error_origin=ErrorOrigin.WITHIN_SESSION))
    assert within.detail == REASONS[Reason.ONLY_WITHIN_SESSION]
    assert score_link(UP, seen(0.0, None)).detail == REASONS[Reason.NO_ERROR_FIGURE]


def test_what_was_not_measured_says_nothing() -> None:
    assert score_link(UP, None).on_date is None
    assert score_link(UP, replace(seen(0.0), change=None)).reason is LinkReason.NO_VERDICT


def test_moving_where_neither_way_is_better_is_still_moving() -> None:
    score = score_link(UP, seen(11.0, reason=Reason.NO_BETTER_DIRECTION))
    assert score.call is LinkCall.AS_PREDICTED


def test_grades_that_moved_by_the_step_did_not_move() -> None:
    link = replace(UP, amount=3.0)
    assert score_link(link, seen(7 / 3 - 4 / 3, 1.0)).call is LinkCall.DID_NOT_MOVE


@pytest.mark.parametrize(
    ("change", "amount", "call", "reason"),
    [
        (4.0, None, LinkCall.STAYED_STILL, None),
        (-4.1, None, LinkCall.MOVED_THOUGH_STILL, None),
        (1.0, 5.0, LinkCall.STAYED_STILL, None),
        (-9.5, 5.0, LinkCall.MOVED_THOUGH_STILL, None),
        (3.0, 5.0, LinkCall.CANNOT_SAY, LinkReason.NOT_TOLD_APART),
        (0.0, 3.0, LinkCall.CANNOT_SAY, LinkReason.TOO_SMALL_TO_SEE),
    ],
)
def test_staying_still_is_shown_and_not_merely_not_disproved(
    change: float, amount: float | None, call: LinkCall, reason: LinkReason | None
) -> None:
    score = score_link(replace(STILL, amount=amount), seen(change))
    assert (score.call, score.reason) == (call, reason)


@pytest.mark.simulated
def test_a_runner_who_moved_by_the_tolerance_is_called_still_as_seldom_as_stated() -> None:
    se, runs = 1.0, 2000
    errors = np.random.default_rng(7).normal(5.0, se, runs)
    link = replace(STILL, amount=5.0)
    calls = [score_link(link, seen(float(e), 1.959964 * se)).call for e in errors]
    for wrong in (LinkCall.STAYED_STILL, LinkCall.MOVED_THOUGH_STILL):
        assert calls.count(wrong) / runs <= 0.025 + 3 * math.sqrt(0.025 * 0.975 / runs)


def test_the_first_visit_on_or_after_the_date_counts_and_no_later_one() -> None:
    link = replace(UP, due_on=DAY)
    verdicts = [
        seen(20.0, latest_date=DAY + timedelta(days=30)),
        seen(0.0, latest_date=DAY + timedelta(days=3)),
        seen(20.0, latest_date=DAY - timedelta(days=30)),
        seen(20.0, latest_date=None),
    ]
    course = score_course(link, verdicts)
    assert [score.moved for score in course] == [20.0, 0.0, 20.0]
    assert score_when_due(link, course).call is LinkCall.DID_NOT_MOVE
    later = replace(link, due_on=DAY + timedelta(days=60))
    assert "no review since it was due" in score_when_due(later, course).detail


def course(*calls: LinkCall) -> list[LinkScore]:
    moved = {LinkCall.AS_PREDICTED: 10.0, LinkCall.DID_NOT_MOVE: 0.0}
    return [
        LinkScore(
            link=UP, call=call, on_date=DAY + timedelta(weeks=week), moved=moved.get(call),
            error=4.0, asked=10.0,
        )
        for week, call in enumerate(calls)
    ]  # fmt: skip


YES, NO, WHO = LinkCall.AS_PREDICTED, LinkCall.DID_NOT_MOVE, LinkCall.CANNOT_SAY


@pytest.mark.parametrize(
    ("driver", "consequence", "order"),
    [
        ([YES, YES], [NO, YES], Order.AFTER),
        ([YES, YES], [YES, YES], Order.SAME_VISIT),
        ([NO, YES], [YES, YES], Order.BEFORE),
        ([WHO, YES], [YES, YES], Order.CANNOT_SAY),
        ([NO, NO], [NO, YES], Order.WITHOUT_DRIVER),
        ([NO, WHO], [NO, YES], Order.CANNOT_SAY),
        ([], [YES], Order.CANNOT_SAY),
        ([YES, YES], [NO, WHO], Order.NOT_YET),
        ([YES], [WHO], Order.CANNOT_SAY),
    ],
)
def test_the_order_is_told_only_where_both_can_be(
    driver: list[LinkCall], consequence: list[LinkCall], order: Order
) -> None:
    assert followed_in_time(course(*driver), course(*consequence)) is order


def test_a_driver_that_is_measured_less_finely_is_not_said_to_have_moved_later() -> None:
    """Both have come half of their way; only the finer one can be seen to have."""
    driver = replace(UP, amount=24.0)
    [coarse] = score_course(driver, [seen(10.0, 11.0)])
    fine = score_course(UP, [seen(5.0, 1.0)])
    assert (coarse.call, fine[0].call) == (LinkCall.DID_NOT_MOVE, LinkCall.AS_PREDICTED)
    later = score_course(driver, [seen(20.0, 11.0, latest_date=DAY + timedelta(days=30))])
    assert followed_in_time([coarse, *later], fine) is Order.CANNOT_SAY
    whole = score_course(UP, [seen(10.0, 1.0)])
    [none] = score_course(driver, [seen(0.0, 11.0)])
    assert followed_in_time([none, *later], whole) is Order.BEFORE
    assert followed_in_time([none], whole) is Order.WITHOUT_DRIVER


@pytest.mark.simulated
def test_what_moves_together_is_seldom_said_to_go_before_its_driver() -> None:
    generator, runs, against = np.random.default_rng(20261127), 400, 0
    for _ in range(runs):
        driver, follows = [], []
        for visit, part in enumerate((0.33, 0.66, 1.0)):
            day = DAY + timedelta(days=30 * visit)
            driver.append(seen(12 * part + generator.normal(0, 2.5), 4.9, latest_date=day))
            follows.append(seen(6 * part + generator.normal(0, 0.5), 0.98, latest_date=day))
        order = followed_in_time(
            score_course(replace(UP, amount=12.0), driver),
            score_course(replace(UP, amount=6.0), follows),
        )
        against += order in {Order.BEFORE, Order.WITHOUT_DRIVER}
    assert against / runs <= 0.05


def test_the_first_driver_that_moves_counts() -> None:
    both = [*course(NO, NO), *course(YES, YES)]
    assert followed_in_time(both, course(NO, YES)) is Order.AFTER


@pytest.mark.parametrize(
    ("calls", "outcome"),
    [
        ([YES, LinkCall.STAYED_STILL], Outcome.HELD),
        ([YES, WHO], Outcome.CANNOT_SAY),
        ([NO, WHO], Outcome.DID_NOT_HOLD),
        ([YES, LinkCall.MOVED_THOUGH_STILL], Outcome.DID_NOT_HOLD),
        ([YES, LinkCall.OTHER_WAY], Outcome.DID_NOT_HOLD),
        ([], Outcome.CANNOT_SAY),
    ],
)
def test_the_whole_holds_when_each_part_does(calls: list[LinkCall], outcome: Outcome) -> None:
    assert outcome_of(course(*calls)) is outcome


def test_a_gap_that_closed_from_the_wrong_side_neither_holds_nor_fails() -> None:
    fell = [replace(course(YES)[0], hollow=True)]
    assert outcome_of(fell) is outcome_of([*fell, *course(YES)]) is Outcome.HOLLOW
    # Another prediction that failed is enough not to hold, one that can't be told to say nothing.
    assert outcome_of([*fell, *course(NO)]) is Outcome.DID_NOT_HOLD
    assert outcome_of([*fell, *course(WHO)]) is Outcome.CANNOT_SAY
    assert forecast_of(HYPOTHESIS, fell) is None
    found = tally_of([Outcome.HELD, Outcome.HOLLOW, Outcome.CANNOT_SAY, Outcome.DID_NOT_HOLD])
    assert (found.held, found.did_not_hold, found.hollow, found.not_told) == (1, 1, 1, 1)
    assert (found.lowest, found.highest) == (0.25, 0.5)


def test_only_what_is_known_throughout_is_counted_as_a_forecast() -> None:
    assert forecast_of(HYPOTHESIS, course(NO, WHO)) is None
    assert forecast_of(HYPOTHESIS, []) is None
    held = forecast_of(HYPOTHESIS, course(YES, YES))
    failed = forecast_of(HYPOTHESIS, course(YES, NO))
    assert held is not None
    assert failed is not None
    assert (held.sureness, held.held, held.kind) == (0.7, True, "mobility")
    assert not failed.held


def test_without_any_hypothesis_there_is_no_share() -> None:
    assert tally_of([]).lowest is None
