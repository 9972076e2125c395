"""Reads and writes of measurement sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session

from casebook.domain.measurement_sets import MeasurementSet
from casebook.storage.tables import MeasurementSetMetricRow, MeasurementSetRow, MetricRow


def sets(session: Session, clinic_id: int, *, to_write: bool = False) -> dict[int, MeasurementSet]:
    """A clinic's sets by id, in order.

    With `to_write` nobody else changes one until the unit ends (PostgreSQL; on SQLite a
    writing unit is alone anyhow).
    """
    query = (
        select(MeasurementSetRow)
        .where(MeasurementSetRow.clinic_id == clinic_id)
        .order_by(MeasurementSetRow.position, MeasurementSetRow.id)
        .execution_options(populate_existing=True)
    )
    rows = list(session.scalars(query.with_for_update() if to_write else query))
    members: defaultdict[int, list[str]] = defaultdict(list)
    for set_id, key in session.execute(
        select(MeasurementSetMetricRow.set_id, MetricRow.key)
        .join(MetricRow, MetricRow.id == MeasurementSetMetricRow.metric_id)
        .where(MeasurementSetMetricRow.set_id.in_([row.id for row in rows]))
        .order_by(MeasurementSetMetricRow.set_id, MeasurementSetMetricRow.position)
    ):
        members[set_id].append(key)
    return {
        row.id: MeasurementSet(
            name=row.name,
            purpose=row.purpose,
            active=row.active,
            metrics=tuple(members[row.id]),
        )
        for row in rows
    }


def metric_ids(session: Session, keys: Iterable[str]) -> dict[str, int]:
    """Ids of the metrics that the catalogue knows, by key."""
    found = session.execute(
        select(MetricRow.key, MetricRow.id).where(MetricRow.key.in_(sorted(set(keys))))
    )
    return {row.key: row.id for row in found}


def add_set(
    session: Session, clinic_id: int, one: MeasurementSet, ids: Mapping[str, int]
) -> tuple[int, int]:
    """Add a set behind the others; returns its id and its place."""
    last = session.scalar(
        select(func.max(MeasurementSetRow.position)).where(MeasurementSetRow.clinic_id == clinic_id)
    )
    row = MeasurementSetRow(
        clinic_id=clinic_id,
        name=one.name,
        purpose=one.purpose,
        active=one.active,
        position=0 if last is None else last + 1,
    )
    session.add(row)
    session.flush()
    _put_metrics(session, row.id, one, ids)
    return row.id, row.position


def write_set(session: Session, set_id: int, one: MeasurementSet, ids: Mapping[str, int]) -> None:
    """Write all of a stored set but its place among the others."""
    row = session.scalars(select(MeasurementSetRow).where(MeasurementSetRow.id == set_id)).one()
    row.name, row.purpose, row.active = one.name, one.purpose, one.active
    session.flush()
    session.execute(delete(MeasurementSetMetricRow).where(MeasurementSetMetricRow.set_id == set_id))
    _put_metrics(session, set_id, one, ids)


def place_set(session: Session, set_id: int, position: int) -> None:
    """Give a set its place among the others."""
    session.execute(
        update(MeasurementSetRow)
        .where(MeasurementSetRow.id == set_id)
        .values(position=position)
        .execution_options(synchronize_session=False)
    )


def _put_metrics(
    session: Session, set_id: int, one: MeasurementSet, ids: Mapping[str, int]
) -> None:
    session.execute(
        insert(MeasurementSetMetricRow),
        [
            {"set_id": set_id, "position": position, "metric_id": ids[key]}
            for position, key in enumerate(one.metrics)
        ],
    )


def every_metric_key(session: Session) -> list[str]:
    """Keys of all metrics of the catalogue."""
    return list(session.scalars(select(MetricRow.key).order_by(MetricRow.position, MetricRow.key)))
