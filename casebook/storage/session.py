"""Units of work: nothing is stored unless the unit says `commit`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, String, event, func, inspect, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from casebook.domain.errors import InputRefused, Problem
from casebook.storage.database import WRITES
from casebook.storage.refusals import refusal

# Our own number for PostgreSQL's advisory lock: shared by those who write, held alone by one
# who must not be written past.
WRITING = 6_024_719


class Unit(Session):
    """A session of the casebook; its listener holds for every row stored through it."""


@contextmanager
def reading(engine: Engine) -> Iterator[Unit]:
    """A unit that sees one state of the store throughout, and cannot write on PostgreSQL."""
    options: dict[str, Any] = (
        {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        if engine.dialect.name == "postgresql"
        else {}
    )
    with _unit(engine.execution_options(**options)) as unit:
        yield unit


@contextmanager
def writing(engine: Engine, *, alone: bool = False) -> Iterator[Unit]:
    """A unit that may write: rolled back unless `commit` is called.

    Parameters
    ----------
    engine : Engine
    alone : bool
        Let nobody else write until the unit ends, for work that first reads much and then
        stores what follows from it (an import). On SQLite every such unit is alone.

    Raises
    ------
    CasebookError
        In place of whatever the database raised.
    """
    with _unit(engine.execution_options(**{WRITES: True})) as unit:
        if engine.dialect.name == "postgresql":
            kind = "pg_advisory_xact_lock" if alone else "pg_advisory_xact_lock_shared"
            unit.execute(select(getattr(func, kind)(WRITING)))
        else:
            unit.connection()  # begins at once, and so takes SQLite's lock for writing
        yield unit


@contextmanager
def connected(engine: Engine) -> Iterator[Connection]:
    """A plain connection, for whole-store work; raises the casebook's own errors only."""
    try:
        with engine.connect() as connection:
            yield connection
    except SQLAlchemyError as error:
        raise refusal(error) from error


@contextmanager
def _unit(engine: Engine) -> Iterator[Unit]:
    try:
        with Unit(engine, expire_on_commit=False, autoflush=False) as unit:
            yield unit
    except SQLAlchemyError as error:
        raise refusal(error) from error


@event.listens_for(Unit, "before_flush")
def _refuse_texts_the_databases_take_differently(
    unit: Unit, _context: object, _instances: object
) -> None:
    # SQLite takes a text of any length and one with a NUL in it; PostgreSQL takes neither.
    problems = [
        problem
        for row in (*unit.new, *unit.dirty)
        for column in inspect(type(row)).columns
        if (problem := text_problem(column.type, column.name, getattr(row, column.key, None)))
    ]
    if problems:
        raise InputRefused(tuple(problems))


def text_problem(kind: object, column: str, text: object) -> Problem | None:
    """What is wrong with a text for a column of a type, or None."""
    if not isinstance(kind, String) or not isinstance(text, str):
        return None
    if "\x00" in text:
        return Problem(
            code="text_unprintable",
            message=f"{column} holds a NUL character, which no database keeps; remove it.",
            column=column,
            value=text[:40],
        )
    if kind.length is not None and len(text) > kind.length:
        return Problem(
            code="text_too_long",
            message=f"{column} has {len(text)} characters; at most {kind.length}. Shorten it.",
            column=column,
            value=text[:40],
        )
    return None
