"""Visits, their conditions and their values."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

from casebook.domain.errors import refuse
from casebook.domain.sides import Side

# Beyond any quantity a clinician reads; keeps overflow and typing slips out of every sum.
LARGEST_READING = 1e8
MOST_TRIALS = 500


class VisitKind(StrEnum):
    """Why the runner was seen; REPEAT is a repeat measurement of an unchanged runner."""

    BASELINE = "baseline"
    REVIEW = "review"
    DISCHARGE = "discharge"
    REPEAT = "repeat"


class MissingReason(StrEnum):
    """Why a value is missing; missing is never zero."""

    NOT_DONE = "not_done"
    PAINFUL = "painful"
    NOT_VISIBLE = "not_visible"
    EQUIPMENT = "equipment"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Under what conditions a visit's values were taken; None or '' where not recorded.

    Parameters
    ----------
    speed_km_h : float or None
        Running speed in kilometres an hour.
    incline_pct : float or None
        Treadmill incline in percent.
    frames_per_s : float or None
        Camera frames per second.
    pain_today : float or None
        Pain on the day, 0 to 10.
    """

    speed_km_h: float | None = None
    surface: str = ""
    incline_pct: float | None = None
    footwear: str = ""
    view: str = ""
    frames_per_s: float | None = None
    assessor: str = ""
    pain_today: float | None = None

    def __post_init__(self) -> None:
        for column, low, high, unit in CONDITION_RANGES:
            number = getattr(self, column)
            if number is not None and not low <= number <= high:
                raise refuse(
                    f"{column}_out_of_range",
                    f"{column} is {number}; expected {low:g} to {high:g} {unit}.",
                    column=column,
                    value=number,
                )


# column, lowest and highest accepted, unit in words: physical limits with room, no norms.
CONDITION_RANGES: tuple[tuple[str, float, float, str], ...] = (
    ("speed_km_h", 0.5, 45.0, "km/h"),
    ("incline_pct", -30.0, 30.0, "%"),
    ("frames_per_s", 10.0, 2000.0, "frames a second"),
    ("pain_today", 0.0, 10.0, "on the 0-10 scale"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """What was read for one metric on one side at one visit.

    Holds either every trial's number (`trials`), or a mean of `n_trials` that was all one had,
    or a reason why it is missing. Make one with `value_of_trials`, `value_of_mean` or
    `missing_value`.

    Parameters
    ----------
    mean : float or None
        Mean of the trials in the metric's own unit; None when missing.
    sd : float or None
        Standard deviation (n - 1) of the trials; None with fewer than two.
    marking_sd : float or None
        Standard deviation of the error that marking points on a picture brings to one trial,
        in the metric's own unit; None where it is not known or no points were marked.
    trial_numbers : tuple of int
        Numbers of the trials, ascending; empty where they are 1, 2, ... without a gap.
    """

    metric: str
    side: Side
    n_trials: int = 0
    mean: float | None = None
    sd: float | None = None
    trials: tuple[float, ...] = ()
    missing_reason: MissingReason | None = None
    marking_sd: float | None = None
    trial_numbers: tuple[int, ...] = ()

    @property
    def numbered(self) -> dict[int, float]:
        """Trials by their number."""
        numbers = self.trial_numbers or range(1, len(self.trials) + 1)
        return dict(zip(numbers, self.trials, strict=True))


def check_reading(number: float, *, column: str = "value") -> float:
    """A reading as it may be stored: finite and of a size that some instrument could show.

    Raises
    ------
    InputRefused
        For NaN, infinity, or a size beyond 1e8.
    """
    if not math.isfinite(number):
        raise refuse(
            "not_a_number",
            f"{column} is '{number}'; expected a number (leave it blank and give a "
            "missing_reason when it was not measured).",
            column=column,
            value=number,
        )
    if abs(number) > LARGEST_READING:
        raise refuse(
            "value_too_large",
            f"{column} is {number:g}; no metric reaches beyond {LARGEST_READING:g}. "
            "Check the decimal sign and the unit.",
            column=column,
            value=number,
        )
    return number


def value_of_trials(metric: str, side: Side, trials: Sequence[float]) -> Value:
    """A value from every trial's number, in the metric's own unit."""
    if not 1 <= len(trials) <= MOST_TRIALS:
        raise refuse(
            "trial_count",
            f"{metric} {side}: {len(trials)} trials given; expected 1 to {MOST_TRIALS}.",
            column="trial",
            value=len(trials),
        )
    numbers = tuple(check_reading(float(trial), column=metric) for trial in trials)
    return Value(
        metric=metric,
        side=side,
        n_trials=len(numbers),
        mean=statistics.fmean(numbers),
        sd=statistics.stdev(numbers) if len(numbers) > 1 else None,
        trials=numbers,
    )


def numbers_with_gaps(numbers: Sequence[int]) -> tuple[int, ...]:
    """Numbers of trials as a value holds them: none where they are 1, 2, ... anyhow."""
    given = tuple(numbers)
    return () if given == tuple(range(1, len(given) + 1)) else given


def grown_marking_sd(marking_sd: float, n_before: int, n_after: int) -> float:
    """Marking error of one trial once a value has other trials than were marked.

    How the further ones were read is not known, so that they make the error of the mean no
    smaller than it was: the SD of one trial grows with the root of their number.
    """
    return min(LARGEST_READING, marking_sd * math.sqrt(max(1.0, n_after / n_before)))


def as_kept(given: Value, kept: Value) -> Value:
    """A value that was given without what only the store knows, with what the kept one says.

    Trials keep their numbers where the kept ones have gaps. The error of marked points stays
    as long as one of the kept readings does; whoever replaces them all replaces it, too.
    """
    if given.trials and kept.trial_numbers and not given.trial_numbers:
        given = replace(given, trial_numbers=_numbers_kept(given.trials, kept))
    if given.marking_sd is None and kept.marking_sd is not None and _reading_stays(given, kept):
        n_before, n_after = kept.n_trials, given.n_trials
        given = replace(given, marking_sd=grown_marking_sd(kept.marking_sd, n_before, n_after))
    return given


def _numbers_kept(trials: Sequence[float], kept: Value) -> tuple[int, ...]:
    numbers, readings = kept.trial_numbers, kept.trials
    if len(trials) >= len(numbers):
        more = range(numbers[-1] + 1, numbers[-1] + 1 + len(trials) - len(numbers))
        # Numbers that do not fit the store any more are counted anew.
        return (
            numbers_with_gaps((*numbers, *more)) if numbers[-1] + len(more) <= MOST_TRIALS else ()
        )
    found: list[int] = []
    for number, reading in zip(numbers, readings, strict=True):
        if len(found) < len(trials) and reading == trials[len(found)]:
            found.append(number)
    return numbers_with_gaps(found if len(found) == len(trials) else numbers[: len(trials)])


def _reading_stays(given: Value, kept: Value) -> bool:
    if given.missing_reason is not None:
        return False
    if given.trials and kept.trials:
        return bool(set(given.trials) & set(kept.trials))
    return (given.mean, given.n_trials) == (kept.mean, kept.n_trials)


def value_of_mean(metric: str, side: Side, mean: float, n_trials: int) -> Value:
    """A value of which only the mean of `n_trials` trials is known."""
    if not 1 <= n_trials <= MOST_TRIALS:
        raise refuse(
            "trial_count",
            f"{metric} {side}: a mean of {n_trials} trials; expected 1 to {MOST_TRIALS}.",
            column="n_trials",
            value=n_trials,
        )
    return Value(
        metric=metric, side=side, n_trials=n_trials, mean=check_reading(mean, column=metric)
    )


def missing_value(metric: str, side: Side, reason: MissingReason) -> Value:
    """A value that is missing, with the reason."""
    return Value(metric=metric, side=side, missing_reason=reason)


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit of a runner. `session` tells apart two visits on one day."""

    runner: str
    visited_on: date
    kind: VisitKind
    session: int = 1
    conditions: Conditions = field(default_factory=Conditions)
    next_due_on: date | None = None
    note: str = ""
    values: tuple[Value, ...] = ()
