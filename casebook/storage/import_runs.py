"""The imports that stored something."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from casebook.storage.tables import ImportRunRow


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRun:
    """One import, as it is stored.

    Parameters
    ----------
    files : tuple of dict
        Name, SHA-256 and kind of table of each file.
    added : int
        Values and records that it stored.
    undone_at : datetime or None
        When it was undone as a whole; None while it stands.
    """

    id: int
    at: datetime
    by: str
    files: tuple[dict[str, Any], ...]
    added: int
    undone_at: datetime | None
    undone_by: str
    undo_reason: str


def add_run(
    session: Session,
    clinic_id: int,
    *,
    at: datetime,
    by: str,
    files: Sequence[dict[str, Any]],
    added: int,
) -> int:
    """Add a run; returns its id."""
    row = ImportRunRow(clinic_id=clinic_id, at=at, by=by, files=list(files), added=added)
    session.add(row)
    session.flush()
    return row.id


def runs(session: Session, clinic_id: int) -> tuple[ImportRun, ...]:
    """Every run of a clinic, newest first."""
    rows = session.scalars(
        select(ImportRunRow)
        .where(ImportRunRow.clinic_id == clinic_id)
        .order_by(ImportRunRow.id.desc())
    )
    return tuple(_run(row) for row in rows)


def find_run(
    session: Session, clinic_id: int, run_id: int, *, to_undo: bool = False
) -> ImportRun | None:
    """One run; with `to_undo` nobody else can undo it until the unit ends."""
    query = select(ImportRunRow).where(
        ImportRunRow.clinic_id == clinic_id, ImportRunRow.id == run_id
    )
    row = session.scalar(query.with_for_update() if to_undo else query)
    return None if row is None else _run(row)


def mark_undone(session: Session, run_id: int, *, at: datetime, by: str, reason: str) -> None:
    """Write that a run was undone."""
    session.execute(
        update(ImportRunRow)
        .where(ImportRunRow.id == run_id)
        .values(undone_at=at, undone_by=by, undo_reason=reason)
        .execution_options(synchronize_session=False)
    )


def _run(row: ImportRunRow) -> ImportRun:
    return ImportRun(
        id=row.id,
        at=row.at,
        by=row.by,
        files=tuple(row.files),
        added=row.added,
        undone_at=row.undone_at,
        undone_by=row.undone_by,
        undo_reason=row.undo_reason,
    )
