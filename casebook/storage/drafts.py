"""Reads and writes of drafts: what was typed and not saved yet."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from casebook.storage.tables import DraftRow


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptDraft:
    """A draft as it is stored; `content` is a flat object of what was typed."""

    key: str
    owner: str
    content: dict[str, Any]
    started_at: datetime
    saved_at: datetime


def drafts(session: Session, clinic_id: int) -> tuple[KeptDraft, ...]:
    """A clinic's drafts, last saved first."""
    query = (
        select(DraftRow)
        .where(DraftRow.clinic_id == clinic_id)
        .order_by(DraftRow.saved_at.desc(), DraftRow.id.desc())
    )
    return tuple(_kept(row) for row in session.scalars(query))


def find_draft(session: Session, clinic_id: int, key: str) -> KeptDraft | None:
    """A draft by its key."""
    row = _row(session, clinic_id, key)
    return None if row is None else _kept(row)


def write_draft(
    session: Session,
    clinic_id: int,
    key: str,
    changes: Mapping[str, Any],
    *,
    owner: str,
    at: datetime,
) -> bool:
    """Put what changed into a draft, begun where there is none; None takes a field out.

    Only what changed is put: two windows on one draft do not undo one another's fields.
    Returns True where it was begun.
    """
    row = _row(session, clinic_id, key, to_write=True)
    begun = row is None
    if row is None:
        try:
            with session.begin_nested():
                row = DraftRow(
                    clinic_id=clinic_id,
                    key=key,
                    owner=owner,
                    content="{}",
                    started_at=at,
                    saved_at=at,
                )
                session.add(row)
                session.flush()
        except IntegrityError:
            # Another window began it in between, and has committed by now.
            row = _row(session, clinic_id, key, to_write=True)
            if row is None:
                raise
            begun = False
    content = {**json.loads(row.content), **changes}
    row.content = json.dumps(
        {name: typed for name, typed in content.items() if typed is not None},
        ensure_ascii=False,
        allow_nan=False,
    )
    row.saved_at = at
    row.owner = row.owner or owner
    session.flush()
    return begun


def remove_draft(session: Session, clinic_id: int, key: str) -> bool:
    """Remove a draft; False where there was none."""
    gone = session.execute(
        delete(DraftRow)
        .where(DraftRow.clinic_id == clinic_id, DraftRow.key == key)
        .returning(DraftRow.id)
    )
    return gone.first() is not None


def _row(session: Session, clinic_id: int, key: str, *, to_write: bool = False) -> DraftRow | None:
    query = (
        select(DraftRow)
        .where(DraftRow.clinic_id == clinic_id, DraftRow.key == key)
        .execution_options(populate_existing=True)
    )
    return session.scalar(query.with_for_update() if to_write else query)


def _kept(row: DraftRow) -> KeptDraft:
    return KeptDraft(
        key=row.key,
        owner=row.owner,
        content=json.loads(row.content),
        started_at=row.started_at,
        saved_at=row.saved_at,
    )
