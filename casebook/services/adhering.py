"""How well a programme is kept to, week by week; entered in seconds."""

from __future__ import annotations

import math
from datetime import date, timedelta

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.people import clean_by
from casebook.domain.programmes import AdherenceWeek
from casebook.services import clock
from casebook.services.amending import asked_reason
from casebook.services.opened import Casebook
from casebook.services.prescribing import StoredPrescription, get_kept
from casebook.services.reopening import reopen_weeks
from casebook.storage import history, people, prescriptions
from casebook.storage.session import writing

A_WEEK = timedelta(days=7)
MOST_SESSIONS = 70


def next_week(stored: StoredPrescription, *, today: date) -> AdherenceWeek:
    """The week after the last one entered, filled in as if all of it had been done.

    An earlier week that was left out is proposed once no later one has begun.

    Parameters
    ----------
    today : date
        No week that begins after it is proposed.

    Returns
    -------
    AdherenceWeek
        From the Monday on or before the start; as many sessions as the block with the most
        asks for in a week.
    """
    programme = stored.prescription.programme
    first = programme.started_on - timedelta(days=programme.started_on.weekday())
    last = min(today, programme.ended_on or today)
    entered = {week.week_start - timedelta(days=week.week_start.weekday())
               for week in programme.adherence}  # fmt: skip
    monday = max(entered, default=first - A_WEEK) + A_WEEK
    if monday > last:
        monday = first
        while monday in entered and monday + A_WEEK <= last:
            monday += A_WEEK
    wanted = [block.sessions_per_week or 0.0 for block in programme.blocks]
    sessions = min(MOST_SESSIONS, math.ceil(max(wanted, default=0.0)))
    return AdherenceWeek(week_start=monday, sessions_planned=sessions, sessions_done=sessions)


def record_week(
    casebook: Casebook, programme_id: int, week: AdherenceWeek, *, by: str, reason: str = ""
) -> None:
    """Store how a week went; the same numbers again change nothing.

    Parameters
    ----------
    reason : str
        Asked for where the week is stored with other numbers.

    Raises
    ------
    NotFound
        For a programme that does not exist.
    InputRefused
        For numbers that cannot be, a week outside of the programme, or other numbers for a
        week that is stored without a reason.
    """
    by = clean_by(by)
    with writing(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id, to_write=True)
        problems = _problems(kept, week)
        if problems:
            raise InputRefused(problems)
        stored = [
            one
            for one in kept.prescription.programme.adherence
            if one.week_start == week.week_start
        ]
        if stored and stored[0] != week:
            reason = asked_reason(reason)
        told = prescriptions.save_week(unit, kept, week, reason=reason)
        if told is None:
            return
        reopened = reopen_weeks(
            unit, kept.runner_id, programme_id, [week.week_start], reason=reason
        )
        people.bump_runner(unit, kept.runner_id)
        history.append(unit, [told, *reopened], by=by, at=clock.now())
        unit.commit()


def _problems(kept: prescriptions.KeptProgramme, week: AdherenceWeek) -> tuple[Problem, ...]:
    programme, today = kept.prescription.programme, clock.today()
    ends = programme.ended_on or date.max
    checks: list[tuple[bool, str, object, str]] = [
        (
            week.week_start + timedelta(days=6) >= programme.started_on and week.week_start <= ends,
            "week_start",
            week.week_start,
            f"a week of the programme, which runs from {programme.started_on} to "
            f"{programme.ended_on or 'now'}",
        ),
        (week.week_start <= today, "week_start", week.week_start, "a week that has begun"),
    ]
    checks += [
        (0 <= number <= MOST_SESSIONS, name, number, f"0 to {MOST_SESSIONS} sessions")
        for name, number in (
            ("sessions_planned", week.sessions_planned),
            ("sessions_done", week.sessions_done),
        )
    ]
    checks += [
        (pain is None or 0 <= pain <= 10, name, pain, "0 to 10, or none")
        for name, pain in (
            ("pain_during", week.pain_during),
            ("pain_morning_after", week.pain_morning_after),
        )
    ]
    return tuple(
        Problem(
            code=f"{column}_out_of_range",
            column=column,
            value=str(value),
            message=f"{column} is {value}; expected {expected}.",
        )
        for fine, column, value, expected in checks
        if not fine
    )
