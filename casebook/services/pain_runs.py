"""Flags of pain as runs of weeks: one line for weeks in a row, and one reason for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from casebook.domain.pain_runs import PainRun, pain_runs
from casebook.services.cautioning import RunnerPain, Seen

# Longer ago than this, pain says little of what to do now. Common practice, no source.
RECENT_PAIN = timedelta(weeks=8)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerPainRun:
    """Weeks in a row of a programme with the same flag, and who has seen them.

    Parameters
    ----------
    weeks : tuple of RunnerPain
        The single weeks, in the order of time; all of them seen for the same reason on the same
        day, or none of them.
    """

    programme_id: int
    title: str
    run: PainRun
    weeks: tuple[RunnerPain, ...]
    seen: Seen | None

    @property
    def last_week(self) -> date:
        """First day of its last week."""
        return self.run.flags[-1].week.week_start

    def is_recent(self, today: date) -> bool:
        """Whether it says something of what to do on that day."""
        return today - self.last_week <= RECENT_PAIN


def runs_of_pain(pains: Sequence[RunnerPain]) -> tuple[RunnerPainRun, ...]:
    """Flags of pain as runs, by the first week of each; every flag stands in exactly one."""
    groups: dict[tuple[object, ...], list[RunnerPain]] = {}
    for one in pains:
        seen = one.seen
        said = None if seen is None else (seen.by, seen.at.date(), seen.reason)
        groups.setdefault((one.programme_id, said), []).append(one)
    found = []
    for group in groups.values():
        by_flag = {(one.flag.week.week_start, one.flag.reason): one for one in group}
        for run in pain_runs([one.flag for one in group]):
            weeks = tuple(by_flag[flag.week.week_start, flag.reason] for flag in run.flags)
            found.append(
                RunnerPainRun(
                    programme_id=weeks[0].programme_id,
                    title=weeks[0].title,
                    run=run,
                    weeks=weeks,
                    seen=weeks[0].seen,
                )
            )
    return tuple(sorted(found, key=lambda one: one.run.flags[0].week.week_start))
