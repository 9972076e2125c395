"""What changed about a programme: results as values, for words, charts and files alike.

Nothing here says that a programme made the change; one runner has no control.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.programmes import AdherenceWeek
from casebook.domain.verdicts import Call, Regression, SideMoved, What


class PhaseName(StrEnum):
    """Where a visit lies in a programme; the day of the start still counts as before."""

    BEFORE = "before"
    DURING = "during"
    AFTER = "after"


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """The visits of one phase.

    Parameters
    ----------
    visits : int
        Days with a value.
    first_day, last_day : float or None
        Of its visits, on the scale that was given; None without any.
    mean : float or None
        In the metric's unit, an asymmetry signed right minus left.
    sem : float or None
        Standard error of that mean; None where the error of a visit is not known.
    """

    name: PhaseName
    visits: int
    first_day: float | None
    last_day: float | None
    mean: float | None
    sem: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A difference with its 95 % interval, in the metric's unit (a slope: per week).

    Parameters
    ----------
    low, high : float or None
        None where the error is not known.
    call : Call
        Improved, worsened, unchanged beyond error; can't say where the error is not known,
        where neither way is better, an asymmetry crossed over, and of a line's level or slope
        (`beyond_error` tells of those).
    within : float or None
        Of a grade, which has no interval: changes up to this step are within error.
    """

    change: float
    low: float | None
    high: float | None
    call: Call = Call.CANNOT_SAY
    within: float | None = None

    @property
    def beyond_error(self) -> bool | None:
        """Whether the interval leaves out zero; None where there is none."""
        if self.low is None or self.high is None:
            return None
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Segmented regression about the start: from 4 visits before and 4 during.

    Parameters
    ----------
    slope_before : Step
        Per week, before the start.
    level : Step
        Step of the level on the day of the start.
    slope : Step
        By how much the slope after the start differs, per week.
    """

    slope_before: Step
    level: Step
    slope: Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Share of pairs in which a visit during is higher than one before: from 3 visits in each."""

    higher: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricEffect:
    """What one metric did about one programme.

    Parameters
    ----------
    phases : tuple of Phase
        Before, during, after.
    change : Step or None
        Last visit of the programme (the first one after its end where there was none during)
        against the mean of those before; None where one of them lacks.
    kept : Step or None
        Last visit of the phase after, against the same mean; None without one besides.
    levels : Levels or None
    overlap : Overlap or None
    lacking : str
        Why level and slope were not estimated; '' where they were.
    side_moved : SideMoved or None
        Behind an asymmetry; None where it cannot be told.
    regression : Regression or None
        Change to be expected by itself, where the clinic's others allow to say so.
    beyond_regression : bool or None
        Whether the change exceeds that part by more than its error.
    aimed : bool
        Neither way is better by itself: improved is then the way that the programme aimed at.
    both_fell : bool
        Both sides behind an asymmetry became worse, each beyond its own error.
    """

    metric: str
    what: What
    targeted: bool
    phases: tuple[Phase, ...]
    change: Step | None
    kept: Step | None = None
    levels: Levels | None = None
    overlap: Overlap | None = None
    lacking: str = ""
    side_moved: SideMoved | None = None
    regression: Regression | None = None
    beyond_regression: bool | None = None
    aimed: bool = False
    both_fell: bool = False

    @property
    def call(self) -> Call:
        """The verdict on its change."""
        return Call.CANNOT_SAY if self.change is None else self.change.call

    @property
    def hollow(self) -> bool:
        """An asymmetry that shrank only since the better side fell: no gain."""
        return self.call is Call.IMPROVED and (
            self.both_fell or self.side_moved is SideMoved.BETTER_SIDE_FELL
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """How many metrics did what; `told` are those of which it can be told.

    Parameters
    ----------
    improved : int
        Without those that are `hollow`.
    hollow : int
        Asymmetries that are smaller beyond error only because the better side fell.
    """

    improved: int
    hollow: int
    worsened: int
    unchanged: int
    not_told: int

    @property
    def told(self) -> int:
        """Those with a verdict."""
        return self.improved + self.hollow + self.worsened + self.unchanged

    @property
    def share_improved(self) -> float | None:
        """Of those told; None without any."""
        return self.improved / self.told if self.told else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Adherence:
    """How much of a programme was done, by the weeks that were entered."""

    weeks: int
    planned: int
    done: int

    @property
    def share(self) -> float | None:
        """Sessions done of those planned; None where none was planned."""
        return self.done / self.planned if self.planned else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeEffect:
    """What changed about one programme of one runner.

    Parameters
    ----------
    targeted, others : Counts
        The metrics that the programme was to change, and the runner's others as a comparison.
    own_sides : tuple of MetricEffect
        Of the targeted metrics, the sides and asymmetries that were no target themselves. They
        are no comparison and are not counted, but one that fell must not go untold.
    overlapping : tuple of str
        Titles of programmes that ran in the same weeks.
    left_out : int
        Visits left out since they were not like for like with those before the start.
    pain_weeks : int
        Weeks with pain beyond the usual limits.
    """

    title: str
    started_on: date
    ended_on: date | None
    effects: tuple[MetricEffect, ...]
    targeted: Counts
    others: Counts
    adherence: Adherence
    own_sides: tuple[MetricEffect, ...] = ()
    overlapping: tuple[str, ...] = ()
    left_out: int = 0
    pain_weeks: int = 0

    @property
    def whole_weeks(self) -> int | None:
        """Whole weeks from its start to its last day; None while it has no end."""
        if self.ended_on is None:
            return None
        return ((self.ended_on - self.started_on).days + 1) // 7

    @property
    def own_sides_moved(self) -> tuple[MetricEffect, ...]:
        """Those of `own_sides` that changed beyond error."""
        return tuple(one for one in self.own_sides if one.call in {Call.IMPROVED, Call.WORSENED})


def adherence_of(weeks: Sequence[AdherenceWeek]) -> Adherence:
    """Sessions done of sessions planned, over the weeks that were entered."""
    return Adherence(
        weeks=len(weeks),
        planned=sum(week.sessions_planned for week in weeks),
        done=sum(week.sessions_done for week in weeks),
    )


def counts_of(effects: Sequence[MetricEffect]) -> Counts:
    """How many of some metrics improved, shrank for no gain, worsened, or did none of it."""
    calls = [effect.call for effect in effects if not effect.hollow]
    return Counts(
        improved=calls.count(Call.IMPROVED),
        hollow=len(effects) - len(calls),
        worsened=calls.count(Call.WORSENED),
        unchanged=calls.count(Call.UNCHANGED),
        not_told=calls.count(Call.CANNOT_SAY),
    )
