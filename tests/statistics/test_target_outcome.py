"""A target at its date: met, not met, or it can't be said; and whether it could be seen at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from casebook.domain.metrics import AsymmetryForm
from casebook.domain.programmes import Target, TargetDirection, TargetOn
from casebook.domain.target_outcomes import (
    PLACES,
    TARGET_CALLS,
    WAYS,
    TargetCall,
    target_words,
    unseen_words,
)
from casebook.domain.verdicts import Reason, SideMoved, What
from casebook.statistics.target_outcome import NO_VISIT, NOT_APART, target_outcome
from tests.builders import a_metric
from tests.statistics.test_hypotheses import DAY, seen

TODAY = DAY + timedelta(days=1)
TARGET = Target(
    metric="test_strength", what=TargetOn.LEFT, direction=TargetDirection.UP, amount=10.0,
    due_on=DAY,
)  # fmt: skip
ZERO = replace(TARGET, what=TargetOn.ASYMMETRY, direction=TargetDirection.TOWARDS_ZERO)


@pytest.mark.parametrize(
    ("change", "mdc", "call", "why"),
    [
        (10.0, 4.0, TargetCall.MET, ""),
        (9.0, 4.0, TargetCall.CANNOT_SAY, NOT_APART),
        (6.0, 4.0, TargetCall.CANNOT_SAY, NOT_APART),
        (5.0, 4.0, TargetCall.NOT_MET, ""),
        (0.0, 4.0, TargetCall.NOT_MET, ""),
        (-5.0, 4.0, TargetCall.NOT_MET, ""),
        (-20.0, 25.0, TargetCall.NOT_MET, ""),
        (12.0, 25.0, TargetCall.CANNOT_SAY, "smaller than what these measurements can see"),
    ],
)
def test_a_target_is_told_by_what_was_seen_and_its_error(
    change: float, mdc: float, call: TargetCall, why: str
) -> None:
    found = target_outcome(TARGET, [seen(change, mdc)], today=TODAY)
    assert found.call is call
    assert why in found.why
    assert bool(why) == bool(found.why)
    assert (found.moved, found.error, found.on_date) == (change, mdc, DAY)


def test_a_gap_closed_by_the_better_side_falling_meets_its_target_for_no_gain() -> None:
    verdict = replace(
        seen(0.0), what=What.ASYMMETRY, baseline=-20.0, latest=-4.0, change=16.0,
        which_side_moved=SideMoved.BETTER_SIDE_FELL,
    )  # fmt: skip
    found = target_outcome(ZERO, [verdict], today=TODAY)
    assert (found.call, found.hollow) == (TargetCall.MET, True)
    words = target_words(found, a_metric(asymmetry_form=AsymmetryForm.PERCENT))
    assert "met, but only because the better side fell, which is no gain (by the visit" in words
    gained = replace(verdict, which_side_moved=SideMoved.WORSE_SIDE_GAINED)
    assert not target_outcome(ZERO, [gained], today=TODAY).hollow
    short = replace(verdict, latest=-16.0, change=4.0)
    assert not target_outcome(ZERO, [short], today=TODAY).hollow


def test_a_target_met_by_no_more_than_the_error_may_truly_be_missed_and_that_is_said() -> None:
    near = target_outcome(TARGET, [seen(13.0)], today=TODAY)
    assert (near.call, near.near) == (TargetCall.MET, True)
    assert "met, as measured, though what was truly reached may fall short of it (" in (
        target_words(near, a_metric())
    )
    clear = target_outcome(TARGET, [seen(15.0)], today=TODAY)
    assert (clear.call, clear.near, clear.more) == (TargetCall.MET, False, "")
    assert not target_outcome(TARGET, [seen(9.0)], today=TODAY).near


def test_a_visit_long_after_the_date_is_named_with_its_own() -> None:
    late = target_outcome(
        TARGET, [seen(20.0, latest_date=DAY + timedelta(days=200))], today=DAY + timedelta(days=300)
    )
    assert "by 1 Jun 2026: met (by the visit of 18 Dec 2026 it moved" in (
        target_words(late, a_metric())
    )


def test_before_its_date_it_is_not_due_and_without_a_visit_since_it_cannot_be_said() -> None:
    early = target_outcome(TARGET, [seen(20.0)], today=DAY - timedelta(days=1))
    assert (early.call, early.moved) == (TargetCall.NOT_DUE, None)
    before = seen(20.0, latest_date=DAY - timedelta(days=9))
    late = target_outcome(TARGET, [before], today=TODAY)
    assert (late.call, late.why) == (TargetCall.CANNOT_SAY, NO_VISIT)


def test_visits_that_were_unlike_or_an_asymmetry_that_crossed_over_say_nothing() -> None:
    unlike = target_outcome(TARGET, [seen(20.0, reason=Reason.NOT_LIKE_FOR_LIKE)], today=TODAY)
    assert unlike.why == "the visits were not like for like"
    over = seen(30.0, what=What.ASYMMETRY, baseline=-12.0, latest=9.0, reason=Reason.CROSSED_OVER)
    crossed = target_outcome(ZERO, [over], today=TODAY)
    assert "swung over" in crossed.why


def test_no_more_than_the_whole_asymmetry_is_asked_for() -> None:
    gone = seen(8.0, what=What.ASYMMETRY, baseline=-8.0, latest=0.0)
    assert target_outcome(ZERO, [gone], today=TODAY).call is TargetCall.MET


def test_a_target_is_told_in_a_sentence_with_its_numbers() -> None:
    metric = a_metric(asymmetry_form=AsymmetryForm.PERCENT)
    told = target_words(target_outcome(TARGET, [seen(5.0)], today=TODAY), metric)
    assert told == (
        "Strength in a test (left): 10.0 N up by 1 Jun 2026: not met (by the visit of 1 Jun 2026 "
        "it moved 5.0 N that way; changes up to 4.0 N are within error)."
    )
    none = target_words(target_outcome(ZERO, [], today=TODAY), metric)
    assert none == (
        "Strength in a test (asymmetry, right minus left): 10.0% towards zero by 1 Jun 2026: can't "
        "be said, no review since its date."
    )


def test_a_target_that_could_not_be_seen_is_warned_of() -> None:
    assert unseen_words(TARGET, a_metric(), 10.0) == ""
    assert unseen_words(TARGET, a_metric(), 12.0) == (
        "You would not be able to see this: it takes 12.0 N to stand out of the measurement error, "
        "not 10.0 N."
    )
    assert "could not be said" in unseen_words(TARGET, a_metric(), None)


def test_everything_that_can_be_said_has_words() -> None:
    assert set(TARGET_CALLS) == set(TargetCall)
    assert set(WAYS) == set(TargetDirection)
    assert set(PLACES) == set(TargetOn)
