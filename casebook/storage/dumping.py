"""Whole tables out of a store and into an empty one, in a form that both databases share.

A row is a list in JSON's own types: days and instants as ISO 8601 text (instants in UTC), truth
as true and false, numbers written so that reading gives the very same number. Rows go out in
the order of their primary key and are held some thousands at a time.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any

from psycopg import Error as PostgresError
from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    select,
    text,
)
from sqlalchemy.exc import DBAPIError

from casebook.storage.migrating import VERSION_TABLE

ROWS_AT_ONCE = 5_000
LARGEST_WHOLE = 2**63
Plain = Any
"""A value in JSON's own types."""


@dataclass(eq=False, kw_only=True)
class WrongRow(Exception):
    """A row that its table cannot hold: which column, and what is wrong with it."""

    column: str
    words: str


def tables_of(connection: Connection) -> tuple[Table, ...]:
    """Every table of a casebook, those referred to before those that refer to them.

    Read from the database itself, so that they are the ones of its revision.
    """
    known = MetaData()
    known.reflect(connection)
    return tuple(table for table in known.sorted_tables if table.name != VERSION_TABLE)


def rows_out(connection: Connection, table: Table) -> Iterator[list[Plain]]:
    """Every row of a table, in the order of its primary key."""
    order = list(table.primary_key.columns)
    changes = {
        place: turn
        for place, column in enumerate(table.columns)
        if (turn := _outward(column)) is not None
    }
    query = select(table).order_by(*order).execution_options(yield_per=ROWS_AT_ONCE)
    with connection.execute(query) as found:
        for row in found:
            plain = list(row)
            for place, turn in changes.items():
                if plain[place] is not None:
                    plain[place] = turn(plain[place])
            yield plain


def _outward(column: Column[Any]) -> Callable[[Any], Plain] | None:
    if isinstance(column.type, DateTime):
        return _instant_text
    if isinstance(column.type, Date):
        return date.isoformat
    return None


def _instant_text(moment: datetime) -> str:
    known = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return known.isoformat()


def last_ids(connection: Connection, tables: Iterable[Table]) -> dict[str, int]:
    """The last id that each table gave, also where its row is gone: it is not given again."""
    given = {}
    sequences = {}
    if connection.dialect.name == "sqlite":
        for name, last in connection.exec_driver_sql("SELECT name, seq FROM sqlite_sequence"):
            sequences[str(name)] = int(last)
    for table in tables:
        if "id" not in table.columns:
            continue
        if connection.dialect.name == "postgresql":
            query = text("SELECT pg_sequence_last_value(pg_get_serial_sequence(:name, 'id'))")
            sequences[table.name] = int(connection.scalar(query, {"name": table.name}) or 0)
        highest = select(table.c.id).order_by(table.c.id.desc()).limit(1)
        given[table.name] = max(sequences.get(table.name, 0), int(connection.scalar(highest) or 0))
    return given


def rows_in(
    connection: Connection, table: Table, columns: Sequence[str], rows: Iterable[Sequence[Plain]]
) -> int:
    """Put rows into an empty table, within the transaction at hand; returns how many.

    Parameters
    ----------
    columns : sequence of str
        What stands where in a row; the table's own, in any order.

    Raises
    ------
    WrongRow
        For a row that is no row of this table.
    """
    if set(columns) != set(table.columns.keys()) or len(set(columns)) != len(columns):
        raise WrongRow(column="", words=f"its columns are not those of the table '{table.name}'")
    sqlite = connection.dialect.name == "sqlite"
    turns = [_inward(table.columns[name], sqlite=sqlite) for name in columns]
    ready = (_turned(row, columns, turns) for row in rows)
    quote = connection.dialect.identifier_preparer.quote
    listed = ", ".join(quote(name) for name in columns)
    into = quote(table.name)
    if sqlite:
        marks = ", ".join("?" * len(columns))
        # Names come from the database itself, never from a file.
        statement = f"INSERT INTO {into} ({listed}) VALUES ({marks})"  # noqa: S608
        return _many(connection, statement, ready)
    return _copy(connection, f"COPY {into} ({listed}) FROM STDIN", ready)


def _many(connection: Connection, statement: str, rows: Iterator[tuple[Any, ...]]) -> int:
    written = 0
    while batch := list(islice(rows, ROWS_AT_ONCE)):
        connection.exec_driver_sql(statement, batch)
        written += len(batch)
    return written


def _copy(connection: Connection, statement: str, rows: Iterator[tuple[Any, ...]]) -> int:
    written = 0
    driver: Any = connection.connection.driver_connection
    try:
        with driver.cursor() as cursor, cursor.copy(statement) as copy:
            for row in rows:
                copy.write_row(row)
                written += 1
    except PostgresError as error:
        raise DBAPIError.instance(
            statement, None, error, PostgresError, connection_invalidated=driver.closed
        ) from error
    return written


def _turned(
    row: Sequence[Plain], columns: Sequence[str], turns: Sequence[Callable[[Plain], Any]]
) -> tuple[Any, ...]:
    if len(row) != len(columns):
        raise WrongRow(column="", words=f"it has {len(row)} fields instead of {len(columns)}")
    turned = []
    for name, field, turn in zip(columns, row, turns, strict=True):
        try:
            turned.append(None if field is None else turn(field))
        except (TypeError, ValueError) as error:
            raise WrongRow(column=name, words=f"{str(field)[:40]!r} cannot stand there") from error
    return tuple(turned)


def _inward(column: Column[Any], *, sqlite: bool) -> Callable[[Plain], Any]:
    kind = column.type
    if isinstance(kind, JSON):
        return json.dumps
    if isinstance(kind, Boolean):
        return _whole_truth if sqlite else _truth
    if isinstance(kind, Integer):
        return _whole
    if isinstance(kind, Float):
        return _real
    if isinstance(kind, DateTime):
        return _sqlite_instant if sqlite else _instant
    if isinstance(kind, Date):
        return _day
    if isinstance(kind, String):
        return _words
    raise TypeError(f"{column} is of a kind that backups do not know ({kind})")


def _truth(field: Plain) -> bool:
    if not isinstance(field, bool):
        raise TypeError
    return field


def _whole_truth(field: Plain) -> int:
    return int(_truth(field))


def _whole(field: Plain) -> int:
    if not isinstance(field, int) or isinstance(field, bool) or abs(field) >= LARGEST_WHOLE:
        raise TypeError
    return field


def _real(field: Plain) -> float:
    if not isinstance(field, int | float) or isinstance(field, bool):
        raise TypeError
    if not math.isfinite(field):
        raise ValueError
    return float(field)


def _words(field: Plain) -> str:
    if not isinstance(field, str):
        raise TypeError
    if "\x00" in field:
        raise ValueError
    return field


def _day(field: Plain) -> str:
    return date.fromisoformat(field).isoformat()


def _instant(field: Plain) -> str:
    moment = datetime.fromisoformat(field)
    if moment.tzinfo is None:
        raise ValueError
    return moment.astimezone(UTC).isoformat()


def _sqlite_instant(field: Plain) -> str:
    """As the rest of the program writes instants into SQLite."""
    _instant(field)
    return f"{datetime.fromisoformat(field).astimezone(UTC):%Y-%m-%d %H:%M:%S.%f}"


def never_give_again(connection: Connection, table: str, last: int) -> None:
    """Let a table go on after the last id that was given."""
    if connection.dialect.name == "postgresql":
        if last > 0:
            connection.execute(
                text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :last)"),
                {"name": table, "last": last},
            )
        return
    query = "SELECT count(*) FROM sqlite_master WHERE name = ? AND sql LIKE '%AUTOINCREMENT%'"
    if not connection.exec_driver_sql(query, (table,)).scalar_one():
        return
    connection.exec_driver_sql("DELETE FROM sqlite_sequence WHERE name = ?", (table,))
    connection.exec_driver_sql("INSERT INTO sqlite_sequence VALUES (?, ?)", (table, last))
