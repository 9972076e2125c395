"""How far a change has come while a visit is being typed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Reach(StrEnum):
    """What can be said of a change so far; never more than the error figure bears."""

    BEYOND = "beyond"
    WITHIN = "within"
    # Larger than the error within a session; the error between sessions is not known.
    BEYOND_LOWER_BOUND = "beyond_lower_bound"
    NEEDS_TRIALS = "needs_trials"
    NO_FIGURE = "no_figure"
    # The visits differ in a condition that the metric is sensitive to.
    UNLIKE = "unlike"


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar:
    """A side's change since the last visit, against its error.

    Parameters
    ----------
    change : float
        Value as typed so far minus the last visit's, in the metric's unit.
    reach : Reach
    limit : float or None
        The minimal detectable change (95 %) between two visits with as many trials as were
        taken, in the metric's unit; of a grade the step of repeat grading; None where it is
        not known.
    trials : int
        For NEEDS_TRIALS: of how many trials' mean the error figure is.
    """

    change: float
    reach: Reach
    limit: float | None = None
    trials: int = 0
