"""The clinic that a casebook belongs to."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.storage.tables import ClinicRow

ONLY_CLINIC = "clinic"


def find_clinic(session: Session) -> int | None:
    """Id of the clinic, if there is one yet."""
    return session.scalar(select(ClinicRow.id).order_by(ClinicRow.id).limit(1))


def add_clinic(session: Session, *, name: str, at: datetime) -> int:
    """Add the clinic and return its id."""
    row = ClinicRow(code=ONLY_CLINIC, name=name.strip() or "Clinic", created_at=at)
    session.add(row)
    session.flush()
    return row.id


def clinic_name(session: Session, clinic_id: int) -> str:
    """Name of a clinic."""
    return session.scalar(select(ClinicRow.name).where(ClinicRow.id == clinic_id)) or ""
