"""Taking what stood before a casebook kept a history into the history.

Done within the migration that makes the history's table, and never again: a history that was
wiped later is not made good by it, and `casebook check` goes on finding that nothing is told of
what stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import Connection
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.storage import history, record_fields, standing


def adopt(connection: Connection, *, at: datetime) -> int:
    """Tell an empty history of everything that stands, within the transaction at hand.

    Returns
    -------
    int
        How many records were adopted.
    """
    # The session only lends its way of writing: the transaction stays its opener's.
    with Session(connection, join_transaction_mode="rollback_only") as session:
        return history.append(session, _everything(connection), by="", at=at)


def _everything(connection: Connection) -> Iterator[Change]:
    for subject in standing.SMALL:
        yield from (_adopted(subject, one) for one in standing.small_records(connection, subject))
    for first, last in list(standing.visit_ranges(connection)):
        for one in standing.visits_between(connection, first, last):
            yield _adopted(Subject.VISIT, one)


def _adopted(subject: Subject, one: standing.Standing) -> Change:
    return record_fields.change(
        subject,
        one.subject_id,
        {},
        one.fields,
        act=Act.ADOPTED,
        runner_id=one.runner_id,
        visit_id=one.visit_id,
    )
