"""Did each prediction of a working hypothesis hold? Scored by the verdicts that stand already.

Nothing here says why something moved. A prediction is judged against the same measurement
error as every other change of the runner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from casebook.domain.hypotheses import (
    Extent,
    Hypothesis,
    Link,
    LinkCall,
    LinkReason,
    LinkScore,
    Order,
    Outcome,
)
from casebook.domain.metrics import ErrorOrigin
from casebook.domain.programmes import TargetDirection
from casebook.domain.verdicts import Reason, Verdict
from casebook.domain.wording import REASONS
from casebook.statistics.calibration import Forecast

# These say something about the direction of a change and none forbids to see whether it moved.
_NO_BAR = {None, Reason.NO_BETTER_DIRECTION, Reason.CROSSED_OVER}
# Keeps a mean of grades such as 7/3 - 4/3 on the near side of the step 1 that it equals.
_ROUNDING = 1e-9
_AGAINST = {LinkCall.DID_NOT_MOVE, LinkCall.OTHER_WAY, LinkCall.MOVED_THOUGH_STILL}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many hypotheses held, with what is not known of those that can't be told.

    Attributes
    ----------
    held, did_not_hold, not_told : int
    hollow : int
        Neither held nor failed: an asymmetry closed only because the better side fell.
    lowest, highest : float or None
        Share that would have held if none, or all, of those not told had; those that are
        hollow did not. None without any.
    """

    held: int
    did_not_hold: int
    hollow: int
    not_told: int
    lowest: float | None
    highest: float | None


def score_link(link: Link, verdict: Verdict | None) -> LinkScore:
    """What one prediction did, by the verdict on its metric at one visit.

    Parameters
    ----------
    link : Link
    verdict : Verdict or None
        On the link's metric and side; None where it was not measured.

    Returns
    -------
    LinkScore
        As predicted, or the other way: the change in the predicted direction is larger than
        its MDC. Did not move: it is not, the MDC is small enough to have seen the predicted
        amount, and what was seen lies farther from that amount than the error reaches (so
        that a runner who did change by it is told otherwise in 2.5 % of cases). Else it can't
        be said. Towards zero, the change is that of the asymmetry's size, and no more than
        the whole of it is asked for.

        What should stay still: without an amount it moved where the change is larger than
        its MDC. With one, it stayed still where the change's 95 % interval lies within that
        amount, moved where it lies outside of it, else it can't be said.

    References
    ----------
    [Jacobson1991], [Schuirmann1987]

    Examples
    --------
    See `tests/statistics/test_hypotheses.py`: a verdict has many fields.
    """
    if verdict is None or verdict.change is None:
        return _unsaid(link, verdict, LinkReason.NO_VERDICT, "not measured at a review")
    barred = verdict.reason if verdict.reason not in _NO_BAR else None
    if barred is None and verdict.error_origin is ErrorOrigin.WITHIN_SESSION:
        barred = Reason.ONLY_WITHIN_SESSION
    if barred is not None:
        return _unsaid(link, verdict, LinkReason.NO_VERDICT, REASONS[barred])
    if verdict.mdc95 is None:
        return _unsaid(link, verdict, LinkReason.NO_VERDICT, REASONS[Reason.NO_ERROR_FIGURE])
    error = verdict.mdc95
    if link.direction is None:
        return _still(link, verdict, verdict.change, error)
    moved = _that_way(link.direction, verdict)
    if link.direction is TargetDirection.TOWARDS_ZERO and verdict.reason is Reason.CROSSED_OVER:
        return _unsaid(link, verdict, LinkReason.CROSSED_OVER, "", moved=moved)
    return _moved(link, verdict, moved, error)


def score_course(link: Link, verdicts: Sequence[Verdict]) -> tuple[LinkScore, ...]:
    """What one prediction did by each visit, in the order of time.

    Parameters
    ----------
    link : Link
    verdicts : sequence of Verdict
        On the link's metric and side, one a later visit, in any order; those without a date
        are left out.

    Returns
    -------
    tuple of LinkScore

    References
    ----------
    [Jacobson1991]

    Examples
    --------
    See `score_link`.
    """
    dated = [(one.latest_date, one) for one in verdicts if one.latest_date is not None]
    return tuple(score_link(link, one) for _, one in sorted(dated, key=lambda pair: pair[0]))


def score_when_due(link: Link, course: Sequence[LinkScore]) -> LinkScore:
    """The score that counts for the hypothesis: at the first visit on or after its date.

    Parameters
    ----------
    link : Link
    course : sequence of LinkScore
        As `score_course` gives it.

    Returns
    -------
    LinkScore
        That visit alone counts, even where a later one would look better; can't say where
        there is none yet.

    References
    ----------
    None: a rule of this program, laid down before any result is known.

    Examples
    --------
    See `score_link`.
    """
    for score in course:
        if score.on_date is not None and score.on_date >= link.due_on:
            return score
    return _unsaid(link, None, LinkReason.NO_VERDICT, f"no review since it was due ({link.due_on})")


def followed_in_time(drivers: Sequence[LinkScore], consequence: Sequence[LinkScore]) -> Order:
    """When a consequence was first seen to move as predicted, against its driver.

    Parameters
    ----------
    drivers : sequence of LinkScore
        Courses of all drivers; the first that is seen to move counts.
    consequence : sequence of LinkScore
        Course of the consequence.

    Returns
    -------
    Order
        Before, or without the driver, only where the driver is known not to have moved by
        then, and where of what was predicted the consequence had come a larger share than any
        driver can have, with the error of both allowed for: a driver measured less finely is
        seen later though both move together. Where that could not be told, neither can the
        order.

    References
    ----------
    None: dates are compared; which is seen first depends on the errors too, and is no proof.

    Examples
    --------
    See `score_link`.
    """
    seen = _first(consequence)
    if seen is None:
        told = any(score.call is not LinkCall.CANNOT_SAY for score in consequence)
        return Order.NOT_YET if told else Order.CANNOT_SAY
    driver = _first(drivers)
    if driver is not None and driver <= seen:
        return Order.AFTER if driver < seen else Order.SAME_VISIT
    then = [score for score in drivers if score.on_date == seen]
    known = {LinkCall.DID_NOT_MOVE, LinkCall.OTHER_WAY}
    came = max(_share(score, -1.0) for score in consequence if score.on_date == seen)
    if not then or any(score.call not in known or _share(score, 1.0) >= came for score in then):
        return Order.CANNOT_SAY
    return Order.WITHOUT_DRIVER if driver is None else Order.BEFORE


def outcome_of(scores: Sequence[LinkScore]) -> Outcome:
    """What became of the whole hypothesis, by the scores of all its links when due.

    Parameters
    ----------
    scores : sequence of LinkScore
        One a link (`score_when_due`).

    Returns
    -------
    Outcome
        Held: every link did as predicted. Did not hold: one of them did not. Hollow: every
        link did, one of them by the better side falling alone. Else can't say.

    References
    ----------
    None: the whole of several statements is true when each of them is.

    Examples
    --------
    >>> outcome_of([]) is Outcome.CANNOT_SAY
    True
    """
    calls = {score.call for score in scores}
    if calls & _AGAINST:
        return Outcome.DID_NOT_HOLD
    if not calls or LinkCall.CANNOT_SAY in calls:
        return Outcome.CANNOT_SAY
    return Outcome.HOLLOW if any(score.hollow for score in scores) else Outcome.HELD


def forecast_of(hypothesis: Hypothesis, scores: Sequence[LinkScore]) -> Forecast | None:
    """A hypothesis as a forecast to be counted, where every link could be told.

    Parameters
    ----------
    hypothesis : Hypothesis
        The version that counts (`version_to_score`).
    scores : sequence of LinkScore
        One a link (`score_when_due`).

    Returns
    -------
    Forecast or None
        None where a link can't be told, even if another already failed: one failure is
        enough for a hypothesis not to hold, while holding needs every link, so counting the
        half-known would count failures alone. None too for one that is hollow: what was stated
        came by the letter and not in what it was for, so that either count would be wrong.

    References
    ----------
    None: a rule of this program.

    Examples
    --------
    See `tests/statistics/test_hypotheses.py`.
    """
    outcome = outcome_of(scores)
    unsaid = any(score.call is LinkCall.CANNOT_SAY for score in scores)
    if not scores or unsaid or outcome is Outcome.HOLLOW:
        return None
    return Forecast(
        sureness=hypothesis.sureness_pct / 100.0,
        held=outcome is Outcome.HELD,
        kind=hypothesis.kind.value,
    )


def tally_of(outcomes: Sequence[Outcome]) -> Tally:
    """How many hypotheses held, and between what bounds the share lies whatever is not told.

    Parameters
    ----------
    outcomes : sequence of Outcome

    Returns
    -------
    Tally

    References
    ----------
    None: counts.

    Examples
    --------
    >>> found = tally_of([Outcome.HELD, Outcome.DID_NOT_HOLD, Outcome.CANNOT_SAY, Outcome.HELD])
    >>> found.held, found.lowest, found.highest
    (2, 0.5, 0.75)
    """
    held, failed, hollow, unsaid = (
        sum(outcome is kind for outcome in outcomes)
        for kind in (Outcome.HELD, Outcome.DID_NOT_HOLD, Outcome.HOLLOW, Outcome.CANNOT_SAY)
    )
    total = len(outcomes)
    return Tally(
        held=held,
        did_not_hold=failed,
        hollow=hollow,
        not_told=unsaid,
        lowest=held / total if total else None,
        highest=(held + unsaid) / total if total else None,
    )


def _that_way(direction: TargetDirection, verdict: Verdict) -> float:
    change, before, now = verdict.change or 0.0, verdict.baseline or 0.0, verdict.latest or 0.0
    if direction is TargetDirection.TOWARDS_ZERO:
        return abs(before) - abs(now)
    return change if direction is TargetDirection.UP else -change


def _asked(link: Link, verdict: Verdict) -> float:
    """No asymmetry can shrink by more than it was."""
    amount = link.amount or 0.0
    if link.direction is TargetDirection.TOWARDS_ZERO:
        return min(amount, abs(verdict.baseline or 0.0))
    return amount


def _moved(link: Link, verdict: Verdict, moved: float, error: float) -> LinkScore:
    asked = _asked(link, verdict)
    short = asked - moved
    call, reason, extent = LinkCall.CANNOT_SAY, None, None
    if moved > error + _ROUNDING:
        call = LinkCall.AS_PREDICTED
        beyond = short > error + _ROUNDING
        extent = Extent.AT_LEAST if short <= 0 else Extent.LESS if beyond else Extent.NOT_TOLD_APART
    elif moved < -error - _ROUNDING:
        call = LinkCall.OTHER_WAY
    elif asked < error:
        reason = LinkReason.TOO_SMALL_TO_SEE
    elif short <= error:
        reason = LinkReason.NOT_RULED_OUT
    else:
        call = LinkCall.DID_NOT_MOVE
    return LinkScore(
        link=link,
        call=call,
        on_date=verdict.latest_date,
        moved=moved,
        error=error,
        asked=asked,
        reason=reason,
        extent=extent,
        hollow=call is LinkCall.AS_PREDICTED
        and link.direction is TargetDirection.TOWARDS_ZERO
        and verdict.fell_together,
    )


def _still(link: Link, verdict: Verdict, change: float, error: float) -> LinkScore:
    size, reason = abs(change), None
    if link.amount is None:
        moved = size > error + _ROUNDING
        call = LinkCall.MOVED_THOUGH_STILL if moved else LinkCall.STAYED_STILL
    elif size + error <= link.amount + _ROUNDING:
        call = LinkCall.STAYED_STILL
    elif size - error > link.amount:
        call = LinkCall.MOVED_THOUGH_STILL
    else:
        call = LinkCall.CANNOT_SAY
        too_small = link.amount < error
        reason = LinkReason.TOO_SMALL_TO_SEE if too_small else LinkReason.NOT_TOLD_APART
    return LinkScore(
        link=link, call=call, on_date=verdict.latest_date, moved=change, error=error, reason=reason
    )


def _unsaid(
    link: Link,
    verdict: Verdict | None,
    reason: LinkReason,
    detail: str,
    *,
    moved: float | None = None,
) -> LinkScore:
    return LinkScore(
        link=link,
        call=LinkCall.CANNOT_SAY,
        on_date=None if verdict is None else verdict.latest_date,
        moved=moved,
        error=None if verdict is None else verdict.mdc95,
        reason=reason,
        detail=detail,
    )


def _share(score: LinkScore, ends: float) -> float:
    """What had come of the predicted amount, at the lower (-1) or upper (1) end of its error."""
    return ((score.moved or 0.0) + ends * (score.error or 0.0)) / (score.asked or 1.0)


def _first(scores: Sequence[LinkScore]) -> date | None:
    seen = [
        score.on_date
        for score in scores
        if score.call is LinkCall.AS_PREDICTED and score.on_date is not None
    ]
    return min(seen, default=None)
