"""How migrations are run, on SQLite and on PostgreSQL alike.

All of one run is one transaction: either every step is made or none. On SQLite foreign keys
are off meanwhile (a batch step copies a table, drops the old one and would take its children
along) and every reference is checked before the commit.
"""

from __future__ import annotations

import os
from typing import Any, Literal

import sqlalchemy as sa
from alembic import context
from alembic.autogenerate.api import AutogenContext

from casebook.domain.errors import StoreUnavailable
from casebook.storage.database import WRITES, address, make_engine
from casebook.storage.tables import Row, UtcDateTime


def render_item(kind: str, thing: Any, _context: AutogenContext) -> str | Literal[False]:
    """Write plain types, so that a migration imports no product code and never changes."""
    if kind == "type" and isinstance(thing, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if kind == "type" and isinstance(thing, sa.Enum):
        values = ", ".join(repr(value) for value in thing.enums)
        return (
            f"sa.Enum({values}, name={thing.name!r}, native_enum=False,"
            f" create_constraint=True, length={thing.length})"
        )
    return False


def compare_type(_context: Any, _column: Any, _stored: Any, kind: Any, told: Any) -> bool | None:
    """UtcDateTime is stored as a plain DateTime; all else as the tool itself compares."""
    if isinstance(told, UtcDateTime):
        return not isinstance(kind, sa.DateTime)
    return None


def migrate(connection: sa.Connection) -> None:
    """Run what was asked for in one transaction."""
    sqlite = connection.dialect.name == "sqlite"
    connection = connection.execution_options(**{WRITES: True})
    context.configure(
        connection=connection,
        target_metadata=Row.metadata,
        render_item=render_item,
        compare_type=compare_type,
        compare_server_default=True,
        render_as_batch=True,
        transactional_ddl=True,
        transaction_per_migration=False,
    )
    if sqlite:
        _keys(connection, on=False)
    try:
        with context.begin_transaction():
            context.run_migrations()
            # What must be done with the migration or not at all: see `migrating.upgrade`.
            afterwards = context.config.attributes.get("afterwards")
            if afterwards is not None:
                afterwards(connection)
            if sqlite:
                _refuse_orphans(connection)
    finally:
        if sqlite:
            _keys(connection, on=True)


def _keys(connection: sa.Connection, *, on: bool) -> None:
    # Past SQLAlchemy to the driver: inside a transaction this pragma does nothing.
    driver = connection.connection.dbapi_connection
    if driver is not None:
        driver.cursor().execute(f"PRAGMA foreign_keys = {'ON' if on else 'OFF'}")


def _refuse_orphans(connection: sa.Connection) -> None:
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if orphans:
        tables = ", ".join(sorted({str(row[0]) for row in orphans}))
        raise StoreUnavailable(
            f"The migration would leave {len(orphans)} rows of {tables} referring to nothing; "
            "it was undone. Run 'casebook check' on the casebook and mend it first."
        )


def run() -> None:
    """Migrate over the connection at hand, or over one to CASEBOOK_DATABASE_URL."""
    connection = context.config.attributes.get("connection")
    if connection is not None:
        migrate(connection)
        return
    engine = make_engine(address(os.environ.get("CASEBOOK_DATABASE_URL", "")))
    with engine.connect() as own:
        migrate(own)
    engine.dispose()


run()
