"""Reads and writes of the metric catalogue and its error figures."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Select, exists, select
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin, Metric
from casebook.storage import record_fields
from casebook.storage.tables import ErrorFigureRow, MetricRow, ValueRow
from casebook.storage.translation import (
    figure_row,
    figure_value,
    fill_metric_row,
    metric_row,
    metric_value,
)


def metrics(session: Session, *, include_inactive: bool) -> tuple[Metric, ...]:
    """The metrics by position and key."""
    query = select(MetricRow).order_by(MetricRow.position, MetricRow.key)
    if not include_inactive:
        query = query.where(MetricRow.active)
    return tuple(metric_value(row) for row in session.scalars(query))


def find_metric(
    session: Session, key: str, *, to_write: bool = False
) -> tuple[Metric, int, bool] | None:
    """A metric, its revision, and whether any value of it is stored.

    With `to_write` nobody else can change it, its figures or add its first value until the
    unit ends (PostgreSQL; on SQLite a writing unit is alone anyhow).
    """
    query = select(MetricRow).where(MetricRow.key == key)
    row = session.scalars(query.with_for_update() if to_write else query).one_or_none()
    if row is None:
        return None
    has_values = session.scalar(select(exists().where(ValueRow.metric_id == row.id)))
    return metric_value(row), row.revision, bool(has_values)


def add_metric(session: Session, metric: Metric) -> Change:
    """Add a metric at revision 1; returns what the history is told."""
    row = metric_row(metric)
    session.add(row)
    session.flush()
    return record_fields.recorded(row)


def write_metric(session: Session, metric: Metric, *, revision: int, reason: str) -> Change:
    """Write all of a stored metric but its key, under a new revision; returns what is told."""
    row = session.scalars(select(MetricRow).where(MetricRow.key == metric.key)).one()
    before = record_fields.row_fields(row)
    fill_metric_row(row, metric)
    row.revision = revision
    session.flush()
    return record_fields.change(
        Subject.METRIC,
        row.id,
        before,
        record_fields.row_fields(row),
        act=Act.AMENDED,
        reason=reason,
    )


def figures(
    session: Session, metric_key: str | None, *, include_retired: bool
) -> tuple[ErrorFigure, ...]:
    """Error figures by metric, what they apply to, origin and age."""
    query = (
        select(ErrorFigureRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == ErrorFigureRow.metric_id)
        .order_by(
            MetricRow.position,
            MetricRow.key,
            ErrorFigureRow.applies_to,
            ErrorFigureRow.origin,
            ErrorFigureRow.id,
        )
    )
    if metric_key is not None:
        query = query.where(MetricRow.key == metric_key)
    if not include_retired:
        query = query.where(ErrorFigureRow.retired_at.is_(None))
    return tuple(figure_value(row, metric=key) for row, key in session.execute(query))


def add_figure(
    session: Session, figure: ErrorFigure, *, at: datetime, told: list[Change]
) -> ErrorFigure:
    """Add a figure to a stored metric, adopted at an instant; what is told goes to `told`."""
    metric = session.scalars(select(MetricRow).where(MetricRow.key == figure.metric)).one()
    row = figure_row(figure, metric_id=metric.id, at=at)
    session.add(row)
    session.flush()
    told.append(record_fields.recorded(row))
    return figure_value(row, metric=figure.metric)


def retire_figure(
    session: Session,
    metric_key: str,
    applies_to: AppliesTo,
    origin: ErrorOrigin,
    *,
    at: datetime,
    told: list[Change],
) -> ErrorFigure | None:
    """Retire the figure in force, if there is one; it stays stored. What is told goes to `told`."""
    row = session.scalars(_in_force(metric_key, applies_to, origin)).one_or_none()
    if row is None:
        return None
    # A clock that was put back must not make a figure end before it began.
    before = record_fields.row_fields(row)
    row.retired_at = max(at, row.adopted_at)
    session.flush()
    after = record_fields.row_fields(row)
    told.append(
        record_fields.change(
            Subject.ERROR_FIGURE, row.id, before, after, act=Act.AMENDED, reason="retired"
        )
    )
    return figure_value(row, metric=metric_key)


def _in_force(
    metric_key: str, applies_to: AppliesTo, origin: ErrorOrigin
) -> Select[ErrorFigureRow]:
    return (
        select(ErrorFigureRow)
        .join(MetricRow, MetricRow.id == ErrorFigureRow.metric_id)
        .where(
            MetricRow.key == metric_key,
            ErrorFigureRow.applies_to == applies_to,
            ErrorFigureRow.origin == origin,
            ErrorFigureRow.retired_at.is_(None),
        )
    )
