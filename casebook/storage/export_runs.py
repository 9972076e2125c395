"""The log of exports: added to and read, nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.domain.history import Change
from casebook.domain.people import Purpose
from casebook.storage import record_fields
from casebook.storage.tables import ClinicRow, ExportRunRow


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportRun:
    """One export, as it is logged.

    Parameters
    ----------
    number : int
        Of the export in this casebook.
    settings : str
        Canonical JSON.
    key_fingerprint : str
        64 hexadecimal digits; the key itself is kept nowhere.
    files : mapping of str to str
        SHA-256 of each file by its name.
    n_rows : mapping of str to int
        Rows by table.
    risk : mapping of str to number
        Figures of the risk by name.
    runners : tuple of int
        Ids of those whose records were in it.
    """

    number: int
    at: datetime
    by: str
    purpose: Purpose
    settings: str
    key_fingerprint: str
    files: Mapping[str, str]
    n_rows: Mapping[str, int]
    risk: Mapping[str, Any]
    runners: tuple[int, ...]


def add_run(session: Session, clinic_id: int, run: ExportRun) -> tuple[int, Change]:
    """Log an export; returns its number, whatever the run's said, and what the history is told."""
    row = ExportRunRow(
        clinic_id=clinic_id,
        at=run.at,
        by=run.by,
        purpose=run.purpose,
        settings=run.settings,
        key_fingerprint=run.key_fingerprint,
        files=dict(run.files),
        n_rows=dict(run.n_rows),
        risk=dict(run.risk),
        runners=sorted(run.runners),
    )
    session.add(row)
    session.flush()
    return row.id, record_fields.recorded(row)


def secret_of(session: Session, clinic_id: int, *, fresh: str) -> str:
    """The clinic's secret for rounding counts; `fresh` becomes it where there is none yet."""
    row = session.get_one(ClinicRow, clinic_id, with_for_update=True)
    if not row.export_secret:
        row.export_secret = fresh
        session.flush()
    return row.export_secret


def levels_with(
    session: Session, clinic_id: int, key_fingerprint: str
) -> tuple[Mapping[str, int], ...]:
    """Rungs of the quasi-identifiers in every export with a key."""
    rows = session.scalars(
        select(ExportRunRow.risk).where(
            ExportRunRow.clinic_id == clinic_id, ExportRunRow.key_fingerprint == key_fingerprint
        )
    )
    return tuple(dict(risk["levels"]) for risk in rows if "levels" in risk)


def runs(session: Session, clinic_id: int) -> tuple[ExportRun, ...]:
    """Every export of a clinic, newest first."""
    rows = session.scalars(
        select(ExportRunRow)
        .where(ExportRunRow.clinic_id == clinic_id)
        .order_by(ExportRunRow.id.desc())
    )
    return tuple(
        ExportRun(
            number=row.id,
            at=row.at,
            by=row.by,
            purpose=row.purpose,
            settings=row.settings,
            key_fingerprint=row.key_fingerprint,
            files=dict(row.files),
            n_rows=dict(row.n_rows),
            risk=dict(row.risk),
            runners=tuple(row.runners),
        )
        for row in rows
    )
