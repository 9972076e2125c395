"""What became of a cohort: what an audit tells, before anything is drawn or written.

Every number that a page, a command or a report shows of a cohort stands here, withheld where it
must be: none of them reads a runner's own values.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from casebook.domain.audit import Amount, AuditChoice, Completeness, Flow, Part, Timeliness
from casebook.domain.verdicts import SideMoved


class On(StrEnum):
    """What an outcome is about.

    WORSE_SIDE and OTHER_SIDE are told at the baseline; of a metric without sides there is VALUE
    alone.
    """

    ASYMMETRY = "asymmetry"
    WORSE_SIDE = "worse_side"
    OTHER_SIDE = "other_side"
    VALUE = "value"


class Split(StrEnum):
    """What the cohort is divided by."""

    NONE = "none"
    PROGRAMME_KIND = "programme_kind"
    ADHERENCE_THIRD = "adherence_third"


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupOutcome:
    """One metric in one group of runners.

    Parameters
    ----------
    level : str
        Of the split: 'injury', 'performance'; 'lowest', 'middle', 'highest', 'not_recorded'; ''.
    improved, unchanged, worsened : Part
        Beyond measurement error (MDC95), of those for whom a verdict can be given.
    cannot_say : Part
        Of all measured.
    important : Part or None
        Better by at least the minimal important change, where the metric has one.
    change : Amount
        Mean change towards better (negative: towards worse), in `MetricOutcome.unit`; of an
        asymmetry, by how much its size shrank. None in it where no direction is better.
    regression : float or None
        Mean change towards better to be expected by itself: regression to the mean.
    moved : tuple of (SideMoved, Part)
        Of the asymmetries that shrank beyond error: which side it came from. Empty elsewhere.
    withheld : bool
        The group has fewer runners than are shown.
    """

    level: str
    improved: Part
    unchanged: Part
    worsened: Part
    cannot_say: Part
    important: Part | None
    change: Amount
    regression: float | None
    moved: tuple[tuple[SideMoved, Part], ...] = ()
    withheld: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricOutcome:
    """One metric in the cohort, whole and divided.

    Parameters
    ----------
    important_change : float or None
        Minimal important change, in `unit`.
    splits : tuple of (Split, tuple of GroupOutcome)
        NONE first, with one group.
    """

    metric: str
    label: str
    on: On
    unit: str
    important_change: float | None
    splits: tuple[tuple[Split, tuple[GroupOutcome, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LostDifference:
    """How runners who were lost differed at the baseline from those who were not.

    `what` is 'age', 'sex_female', 'adherence' or a metric's key with ` (worse side)`,
    ` (asymmetry)` or nothing; `difference` is lost minus followed, in `unit`; `standardised` is
    that in pooled standard deviations (Cohen 1988).
    """

    what: str
    label: str
    unit: str
    lost: Amount
    followed: Amount
    difference: Amount
    standardised: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnStep:
    """Share of runners not yet running again from a day on, with its 95 % interval."""

    day: float
    still_out: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnToRunning:
    """Time from onset to the first run, by Kaplan and Meier, each runner watched from the first
    visit on.

    Parameters
    ----------
    n, returned : int or None
        Runners who were watched for any time, and of them those who then ran again.
    steps : tuple of ReturnStep
        Where the audit is for others than the clinic: at ends of weeks, of as many returns as
        may be shown.
    at_risk : tuple of (day, n or None)
        Runners still at risk on days of the axis; None where withheld.
    median : tuple of float or None
        Median with its 95 % interval in days; ends are None where the curve does not reach
        them.
    begins : float
        Day from which enough runners are watched: the curve is of those not running by then.
    """

    group: str
    n: int | None
    returned: int | None
    steps: tuple[ReturnStep, ...]
    at_risk: tuple[tuple[float, int | None], ...]
    median: tuple[float | None, float | None, float | None] | None
    begins: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FunnelPoint:
    """One clinician's share of runners improved beyond error; for others than the clinic a number
    in the place of the name.
    """

    name: str
    count: int
    total: int
    share: float
    beyond_95: bool
    beyond_998: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FunnelLimit:
    """Limits at one group size, 0 to 1, around the overall share."""

    total: int
    low_95: float
    high_95: float
    low_998: float
    high_998: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Funnel:
    """Clinicians side by side, in the order of the number of runners: never a ranking."""

    metric: str
    on: On
    overall: float
    points: tuple[FunnelPoint, ...]
    limits: tuple[FunnelLimit, ...]
    left_out: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What an audit says."""

    choice: AuditChoice
    flow: Flow
    completeness: tuple[Completeness, ...]
    timeliness: Timeliness
    outcomes: tuple[MetricOutcome, ...]
    lost: tuple[LostDifference, ...]
    returns: tuple[ReturnToRunning, ...]
    funnels: tuple[Funnel, ...]
