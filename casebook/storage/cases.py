"""Reads for a review: a runner's programmes and injuries, acknowledgements, caseload lines."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from casebook.domain.history import Change
from casebook.domain.injuries import Course, Injury
from casebook.domain.metrics import ErrorFigure, Metric
from casebook.domain.people import Sex
from casebook.domain.programmes import Programme, Target
from casebook.domain.verdicts import FlagKind
from casebook.storage import record_fields, translation
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    ErrorFigureRow,
    FlagAcknowledgementRow,
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    UserRow,
    VisitRow,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerLine:
    """What the caseload needs of a runner beside the judgement."""

    runner_id: int
    code: str
    sex: Sex
    discipline: str
    revision: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LastVisit:
    """A runner's latest visit, repeat measurements included, and how many there are."""

    visited_on: date
    n_visits: int
    next_due_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledgement:
    """Who saw a flag, when, and the reason they gave."""

    reason: str
    by: str
    at: datetime


RowT = TypeVar("RowT", BlockRow, AdherenceRow)
AcknowledgementKey = tuple[int, int, FlagKind]


def metrics_by_id(session: Session) -> dict[int, Metric]:
    """The whole catalogue, inactive metrics too, by ascending id."""
    rows = session.scalars(select(MetricRow).order_by(MetricRow.id))
    return {row.id: translation.metric_value(row) for row in rows}


def figures_in_force(session: Session) -> tuple[ErrorFigure, ...]:
    """Every error figure that is not retired."""
    rows = session.execute(
        select(ErrorFigureRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == ErrorFigureRow.metric_id)
        .where(ErrorFigureRow.retired_at.is_(None))
        .order_by(ErrorFigureRow.id)
    )
    return tuple(translation.figure_value(row, metric=key) for row, key in rows)


def runner_lines(session: Session, clinic_id: int) -> list[RunnerLine]:
    """All runners of a clinic, by code."""
    rows = session.execute(
        select(
            RunnerRow.id, RunnerRow.code, RunnerRow.sex, RunnerRow.discipline, RunnerRow.revision
        )
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(RunnerRow.code)
    )
    return [
        RunnerLine(runner_id=key, code=code, sex=sex, discipline=discipline, revision=revision)
        for key, code, sex, discipline, revision in rows
    ]


def runners_stamp(session: Session, clinic_id: int) -> tuple[int, int, int]:
    """Number of a clinic's runners, sum of their revisions, and the highest id.

    Moves whenever a runner's record does: revisions only grow and ids are never given twice.
    """
    count, total, highest = session.execute(
        select(func.count(), func.sum(RunnerRow.revision), func.max(RunnerRow.id)).where(
            RunnerRow.clinic_id == clinic_id
        )
    ).one()
    return count, int(total or 0), highest or 0


def notes_of(session: Session, runner_id: int) -> dict[int, str]:
    """What was noted at a runner's visits, by visit id; those without a note left out."""
    query = select(VisitRow.id, VisitRow.note).where(
        VisitRow.runner_id == runner_id, VisitRow.note != ""
    )
    return {row.id: row.note for row in session.execute(query)}


def last_visits(session: Session, clinic_id: int) -> dict[int, LastVisit]:
    """Latest visit and number of visits by runner id."""
    latest = (
        select(
            VisitRow.runner_id,
            VisitRow.visited_on,
            VisitRow.next_due_on,
            func.count().over(partition_by=VisitRow.runner_id).label("n_visits"),
            func.row_number()
            .over(
                partition_by=VisitRow.runner_id,
                order_by=(VisitRow.visited_on.desc(), VisitRow.session.desc()),
            )
            .label("place"),
        )
        .join(RunnerRow, RunnerRow.id == VisitRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
        .subquery()
    )
    rows = session.execute(select(latest).where(latest.c.place == 1))
    return {
        row.runner_id: LastVisit(
            visited_on=row.visited_on, n_visits=row.n_visits, next_due_on=row.next_due_on
        )
        for row in rows
    }


def current_injuries(session: Session, clinic_id: int) -> dict[int, Injury]:
    """The latest complaint that is not resolved, by runner id."""
    rows = session.execute(
        select(InjuryRow, RunnerRow.code)
        .join(RunnerRow, RunnerRow.id == InjuryRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id, InjuryRow.course != Course.RESOLVED)
        .order_by(InjuryRow.onset_on)
    )
    return {row.runner_id: translation.injury_value(row, runner=code) for row, code in rows}


def first_programme_starts(
    session: Session, runner_ids: Sequence[int] | None = None
) -> dict[int, date]:
    """Day of the first programme's start by runner id."""
    query = select(ProgrammeRow.runner_id, func.min(ProgrammeRow.started_on)).group_by(
        ProgrammeRow.runner_id
    )
    if runner_ids is not None:
        query = query.where(ProgrammeRow.runner_id.in_(runner_ids))
    return {runner_id: start for runner_id, start in session.execute(query)}  # noqa: C416


def programmes_of(session: Session, runner_id: int, code: str) -> tuple[Programme, ...]:
    """A runner's programmes by start, with blocks, targets and adherence."""
    rows = session.scalars(
        select(ProgrammeRow)
        .where(ProgrammeRow.runner_id == runner_id)
        .order_by(ProgrammeRow.started_on, ProgrammeRow.title)
    ).all()
    keys = [row.id for row in rows]
    blocks = _by_programme(
        session.scalars(
            select(BlockRow).where(BlockRow.programme_id.in_(keys)).order_by(BlockRow.position)
        )
    )
    weeks = _by_programme(
        session.scalars(
            select(AdherenceRow)
            .where(AdherenceRow.programme_id.in_(keys))
            .order_by(AdherenceRow.week_start)
        )
    )
    targets: defaultdict[int, list[Target]] = defaultdict(list)
    for target, key in session.execute(
        select(TargetRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == TargetRow.metric_id)
        .where(TargetRow.programme_id.in_(keys))
        .order_by(TargetRow.due_on, MetricRow.position)
    ):
        targets[target.programme_id].append(
            Target(
                metric=key,
                what=target.what,
                direction=target.direction,
                amount=target.amount,
                due_on=target.due_on,
            )
        )
    return tuple(
        Programme(
            runner=code,
            title=row.title,
            started_on=row.started_on,
            ended_on=row.ended_on,
            kind=row.kind,
            rationale=row.rationale,
            blocks=tuple(translation.block_value(block) for block in blocks[row.id]),
            targets=tuple(targets[row.id]),
            adherence=tuple(translation.week_value(week) for week in weeks[row.id]),
        )
        for row in rows
    )


def _by_programme(
    rows: Iterable[RowT],
) -> defaultdict[int, list[RowT]]:
    grouped: defaultdict[int, list[RowT]] = defaultdict(list)
    for row in rows:
        grouped[row.programme_id].append(row)
    return grouped


def acknowledgements(
    session: Session, runner_ids: Sequence[int] | None = None
) -> dict[AcknowledgementKey, Acknowledgement]:
    """Acknowledgements by (visit id, metric id, kind)."""
    query = select(FlagAcknowledgementRow, UserRow.code).join(
        UserRow, UserRow.id == FlagAcknowledgementRow.acknowledged_by
    )
    if runner_ids is not None:
        query = query.join(VisitRow, VisitRow.id == FlagAcknowledgementRow.visit_id).where(
            VisitRow.runner_id.in_(runner_ids)
        )
    return {
        (row.visit_id, row.metric_id, row.kind): Acknowledgement(
            reason=row.reason, by=code, at=row.acknowledged_at
        )
        for row, code in session.execute(query)
    }


def acknowledgement_counts(session: Session) -> dict[int, int]:
    """How many flags of each runner were acknowledged, by runner id."""
    query = (
        select(VisitRow.runner_id, func.count())
        .join(FlagAcknowledgementRow, FlagAcknowledgementRow.visit_id == VisitRow.id)
        .group_by(VisitRow.runner_id)
    )
    # Not dict(result): a result has keys() and would be taken for a mapping.
    return {runner_id: count for runner_id, count in session.execute(query)}  # noqa: C416


def add_acknowledgement(
    session: Session,
    key: AcknowledgementKey,
    *,
    reason: str,
    user_id: int,
    at: datetime,
) -> Change:
    """Store that a user has seen a flag; returns what the history is told."""
    visit_id, metric_id, kind = key
    row = FlagAcknowledgementRow(
        visit_id=visit_id,
        metric_id=metric_id,
        kind=kind,
        reason=reason,
        acknowledged_by=user_id,
        acknowledged_at=at,
    )
    session.add(row)
    session.flush()
    runner_id = session.scalar(select(VisitRow.runner_id).where(VisitRow.id == visit_id))
    return record_fields.recorded(row, runner_id=runner_id)
