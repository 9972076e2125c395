"""How long the runners of an audit took from the start of a complaint to their first run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import ReturnStep, ReturnToRunning
from casebook.domain.programmes import ProgrammeKind
from casebook.services.audit_flow import end_of_week
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Whole
from casebook.statistics.cohort_withholding import withheld_groups
from casebook.statistics.survival import Survival, at_risk_on, kaplan_meier

# Distances in days between the numbers at risk, and how many of them fit below a curve.
DISTANCES = (7, 14, 28, 56, 91, 182, 364, 728)
MOST_NUMBERS = 7
# Watched on the day of the onset itself, too.
SINCE_THE_ONSET = -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Times:
    """Days to the first run or to the last visit without it, the day of the first visit (before
    the onset: SINCE_THE_ONSET), and the programme's kind.
    """

    days: Floats
    entry: Floats
    returned: Flags
    kind: Codes

    def at(self, chosen: Flags) -> _Times:
        return _Times(
            days=self.days[chosen],
            entry=self.entry[chosen],
            returned=self.returned[chosen],
            kind=self.kind[chosen],
        )


def cohort_returns(
    loaded: LoadedCohort, members: Members, choice: AuditChoice
) -> tuple[ReturnToRunning, ...]:
    """Time from onset to the first run, for all and by the programme's kind.

    Parameters
    ----------
    loaded : LoadedCohort
    members : Members
    choice : AuditChoice

    Returns
    -------
    tuple of ReturnToRunning
        The whole first (group ''), then the kinds of more than one that occur. Counted are those
        included with a complaint that had begun, watched from the first visit (or the onset, if
        that came later) until the first run; a runner without a first run recorded (nor full
        training) by the day of the audit until the last visit. Who ran again before the first
        visit was never watched. Empty where there is nobody. A curve begins where as many are at
        risk as may be shown, ends where fewer remain, and there is none of fewer returns than
        that. A step of an exact curve is one runner's
        day: for others than the clinic (a purpose in the choice) there are steps at ends of
        weeks only, each of as many returns as may be shown, shares in whole percent.
    """
    times = _times(loaded, members)
    least = choice.least_group
    if not times.days.size:
        return ()
    weekly = choice.purpose is not None
    whole = _told("", times, least, weekly)
    present = [
        (kind.value, times.at(times.kind == at))
        for at, kind in enumerate(ProgrammeKind)
        if np.any(times.kind == at)
    ]
    without = times.at(times.kind == NOTHING)
    if len(present) < 2 or whole.n is None:
        return (whole,)
    groups = [one for _, one in present]
    apart = [*groups, without] if without.days.size else groups
    sizes = _hidden([one.days.size for one in apart], least)
    # Of the returned and of those who are not, too, nobody may be left over by subtraction.
    ran = _hidden([int(one.returned.sum()) for one in apart], least)
    still_out = _hidden([int((~one.returned).sum()) for one in apart], least)
    return (
        whole,
        *(
            # The curve of all less that of one kind would be the few returns of the other.
            _told(name, group, least, weekly, hidden=hide, uncounted=one or two, curveless=one)
            for (name, group), hide, one, two in zip(present, sizes, ran, still_out, strict=False)
        ),
    )


def _hidden(sizes: list[int], least: int) -> list[bool]:
    found = withheld_groups(sizes, least)
    return list(found.groups) if found.whole_may_be_shown else [True] * len(sizes)


def _times(loaded: LoadedCohort, members: Members) -> _Times:
    runners, visits = loaded.runners, loaded.visits
    onset = runners["onset_day"].to_numpy()
    first_run = runners["first_run_day"].to_numpy()
    run = np.where(np.isfinite(first_run), first_run, runners["fully_back_day"].to_numpy())
    returned = run <= members.as_of
    last = np.full(len(runners), np.nan)
    seen = np.flatnonzero(members.counted)
    first = np.full(len(runners), np.nan)
    runner, day = visits["runner"].to_numpy()[seen], visits["day"].to_numpy()[seen]
    # By runner and day: the last one put in a place stays there.
    last[runner], first[runner[::-1]] = day, day[::-1]
    days = np.where(returned, run, last) - onset
    entry = np.where(first <= onset, SINCE_THE_ONSET, first - onset)
    # Of whom nothing was seen after the onset only a return could be known: they would all be
    # runners who ran.
    known = members.included & (onset <= members.as_of) & (last >= onset) & (days >= 0)
    known &= entry < days
    kind = np.where(members.started, runners["kind"].to_numpy(), NOTHING)
    return _Times(
        days=days[known],
        entry=entry[known],
        returned=returned[known],
        kind=kind[known].astype(np.int8),
    )


def _told(
    group: str,
    times: _Times,
    least: int,
    weekly: bool,
    *,
    hidden: bool = False,
    uncounted: bool = False,
    curveless: bool = False,
) -> ReturnToRunning:
    n, returned = times.days.size, int(times.returned.sum())
    if hidden or n < least:
        return ReturnToRunning(
            group=group, n=None, returned=None, steps=(), at_risk=(), median=None
        )
    few = 0 < returned < least or 0 < n - returned < least
    begins = _begins(times, least)
    if weekly and begins > SINCE_THE_ONSET:
        begins = end_of_week(begins)
    watched = times.at(times.days > begins)
    ran = int(watched.returned.sum())
    curve, shown = None, np.zeros(0, dtype=np.int64)
    # Few returns make no curve, and its steps would count them.
    if not curveless and ran >= max(1, least):
        entry = np.maximum(watched.entry, begins)
        curve = kaplan_meier(watched.days, watched.returned, entry=entry)
        enough = curve.at_risk >= least
        shown = np.arange(enough.size if enough.all() else int(np.argmin(enough)))
    steps: tuple[ReturnStep, ...] = ()
    if curve is not None:
        steps = _weekly(curve, shown, least) if weekly else _exact(curve, shown)
    end = float(curve.time[shown[-1]]) if curve is not None and shown.size else times.days.max()
    first = max(0.0, begins)
    axis = _some([first, *(one.day for one in steps)]) if weekly else _axis(first, float(end))
    left = at_risk_on(times.days, axis, entry=times.entry)
    middle, low, high = (
        None if one is None or one > end else end_of_week(one) if weekly else one
        for one in (curve.median if curve is not None else (None, None, None))
    )
    return ReturnToRunning(
        group=group,
        n=n,
        returned=None if few or uncounted else returned,
        steps=steps,
        at_risk=tuple(
            (float(day), int(number) if number >= least or number == 0 else None)
            for day, number in zip(axis, left, strict=True)
        ),
        median=(middle, low, high) if steps else None,
        begins=first,
    )


def _begins(times: _Times, least: int) -> float:
    """Day after which as many are watched as may be shown at every first run until the end of
    the curve; SINCE_THE_ONSET where they all are from there on.

    The runs before it are passed over: among few, one alone would bring the curve down by far.
    """
    ran = np.unique(times.days[times.returned])
    risk = at_risk_on(times.days, ran, entry=times.entry)
    passed = ran[: int(np.argmax(risk >= least))] if np.any(risk >= least) else ran
    entered = float(np.sort(times.entry)[least - 1])
    return max(entered, float(passed[-1])) if passed.size else entered


def _exact(curve: Survival, shown: Whole) -> tuple[ReturnStep, ...]:
    return tuple(
        ReturnStep(
            day=float(curve.time[at]),
            still_out=float(curve.share[at]),
            low=float(curve.low[at]),
            high=float(curve.high[at]),
        )
        for at in shown
    )


def _weekly(curve: Survival, shown: Whole, least: int) -> tuple[ReturnStep, ...]:
    """Steps at the ends of weeks, each of no fewer returns than may be shown."""
    steps: list[ReturnStep] = []
    returns = 0
    ends = [end_of_week(float(one)) for one in curve.time]
    for at in shown:
        returns += int(curve.events[at])
        day = ends[at]
        more = at + 1 < len(ends) and ends[at + 1] == day
        if more or returns < least:
            continue
        still_out, low, high = (
            round(float(one[at]), 2) for one in (curve.share, curve.low, curve.high)
        )
        steps.append(ReturnStep(day=day, still_out=still_out, low=low, high=high))
        returns = 0
    return tuple(steps)


def _some(days: list[float]) -> Floats:
    """Of these days as many as stand apart from one another below a curve."""
    kept = days[:1]
    for day in days[1:]:
        if day - kept[-1] >= days[-1] / MOST_NUMBERS:
            kept.append(day)
    return np.array(kept)


def _axis(first: float, end: float) -> Floats:
    step = next((one for one in DISTANCES if end / one < MOST_NUMBERS - 1), float(np.ceil(end / 6)))
    axis: Floats = np.arange(0.0, end + 1e-9, step)
    return axis[axis >= first]
