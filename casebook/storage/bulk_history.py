"""The history of an import: very many entries at once, through the driver."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import islice
from typing import Any

from sqlalchemy import inspect
from sqlalchemy.orm import Session

from casebook.domain.history import Change, Entry
from casebook.storage import bulk, history
from casebook.storage.tables import HistoryRow

# Of entries that hold all values of a visit each; only so many are in memory at a time.
ENTRIES_AT_ONCE = 500


def append(
    session: Session,
    changes: Iterable[Change],
    *,
    by: str,
    at: datetime,
    import_run_id: int | None,
) -> int:
    """The same as `history.append`, for more changes than should be in memory at once."""
    entries = history.sealed(session, changes, by=by, at=at, import_run_id=import_run_id)
    columns = [attribute.columns[0].name for attribute in inspect(HistoryRow).column_attrs]
    written: list[int] = []
    bulk.write_batches(session, "history", columns, _batches(session, entries), written.append)
    return sum(written)


def _batches(session: Session, entries: Iterator[Entry]) -> Iterator[list[tuple[Any, ...]]]:
    # Each column as its type would write it: the driver alone knows no instants and no words.
    dialect = session.get_bind().dialect
    processors = [
        attribute.columns[0].type.dialect_impl(dialect).bind_processor(dialect)
        for attribute in inspect(HistoryRow).column_attrs
    ]
    names = [attribute.key for attribute in inspect(HistoryRow).column_attrs]
    turns = list(zip(names, processors, strict=True))
    while batch := list(islice(entries, ENTRIES_AT_ONCE)):
        yield [
            tuple(
                getattr(entry, name) if turn is None else turn(getattr(entry, name))
                for name, turn in turns
            )
            for entry in batch
        ]
