"""The log of exports: what left the casebook, when, for whom and under which settings.

Revision export_log, after plan.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "export_log"
down_revision = "plan"
branch_labels = None
depends_on = None

BEFORE = (
    "runner",
    "identity",
    "consent",
    "injury",
    "visit",
    "programme",
    "block",
    "target",
    "adherence",
    "acknowledgement",
    "metric",
    "error_figure",
    "attachment",
    "measurement_set",
    "user",
    "exercise",
    "run",
    "finding",
    "caution",
    "pain",
    "hypothesis",
    "link",
)
SINCE = (*BEFORE, "export")


def upgrade() -> None:
    op.create_table(
        "export_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column(
            "purpose",
            sa.Enum(
                "audit",
                "research",
                name="purpose",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("settings", sa.Text(), nullable=False),
        sa.Column("key_fingerprint", sa.String(length=64), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("n_rows", sa.JSON(), nullable=False),
        sa.Column("risk", sa.JSON(), nullable=False),
        sa.Column("runners", sa.JSON(), nullable=False),
        sa.CheckConstraint("by <> ''", name=op.f("ck_export_run_by")),
        sa.CheckConstraint(
            "length(key_fingerprint) = 64", name=op.f("ck_export_run_key_fingerprint")
        ),
        sa.CheckConstraint("settings <> ''", name=op.f("ck_export_run_settings")),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_export_run_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_export_run")),
        sqlite_autoincrement=True,
    )
    op.execute("ALTER TABLE clinic ADD COLUMN export_secret VARCHAR(64) DEFAULT '' NOT NULL")
    _subjects(SINCE)
    for statement in _guards():
        op.execute(statement)


def downgrade() -> None:
    op.execute("ALTER TABLE clinic DROP COLUMN export_secret")
    op.drop_table("export_run")
    if _on_postgresql():
        op.execute("DROP FUNCTION casebook_export_run_stands()")
    _subjects(BEFORE)


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _subjects(known: tuple[str, ...]) -> None:
    """Let the history tell of these kinds of record and no others.

    SQLite copies the history for it, and its guards with the old table's name go: they are made
    again as they were.
    """
    listed = ", ".join(f"'{one}'" for one in known)
    with op.batch_alter_table("history") as batch:
        batch.drop_constraint(op.f("ck_history_subject"), type_="check")
        batch.create_check_constraint(op.f("ck_history_subject"), f"subject IN ({listed})")
    if _on_postgresql():
        return
    for name, act in (("history_stands", "UPDATE"), ("history_stays", "DELETE")):
        op.execute(
            f"""
        CREATE TRIGGER {name} BEFORE {act} ON history
        BEGIN
            SELECT RAISE(ABORT, 'the history of a casebook is only ever added to');
        END
        """
        )


def _guards() -> tuple[str, ...]:
    """Triggers by which the database itself refuses to change what was logged."""
    if not _on_postgresql():
        return tuple(
            f"""
            CREATE TRIGGER export_run_{name} BEFORE {act} ON export_run
            BEGIN
                SELECT RAISE(ABORT, 'the log of exports is only ever added to');
            END
            """
            for name, act in (("stands", "UPDATE"), ("stays", "DELETE"))
        )
    return (
        """
        CREATE FUNCTION casebook_export_run_stands() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION 'the log of exports is only ever added to';
        END
        $$
        """,
        """
        CREATE TRIGGER export_run_stands BEFORE UPDATE OR DELETE ON export_run
        FOR EACH ROW EXECUTE FUNCTION casebook_export_run_stands()
        """,
        """
        CREATE TRIGGER export_run_stays BEFORE TRUNCATE ON export_run
        FOR EACH STATEMENT EXECUTE FUNCTION casebook_export_run_stands()
        """,
    )
