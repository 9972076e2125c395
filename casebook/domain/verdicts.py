"""Verdicts on change and flags, as they are told to a clinician or a script."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from casebook.domain.metrics import AsymmetryForm, Condition, ErrorOrigin


class What(StrEnum):
    """What a verdict is about; NONE for a metric without sides."""

    LEFT = "left"
    RIGHT = "right"
    NONE = "none"
    ASYMMETRY = "asymmetry"


class Call(StrEnum):
    """The verdict itself."""

    IMPROVED = "improved"
    WORSENED = "worsened"
    UNCHANGED = "unchanged"
    CANNOT_SAY = "cannot_say"


class Reason(StrEnum):
    """Why no verdict can be given."""

    NO_ERROR_FIGURE = "no_error_figure"
    ONLY_WITHIN_SESSION = "only_within_session"
    FEWER_TRIALS_THAN_FIGURE = "fewer_trials_than_figure"
    NOT_LIKE_FOR_LIKE = "not_like_for_like"
    MISSING = "missing"
    NO_BASELINE = "no_baseline"
    NO_LATER_VISIT = "no_later_visit"
    NO_BETTER_DIRECTION = "no_better_direction"
    CROSSED_OVER = "crossed_over"
    FORMULA_REFUSED = "formula_refused"


class SideMoved(StrEnum):
    """Which side an asymmetry's change came from, each side against its own MDC."""

    WORSE_SIDE_GAINED = "worse_side_gained"
    BETTER_SIDE_FELL = "better_side_fell"
    BOTH = "both"
    NEITHER = "neither"
    CROSSED_OVER = "crossed_over"


class FlagKind(StrEnum):
    """Why a visit is flagged on a metric."""

    ASYMMETRY_ABOVE_BASELINE = "asymmetry_above_baseline"
    ASYMMETRY_ABOVE_BEST = "asymmetry_above_best"
    DRIFT = "drift"
    TARGET_MISSED = "target_missed"
    BETTER_SIDE_FELL = "better_side_fell"
    SYMPTOM_UP = "symptom_up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Regression:
    """Change to be expected by itself, because extreme readings are followed by less extreme.

    Parameters
    ----------
    expected : float
        (1 - icc) * (clinic_mean - baseline), in the unit of the verdict.
    icc : float, 0 to 1
        Share of the spread between the clinic's runners that is no measurement error, for a
        baseline as exact as this runner's.
    clinic_mean : float
        Mean baseline of the clinic's other runners.
    runners : int
        How many others there are.
    """

    expected: float
    icc: float
    clinic_mean: float
    runners: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Is this change larger than the measurement error?

    Values stand in the metric's own unit; an asymmetry is signed right minus left in the form
    that `asymmetry_form` names. None where a number does not exist. `like_for_like` lists the
    conditions in which the visits differed, and is empty where they were alike in all that was
    recorded; `not_recorded` lists those that matter for the metric and were not recorded.

    `mdc95` of a grade is the step that repeat grading itself stays within in 95 % of pairs;
    grades have no standard error and no probabilities. `bridged`: there were fewer trials than
    the error figure's, and the runner's own trials were used to allow for it. Behind an
    asymmetry stand the changes of its sides and their MDC (None where it cannot be told
    whether that side moved) and the side that was the worse one at baseline. `important_change`
    is the metric's, for a value and not for an asymmetry, and `p_important` the probability
    that the true change is better by more than that. `best_sem` is what more trials could
    bring the SEM of the latest visit down to, as far as that is known.
    """

    metric: str
    what: What
    baseline: float | None
    baseline_visits: int
    latest: float | None
    latest_date: date | None
    change: float | None
    se_change: float | None
    mdc95: float | None
    verdict: Call
    reason: Reason | None
    which_side_moved: SideMoved | None
    error_origin: ErrorOrigin
    error_source: str
    like_for_like: tuple[Condition, ...]
    not_recorded: tuple[Condition, ...]
    p_better: float | None
    asymmetry_form: AsymmetryForm
    important_change: float | None = None
    p_important: float | None = None
    bridged: bool = False
    baseline_sem: float | None = None
    latest_sem: float | None = None
    best_sem: float | None = None
    latest_trials: int | None = None
    worse_side: What | None = None
    left_change: float | None = None
    left_mdc95: float | None = None
    right_change: float | None = None
    right_mdc95: float | None = None
    regression: Regression | None = None

    @property
    def fell_together(self) -> bool:
        """Whether what moved of an asymmetry was the better side falling towards the worse one.

        True also where both sides moved beyond their error and the worse one moved away as well:
        whatever became of the gap, neither side gained.
        """
        if self.which_side_moved is SideMoved.BETTER_SIDE_FELL:
            return True
        if self.which_side_moved is not SideMoved.BOTH or self.worse_side is None:
            return False
        # The worse side is the larger one where less is better: down is then the way to gain.
        right_worse = self.worse_side is What.RIGHT
        larger_worse = ((self.baseline or 0.0) > 0) == right_worse
        changes = (self.left_change or 0.0, self.right_change or 0.0)
        return all(change > 0 if larger_worse else change < 0 for change in changes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Something that worsened beyond error at a visit; never a diagnosis.

    Parameters
    ----------
    p : float or None
        One-sided p-value of this kind's own test. None for a symptom that rose by its
        important change while its error is not known or the visits were unlike.
    q : float or None
        Of the metric among all metrics tested at that visit (false-discovery rate); of a
        missed target among the targets that were due. None where `p` is.
    acknowledged : bool
        True where a named user has seen it, or has seen the same flag at an earlier visit and
        it has not become worse beyond its standard error since.
    stands : bool
        False where a later visit could compare the same thing again: what it found counts now.
    acknowledged_visit : date or None
        Visit whose flag was acknowledged: an earlier one for a flag that is carried on.
    """

    runner: str
    visit_date: date
    session: int
    metric: str
    kind: FlagKind
    p: float | None
    q: float | None
    message: str
    acknowledged: bool = False
    acknowledged_reason: str = ""
    acknowledged_by: str = ""
    acknowledged_at: datetime | None = None
    acknowledged_visit: date | None = None
    stands: bool = True

    @property
    def carried(self) -> bool:
        """True where the acknowledgement is that of an earlier visit's flag."""
        return self.acknowledged and self.acknowledged_visit != self.visit_date
