"""Weeks in a row with pain beyond the same limit, told in one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from casebook.domain.cautions import ADVICE, PainFlag, PainReason
from casebook.domain.date_words import day_words

A_WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class PainRun:
    """Weeks in a row that are flagged for the same reason.

    Parameters
    ----------
    flags : tuple of PainFlag
        One or more, in the order of time.
    """

    flags: tuple[PainFlag, ...]

    @property
    def worst(self) -> PainFlag:
        """The flag with the most pain, the first of them."""
        return max(self.flags, key=lambda one: one.pain)

    @property
    def words(self) -> str:
        """The run in one sentence: its span, and the worst of it."""
        if len(self.flags) == 1:
            return self.flags[0].words
        first, last = self.flags[0].week.week_start, self.flags[-1].week.week_start
        worst = self.worst
        span = (
            f"in {len(self.flags)} weeks in a row (those of {day_words(first)} to "
            f"{day_words(last)})"
        )
        most = f"{worst.pain:g} of 10 at worst, in the week of {day_words(worst.week.week_start)}"
        if worst.reason is PainReason.BONE:
            return (
                f"Pain {span} with a bone stress injury on record, {most}: no pain is the limit "
                f"there. Ease off; {ADVICE}."
            )
        if worst.reason is PainReason.RISING:
            return (
                f"Pain the morning after was beyond the usual rise {span}: up to {most}, from "
                f"{worst.against:g} before. Think of easing off."
            )
        part = "during" if worst.reason is PainReason.DURING_TOO_HIGH else "the morning after"
        return (
            f"Pain {part} the sessions was above the usual limit of {worst.against:g} {span}: "
            f"{most}. Think of easing off."
        )


def pain_runs(flags: Sequence[PainFlag]) -> tuple[PainRun, ...]:
    """Flags of one programme as runs of weeks, a run for each reason.

    Parameters
    ----------
    flags : sequence of PainFlag
        In any order. A week without the flag, or one that was not entered, ends a run.

    Returns
    -------
    tuple of PainRun
        By their first week, then by reason; every flag stands in exactly one.
    """
    runs: list[list[PainFlag]] = []
    for flag in sorted(flags, key=lambda one: (_place(one), one.week.week_start)):
        latest = runs[-1][-1] if runs else None
        if (
            latest is not None
            and latest.reason is flag.reason
            and flag.week.week_start - latest.week.week_start <= A_WEEK
        ):
            runs[-1].append(flag)
        else:
            runs.append([flag])
    ordered = sorted(runs, key=lambda run: (run[0].week.week_start, _place(run[0])))
    return tuple(PainRun(flags=tuple(run)) for run in ordered)


def _place(flag: PainFlag) -> int:
    return list(PainReason).index(flag.reason)
