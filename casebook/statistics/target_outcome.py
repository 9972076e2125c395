"""Was a target met at its date? Met, not met, or it can't be said."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from casebook.domain.hypotheses import Link, LinkCall, LinkReason, LinkScore, Role
from casebook.domain.hypothesis_words import LINK_REASONS
from casebook.domain.programmes import Target
from casebook.domain.target_outcomes import TargetCall, TargetOutcome
from casebook.domain.verdicts import Verdict
from casebook.statistics.hypotheses import score_course, score_when_due

NO_VISIT = "no review since its date"
NOT_APART = "what was reached can't be told from the target"


def target_outcome(target: Target, verdicts: Sequence[Verdict], *, today: date) -> TargetOutcome:
    """What became of a target, at the first visit on or after its date.

    Parameters
    ----------
    target : Target
    verdicts : sequence of Verdict
        On the target's metric and side, one a later visit, in any order.
    today : date
        Before the target's date it is not due.

    Returns
    -------
    TargetOutcome
        Met: it moved that way beyond error and at least as far as was asked for. Not met:
        what was seen falls short of it by more than error (so that a target truly reached is
        called not met in 2.5 % of cases), or it moved the other way beyond error. Else it
        can't be said. Met holds of what was measured: of targets that are just not reached
        nearly half read met, so one that is met by no more than the error is `near`. A gap that
        is as small as was asked for only because the better side fell is met and `hollow`.

    References
    ----------
    [Jacobson1991]

    Examples
    --------
    See `tests/statistics/test_target_outcome.py`: a verdict has many fields.
    """
    link = Link(
        position=1,
        role=Role.CHANGE,
        metric=target.metric,
        on=target.what,
        direction=target.direction,
        amount=target.amount,
        due_on=target.due_on,
    )
    score = score_when_due(link, score_course(link, verdicts))
    call, why = TargetCall.CANNOT_SAY, ""
    if today < target.due_on:
        return TargetOutcome(
            target=target, call=TargetCall.NOT_DUE, on_date=None, moved=None, error=None
        )
    if score.on_date is None:
        why = NO_VISIT
    elif score.asked is None or score.moved is None or score.error is None:
        why = score.detail or LINK_REASONS[score.reason or LinkReason.NO_VERDICT]
    elif score.call is LinkCall.AS_PREDICTED and score.moved >= score.asked:
        call = TargetCall.MET
    elif score.call is LinkCall.OTHER_WAY or score.asked - score.moved > score.error:
        call = TargetCall.NOT_MET
    else:
        small = score.reason is LinkReason.TOO_SMALL_TO_SEE
        why = LINK_REASONS[LinkReason.TOO_SMALL_TO_SEE] if small else NOT_APART
    return TargetOutcome(
        target=target,
        call=call,
        on_date=score.on_date,
        moved=score.moved,
        error=score.error,
        why=why,
        hollow=call is TargetCall.MET and score.hollow,
        near=call is TargetCall.MET and _margin(score) <= (score.error or 0.0),
    )


def _margin(score: LinkScore) -> float:
    return (score.moved or 0.0) - (score.asked or 0.0)
