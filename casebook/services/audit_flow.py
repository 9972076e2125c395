"""The flow of runners through an audit, and when they were seen again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from casebook.domain.audit import (
    AuditChoice,
    Count,
    Excluded,
    Flow,
    Part,
    Step,
    Timeliness,
)
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import NOT_YET, Members
from casebook.statistics.codes import Flags
from casebook.statistics.cohort_withholding import withheld_groups
from casebook.statistics.proportions import clustered, wilson

WEEK = 7.0


def flow_of(members: Members, choice: AuditChoice) -> Flow:
    """The flow of runners, small numbers withheld and what would give them away.

    Two sums could give a number away: those registered are those included and excluded, and those
    included are the discharged, the lost and those in care. Where a small exclusion can't be
    hidden behind another one, the number registered is withheld.
    """
    least = choice.least_group
    excluded = {one: int(np.sum(members.excluded == at)) for at, one in enumerate(Excluded)}
    excluded = {one: n for one, n in excluded.items() if n}
    included = int(members.included.sum())
    apart = withheld_groups(
        [included, *excluded.values()], least, kept=[True] + [False] * len(excluded)
    )
    ends = {
        Step.DISCHARGED: members.discharged,
        Step.LOST: members.lost,
        Step.IN_CARE: members.in_care,
    }
    end_sizes = [int(mask.sum()) for mask in ends.values()]
    hidden = withheld_groups(end_sizes, least).beside_the_whole
    registered = int(np.sum(members.excluded != NOT_YET))
    steps = [
        (Step.REGISTERED, _count(registered, least, hidden=not apart.whole_may_be_shown)),
        (Step.INCLUDED, _count(included, least)),
        (Step.BASELINE, _count(int(members.baseline.sum()), least)),
        (Step.STARTED, _count(int(members.started.sum()), least)),
        (Step.REVIEWED, _count(int(members.reviewed.sum()), least)),
        *(
            (step, _count(n, least, hidden=hide))
            for step, n, hide in zip(ends, end_sizes, hidden, strict=True)
        ),
    ]
    return Flow(
        steps=tuple(steps),
        excluded=tuple(
            (one, _count(n, least, hidden=hide))
            for (one, n), hide in zip(excluded.items(), apart.groups[1:], strict=True)
        ),
    )


def told(flow: Flow, step: Step) -> bool:
    """Whether the number of a step is shown."""
    return not dict(flow.steps)[step].withheld


def timeliness_of(loaded: LoadedCohort, members: Members, choice: AuditChoice) -> Timeliness:
    """When runners were seen again: the first review, and the visits that were planned."""
    reviewed = int(members.reviewed.sum())
    days = _days_to_review(loaded, members)
    times = quartiles(days) if days.size >= choice.least_group else None
    if times is not None and choice.purpose is not None:
        # A quartile is the day of one runner, or of two: others are told its week.
        low, middle, high = (end_of_week(day) for day in times)
        times = low, middle, high
    kept, due = _planned(loaded, members, choice)
    return Timeliness(
        reviewed=_count(reviewed, choice.least_group),
        days_to_review=times,
        in_time=_in_time(kept, due, choice.least_group),
    )


def _in_time(kept: np.ndarray, due: np.ndarray, least: int) -> Part:
    """Visits of one runner are alike, and so many can be those of a few runners."""
    found = part("in_time", int(kept.sum()), int(due.sum()), least, hidden=0 < due.size < least)
    if found.share is None:
        return found
    share = clustered(kept, due)
    return replace(found, low=share.low, high=share.high)


def part(name: str, count: int, total: int, least: int, *, hidden: bool = False) -> Part:
    """A share with its interval, or its name alone where it is withheld.

    Of nobody there is no share: 0 of 0 is told.
    """
    if hidden or 0 < total < least:
        return Part(name=name, count=None, total=None)
    if total == 0:
        return Part(name=name, count=0, total=0)
    share = wilson(count, total)
    return Part(
        name=name, count=count, total=total, share=share.share, low=share.low, high=share.high
    )


def quartiles(numbers: np.ndarray) -> tuple[float, float, float]:
    """First quartile, median and third quartile."""
    low, middle, high = (float(one) for one in np.quantile(numbers, (0.25, 0.5, 0.75)))
    return low, middle, high


def end_of_week(day: float) -> float:
    """A day brought to the end of its week: of days 0 to 6 that is 7."""
    return WEEK * (day // WEEK + 1.0)


def _count(n: int, least: int, *, hidden: bool = False) -> Count:
    return Count(n=None if hidden or 0 < n < least else n)


def _days_to_review(loaded: LoadedCohort, members: Members) -> np.ndarray:
    visits = loaded.visits
    rows = np.flatnonzero(members.counted & visits["later"].to_numpy())[::-1]
    first = np.full(members.reviewed.size, np.nan)
    first[visits["runner"].to_numpy()[rows]] = visits["day"].to_numpy()[rows]
    since: np.ndarray = (first - loaded.runners["start_day"].to_numpy())[members.reviewed]
    return since


def _planned(
    loaded: LoadedCohort, members: Members, choice: AuditChoice
) -> tuple[np.ndarray, np.ndarray]:
    """Planned visits held in time, and those whose time was over by the day of the audit, of each
    runner who has any of these.
    """
    visits = loaded.visits
    runner = visits["runner"].to_numpy()
    rows = np.flatnonzero(members.counted & members.included[runner])
    same = np.append(runner[rows][1:] == runner[rows][:-1], False)
    day, due = visits["day"].to_numpy()[rows], visits["due_day"].to_numpy()[rows]
    following = np.where(same, np.append(day[1:], np.nan), np.nan)
    # A second session of the day takes over what the first one planned.
    plans: Flags = np.isfinite(due) & (following != day)
    limit = due + choice.grace_days
    kept = plans & (following <= limit)
    # Of plans that still have time those that were kept are known already and the others are not:
    # counting the kept ones alone would praise the last weeks.
    decided = plans & (limit < members.as_of)
    whose, of_runner = np.unique(runner[rows][decided], return_inverse=True)
    return (
        np.bincount(of_runner[kept[decided]], minlength=whose.size),
        np.bincount(of_runner, minlength=whose.size),
    )
