"""One record by its id: read, written, removed, put back. Visits have `visits.py`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from casebook.domain.history import Subject, Was
from casebook.storage import record_fields
from casebook.storage.record_fields import ROW_OF, SUBJECT_OF
from casebook.storage.tables import (
    AdherenceRow,
    AttachmentRow,
    BlockRow,
    CautionAcknowledgementRow,
    ConsentRow,
    FindingRow,
    FlagAcknowledgementRow,
    IdentityRow,
    InjuryRow,
    PainAcknowledgementRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    RunRow,
    TargetRow,
    VisitRow,
)

# Kinds of records of a runner beside visits, in the order in which they are listed.
OF_A_RUNNER: Final[tuple[type[Row], ...]] = (
    RunnerRow,
    IdentityRow,
    InjuryRow,
    ConsentRow,
    ProgrammeRow,
    BlockRow,
    TargetRow,
    AdherenceRow,
    RunRow,
    FindingRow,
)
PARTS: Final = (BlockRow, TargetRow, AdherenceRow)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRecord:
    """A record as it is stored.

    Parameters
    ----------
    columns : mapping of str to object
        Those of which the history tells, as they are stored; of an identity, too.
    fields : mapping of str to plain JSON
        What the history holds it to be.
    """

    subject: Subject
    record_id: int
    runner_id: int | None
    visit_id: int | None
    columns: Mapping[str, object]
    fields: Mapping[str, Was]


def find_record(
    session: Session, subject: Subject, record_id: int, *, to_write: bool = False
) -> KeptRecord | None:
    """A record by its id; with `to_write` nobody else can change it until the unit ends."""
    row = session.get(
        ROW_OF[subject], record_id, with_for_update=to_write or None, populate_existing=True
    )
    return None if row is None else _kept(session, row)


def records_of(session: Session, runner_id: int) -> list[KeptRecord]:
    """Everything of a runner beside visits' numbers, acknowledgements and attachments."""
    rows: list[Row] = []
    for kind in OF_A_RUNNER:
        query: Any = select(kind)
        columns = kind.__table__.c
        if kind in PARTS:
            of = ProgrammeRow.id == columns.programme_id
            query = query.join(ProgrammeRow, of).where(ProgrammeRow.runner_id == runner_id)
        elif kind is FindingRow:
            at = VisitRow.id == columns.visit_id
            query = query.join(VisitRow, at).where(VisitRow.runner_id == runner_id)
        else:
            key = columns.id if kind is RunnerRow else columns.runner_id
            query = query.where(key == runner_id)
        rows += session.scalars(query.order_by(*inspect(kind).primary_key))
    return [_kept(session, row) for row in rows]


def parts_of_programme(session: Session, programme_id: int) -> list[KeptRecord]:
    """Blocks, targets and weeks of a programme, and the flags of its weeks that were seen."""
    rows: list[Row] = []
    for kind in (*PARTS, PainAcknowledgementRow):
        rows += session.scalars(
            select(kind).where(kind.programme_id == programme_id).order_by(kind.id)
        )
    return [_kept(session, row) for row in rows]


def _kept(session: Session, row: Row) -> KeptRecord:
    subject = SUBJECT_OF[type(row)]
    return KeptRecord(
        subject=subject,
        record_id=getattr(row, record_fields.id_column(subject)),
        runner_id=_owner(session, row),
        visit_id=getattr(row, "visit_id", None),
        columns={name: getattr(row, name) for name in record_fields.TOLD[subject]},
        fields=record_fields.row_fields(row),
    )


def _owner(session: Session, row: Row) -> int | None:
    if isinstance(row, RunnerRow):
        return row.id
    if isinstance(row, BlockRow | TargetRow | AdherenceRow | PainAcknowledgementRow):
        return session.get_one(ProgrammeRow, row.programme_id).runner_id
    if isinstance(
        row, FlagAcknowledgementRow | AttachmentRow | FindingRow | CautionAcknowledgementRow
    ):
        return session.get_one(VisitRow, row.visit_id).runner_id
    return getattr(row, "runner_id", None)


def write_record(
    session: Session, subject: Subject, record_id: int, columns: Mapping[str, object]
) -> None:
    """Write columns of a record; the caller tells the history."""
    row = session.get_one(ROW_OF[subject], record_id)
    for name, content in columns.items():
        setattr(row, name, content)
    session.flush()


def remove_record(session: Session, subject: Subject, record_id: int) -> None:
    """Remove a record; the caller tells the history what it was."""
    session.delete(session.get_one(ROW_OF[subject], record_id))
    session.flush()


def put_back(
    session: Session, subject: Subject, record_id: int, columns: Mapping[str, object]
) -> int:
    """Store a record that was removed; under its own id, unless another has got it since.

    Returns
    -------
    int
        The id that it has now.
    """
    kind = ROW_OF[subject]
    own = record_fields.id_column(subject)
    taken = session.get(kind, record_id) is not None
    row = kind(**columns) if taken else kind(**{**columns, own: record_id})
    session.add(row)
    session.flush()
    return int(getattr(row, own))
