"""Taking back what an import stored, and finding what has been built on it since."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import delete, insert, select, update
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Entry, Subject, Was, metric_and_side
from casebook.storage import bulk, record_fields
from casebook.storage.tables import (
    HistoryRow,
    ImportRunRow,
    MetricRow,
    TrialRow,
    ValueRow,
    VisitRow,
    VisitSaveRow,
)

REVISION = "revision"
# What is written past the session's own objects.
APART = {"synchronize_session": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """An entry that came after, without its content."""

    at: datetime
    by: str
    act: Act
    subject: Subject
    subject_id: int
    runner_id: int | None
    visit_id: int | None
    import_run_id: int | None


def later_entries(session: Session, number: int) -> Iterator[Later]:
    """Entries after one, oldest first; those of imports that were undone left out."""
    names = tuple(Later.__dataclass_fields__)
    undone = select(ImportRunRow.id).where(ImportRunRow.undone_at.is_not(None))
    rows = session.execute(
        select(*(getattr(HistoryRow, name) for name in names))
        .where(
            HistoryRow.number > number,
            HistoryRow.import_run_id.is_(None) | HistoryRow.import_run_id.not_in(undone),
        )
        .order_by(HistoryRow.number),
        execution_options={"yield_per": 2000},
    )
    for row in rows:
        yield Later(**dict(zip(names, row, strict=True)))


def take_back(
    session: Session, entries: Sequence[Entry], *, by: str, at: datetime, reason: str
) -> Iterator[Change]:
    """Take back what entries tell, the last one first; yields what the history is told.

    Nobody may have changed since what they touched.
    """
    metric_ids = {key: one for key, one in session.execute(select(MetricRow.key, MetricRow.id))}  # noqa: C416
    backwards = sorted(entries, key=lambda entry: -entry.number)
    for (subject, act), group in groupby(backwards, key=lambda one: (one.subject, one.act)):
        alike = list(group)
        revisions: dict[int, int] = {}
        if act is Act.RECORDED:
            if subject is Subject.VISIT:
                ids = [entry.subject_id for entry in alike]
                revisions = {
                    row["id"]: row[REVISION] for row in bulk.rows_of(session, VisitRow.id, ids)
                }
            _remove(session, subject, [entry.subject_id for entry in alike])
        for entry in alike:
            fields = {name: (now, was) for name, (was, now) in entry.fields.items()}
            if entry.subject_id in revisions:
                # An import on top of this one, undone before, has moved it.
                fields[REVISION] = (revisions[entry.subject_id], None)
            if act is not Act.RECORDED and subject is Subject.VISIT:
                fields |= _put_visit_back(session, entry, metric_ids, by=by, at=at)
            elif act is Act.STRUCK_OUT:
                _insert(session, entry)
            elif act is not Act.RECORDED:
                _write_back(session, entry)
            yield Change(
                act=Act.UNDONE,
                subject=subject,
                subject_id=entry.subject_id,
                fields=fields,
                runner_id=entry.runner_id,
                visit_id=entry.visit_id,
                reason=reason,
            )


def _parts(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(ids), bulk.IDS_AT_ONCE):
        yield ids[start : start + bulk.IDS_AT_ONCE]


def _remove(session: Session, subject: Subject, ids: Sequence[int]) -> None:
    kind: Any = record_fields.ROW_OF[subject]
    key = getattr(kind, record_fields.id_column(subject))
    for part in _parts(ids):
        if subject is Subject.VISIT:
            values = select(ValueRow.id).where(ValueRow.visit_id.in_(part))
            for statement in (
                delete(TrialRow).where(TrialRow.value_id.in_(values)),
                delete(ValueRow).where(ValueRow.visit_id.in_(part)),
                delete(VisitSaveRow).where(VisitSaveRow.visit_id.in_(part)),
            ):
                session.execute(statement, execution_options=APART)
        session.execute(delete(kind).where(key.in_(part)), execution_options=APART)


def _columns(entry: Entry, names: Iterable[str]) -> dict[str, Any]:
    """What columns held before an entry."""
    fields = entry.fields
    return {name: record_fields.content_of(entry.subject, name, fields[name][0]) for name in names}


def _write_back(session: Session, entry: Entry) -> None:
    kind: Any = record_fields.ROW_OF[entry.subject]
    key = getattr(kind, record_fields.id_column(entry.subject))
    session.execute(
        update(kind).where(key == entry.subject_id).values(**_columns(entry, entry.fields)),
        execution_options=APART,
    )


def _insert(session: Session, entry: Entry) -> None:
    kind: Any = record_fields.ROW_OF[entry.subject]
    key = record_fields.id_column(entry.subject)
    columns = _columns(entry, entry.fields)
    session.execute(insert(kind).values({key: entry.subject_id, **columns}))


def _put_visit_back(
    session: Session, entry: Entry, metric_ids: Mapping[str, int], *, by: str, at: datetime
) -> dict[str, tuple[Was, Was]]:
    """Values and conditions as they were, under a new revision; how that one moved."""
    visit_id = entry.subject_id
    revision = session.scalars(select(VisitRow.revision).where(VisitRow.id == visit_id)).one()
    plain: list[str] = []
    for name, (was, _) in entry.fields.items():
        place = metric_and_side(name)
        if place is not None:
            metric, side = place
            _put_value_back(
                session, (visit_id, metric_ids[metric], side), metric, was, revision + 1
            )
        elif name != REVISION:
            plain.append(name)
    session.execute(
        update(VisitRow)
        .where(VisitRow.id == visit_id)
        .values(revision=revision + 1, **_columns(entry, plain)),
        execution_options=APART,
    )
    session.execute(
        insert(VisitSaveRow).values(
            visit_id=visit_id, revision=revision + 1, saved_at=at, saved_by=by
        )
    )
    return {REVISION: (revision, revision + 1)}


def _put_value_back(
    session: Session, place: tuple[int, int, Any], metric: str, was: Was, saved_in: int
) -> None:
    visit_id, metric_id, side = place
    value_id = session.scalars(
        select(ValueRow.id).where(
            ValueRow.visit_id == visit_id, ValueRow.metric_id == metric_id, ValueRow.side == side
        )
    ).one()
    session.execute(delete(TrialRow).where(TrialRow.value_id == value_id), execution_options=APART)
    if was is None:
        session.execute(delete(ValueRow).where(ValueRow.id == value_id), execution_options=APART)
        return
    value = record_fields.value_of(metric, side, was)
    write_value(session, value_id, value, saved_in=saved_in)


def write_value(session: Session, value_id: int, value: Any, *, saved_in: int) -> None:
    """Write a value over a stored one whose trials are gone."""
    session.execute(
        update(ValueRow)
        .where(ValueRow.id == value_id)
        .values(
            n_trials=value.n_trials,
            mean=value.mean,
            sd=value.sd,
            missing_reason=value.missing_reason,
            marking_sd=value.marking_sd,
            saved_in=saved_in,
        ),
        execution_options=APART,
    )
    if value.trials:
        session.execute(
            insert(TrialRow),
            [
                {"value_id": value_id, "number": number, "reading": reading}
                for number, reading in value.numbered.items()
            ],
        )
