"""The history as it is stored: entries are put after the last one and read, nothing else."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from datetime import datetime
from itertools import islice
from typing import Any

from sqlalchemy import ColumnElement, Connection, func, insert, select
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Entry, Subject, chained
from casebook.storage.tables import HistoryRow

# Our own number for PostgreSQL's advisory lock: entries are sealed upon the last one, one unit
# of work after the other.
CHAIN_LOCK = 8_140_927
ROWS_AT_ONCE = 2_000
# Fewer than SQLite's limit of host parameters in one statement.
IDS_AT_ONCE = 1_000

COLUMNS = tuple(column.key for column in HistoryRow.__mapper__.column_attrs)


def append(
    session: Session,
    changes: Iterable[Change],
    *,
    by: str,
    at: datetime,
    import_run_id: int | None = None,
) -> int:
    """Put changes after the last entry, in their order; returns how many.

    Called once in a unit of work and last before its commit: on PostgreSQL it takes a lock that
    only the end of the unit lets go, so that a unit that waited for a row after it could block
    another for ever.

    Parameters
    ----------
    by : str
        Code of whoever did it; empty where it is not known.
    at : datetime
        Aware UTC.
    """
    entries = sealed(session, changes, by=by, at=at, import_run_id=import_run_id)
    written = 0
    while batch := [_row(entry) for entry in islice(entries, ROWS_AT_ONCE)]:
        session.execute(insert(HistoryRow), batch)
        written += len(batch)
    return written


def sealed(
    session: Session,
    changes: Iterable[Change],
    *,
    by: str,
    at: datetime,
    import_run_id: int | None,
) -> Iterator[Entry]:
    """Changes as entries upon the last one, which stays the last until the unit ends."""
    session.flush()
    if session.get_bind().dialect.name == "postgresql":
        session.execute(select(func.pg_advisory_xact_lock(CHAIN_LOCK)))
    return chained(changes, after=last(session), at=at, by=by, import_run_id=import_run_id)


def last(session: Session | Connection) -> tuple[int, str]:
    """Number and hash of the last entry; (0, '') in an empty history."""
    row = session.execute(
        select(HistoryRow.number, HistoryRow.hash).order_by(HistoryRow.number.desc()).limit(1)
    ).first()
    return (0, "") if row is None else (row[0], row[1])


def entries_of_runner(session: Session, runner_id: int) -> tuple[Entry, ...]:
    """Everything told of a runner, oldest first."""
    return tuple(_entries(session, HistoryRow.runner_id == runner_id))


def entries_of_visit(session: Session, visit_id: int) -> tuple[Entry, ...]:
    """Everything told of a visit, oldest first."""
    return tuple(_entries(session, HistoryRow.visit_id == visit_id))


def entries_of_record(session: Session, subject: Subject, subject_id: int) -> tuple[Entry, ...]:
    """Everything told of one record, oldest first."""
    condition = (HistoryRow.subject == subject) & (HistoryRow.subject_id == subject_id)
    if subject is Subject.VISIT:  # found by its index
        condition &= HistoryRow.visit_id == subject_id
    return tuple(_entries(session, condition))


def entries_of_subjects(
    session: Session, runner_id: int, subjects: Iterable[Subject]
) -> tuple[Entry, ...]:
    """Everything told of a runner's records of some kinds, oldest first."""
    condition = (HistoryRow.runner_id == runner_id) & HistoryRow.subject.in_(list(subjects))
    return tuple(_entries(session, condition))


def entries_of_import(session: Session, import_run_id: int) -> tuple[Entry, ...]:
    """Everything that an import did, oldest first."""
    return tuple(_entries(session, HistoryRow.import_run_id == import_run_id))


def removals_by_hand(session: Session, runner_ids: Iterable[int]) -> Iterator[Entry]:
    """Entries of some runners' visits that may have taken numbers out, but for imports'."""
    ids = sorted(set(runner_ids))
    for start in range(0, len(ids), IDS_AT_ONCE):
        yield from _entries(
            session,
            HistoryRow.runner_id.in_(ids[start : start + IDS_AT_ONCE])
            & (HistoryRow.subject == Subject.VISIT)
            & HistoryRow.act.in_((Act.STRUCK_OUT, Act.AMENDED, Act.UNDONE))
            & HistoryRow.import_run_id.is_(None),
        )


def find_entry(session: Session, number: int) -> Entry | None:
    """One entry by its number."""
    return next(_entries(session, HistoryRow.number == number), None)


def every_entry(connection: Session | Connection) -> Generator[Entry]:
    """The whole history in order; only some thousands of entries are held at a time."""
    yield from _entries(connection, None)


def entries_of_visits(connection: Session | Connection, first: int, last: int) -> Generator[Entry]:
    """Entries whose subject is a visit of a stretch of ids, in order."""
    yield from _entries(
        connection,
        HistoryRow.visit_id.between(first, last) & (HistoryRow.subject == Subject.VISIT),
    )


def _entries(
    session: Session | Connection, condition: ColumnElement[bool] | None
) -> Iterator[Entry]:
    query = select(*(getattr(HistoryRow, name) for name in COLUMNS)).order_by(HistoryRow.number)
    if condition is not None:
        query = query.where(condition)
    with session.execute(query.execution_options(yield_per=ROWS_AT_ONCE)) as rows:
        for row in rows:
            yield Entry(**dict(zip(COLUMNS, row, strict=True)))


def _row(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in COLUMNS}
