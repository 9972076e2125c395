"""Attachments: the rows that say which file belongs to which visit."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, delete, func, select
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.storage.tables import AttachmentRow, HistoryRow, RunnerRow, VisitRow

ROWS_AT_ONCE = 2_000
# A file's name is left out: people name files after people, and the history is for ever.
IN_HISTORY = ("sha256", "kind", "n_bytes", "caption")


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAttachment:
    """An attachment as it is stored, and whose it is."""

    attachment_id: int
    runner_id: int
    visit_id: int
    visited_on: date
    session: int
    sha256: str
    kind: str
    name: str
    n_bytes: int
    caption: str
    added_at: datetime
    added_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewAttachment:
    """What is to be stored of a file that stands in its place."""

    sha256: str
    kind: str
    name: str
    n_bytes: int
    caption: str


def find_visit_id(
    session: Session, runner_id: int, visited_on: date, number: int, *, to_add: bool = False
) -> int | None:
    """Id of a runner's visit; with `to_add` it cannot be struck out until the unit ends."""
    query = select(VisitRow.id).where(
        VisitRow.runner_id == runner_id,
        VisitRow.visited_on == visited_on,
        VisitRow.session == number,
    )
    # Two who attach take turns; saving values beside them goes on.
    return session.scalar(query.with_for_update(key_share=True) if to_add else query)


def attachments_of_runner(
    session: Session, runner_id: int, visit_id: int | None = None
) -> tuple[KeptAttachment, ...]:
    """Every attachment of a runner, or of one visit: by day, then as they were added."""
    conditions = [VisitRow.runner_id == runner_id]
    if visit_id is not None:
        conditions.append(VisitRow.id == visit_id)
    return _found(session, *conditions)


def find_attachment(
    session: Session, clinic_id: int, attachment_id: int, *, to_change: bool = False
) -> KeptAttachment | None:
    """One attachment; with `to_change` nobody else can change it until the unit ends."""
    if to_change:
        session.scalar(
            select(AttachmentRow.id).where(AttachmentRow.id == attachment_id).with_for_update()
        )
    found = _found(session, AttachmentRow.id == attachment_id, RunnerRow.clinic_id == clinic_id)
    return found[0] if found else None


def _found(session: Session, *conditions: ColumnElement[bool]) -> tuple[KeptAttachment, ...]:
    rows = session.execute(
        select(
            AttachmentRow.id,
            VisitRow.runner_id,
            AttachmentRow.visit_id,
            VisitRow.visited_on,
            VisitRow.session,
            AttachmentRow.sha256,
            AttachmentRow.kind,
            AttachmentRow.name,
            AttachmentRow.n_bytes,
            AttachmentRow.caption,
            AttachmentRow.added_at,
            AttachmentRow.added_by,
        )
        .join(VisitRow, VisitRow.id == AttachmentRow.visit_id)
        .join(RunnerRow, RunnerRow.id == VisitRow.runner_id)
        .where(*conditions)
        .order_by(VisitRow.visited_on, VisitRow.session, AttachmentRow.id)
    )
    names = [field.name for field in fields(KeptAttachment)]
    return tuple(KeptAttachment(**dict(zip(names, row, strict=True))) for row in rows)


def add_attachment(
    session: Session, visit_id: int, new: NewAttachment, *, by: str, at: datetime
) -> int:
    """Add an attachment to a visit; returns its id."""
    row = AttachmentRow(
        visit_id=visit_id,
        sha256=new.sha256,
        kind=new.kind,
        name=new.name,
        n_bytes=new.n_bytes,
        caption=new.caption,
        added_at=at,
        added_by=by,
    )
    session.add(row)
    session.flush()
    return row.id


def write_caption(session: Session, attachment_id: int, caption: str) -> None:
    """Write another caption; the caller tells the history what it was."""
    session.get_one(AttachmentRow, attachment_id).caption = caption
    session.flush()


def remove_attachment(session: Session, attachment_id: int) -> None:
    """Remove a row; the caller tells the history what it was, and the file stays."""
    session.execute(delete(AttachmentRow).where(AttachmentRow.id == attachment_id))


def remove_attachments_of_visit(
    session: Session, runner_id: int, visit_id: int, *, act: Act, reason: str
) -> list[Change]:
    """Remove every attachment of a visit that is struck out; returns what the history is told."""
    found = attachments_of_runner(session, runner_id, visit_id)
    session.execute(delete(AttachmentRow).where(AttachmentRow.visit_id == visit_id))
    return [removal(kept, act=act, reason=reason) for kept in found]


def addition(kept: KeptAttachment) -> Change:
    """What the history is told when an attachment is added."""
    return _change(
        kept,
        Act.ADDED,
        {name: (None, getattr(kept, name)) for name in IN_HISTORY if getattr(kept, name) != ""},
    )


def removal(kept: KeptAttachment, *, reason: str, act: Act = Act.STRUCK_OUT) -> Change:
    """What the history is told when an attachment is struck out."""
    return _change(
        kept,
        act,
        {name: (getattr(kept, name), None) for name in IN_HISTORY if getattr(kept, name) != ""},
        reason,
    )


def recaptioned(kept: KeptAttachment, caption: str, *, reason: str) -> Change:
    """What the history is told when a caption is amended."""
    return _change(kept, Act.AMENDED, {"caption": (kept.caption or None, caption or None)}, reason)


def _change(
    kept: KeptAttachment, act: Act, content: dict[str, tuple[Any, Any]], reason: str = ""
) -> Change:
    return Change(
        act=act,
        subject=Subject.ATTACHMENT,
        subject_id=kept.attachment_id,
        fields=content,
        runner_id=kept.runner_id,
        visit_id=kept.visit_id,
        reason=reason,
    )


def hashes_in_rows(session: Session | Connection) -> Iterator[tuple[str, int]]:
    """Hash and size of every attached file, each once."""
    rows = session.execute(
        select(AttachmentRow.sha256, func.min(AttachmentRow.n_bytes))
        .group_by(AttachmentRow.sha256)
        .order_by(AttachmentRow.sha256)
        .execution_options(yield_per=ROWS_AT_ONCE)
    )
    yield from ((sha256, n_bytes) for sha256, n_bytes in rows)


def hashes_in_history(session: Session | Connection) -> Iterator[str]:
    """Hash of every file that the history names, with repeats: those struck out stay kept."""
    rows = session.execute(
        select(HistoryRow.content)
        .where(HistoryRow.subject == Subject.ATTACHMENT)
        .execution_options(yield_per=ROWS_AT_ONCE)
    )
    for (content,) in rows:
        for sha256 in json.loads(content).get("sha256", ()):
            if sha256:
                yield sha256
