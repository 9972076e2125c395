"""History, imports, drafts, measurement sets, attachments; the error of marked points.

Revision capture, after first_tables.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "capture"
down_revision = "first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "history",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column(
            "act",
            sa.Enum(
                "recorded",
                "added",
                "amended",
                "struck_out",
                "undone",
                "adopted",
                name="act",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "subject",
            sa.Enum(
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
                name="subject",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=True),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("import_run_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.CheckConstraint("(number = 1) = (previous = '')", name=op.f("ck_history_previous")),
        sa.CheckConstraint(
            "act NOT IN ('amended', 'struck_out', 'undone') OR reason <> ''",
            name=op.f("ck_history_reason"),
        ),
        sa.CheckConstraint("hash <> ''", name=op.f("ck_history_hash")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_history_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_history")),
        sa.UniqueConstraint("previous", name=op.f("uq_history_previous")),
    )
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.create_index("ix_history_import_run_id", ["import_run_id"], unique=False)
        batch_op.create_index("ix_history_runner_id", ["runner_id"], unique=False)
        batch_op.create_index("ix_history_visit_id", ["visit_id"], unique=False)

    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("owner", sa.String(length=64), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("key <> ''", name=op.f("ck_draft_key")),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_draft_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft")),
        sa.UniqueConstraint("key", name=op.f("uq_draft_key")),
    )
    op.create_table(
        "import_mapping",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("shape", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("saved_by", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_import_mapping_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_mapping")),
        sa.UniqueConstraint("clinic_id", "shape", name=op.f("uq_import_mapping_clinic_id_shape")),
    )
    op.create_table(
        "import_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("undone_by", sa.String(length=64), nullable=False),
        sa.Column("undo_reason", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(undone_at IS NULL) = (undo_reason = '')", name=op.f("ck_import_run_undone")
        ),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_import_run_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_run")),
    )
    op.create_table(
        "measurement_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("name <> ''", name=op.f("ck_measurement_set_name")),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_measurement_set_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_measurement_set")),
        sa.UniqueConstraint("clinic_id", "name", name=op.f("uq_measurement_set_clinic_id_name")),
    )
    op.create_table(
        "measurement_set_metric",
        sa.Column("set_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("metric_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.CheckConstraint("position >= 0", name=op.f("ck_measurement_set_metric_position")),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_measurement_set_metric_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["set_id"],
            ["measurement_set.id"],
            name=op.f("fk_measurement_set_metric_set_id_measurement_set"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("set_id", "metric_id", name=op.f("pk_measurement_set_metric")),
    )
    op.create_table(
        "attachment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("n_bytes", sa.Integer(), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by", sa.String(length=64), nullable=False),
        sa.CheckConstraint("kind IN ('png', 'jpeg', 'pdf')", name=op.f("ck_attachment_kind")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_attachment_sha256")),
        sa.CheckConstraint("n_bytes >= 1", name=op.f("ck_attachment_n_bytes")),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_attachment_visit_id_visit"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attachment")),
        sa.UniqueConstraint("visit_id", "sha256", name=op.f("uq_attachment_visit_id_sha256")),
    )
    op.execute(_marking_sd())
    _never_give_an_id_twice(never=True)
    for statement in _guards():
        op.execute(statement)


def downgrade() -> None:
    _never_give_an_id_twice(never=False)
    op.execute("ALTER TABLE value DROP COLUMN marking_sd")
    op.drop_table("attachment")
    op.drop_table("measurement_set_metric")
    op.drop_table("measurement_set")
    op.drop_table("import_run")
    op.drop_table("import_mapping")
    op.drop_table("draft")
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.drop_index("ix_history_visit_id")
        batch_op.drop_index("ix_history_runner_id")
        batch_op.drop_index("ix_history_import_run_id")

    op.drop_table("history")
    if _on_postgresql():
        op.execute("DROP FUNCTION casebook_history_stands()")


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _marking_sd() -> str:
    # As plain SQL with its CHECK inside: on SQLite that adds the column without copying every
    # value into a new table.
    kind = "DOUBLE PRECISION" if _on_postgresql() else "DOUBLE"
    return (
        f"ALTER TABLE value ADD COLUMN marking_sd {kind} CONSTRAINT ck_value_marking_sd CHECK "
        "(marking_sd IS NULL OR (mean IS NOT NULL AND marking_sd BETWEEN 0 AND 100000000))"
    )


def _never_give_an_id_twice(*, never: bool) -> None:
    # PostgreSQL's sequences never go back; SQLite must be told.
    if _on_postgresql():
        return
    for table in ("runner", "visit"):
        with op.batch_alter_table(
            table, recreate="always", table_kwargs={"sqlite_autoincrement": never}
        ):
            pass


def _guards() -> tuple[str, ...]:
    """Triggers by which the database itself refuses to change the history."""
    if _on_postgresql():
        return (
            """
            CREATE FUNCTION casebook_history_stands() RETURNS trigger LANGUAGE plpgsql AS $$
            BEGIN
                RAISE EXCEPTION 'the history of a casebook is only ever added to';
            END
            $$
            """,
            """
            CREATE TRIGGER history_stands BEFORE UPDATE OR DELETE ON history
            FOR EACH ROW EXECUTE FUNCTION casebook_history_stands()
            """,
            """
            CREATE TRIGGER history_stays BEFORE TRUNCATE ON history
            FOR EACH STATEMENT EXECUTE FUNCTION casebook_history_stands()
            """,
        )
    return tuple(
        f"""
        CREATE TRIGGER {name} BEFORE {act} ON history
        BEGIN
            SELECT RAISE(ABORT, 'the history of a casebook is only ever added to');
        END
        """
        for name, act in (("history_stands", "UPDATE"), ("history_stays", "DELETE"))
    )
