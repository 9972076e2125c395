"""Migrations go up and down on both databases, and say the same as the row classes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from casebook.domain.errors import StoreUnavailable
from casebook.places import folder
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import find_visit, record_visit
from casebook.services.registering import record_consent, record_injury
from casebook.storage import migrating
from casebook.storage.database import address, make_engine
from casebook.storage.session import connected
from casebook.storage.tables import Row
from tests.builders import a_consent, a_visit, an_injury

REVISIONS = [
    step.revision
    for step in reversed(
        list(ScriptDirectory.from_config(migrating.configuration()).walk_revisions())
    )
]


@pytest.fixture
def engine(empty_url: str) -> Iterator[sa.Engine]:
    engine = make_engine(address(empty_url))
    yield engine
    engine.dispose()


def _schema(connection: sa.Connection) -> dict[str, object]:
    """All of a schema that the database itself can tell, but the migrations' own table."""
    inspector = sa.inspect(connection)
    told: dict[str, object] = {}
    for table in sorted(inspector.get_table_names()):
        if table == migrating.VERSION_TABLE:
            continue
        told[table] = {
            "columns": sorted(
                (column["name"], str(column["type"]), column["nullable"])
                for column in inspector.get_columns(table)
            ),
            "primary key": inspector.get_pk_constraint(table)["constrained_columns"],
            "foreign keys": sorted(
                (key["name"], key["constrained_columns"], key["referred_table"], key["options"])
                for key in inspector.get_foreign_keys(table)
            ),
            "unique": sorted(
                (unique["name"], unique["column_names"])
                for unique in inspector.get_unique_constraints(table)
            ),
            "indexes": sorted(
                (str(index["name"]), index["unique"], index["column_names"])
                for index in inspector.get_indexes(table)
                if "duplicates_constraint" not in index
            ),
            "checks": sorted(
                (str(check["name"]), _plain(str(check["sqltext"])))
                for check in inspector.get_check_constraints(table)
            ),
        }
    return told


def _plain(sql: str) -> str:
    return re.sub(r"\s+", " ", sql).strip()


def _tables(engine: sa.Engine) -> dict[str, object]:
    with connected(engine) as connection:
        return _schema(connection)


def test_every_migration_goes_up_down_and_up_again(engine: sa.Engine) -> None:
    after: list[dict[str, object]] = []
    before: list[dict[str, object]] = []
    for revision in REVISIONS:
        before.append(_tables(engine))
        migrating.upgrade(engine, revision)
        after.append(_tables(engine))
        migrating.downgrade(engine, "-1")
        assert _tables(engine) == before[-1]
        migrating.upgrade(engine, revision)
        assert _tables(engine) == after[-1]
    migrating.downgrade(engine, "base")
    assert _tables(engine) == {}
    migrating.upgrade(engine)
    assert _tables(engine) == after[-1]


def test_autogenerate_finds_no_difference(engine: sa.Engine) -> None:
    migrating.upgrade(engine)
    with connected(engine) as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        assert compare_metadata(context, Row.metadata) == []


def test_migrated_tables_are_those_of_the_row_classes_to_the_last_check(
    engine: sa.Engine, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    # Autogenerate sees neither CHECKs nor lists of values: the database is asked for both.
    migrating.upgrade(engine)
    migrated = _tables(engine)
    migrating.downgrade(engine, "base")
    with connected(engine) as connection:
        Row.metadata.create_all(connection)
        connection.commit()
    assert migrated == _tables(engine)
    assert len(migrated) == len(Row.metadata.tables)
    checks = [check for table in migrated.values() for check in table["checks"]]  # type: ignore[index]
    ruled = [
        rule
        for table in Row.metadata.tables.values()
        for rule in table.constraints
        if isinstance(rule, sa.CheckConstraint)
    ]
    assert len(checks) == len(ruled)


def test_trials_lie_in_the_order_of_their_values_without_a_row_number(
    sqlite_casebook: Casebook,
) -> None:
    with connected(sqlite_casebook.engine) as connection:
        sql = connection.exec_driver_sql(
            "SELECT sql FROM sqlite_master WHERE name = 'trial'"
        ).scalar_one()
    assert str(sql).rstrip().endswith("WITHOUT ROWID")


def test_migrations_import_nothing_of_the_product() -> None:
    for path in (folder("migrations") / "versions").glob("*.py"):
        assert "casebook" not in re.findall(r"^(?:from|import) (\w+)", path.read_text(), re.M)


def test_there_is_one_newest_revision_and_files_are_named_by_day() -> None:
    assert migrating.head() == REVISIONS[-1]
    for path in (folder("migrations") / "versions").glob("*.py"):
        assert re.match(r"\d{4}_\d{2}_\d{2}_[a-z_]+\.py", path.name)


def _rows(connection: sa.Connection) -> dict[str, list[tuple[object, ...]]]:
    return {
        table.name: sorted(tuple(row) for row in connection.execute(sa.select(table.c)))
        for table in Row.metadata.sorted_tables
        if table.name != "metric"
    }


def test_a_populated_casebook_keeps_every_row_through_a_table_that_is_rebuilt(
    clinic: Casebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The step that once silently deletes children: a batch change of parent tables."""
    record_visit(clinic, a_visit(), by="AB")
    record_injury(clinic, an_injury())
    record_consent(clinic, a_consent())
    with connected(clinic.engine) as connection:
        before = _rows(connection)
    _with_another_step(
        tmp_path,
        monkeypatch,
        up="""
    for table in ("runner", "visit", "value", "metric"):
        with op.batch_alter_table(table, recreate="auto") as batch:
            batch.add_column(sa.Column("extra", sa.Integer(), server_default="0", nullable=False))
            batch.create_check_constraint(f"ck_{table}_extra", "extra >= 0")
""",
        down="""
    for table in ("runner", "visit", "value", "metric"):
        with op.batch_alter_table(table, recreate="auto") as batch:
            batch.drop_constraint(f"ck_{table}_extra", type_="check")
            batch.drop_column("extra")
""",
    )
    schema = _tables(clinic.engine)
    for _ in range(2):
        migrating.upgrade(clinic.engine)
        with connected(clinic.engine) as connection:
            assert _rows(connection) == before
            extra = connection.execute(sa.text("SELECT extra FROM visit")).scalars().all()
        assert extra == [0]
        migrating.downgrade(clinic.engine, "-1")
        with connected(clinic.engine) as connection:
            assert _rows(connection) == before
    assert _tables(clinic.engine) == schema
    monkeypatch.undo()
    again = open_casebook(clinic.url)
    stored = find_visit(again, "T-001", a_visit().visited_on)
    assert check_casebook(again).ok
    again.close()
    assert stored is not None
    assert stored.visit == a_visit()


def test_a_step_that_would_leave_orphans_is_undone_as_a_whole(
    clinic: Casebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record_visit(clinic, a_visit(), by="AB")
    with connected(clinic.engine) as connection:
        before = _rows(connection)
    _with_another_step(
        tmp_path,
        monkeypatch,
        up="""
    op.add_column("visit", sa.Column("extra", sa.Integer(), nullable=True))
    op.execute("DELETE FROM visit")
""",
        down="    pass\n",
    )
    expected = StoreUnavailable if clinic.engine.dialect.name == "sqlite" else Exception
    with pytest.raises(expected, match=r"undone|[Nn]othing was stored"):
        migrating.upgrade(clinic.engine)
    with connected(clinic.engine) as connection:
        assert _rows(connection) == before
        columns = {column["name"] for column in sa.inspect(connection).get_columns("visit")}
        assert "extra" not in columns
        assert migrating.revision_of(connection) == REVISIONS[-1]
        if connection.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def _with_another_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, up: str, down: str
) -> None:
    """Let the program see its own migrations and one more."""
    copy = tmp_path / "migrations"
    (copy / "versions").mkdir(parents=True)
    for name in ("env.py", "script.py.mako"):
        (copy / name).write_text((folder("migrations") / name).read_text())
    for path in (folder("migrations") / "versions").glob("*.py"):
        (copy / "versions" / path.name).write_text(path.read_text())
    (copy / "versions" / "2099_01_01_another.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\n"
        f"revision = 'another'\ndown_revision = {REVISIONS[-1]!r}\n"
        f"def upgrade():\n{up}\ndef downgrade():\n{down}"
    )
    monkeypatch.setattr(migrating, "folder", lambda _name: copy)
