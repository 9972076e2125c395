"""Acknowledgements taken back, because a number that they rest on was changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from sqlalchemy import and_, delete, or_, select
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.storage import record_fields
from casebook.storage.tables import FlagAcknowledgementRow, VisitRow


def added_to(visited_on: date, session: int, *, through: str = "") -> str:
    """Why an acknowledgement was taken back where nothing was changed, only added."""
    return (
        f"It rested on a record without what was added{through} to the visit of {visited_on} "
        f"(session {session})."
    )


def runners_with_any(session: Session, runner_ids: Iterable[int]) -> frozenset[int]:
    """Those of some runners of whom a flag is acknowledged."""
    wanted = frozenset(runner_ids)
    found = session.scalars(
        select(VisitRow.runner_id)
        .join(FlagAcknowledgementRow, FlagAcknowledgementRow.visit_id == VisitRow.id)
        .distinct()
    )
    return wanted & frozenset(found)


def reopen(
    session: Session,
    runner_id: int,
    since: tuple[date, int],
    metric_ids: Iterable[int] | None,
    *,
    reason: str,
) -> list[Change]:
    """Remove a runner's acknowledgements from a visit on; returns what the history is told.

    Parameters
    ----------
    since : (date, int)
        Day and session of the visit that was changed: a flag rests on its own visit and on
        those before it, never on later ones.
    metric_ids : iterable of int or None
        The metrics that were changed; None for all, where something changed that every number
        of the visit was taken under.
    """
    day, number = since
    query = (
        select(FlagAcknowledgementRow)
        .join(VisitRow, VisitRow.id == FlagAcknowledgementRow.visit_id)
        .where(
            VisitRow.runner_id == runner_id,
            or_(
                VisitRow.visited_on > day,
                and_(VisitRow.visited_on == day, VisitRow.session >= number),
            ),
        )
        .order_by(FlagAcknowledgementRow.id)
    )
    if metric_ids is not None:
        query = query.where(FlagAcknowledgementRow.metric_id.in_(sorted(set(metric_ids))))
    rows = session.scalars(query).all()
    told = [
        record_fields.change(
            Subject.ACKNOWLEDGEMENT,
            row.id,
            record_fields.row_fields(row),
            {},
            act=Act.STRUCK_OUT,
            runner_id=runner_id,
            visit_id=row.visit_id,
            reason=reason,
        )
        for row in rows
    ]
    session.execute(
        delete(FlagAcknowledgementRow).where(
            FlagAcknowledgementRow.id.in_([row.id for row in rows])
        ),
        execution_options={"synchronize_session": False},
    )
    for row in rows:
        session.expunge(row)
    return told
