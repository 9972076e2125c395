"""Weeks in a row with the same flag: one sentence with the span and the worst, nothing lost."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from casebook.domain.cautions import ADVICE, PainReason, pain_flags
from casebook.domain.injuries import Pathology
from casebook.domain.pain_runs import pain_runs
from casebook.domain.programmes import AdherenceWeek
from tests.builders import an_injury

FIRST = date(2026, 3, 2)


def week(number: int, during: float | None, morning: float | None = None) -> AdherenceWeek:
    return AdherenceWeek(
        week_start=FIRST + timedelta(weeks=number), sessions_planned=3, sessions_done=3,
        pain_during=during, pain_morning_after=morning,
    )  # fmt: skip


def test_weeks_in_a_row_are_one_run_and_a_week_between_ends_it() -> None:
    bone = an_injury(pathology=Pathology.BONE_STRESS)
    flags = pain_flags([week(at, pain) for at, pain in enumerate((2.0, 4.0, 1.0, 0.0, 3.0))], bone)
    runs = pain_runs(flags[::-1])
    assert [len(run.flags) for run in runs] == [3, 1]
    assert [flag for run in runs for flag in run.flags] == list(flags)
    assert runs[0].words == (
        "Pain in 3 weeks in a row (those of 2 Mar 2026 to 16 Mar 2026) with a bone stress injury "
        "on record, 4 of 10 at worst, in the week of 9 Mar 2026: no pain is the limit there. Ease "
        f"off; {ADVICE}."
    )
    assert runs[1].words == flags[-1].words
    assert pain_runs(()) == ()


@pytest.mark.parametrize(
    ("weeks", "reason", "words"),
    [
        ([week(0, 6.0), week(1, 8.0)], PainReason.DURING_TOO_HIGH,
         "Pain during the sessions was above the usual limit of 5 in 2 weeks in a row (those of 2 "
         "Mar 2026 to 9 Mar 2026): 8 of 10 at worst, in the week of 9 Mar 2026. Think of easing "
         "off."),
        ([week(0, None, 7.0), week(1, None, 6.0)], PainReason.MORNING_TOO_HIGH,
         "Pain the morning after the sessions was above the usual limit of 5 in 2 weeks in a row "
         "(those of 2 Mar 2026 to 9 Mar 2026): 7 of 10 at worst, in the week of 2 Mar 2026. Think "
         "of easing off."),
        ([week(0, None, 1.0), week(1, None, 3.0), week(2, None, 4.0)], PainReason.RISING,
         "Pain the morning after was beyond the usual rise in 2 weeks in a row (those of 9 Mar "
         "2026 to 16 Mar 2026): up to 4 of 10 at worst, in the week of 16 Mar 2026, from 2 before. "
         "Think of easing off."),
    ],
)  # fmt: skip
def test_a_run_says_its_span_and_its_worst(
    weeks: list[AdherenceWeek], reason: PainReason, words: str
) -> None:
    (run,) = pain_runs(pain_flags(weeks))
    assert run.worst.reason is reason
    assert run.words == words


def test_reasons_of_the_same_week_stand_in_runs_of_their_own() -> None:
    runs = pain_runs(pain_flags([week(0, 6.0, 7.0), week(1, 6.0, 7.0)]))
    assert [(run.worst.reason, len(run.flags)) for run in runs] == [
        (PainReason.DURING_TOO_HIGH, 2),
        (PainReason.MORNING_TOO_HIGH, 2),
    ]
