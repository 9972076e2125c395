"""What became of a working hypothesis, in words; never that one thing caused another."""

from __future__ import annotations

from collections.abc import Sequence

from casebook.domain.hypotheses import (
    Extent,
    LinkCall,
    LinkReason,
    LinkScore,
    Order,
    Outcome,
)
from casebook.domain.metrics import Metric
from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.domain.wording import (
    ONLY_BETTER_FELL,
    asymmetry_unit,
    moved_words,
    number_words,
    unit_words,
)

CALLS = {
    LinkCall.AS_PREDICTED: "moved as predicted, beyond error",
    LinkCall.DID_NOT_MOVE: "did not move as far as predicted, nor beyond error",
    LinkCall.OTHER_WAY: "moved the other way, beyond error",
    LinkCall.STAYED_STILL: "stayed still within error",
    LinkCall.MOVED_THOUGH_STILL: "moved beyond error, though it should have stayed still",
    LinkCall.CANNOT_SAY: "can't say",
}
# Of what should stay still, without an amount up to which a change would count as still.
NOT_SEEN_TO_MOVE = "no change beyond error was seen, which does not show that it stayed still"
LINK_REASONS = {
    LinkReason.NO_VERDICT: "the visits give no verdict on it",
    LinkReason.TOO_SMALL_TO_SEE: ("the amount is smaller than what these measurements can see"),
    LinkReason.NOT_RULED_OUT: (
        "no change beyond error, but the predicted amount is not ruled out either"
    ),
    LinkReason.CROSSED_OVER: "it swung over to the other side, which is not shrinking",
    LinkReason.NOT_TOLD_APART: "the change can't be told from the amount that counts as still",
}
EXTENTS = {
    Extent.AT_LEAST: "as measured at least as far as predicted",
    Extent.LESS: "less far than predicted, beyond error",
    Extent.NOT_TOLD_APART: "how far can't be told from what was predicted",
}
ORDERS = {
    Order.AFTER: "was first seen to move after the driver was",
    Order.SAME_VISIT: "was first seen to move at the same visit as the driver",
    Order.BEFORE: "was seen to move before the driver was, which speaks against the order proposed",
    Order.WITHOUT_DRIVER: "moved though the driver did not, which speaks against the link",
    Order.NOT_YET: "has not been seen to move as predicted",
    Order.CANNOT_SAY: "can't be placed in time",
}
OUTCOMES = {
    Outcome.HELD: "all of it was seen as predicted",
    Outcome.HOLLOW: (
        "all of it moved as predicted, but not all of it as a gain: it counts neither as held nor "
        "as failed"
    ),
    Outcome.DID_NOT_HOLD: "not all of it was seen as predicted",
    Outcome.CANNOT_SAY: "can't say yet",
}
NOT_WHY = (
    "That a prediction held does not show why: other things changed in the same weeks, and what "
    "is measured with less error is seen to move earlier."
)
WAYS = {
    TargetDirection.UP: "up",
    TargetDirection.DOWN: "down",
    TargetDirection.TOWARDS_ZERO: "towards zero",
}
PLACES = {
    TargetOn.LEFT: " (left)",
    TargetOn.RIGHT: " (right)",
    TargetOn.NONE: "",
    TargetOn.ASYMMETRY: " (asymmetry, right minus left)",
}


def link_words(score: LinkScore, metric: Metric) -> str:
    """One sentence on what a link did, with its numbers.

    Parameters
    ----------
    score : LinkScore
    metric : Metric
        The one that the link is on.
    """
    link = score.link
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit)
        if link.on is TargetOn.ASYMMETRY
        else unit_words(metric.unit)
    )
    if link.direction is None:
        asked = "should have stayed still"
        if link.amount is not None:
            asked += f" (within {number_words(link.amount, unit)})"
    else:
        asked = f"predicted {number_words(link.amount, unit)} {WAYS[link.direction]}"
    told = f"{metric.label}{PLACES[link.on]}: {asked}; {_call(score)}"
    if score.reason is not None:
        told += f": {score.detail or LINK_REASONS[score.reason]}"
    if score.extent is not None:
        told += f", {EXTENTS[score.extent]}"
    if score.hollow:
        told += f", but {ONLY_BETTER_FELL}"
    if score.moved is not None and score.error is not None:
        moved = (
            f"it moved {number_words(score.moved, unit, signed=True)}"
            if link.direction is None
            else moved_words(score.moved, unit)
        )
        told += f" ({moved}; changes up to {number_words(score.error, unit)} are within error)"
    return f"{told}."


def call_words(score: LinkScore) -> str:
    """What a link did; what merely was not seen to move is not said to have stayed still."""
    return f"{_call(score)}, but {ONLY_BETTER_FELL}" if score.hollow else _call(score)


def _call(score: LinkScore) -> str:
    return NOT_SEEN_TO_MOVE if _not_seen(score) else CALLS[score.call]


def _not_seen(score: LinkScore) -> bool:
    return score.call is LinkCall.STAYED_STILL and score.link.amount is None


def outcome_words(outcome: Outcome, sureness_pct: int, scores: Sequence[LinkScore]) -> str:
    """One or two sentences on the whole, with the sureness that was stated before.

    Parameters
    ----------
    outcome : Outcome
    sureness_pct : int
    scores : sequence of LinkScore
        Of every link.
    """
    hollow = sum(score.hollow for score in scores)
    held = {LinkCall.AS_PREDICTED, LinkCall.STAYED_STILL}
    fine = sum(score.call in held for score in scores) - hollow
    unsaid = sum(score.call is LinkCall.CANNOT_SAY for score in scores)
    counts = f"{fine} of {len(scores)} predictions held"
    not_seen = sum(_not_seen(score) for score in scores)
    if not_seen:
        counts += f", {not_seen} of them only in that no change beyond error was seen"
    if hollow:
        counts += f", {hollow} moved as predicted {ONLY_BETTER_FELL}"
    if unsaid:
        counts += f", {unsaid} can't be told"
    return f"Stated sureness {sureness_pct} %; {OUTCOMES[outcome]} ({counts}). {NOT_WHY}"


def tally_words(*, held: int, did_not_hold: int, hollow: int, not_told: int) -> str:
    """How many hypotheses did what; those that were no gain apart from those that held.

    Examples
    --------
    >>> tally_words(held=3, did_not_hold=2, hollow=0, not_told=1)
    "3 held, 2 did not, 1 can't be told"
    >>> tally_words(held=3, did_not_hold=2, hollow=1, not_told=1)
    "3 held, 2 did not, 1 closed a gap only because the better side fell, which is no gain and \
counts as neither, 1 can't be told"
    """
    apart = f"{hollow} closed a gap {ONLY_BETTER_FELL} and counts as neither, " if hollow else ""
    return f"{held} held, {did_not_hold} did not, {apart}{not_told} can't be told"
