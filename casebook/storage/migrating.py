"""Which revision a database has, and bringing it to another."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text

from casebook.places import folder
from casebook.storage.session import connected

TARGET_HEAD = "head"
VERSION_TABLE = "alembic_version"
# Our own number for PostgreSQL's advisory lock.
MAKING = 6_024_718


def configuration(connection: Connection | None = None) -> Config:
    """The migration tool's settings, over an open connection."""
    config = Config()
    config.set_main_option("script_location", str(folder("migrations")).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def head() -> str:
    """The newest revision that this program knows."""
    return str(_steps(folder("migrations")).get_current_head())


def known_revisions() -> frozenset[str]:
    """Every revision that this program knows."""
    return frozenset(step.revision for step in _steps(folder("migrations")).walk_revisions())


@cache
def _steps(place: Path) -> ScriptDirectory:
    """The migrations of a folder, read once: every casebook that is opened asks for them."""
    config = configuration()
    config.set_main_option("script_location", str(place).replace("%", "%%"))
    return ScriptDirectory.from_config(config)


def revision_of(connection: Connection) -> str | None:
    """The revision of a database; None where it holds no casebook."""
    logging.getLogger("alembic").setLevel(logging.WARNING)
    return MigrationContext.configure(connection).get_current_revision()


def table_names(connection: Connection) -> frozenset[str]:
    """Tables of a database."""
    return frozenset(inspect(connection).get_table_names())


def upgrade(
    engine: Engine,
    target: str = TARGET_HEAD,
    *,
    afterwards: Callable[[Connection], object] | None = None,
) -> None:
    """Migrate upwards, all or nothing.

    Parameters
    ----------
    afterwards : callable, optional
        Done last in the same transaction.
    """
    logging.getLogger("alembic").setLevel(logging.WARNING)
    with connected(engine) as connection:
        config = configuration(connection)
        config.attributes["afterwards"] = afterwards
        command.upgrade(config, target)


def upgrade_within(connection: Connection, target: str = TARGET_HEAD) -> None:
    """Migrate upwards within the transaction at hand, which whoever began it commits.

    For servers: on SQLite a migration must switch off foreign keys before it begins.
    """
    logging.getLogger("alembic").setLevel(logging.WARNING)
    command.upgrade(configuration(connection), target)


def downgrade(engine: Engine, target: str) -> None:
    """Migrate downwards, all or nothing."""
    logging.getLogger("alembic").setLevel(logging.WARNING)
    with connected(engine) as connection:
        command.downgrade(configuration(connection), target)


@contextmanager
def making_alone(engine: Engine) -> Iterator[None]:
    """Let only one program at a time make or migrate a casebook on a server.

    On SQLite every unit that writes is alone as it is.
    """
    if engine.dialect.name == "sqlite":
        yield
        return
    with connected(engine.execution_options(isolation_level="AUTOCOMMIT")) as connection:
        connection.execute(text("SELECT pg_advisory_lock(:key)"), {"key": MAKING})
        try:
            yield
        finally:
            connection.execute(text("SELECT pg_advisory_unlock(:key)"), {"key": MAKING})
