"""Running by the week, the longest recent run, and the way back to running after a complaint.

That one run much longer than the longest of the last 30 days went with more injuries was
reported by Frandsen et al. (2025, Br J Sports Med 59:1203-1210; figures read in its abstract);
that says nothing certain about one runner. Session load is minutes times the runner's rating
of effort, 0 to 10 (Foster et al. 2001, J Strength Cond Res 15:109-115; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from casebook.domain.errors import refuse
from casebook.domain.injury_course import Complaint

RECENT_DAYS = 30
LONGEST_KM, LONGEST_MIN = 1000.0, 10_000.0
# Weeks before the onset that stand for what the runner was used to. Common practice, no source.
USUAL_WEEKS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run; None where a number was not recorded.

    Parameters
    ----------
    distance_km, minutes : float or None
    effort : float or None
        The runner's own rating, 0 to 10.
    """

    on: date
    distance_km: float | None = None
    minutes: float | None = None
    effort: float | None = None

    def __post_init__(self) -> None:
        for column, high, unit in (
            ("distance_km", LONGEST_KM, "km"),
            ("minutes", LONGEST_MIN, "minutes"),
            ("effort", 10.0, "on the 0-10 scale"),
        ):
            number = getattr(self, column)
            if number is not None and not (math.isfinite(number) and 0 <= number <= high):
                raise refuse(
                    f"{column}_out_of_range",
                    f"the run on {self.on}: {column} is {number:g}; expected 0 to {high:g} {unit}.",
                    column=column,
                    value=number,
                )

    @property
    def load(self) -> float | None:
        """Minutes times effort; None where one of them is not known."""
        return None if self.minutes is None or self.effort is None else self.minutes * self.effort


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadWeek:
    """One week of running, Monday to Sunday.

    Parameters
    ----------
    distance_km, minutes, load : float or None
        Sums; None where any run of the week lacks the number, since a part is no whole. A
        week without runs has 0 of each.
    longest_km : float or None
        The longest run of the week.
    longest_before_km : float or None
        The longest run of the 30 days before the day of that run; None where the distance of
        any of them is not known, since that one may have been the longest.
    """

    week_start: date
    runs: int
    distance_km: float | None
    minutes: float | None
    load: float | None
    longest_km: float | None
    longest_before_km: float | None

    @property
    def beyond_recent_pct(self) -> float | None:
        """By how many percent the longest run went beyond the longest of the 30 days before."""
        if self.longest_km is None or not self.longest_before_km:
            return None
        return 100.0 * (self.longest_km / self.longest_before_km - 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Return:
    """The way back to running after a complaint.

    Parameters
    ----------
    first_run_on : date or None
        First run on record after the onset; None without one.
    days_to_first_run : int or None
        Since the onset.
    full_return_on : date or None
        As recorded with the complaint: fully able to run again.
    usual_km_a_week : float or None
        Mean of the four whole weeks before that of the onset; None where a distance lacks or
        none was run.
    back_to_usual_on : date or None
        Monday of the first whole week after the onset's that reached it again.
    """

    first_run_on: date | None
    days_to_first_run: int | None
    full_return_on: date | None
    usual_km_a_week: float | None
    back_to_usual_on: date | None


def load_weeks(
    runs: Sequence[Run], *, first: date | None = None, last: date | None = None
) -> tuple[LoadWeek, ...]:
    """Running by the week, weeks without a run included.

    Parameters
    ----------
    runs : sequence of Run
        In any order.
    first, last : date or None
        Days whose weeks are the first and last one shown; None takes those of the runs.

    Returns
    -------
    tuple of LoadWeek
        In the order of time; empty without runs and days.
    """
    days = [run.on for run in runs]
    start = first or min(days, default=None)
    end = last or max(days, default=None)
    if start is None or end is None:
        return ()
    weeks = []
    monday = start - timedelta(days=start.weekday())
    while monday <= end:
        weeks.append(_week(monday, runs))
        monday += timedelta(days=7)
    return tuple(weeks)


def longest_recent_km(runs: Sequence[Run], before: date) -> float | None:
    """The longest run of the 30 days before a day, that day left out; None where none is known."""
    known = [
        run.distance_km
        for run in runs
        if run.distance_km is not None and 1 <= (before - run.on).days <= RECENT_DAYS
    ]
    return max(known, default=None)


def return_to_running(complaint: Complaint, runs: Sequence[Run]) -> Return:
    """When a runner ran again after a complaint began, and when as much as before.

    Parameters
    ----------
    complaint : Complaint
    runs : sequence of Run
        From well before the onset on.
    """
    injury = complaint.injury
    after = sorted(run.on for run in runs if run.on > injury.onset_on)
    onset_week = injury.onset_on - timedelta(days=injury.onset_on.weekday())
    before = [_week(onset_week - timedelta(weeks=back), runs) for back in range(1, USUAL_WEEKS + 1)]
    distances = [week.distance_km for week in before if week.distance_km is not None]
    total = sum(distances)
    usual = total / USUAL_WEEKS if total and len(distances) == USUAL_WEEKS else None
    back = None
    if usual is not None and after:
        # The week of the onset itself was run in part before it.
        later = load_weeks(runs, first=onset_week + timedelta(weeks=1), last=after[-1])
        reached = (
            week.week_start
            for week in later
            if week.distance_km is not None and week.distance_km >= usual
        )
        back = next(reached, None)
    return Return(
        first_run_on=after[0] if after else None,
        days_to_first_run=(after[0] - injury.onset_on).days if after else None,
        full_return_on=complaint.fully_back_on,
        usual_km_a_week=usual,
        back_to_usual_on=back,
    )


def _week(monday: date, runs: Sequence[Run]) -> LoadWeek:
    inside = [run for run in runs if 0 <= (run.on - monday).days < 7]
    measured = [run for run in inside if run.distance_km is not None]
    longest = max(
        measured, key=lambda run: (run.distance_km or 0.0, -run.on.toordinal()), default=None
    )
    return LoadWeek(
        week_start=monday,
        runs=len(inside),
        distance_km=_sum([run.distance_km for run in inside]),
        minutes=_sum([run.minutes for run in inside]),
        load=_sum([run.load for run in inside]),
        longest_km=None if longest is None else longest.distance_km,
        longest_before_km=None if longest is None else _longest_before(runs, longest.on),
    )


def _longest_before(runs: Sequence[Run], day: date) -> float | None:
    unknown = any(
        run.distance_km is None and 1 <= (day - run.on).days <= RECENT_DAYS for run in runs
    )
    return None if unknown else longest_recent_km(runs, day)


def _sum(numbers: Sequence[float | None]) -> float | None:
    known = [number for number in numbers if number is not None]
    return math.fsum(known) if len(known) == len(numbers) else None
