"""Engines for SQLite and PostgreSQL, and the addresses they are opened by."""

from __future__ import annotations

import random
import sqlite3
import time
from collections import defaultdict, deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Lock
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import ConnectionPoolEntry

from casebook.domain.errors import StoreUnavailable

BUSY_SECONDS = 30
# Execution option: this unit will write, so SQLite takes the write lock at its start. A unit
# that first reads and then writes could otherwise be refused half-way, without any waiting.
WRITES = "casebook_writes"
# Seconds between two tries for SQLite's write lock, drawn anew each time.
RETRY = (0.0005, 0.006)


def address(db: str | Path) -> str:
    """A database URL from a path or URL, in the one form that the rest of the code keeps.

    Parameters
    ----------
    db : str or Path
        Path of an SQLite file, `sqlite:///...`, `postgresql://...` or `postgres://...`.

    Raises
    ------
    StoreUnavailable
        For an empty text or an address of another kind of database.
    """
    text = str(db).strip()
    if not text:
        raise StoreUnavailable("No database was named: give a path or a database URL.")
    if "://" not in text:
        return _written(_file_url(Path(text)))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as error:
        raise StoreUnavailable(
            "The database URL cannot be read; expected a path, sqlite:///PATH or "
            "postgresql://USER@HOST/NAME."
        ) from error
    kind = url.drivername.partition("+")[0]
    if kind == "sqlite":
        if not url.database or url.database == ":memory:":
            raise StoreUnavailable(
                "A casebook in memory would be lost at once; give the path of a file."
            )
        return _written(_file_url(Path(url.database)))
    if kind in {"postgresql", "postgres"}:
        return _written(url.set(drivername="postgresql+psycopg"))
    raise StoreUnavailable(
        f"'{kind}' is not a database that casebook can use; expected a path, sqlite:///PATH "
        "or postgresql://USER@HOST/NAME."
    )


def _file_url(path: Path) -> URL:
    return URL.create("sqlite", database=str(path.expanduser().resolve()))


def _written(url: URL) -> str:
    return url.render_as_string(hide_password=False)


def shown(url: str) -> str:
    """An address as it may be shown: the path of a file, or the URL without its password."""
    path = sqlite_path(url)
    return str(path) if path else make_url(url).render_as_string(hide_password=True)


def sqlite_path(url: str) -> Path | None:
    """The file of an SQLite address; None for PostgreSQL."""
    parsed = make_url(url)
    if parsed.drivername.partition("+")[0] != "sqlite" or parsed.database is None:
        return None
    return Path(parsed.database)


def make_engine(url: str) -> Engine:
    """An engine for an address made by `address`; opens no connection yet.

    Values stay out of the database's error texts, and so out of every log.
    """
    if sqlite_path(url) is not None:
        engine = create_engine(url, hide_parameters=True, connect_args={"timeout": BUSY_SECONDS})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    settings = f"-c timezone=UTC -c lock_timeout={BUSY_SECONDS * 1000}"
    return create_engine(
        url,
        hide_parameters=True,
        pool_pre_ping=True,
        connect_args={
            "connect_timeout": 10,
            "application_name": "casebook",
            "options": settings,
        },
    )


def _prepare_sqlite(connection: sqlite3.Connection, _entry: ConnectionPoolEntry) -> None:
    # The driver's own habit of beginning transactions is switched off; `_begin_sqlite` begins
    # them, so that table changes are transactional too and a write unit can say so.
    connection.isolation_level = None
    for pragma in (
        f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}",
        "PRAGMA foreign_keys = ON",
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = NORMAL",
    ):
        connection.execute(pragma).close()


def _begin_sqlite(connection: Connection) -> None:
    options: dict[str, Any] = dict(connection.get_execution_options())
    if not options.get(WRITES):
        connection.exec_driver_sql("BEGIN")
        return
    raw: Any = connection.connection.driver_connection
    patience = raw.execute("PRAGMA busy_timeout").fetchone()[0]
    raw.execute("PRAGMA busy_timeout = 0").close()
    try:
        with _in_line(str(connection.engine.url.database), patience / 1000) as first:
            locked = first and _locked_for_writing(raw, patience / 1000)
        if not locked:
            # Once more, so that what the database says is told like any other of its refusals.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        raw.execute(f"PRAGMA busy_timeout = {patience}").close()


def _locked_for_writing(raw: sqlite3.Connection, patience_s: float) -> bool:
    """Take SQLite's write lock; False when it stayed taken, or cannot be taken at all.

    SQLite itself waits ever longer between its tries, so that whoever has waited longest is
    passed by those who came last. Here all programs that wait try equally often, and within
    one program the threads stand in line.
    """
    waited = 0.0
    while True:
        try:
            raw.execute("BEGIN IMMEDIATE").close()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or waited >= patience_s:
                return False
        else:
            return True
        pause = random.uniform(*RETRY)  # noqa: S311 - nothing secret hangs on it
        time.sleep(pause)
        waited += pause


# For each file the threads of this program that wait for its lock, the one that tries first.
_LINES: defaultdict[str, deque[Event]] = defaultdict(deque)
_LINES_LOCK = Lock()


@contextmanager
def _in_line(file: str, patience_s: float) -> Iterator[bool]:
    """Stand in line; whether the turn came while there was patience."""
    mine = Event()
    with _LINES_LOCK:
        line = _LINES[file]
        line.append(mine)
        if line[0] is mine:
            mine.set()
    try:
        yield mine.wait(patience_s)
    finally:
        with _LINES_LOCK:
            line.remove(mine)
            if line:
                line[0].set()
