"""Visits and their values: what is asked of the store, and what is added to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict
from casebook.domain.history import Was
from casebook.domain.metrics import Metric
from casebook.domain.sides import Side
from casebook.domain.visits import Value, Visit
from casebook.storage import record_fields, translation
from casebook.storage.refusals import refusal
from casebook.storage.tables import (
    IdentityRow,
    MetricRow,
    RunnerRow,
    TrialRow,
    ValueRow,
    VisitRow,
    VisitSaveRow,
)

# What is written past the session's own objects; they are read anew where they are needed.
APART = {"synchronize_session": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptVisit:
    """A visit as it is stored, with who saved it first and last.

    Parameters
    ----------
    fields : mapping of str to plain JSON
        What the history holds it to be, its values among them.
    """

    visit_id: int
    runner_id: int
    fields: Mapping[str, Was]
    visit: Visit
    revision: int
    recorded_by: str
    recorded_at: datetime
    last_saved_by: str
    last_saved_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownMetric:
    """A metric with the id by which its values refer to it."""

    metric_id: int
    metric: Metric


def known_metrics(session: Session, keys: Iterable[str]) -> dict[str, KnownMetric]:
    """Metrics by key, inactive ones included."""
    rows = session.scalars(select(MetricRow).where(MetricRow.key.in_(sorted(set(keys)))))
    return {
        row.key: KnownMetric(metric_id=row.id, metric=translation.metric_value(row)) for row in rows
    }


def find_visit(
    session: Session,
    runner_id: int,
    code: str,
    visited_on: date,
    number: int,
    *,
    to_add: bool = False,
) -> KeptVisit | None:
    """The visit of a runner on a day, with every value and trial.

    With `to_add` nobody else can add to it until the unit ends: on PostgreSQL its row is
    locked, and one who waits for that reads what the other stored; on SQLite a unit that
    writes is alone as it is.
    """
    query = (
        select(VisitRow)
        .where(
            VisitRow.runner_id == runner_id,
            VisitRow.visited_on == visited_on,
            VisitRow.session == number,
        )
        .execution_options(populate_existing=True)
    )
    row = session.scalar(query.with_for_update() if to_add else query)
    if row is None:
        return None
    last = session.scalar(
        select(VisitSaveRow)
        .where(VisitSaveRow.visit_id == row.id)
        .order_by(VisitSaveRow.revision.desc())
        .limit(1)
    )
    values = _values(session, row.id)
    return KeptVisit(
        visit_id=row.id,
        runner_id=row.runner_id,
        fields=record_fields.visit_fields(row, values),
        visit=translation.visit_value(row, runner=code, values=values),
        revision=row.revision,
        recorded_by=row.recorded_by,
        recorded_at=row.recorded_at,
        last_saved_by=last.saved_by if last else row.recorded_by,
        last_saved_at=last.saved_at if last else row.recorded_at,
    )


def find_visit_by_id(session: Session, visit_id: int, *, to_add: bool = False) -> KeptVisit | None:
    """A visit by its id, as `find_visit`."""
    place = session.execute(
        select(VisitRow.runner_id, RunnerRow.code, VisitRow.visited_on, VisitRow.session)
        .join(RunnerRow, RunnerRow.id == VisitRow.runner_id)
        .where(VisitRow.id == visit_id)
    ).first()
    if place is None:
        return None
    runner_id, code, visited_on, number = place
    return find_visit(session, runner_id, code, visited_on, number, to_add=to_add)


def plain_visits(session: Session, runner_id: int, code: str) -> tuple[Visit, ...]:
    """A runner's visits without their values, by day and session."""
    rows = session.scalars(
        select(VisitRow)
        .where(VisitRow.runner_id == runner_id)
        .order_by(VisitRow.visited_on, VisitRow.session)
    )
    return tuple(translation.visit_value(row, runner=code) for row in rows)


def visit_days(session: Session, runner_id: int) -> tuple[tuple[date, int], ...]:
    """Day and session of every visit of a runner, oldest first."""
    rows = session.execute(
        select(VisitRow.visited_on, VisitRow.session)
        .where(VisitRow.runner_id == runner_id)
        .order_by(VisitRow.visited_on, VisitRow.session)
    )
    return tuple((day, number) for day, number in rows)


def whole_body_means(
    session: Session, runner_id: int, metrics: Iterable[str]
) -> tuple[tuple[date, str, float], ...]:
    """Day, metric and value of every value of these that was read and has no side, oldest first."""
    rows = session.execute(
        select(VisitRow.visited_on, MetricRow.key, ValueRow.mean)
        .join(ValueRow, ValueRow.visit_id == VisitRow.id)
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .where(
            VisitRow.runner_id == runner_id,
            MetricRow.key.in_(list(metrics)),
            ValueRow.side == Side.NONE,
            ValueRow.mean.is_not(None),
        )
        .order_by(VisitRow.visited_on, VisitRow.session, MetricRow.position)
    )
    return tuple((day, key, mean) for day, key, mean in rows if mean is not None)


def _values(session: Session, visit_id: int) -> list[Value]:
    trials: defaultdict[int, dict[int, float]] = defaultdict(dict)
    for value_id, number, reading in session.execute(
        select(TrialRow.value_id, TrialRow.number, TrialRow.reading)
        .join(ValueRow, ValueRow.id == TrialRow.value_id)
        .where(ValueRow.visit_id == visit_id)
        .order_by(TrialRow.value_id, TrialRow.number)
    ):
        trials[value_id][number] = reading
    rows = session.execute(
        select(ValueRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .where(ValueRow.visit_id == visit_id)
        .order_by(MetricRow.position, MetricRow.key, ValueRow.side)
    )
    return [
        translation.stored_value(
            row, metric=key, trials=tuple(trials[row.id].values()), numbers=tuple(trials[row.id])
        )
        for row, key in rows
    ]


def values_saved_after(
    session: Session, visit_id: int, revision: int
) -> tuple[tuple[str, Side], ...]:
    """Metric and side of every value that came with a later revision of a visit."""
    rows = session.execute(
        select(MetricRow.key, ValueRow.side)
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .where(ValueRow.visit_id == visit_id, ValueRow.saved_in > revision)
        .order_by(MetricRow.position, MetricRow.key, ValueRow.side)
    )
    return tuple((metric, side) for metric, side in rows)


def add_visit(
    session: Session, runner_id: int, visit: Visit, *, by: str, at: datetime
) -> int | None:
    """Add a visit without its values and return its id; None when somebody else just has.

    On PostgreSQL two people can both have seen that there is none. The second waits for the
    first to commit and then finds the natural key taken; what went before in the unit stays.
    """
    row = translation.visit_row(visit, runner_id=runner_id, by=by, at=at)
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except IntegrityError as error:
        if isinstance(refusal(error), Conflict):
            return None
        raise
    return row.id


def add_values(
    session: Session,
    visit_id: int,
    values: Iterable[Value],
    metrics: Mapping[str, KnownMetric],
    *,
    saved_in: int,
) -> int:
    """Add values with their trials; returns how many values."""
    pairs = [
        (
            translation.value_row(
                value,
                visit_id=visit_id,
                metric_id=metrics[value.metric].metric_id,
                saved_in=saved_in,
            ),
            value,
        )
        for value in values
    ]
    session.add_all(row for row, _ in pairs)
    session.flush()
    trials = [
        {"value_id": row.id, "number": number, "reading": reading}
        for row, value in pairs
        for number, reading in value.numbered.items()
    ]
    if trials:
        session.execute(insert(TrialRow), trials)
    return len(pairs)


def remove_values(
    session: Session,
    visit_id: int,
    places: Iterable[tuple[str, Side]],
    metrics: Mapping[str, KnownMetric],
) -> None:
    """Remove values with their trials; the caller tells the history what they were."""
    wanted = {(metrics[metric].metric_id, side) for metric, side in places}
    if not wanted:
        return
    stored = session.execute(
        select(ValueRow.id, ValueRow.metric_id, ValueRow.side).where(ValueRow.visit_id == visit_id)
    )
    ids = [value_id for value_id, metric_id, side in stored if (metric_id, side) in wanted]
    session.execute(delete(TrialRow).where(TrialRow.value_id.in_(ids)), execution_options=APART)
    session.execute(delete(ValueRow).where(ValueRow.id.in_(ids)), execution_options=APART)


def remove_visit(session: Session, visit_id: int) -> None:
    """Remove a visit with its values; the caller tells the history what it was.

    Its attachments and acknowledgements must have been removed before.
    """
    values = select(ValueRow.id).where(ValueRow.visit_id == visit_id)
    for statement in (
        delete(TrialRow).where(TrialRow.value_id.in_(values)),
        delete(ValueRow).where(ValueRow.visit_id == visit_id),
        delete(VisitSaveRow).where(VisitSaveRow.visit_id == visit_id),
        delete(VisitRow).where(VisitRow.id == visit_id),
    ):
        session.execute(statement, execution_options=APART)


def put_back_visit(session: Session, visit_id: int, columns: Mapping[str, object]) -> None:
    """Store a visit that was struck out again, under its own id and without its values."""
    session.execute(insert(VisitRow).values(id=visit_id, **columns))


def add_save(
    session: Session,
    visit_id: int,
    revision: int,
    columns: Mapping[str, object],
    *,
    by: str,
    at: datetime,
) -> None:
    """Count a later save of a visit: who and when, and the columns that it writes.

    Parameters
    ----------
    revision : int
        The visit's revision from now on.
    columns : mapping of str to object
        The caller has seen what stood there, and tells the history.
    """
    session.execute(
        update(VisitRow).where(VisitRow.id == visit_id).values(revision=revision, **columns),
        execution_options=APART,
    )
    session.add(VisitSaveRow(visit_id=visit_id, revision=revision, saved_by=by, saved_at=at))
    session.flush()


def birth_date_of(session: Session, runner_id: int) -> date | None:
    """The earliest day on which a runner can have been born: the date, else the year."""
    exact = session.scalar(select(IdentityRow.birth_date).where(IdentityRow.runner_id == runner_id))
    if exact is not None:
        return exact
    year = session.scalar(select(RunnerRow.birth_year).where(RunnerRow.id == runner_id))
    return None if year is None else date(year, 1, 1)
