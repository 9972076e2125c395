"""What an audit looks at: the choice, the flow of runners, and how complete their record is.

The unit is the runner with their first programme: the verdicts of a case are against the visits
before it, so that a later programme of the same runner has no baseline of its own here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind

# Groups of fewer runners are not shown. Common practice, no source.
LEAST_GROUP = 5
# Days after a planned visit within which it still counts as in time. Common practice, no source.
GRACE_DAYS = 14
# Days without any visit, since the latest one or the day that it planned the next one for, after
# which a runner who was not discharged counts as lost. Common practice, no source.
LOST_AFTER_DAYS = 182


class OutcomeVisit(StrEnum):
    """Which visit after the programme's start tells its outcome."""

    LATEST = "latest"
    FIRST = "first"
    DISCHARGE = "discharge"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditChoice:
    """Which runners an audit is about, and what of them.

    Empty tuples and None choose everything.

    Parameters
    ----------
    as_of : date
        The day on which it is told; visits after it do not count.
    started_from, started_to : date or None
        First and last day on which the first programme may have started. With either,
        runners without a programme are excluded.
    kinds, regions, pathologies : tuple
        Of the first programme and of the complaint that it is for (else the runner's first
        complaint). Any of those named will do.
    clinicians : tuple of str
        Codes of who assessed the first baseline visit.
    metrics : tuple of str
        Keys of the metrics whose outcomes are told.
    visit : OutcomeVisit
    purpose : Purpose or None
        Only runners whose consent covers it on `as_of` and today; None for the clinic's own look
        at its own work, which leaves nothing to anyone.
    least_group : int, >= 2; >= 3 with a purpose
    grace_days, lost_after_days : int
    """

    as_of: date
    started_from: date | None = None
    started_to: date | None = None
    kinds: tuple[ProgrammeKind, ...] = ()
    regions: tuple[Region, ...] = ()
    pathologies: tuple[Pathology, ...] = ()
    clinicians: tuple[str, ...] = ()
    metrics: tuple[str, ...] = ()
    visit: OutcomeVisit = OutcomeVisit.LATEST
    purpose: Purpose | None = None
    least_group: int = LEAST_GROUP
    grace_days: int = GRACE_DAYS
    lost_after_days: int = LOST_AFTER_DAYS


class Excluded(StrEnum):
    """Why a registered runner is not in the cohort; the first that applies is counted."""

    NO_CONSENT = "no_consent"
    NO_PROGRAMME = "no_programme"
    STARTED_OUTSIDE = "started_outside"
    OTHER_KIND = "other_kind"
    OTHER_COMPLAINT = "other_complaint"
    OTHER_CLINICIAN = "other_clinician"


class Step(StrEnum):
    """A step of the flow of runners through care; each is part of the one before, but that
    DISCHARGED, LOST and IN_CARE divide those who were included.
    """

    REGISTERED = "registered"
    INCLUDED = "included"
    BASELINE = "baseline"
    STARTED = "started"
    REVIEWED = "reviewed"
    DISCHARGED = "discharged"
    LOST = "lost"
    IN_CARE = "in_care"


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """A number of runners; `n` is None where it is withheld because it is small.

    Zero is told: nobody is in it. Numbers from 1 to below the least group are withheld, and so
    are others from which they could be worked out.
    """

    n: int | None

    @property
    def withheld(self) -> bool:
        """Whether it is not told."""
        return self.n is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """The flow of runners, as observational studies report it (von Elm et al. 2007, STROBE).

    `steps` in the order of `Step`, `excluded` in that of `Excluded`, without those that nobody
    was excluded for.
    """

    steps: tuple[tuple[Step, Count], ...]
    excluded: tuple[tuple[Excluded, Count], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """`count` of `total` runners (or visits), with Wilson's 95 % interval (0 to 1).

    All but `name` are None where the group is smaller than the least group, or where a part
    of it could be worked out from others.
    """

    name: str
    count: int | None
    total: int | None
    share: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A mean or difference with its 95 % interval and number of runners; None where withheld."""

    n: int | None
    mean: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Completeness:
    """How complete one metric is at the cohort's baseline and at the outcome visit.

    `reasons`: why values are missing, with how many (withheld when small), most first.
    """

    metric: str
    label: str
    baseline: Part
    outcome: Part
    reasons: tuple[tuple[str, Count], ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeliness:
    """When runners were seen again.

    Parameters
    ----------
    days_to_review : tuple of float or None
        First quartile, median and third quartile of days from the programme's start to the
        first review, of the `reviewed` runners; for others than the clinic each is the end of its
        week.
    in_time : Part
        Planned visits that were held by the day planned or at most the grace days later, of
        those for which that time was over; its interval allows for several being one runner's.
    """

    reviewed: Count
    days_to_review: tuple[float, float, float] | None
    in_time: Part
