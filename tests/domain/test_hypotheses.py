"""Working hypotheses: whole, frozen, versioned, and worded without causes."""

from __future__ import annotations

import re
from dataclasses import FrozenInstanceError, replace
from datetime import date
from enum import StrEnum
from typing import Any

import pytest

from casebook.domain import hypotheses, hypothesis_words
from casebook.domain.errors import InputRefused
from casebook.domain.hypotheses import (
    Extent,
    Hypothesis,
    HypothesisKind,
    Link,
    LinkCall,
    LinkReason,
    LinkScore,
    Order,
    Outcome,
    Role,
    amended,
    is_frozen,
    version_to_score,
)
from casebook.domain.hypothesis_words import (
    call_words,
    link_words,
    outcome_words,
    tally_words,
)
from casebook.domain.metrics import AsymmetryForm
from casebook.domain.programmes import TargetDirection, TargetOn
from tests.builders import a_metric

START = date(2026, 3, 2)


def a_link(**changes: Any) -> Link:
    given: dict[str, Any] = {
        "position": 1, "role": Role.DRIVER, "metric": "test_strength", "on": TargetOn.LEFT,
        "direction": TargetDirection.UP, "amount": 30.0, "due_on": date(2026, 6, 1),
    }  # fmt: skip
    return Link(**{**given, **changes})


HYPOTHESIS = Hypothesis(
    runner="T-001", programme="Calf", kind=HypothesisKind.MOBILITY, driver="Too little rocker",
    leads_to="early heel rise",
    links=(a_link(), a_link(position=2, metric="test_bend", role=Role.CONSEQUENCE)),
    sureness_pct=70, written_on=START, written_by="ab",
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"position": 0}, "position is '0'"),
        ({"role": Role.STILL}, "none, since it should stay still"),
        ({"direction": None}, "which way it should move"),
        ({"direction": TargetDirection.TOWARDS_ZERO}, "only an asymmetry goes towards zero"),
        ({"amount": None}, "by how much it should move"),
        ({"amount": 0.0}, "more than zero"),
        ({"amount": float("nan")}, "more than zero"),
        ({"role": Role.STILL, "direction": None, "amount": -1.0}, "more than zero"),
    ],
)
def test_a_prediction_that_could_not_be_scored_is_refused(
    changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(InputRefused, match=words):
        a_link(**changes)


def test_what_should_stay_still_needs_no_amount() -> None:
    assert a_link(role=Role.STILL, direction=None, amount=None).amount is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"driver": " "}, "driver is blank"),
        ({"links": ()}, "0 predictions"),
        ({"links": (a_link(role=Role.CONSEQUENCE),)}, "none of its predictions is on the driver"),
        ({"links": (a_link(), a_link(position=2))}, "same thing: test_strength"),
        ({"links": (a_link(), a_link(metric="test_bend"))}, "same position"),
        ({"written_on": date(2026, 6, 1)}, "does not lie after the day"),
        ({"sureness_pct": 100}, "expected 1 to 99"),
        ({"sureness_pct": 0}, "nobody is certain"),
        ({"version": 2}, "one for each later version"),
        ({"reason": "why not"}, "no reason for the first"),
        ({"version": 0, "reason": "x"}, "version 0"),
    ],
)
def test_a_hypothesis_that_is_not_whole_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        replace(HYPOTHESIS, **changes)


def test_a_hypothesis_cannot_be_altered_and_a_new_version_leaves_the_old() -> None:
    with pytest.raises(FrozenInstanceError):
        HYPOTHESIS.sureness_pct = 90  # type: ignore[misc]
    new = amended(
        HYPOTHESIS, written_on=date(2026, 4, 1), written_by="cd", reason="new finding",
        sureness_pct=40,
    )  # fmt: skip
    assert (new.version, new.sureness_pct, new.reason) == (2, 40, "new finding")
    assert (HYPOTHESIS.version, HYPOTHESIS.sureness_pct) == (1, 70)


def test_a_new_version_differs_says_why_and_is_not_dated_back() -> None:
    given: dict[str, Any] = {"written_by": "ab", "written_on": START, "reason": "because"}
    with pytest.raises(InputRefused, match="says the same already"):
        amended(HYPOTHESIS, **given, sureness_pct=70)
    with pytest.raises(InputRefused, match="before the 2026-03-02"):
        amended(HYPOTHESIS, **{**given, "written_on": date(2026, 3, 1)}, sureness_pct=50)
    with pytest.raises(InputRefused, match="one for each later version"):
        amended(HYPOTHESIS, **{**given, "reason": " "}, sureness_pct=50)


def test_it_is_frozen_from_the_day_of_the_start() -> None:
    assert not is_frozen(programme_started_on=START, today=date(2026, 3, 1))
    assert is_frozen(programme_started_on=START, today=START)


def test_what_was_written_after_the_start_is_no_prediction() -> None:
    late = amended(
        HYPOTHESIS, written_on=date(2026, 4, 1), written_by="ab", reason="seen since",
        sureness_pct=95,
    )  # fmt: skip
    assert version_to_score([late, HYPOTHESIS], programme_started_on=START) is HYPOTHESIS
    assert version_to_score([late], programme_started_on=START) is None


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (hypotheses.KINDS, HypothesisKind),
        (hypotheses.ROLES, Role),
        (hypothesis_words.CALLS, LinkCall),
        (hypothesis_words.LINK_REASONS, LinkReason),
        (hypothesis_words.EXTENTS, Extent),
        (hypothesis_words.ORDERS, Order),
        (hypothesis_words.OUTCOMES, Outcome),
        (hypothesis_words.WAYS, TargetDirection),
        (hypothesis_words.PLACES, TargetOn),
    ],
)
def test_everything_that_can_be_said_has_words_and_none_names_a_cause(
    words: dict[StrEnum, str], kind: type[StrEnum]
) -> None:
    assert set(words) == set(kind)
    said = " ".join([*words.values(), hypothesis_words.NOT_WHY])
    assert not re.search(r"caus|because|prove[sd]?\b|diagnos|due to", said)


def a_score(**changes: Any) -> LinkScore:
    score = LinkScore(
        link=a_link(), call=LinkCall.AS_PREDICTED, on_date=START, moved=40.0, error=20.0,
        extent=Extent.AT_LEAST,
    )  # fmt: skip
    return replace(score, **changes)


def test_a_link_is_told_with_its_numbers_and_its_side() -> None:
    assert link_words(a_score(), a_metric()) == (
        "Strength in a test (left): predicted 30.0 N up; moved as predicted, beyond error, as "
        "measured at least as far as predicted (it moved 40.0 N that way; changes up to 20.0 "
        "N are within error)."
    )


def test_what_moved_the_other_way_is_told_without_a_sign() -> None:
    other = link_words(a_score(call=LinkCall.OTHER_WAY, moved=-35.0, extent=None), a_metric())
    assert "(it moved 35.0 N the other way; changes up to 20.0 N" in other
    assert "(it moved 0.00 N; changes" in link_words(a_score(moved=-0.001), a_metric())


def test_what_came_of_the_better_side_falling_is_told_as_no_gain() -> None:
    hollow = a_score(hollow=True)
    assert (
        "at least as far as predicted, but only because the better side fell, which is no gain"
        in (link_words(hollow, a_metric()))
    )
    assert call_words(hollow).endswith("but only because the better side fell, which is no gain")
    told = outcome_words(Outcome.HOLLOW, 70, [a_score(), hollow])
    assert "it counts neither as held nor as failed (1 of 2 predictions held, 1 moved as" in told
    assert "predicted only because the better side fell, which is no gain). " in told
    assert tally_words(held=1, did_not_hold=0, hollow=2, not_told=0) == (
        "1 held, 0 did not, 2 closed a gap only because the better side fell, which is no gain "
        "and counts as neither, 0 can't be told"
    )


def test_what_should_stay_still_is_told_with_what_counts_as_still() -> None:
    still = a_link(role=Role.STILL, direction=None, amount=5.0, on=TargetOn.ASYMMETRY)
    score = a_score(link=still, call=LinkCall.STAYED_STILL, extent=None, moved=1.0, error=2.0)
    assert link_words(score, a_metric(asymmetry_form=AsymmetryForm.PERCENT)) == (
        "Strength in a test (asymmetry, right minus left): should have stayed still (within "
        "5.0%); stayed still within error (it moved +1.0%; changes up to 2.0% are within error)."
    )
    free = a_score(link=replace(still, amount=None), call=LinkCall.STAYED_STILL, extent=None)
    assert "should have stayed still; no change beyond error was seen, which does not" in (
        link_words(free, a_metric())
    )
    told = outcome_words(Outcome.HELD, 70, [a_score(), free, score])
    assert "3 of 3 predictions held, 1 of them only in that no change beyond error" in told


def test_why_it_cannot_be_said_is_the_verdicts_reason_or_the_links() -> None:
    unsaid = a_score(call=LinkCall.CANNOT_SAY, extent=None, moved=None, error=None)
    told = link_words(replace(unsaid, reason=LinkReason.NO_VERDICT, detail="painful"), a_metric())
    assert told.endswith("can't say: painful.")
    small = link_words(replace(unsaid, reason=LinkReason.TOO_SMALL_TO_SEE), a_metric())
    assert small.endswith("smaller than what these measurements can see.")


def test_the_whole_is_told_with_the_sureness_stated_before() -> None:
    scores = [a_score(), a_score(call=LinkCall.CANNOT_SAY)]
    told = outcome_words(Outcome.CANNOT_SAY, 70, scores)
    assert told.startswith(
        "Stated sureness 70 %; can't say yet (1 of 2 predictions held, 1 can't be told). "
    )
    assert "does not show why" in told
    assert "can't be told" not in outcome_words(Outcome.HELD, 70, scores[:1])
