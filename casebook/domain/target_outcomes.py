"""Whether a target was met at its date, and whether it could be seen at all, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.date_words import day_words
from casebook.domain.metrics import Metric
from casebook.domain.programmes import Target, TargetDirection, TargetOn
from casebook.domain.wording import (
    ONLY_BETTER_FELL,
    asymmetry_unit,
    moved_words,
    number_words,
    unit_words,
)


class TargetCall(StrEnum):
    """What became of a target."""

    MET = "met"
    NOT_MET = "not_met"
    CANNOT_SAY = "cannot_say"
    NOT_DUE = "not_due"


TARGET_CALLS = {
    TargetCall.MET: "met",
    TargetCall.NOT_MET: "not met",
    TargetCall.CANNOT_SAY: "can't be said",
    TargetCall.NOT_DUE: "not due yet",
}
AS_MEASURED = "as measured, though what was truly reached may fall short of it"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetOutcome:
    """What became of a target, with its numbers.

    Parameters
    ----------
    on_date : date or None
        Visit that it is judged by: the first on or after its date.
    moved : float or None
        Change in the direction of the target, in the metric's unit or that of its asymmetry.
    error : float or None
        Changes up to this are within error (MDC at 95 %).
    why : str
        Why it can't be said; '' where it can.
    hollow : bool
        It was met by the better side falling alone, which is no gain.
    near : bool
        It was met by no more than the error: what was truly reached may fall short of it.
    """

    target: Target
    call: TargetCall
    on_date: date | None
    moved: float | None
    error: float | None
    why: str = ""
    hollow: bool = False
    near: bool = False

    @property
    def more(self) -> str:
        """What has to be said right behind the verdict; '' where there is nothing."""
        if self.hollow:
            return f"but {ONLY_BETTER_FELL}"
        return AS_MEASURED if self.near else self.why


def target_words(outcome: TargetOutcome, metric: Metric) -> str:
    """One sentence on what became of a target.

    Parameters
    ----------
    outcome : TargetOutcome
    metric : Metric
        The one that the target is on.
    """
    target, unit = outcome.target, target_unit(outcome.target, metric)
    told = (
        f"{metric.label}{PLACES[target.what]}: {number_words(target.amount, unit)} "
        f"{WAYS[target.direction]} by {day_words(target.due_on)}: {TARGET_CALLS[outcome.call]}"
    )
    if outcome.more:
        told += f", {outcome.more}"
    if outcome.moved is not None and outcome.error is not None:
        seen = "" if outcome.on_date is None else f"by the visit of {day_words(outcome.on_date)} "
        told += (
            f" ({seen}{moved_words(outcome.moved, unit)}; "
            f"changes up to {number_words(outcome.error, unit)} are within error)"
        )
    return f"{told}."


def target_unit(target: Target, metric: Metric) -> str:
    """The unit in words in which a target's amount stands."""
    if target.what is TargetOn.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def unseen_words(target: Target, metric: Metric, mdc: float | None) -> str:
    """The warning beside a target that is smaller than what can be seen; '' where there is none.

    Parameters
    ----------
    target : Target
    metric : Metric
    mdc : float or None
        Smallest change that stands out of the error between the visits as they are planned;
        None where no error is known.
    """
    if mdc is None:
        return "No error figure: whether this target is met could not be said."
    if target.amount >= mdc:
        return ""
    unit = target_unit(target, metric)
    return (
        f"You would not be able to see this: it takes {number_words(mdc, unit)} to stand out of "
        f"the measurement error, not {number_words(target.amount, unit)}."
    )
