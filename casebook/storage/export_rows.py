"""Reads for a de-identified export: coded columns and numbers only, never a free text.

What is read whole (a row or two a runner) and what is read for some runners at a time is told
apart by `runner_ids`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from casebook.domain.people import Purpose
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    ConsentRow,
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    VisitRow,
)

# Rows of a driver, read by column's name.
Rows = Sequence[Any]


def consenting(
    session: Session, clinic_id: int, purpose: Purpose, *, as_of: date, today: date
) -> Rows:
    """Runners whose consent covered the purpose on a day, and covers it today, by id.

    Columns: id, sex, birth_year, discipline, height_cm, mass_kg, registered_on.
    """

    def covered(day: date) -> Any:
        return (
            select(ConsentRow.id)
            .where(
                ConsentRow.runner_id == RunnerRow.id,
                ConsentRow.purpose == purpose,
                ConsentRow.given_on <= day,
                or_(ConsentRow.withdrawn_on.is_(None), ConsentRow.withdrawn_on > day),
            )
            .exists()
        )

    return session.execute(
        select(
            RunnerRow.id,
            RunnerRow.sex,
            RunnerRow.birth_year,
            RunnerRow.discipline,
            RunnerRow.height_cm,
            RunnerRow.mass_kg,
            RunnerRow.registered_on,
        )
        .where(RunnerRow.clinic_id == clinic_id, covered(as_of), covered(today))
        .order_by(RunnerRow.id)
    ).all()


def registered(session: Session, clinic_id: int, *, until: date) -> int:
    """How many runners a clinic had registered by a day, those of an unknown day among them."""
    query = select(func.count()).where(
        RunnerRow.clinic_id == clinic_id,
        or_(RunnerRow.registered_on.is_(None), RunnerRow.registered_on <= until),
    )
    return int(session.scalar(query) or 0)


def first_visits(session: Session, *, until: date) -> dict[int, date]:
    """Day of the first visit by runner id."""
    query = (
        select(VisitRow.runner_id, func.min(VisitRow.visited_on))
        .where(VisitRow.visited_on <= until)
        .group_by(VisitRow.runner_id)
    )
    return {runner_id: day for runner_id, day in session.execute(query)}  # noqa: C416


def assessors(session: Session, *, until: date) -> list[tuple[int, str]]:
    """Runner id and code of everybody who assessed them, each pair once."""
    query = (
        select(VisitRow.runner_id, VisitRow.assessor)
        .where(VisitRow.visited_on <= until, VisitRow.assessor != "")
        .distinct()
    )
    return [(runner_id, code) for runner_id, code in session.execute(query)]


def condition_pairs(session: Session, column: str, *, until: date) -> list[tuple[int, float]]:
    """Runner id and a numeric condition of their visits, each pair once."""
    number = getattr(VisitRow, column)
    query = (
        select(VisitRow.runner_id, number)
        .where(VisitRow.visited_on <= until, number.is_not(None))
        .distinct()
    )
    return [(runner_id, float(value)) for runner_id, value in session.execute(query)]


def injuries(session: Session, *, until: date) -> Rows:
    """Complaints by runner and onset, without notes.

    Columns: id, runner_id, region, pathology, side, onset_on, onset, occurrence, course,
    returned_on, fully_back_on.
    """
    return session.execute(
        select(
            InjuryRow.id,
            InjuryRow.runner_id,
            InjuryRow.region,
            InjuryRow.pathology,
            InjuryRow.side,
            InjuryRow.onset_on,
            InjuryRow.onset,
            InjuryRow.occurrence,
            InjuryRow.course,
            InjuryRow.returned_on,
            InjuryRow.fully_back_on,
        )
        .where(InjuryRow.onset_on <= until)
        .order_by(InjuryRow.runner_id, InjuryRow.onset_on, InjuryRow.id)
    ).all()


def programmes(session: Session, *, until: date, runner_ids: Sequence[int] | None = None) -> Rows:
    """Programmes by runner and start, without titles and words.

    Columns: id, runner_id, injury_id, kind, started_on, ended_on, planned_weeks, mode, delivery,
    tailored.
    """
    query = select(
        ProgrammeRow.id,
        ProgrammeRow.runner_id,
        ProgrammeRow.injury_id,
        ProgrammeRow.kind,
        ProgrammeRow.started_on,
        ProgrammeRow.ended_on,
        ProgrammeRow.planned_weeks,
        ProgrammeRow.mode,
        ProgrammeRow.delivery,
        ProgrammeRow.tailored,
    ).where(ProgrammeRow.started_on <= until)
    if runner_ids is not None:
        query = query.where(ProgrammeRow.runner_id.in_(list(runner_ids)))
    return session.execute(
        query.order_by(ProgrammeRow.runner_id, ProgrammeRow.started_on, ProgrammeRow.id)
    ).all()


def blocks(session: Session, programme_ids: Sequence[int]) -> Rows:
    """Exercises of programmes by position, by key and dose alone.

    Columns: programme_id, position, aim, exercise_key, side, sets, repetitions, hold_s,
    sessions_per_week, rest_s, supervision.
    """
    return session.execute(
        select(
            BlockRow.programme_id,
            BlockRow.position,
            BlockRow.aim,
            BlockRow.exercise_key,
            BlockRow.side,
            BlockRow.sets,
            BlockRow.repetitions,
            BlockRow.hold_s,
            BlockRow.sessions_per_week,
            BlockRow.rest_s,
            BlockRow.supervision,
        )
        .where(BlockRow.programme_id.in_(list(programme_ids)))
        .order_by(BlockRow.programme_id, BlockRow.position)
    ).all()


def weeks(session: Session, programme_ids: Sequence[int], *, until: date) -> Rows:
    """Weeks of programmes by day, without comments.

    Columns: programme_id, week_start, sessions_planned, sessions_done, pain_during,
    pain_morning_after.
    """
    return session.execute(
        select(
            AdherenceRow.programme_id,
            AdherenceRow.week_start,
            AdherenceRow.sessions_planned,
            AdherenceRow.sessions_done,
            AdherenceRow.pain_during,
            AdherenceRow.pain_morning_after,
        )
        .where(AdherenceRow.programme_id.in_(list(programme_ids)), AdherenceRow.week_start <= until)
        .order_by(AdherenceRow.programme_id, AdherenceRow.week_start)
    ).all()


def targets(session: Session, programme_ids: Sequence[int]) -> Rows:
    """Targets of programmes, in no order.

    Columns: programme_id, metric (key), what, direction, amount, due_on.
    """
    return session.execute(
        select(
            TargetRow.programme_id,
            MetricRow.key.label("metric"),
            TargetRow.what,
            TargetRow.direction,
            TargetRow.amount,
            TargetRow.due_on,
        )
        .join(MetricRow, MetricRow.id == TargetRow.metric_id)
        .where(TargetRow.programme_id.in_(list(programme_ids)))
    ).all()
