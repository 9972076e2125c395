"""What was prescribed and what came of it: details of programmes, exercises, hypotheses, runs.

Revision plan, after capture.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "plan"
down_revision = "capture"
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
)
SINCE = (*BEFORE, "exercise", "run", "finding", "caution", "pain", "hypothesis", "link")
WORDS = "TEXT DEFAULT '' NOT NULL"
CHOICES = {
    "mode": ("individual", "group"),
    "delivery": ("in_person", "remote", "both"),
    "tailored": ("generic", "tailored"),
    "supervision": ("supervised", "partly", "unsupervised"),
}
# Name of the column, its type, and its rule with the rule's name where it has one.
COLUMNS: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    "injury": (
        (
            "fully_back_on",
            "DATE",
            "fully_back",
            "fully_back_on >= onset_on AND (returned_on IS NULL OR fully_back_on >= returned_on)",
        ),
        ("days_limited", "INTEGER", "days_limited", "days_limited BETWEEN 0 AND 36600"),
        (
            "sessions_missed_in_row",
            "INTEGER",
            "sessions_missed",
            "sessions_missed_in_row BETWEEN 0 AND 10000",
        ),
        ("consulted", "BOOLEAN", "", ""),
    ),
    "programme": (
        ("provider", WORDS, "", ""),
        ("setting", WORDS, "", ""),
        ("mode", "CHOICE", "", ""),
        ("delivery", "CHOICE", "", ""),
        ("materials", WORDS, "", ""),
        ("planned_weeks", "INTEGER", "planned_weeks", "planned_weeks BETWEEN 1 AND 260"),
        ("home_part", WORDS, "", ""),
        ("other_parts", WORDS, "", ""),
        ("starting_level", WORDS, "", ""),
        ("tailored", "CHOICE", "", ""),
        ("tailoring", WORDS, "", ""),
        ("modifications", WORDS, "", ""),
        ("motivation", WORDS, "", ""),
        ("adverse_events", WORDS, "", ""),
        ("fidelity_plan", WORDS, "", ""),
        ("fidelity_actual", WORDS, "", ""),
    ),
    "programme_block": (
        ("exercise_key", "VARCHAR(63) DEFAULT '' NOT NULL", "", ""),
        ("instructions", WORDS, "", ""),
        ("tempo_lower_s", "NUMBER", "tempo_lower", "tempo_lower_s BETWEEN 0 AND 60"),
        ("tempo_hold_s", "NUMBER", "tempo_hold", "tempo_hold_s BETWEEN 0 AND 60"),
        ("tempo_lift_s", "NUMBER", "tempo_lift", "tempo_lift_s BETWEEN 0 AND 60"),
        ("tempo_rest_s", "NUMBER", "tempo_rest", "tempo_rest_s BETWEEN 0 AND 60"),
        ("rest_s", "NUMBER", "rest", "rest_s BETWEEN 0 AND 3600"),
        ("progress_when", WORDS, "", ""),
        ("progress_how", WORDS, "", ""),
        ("ease_when", WORDS, "", ""),
        ("equipment", WORDS, "", ""),
        ("supervision", "CHOICE", "", ""),
    ),
}
FIXED = ("hypothesis", "hypothesis_link")


def upgrade() -> None:
    op.create_table(
        "exercise",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=63), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column(
            "aim",
            sa.Enum(
                "strength",
                "motor_control",
                "mobility",
                "gait_retraining",
                "load",
                name="aim",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("sided", sa.Boolean(), nullable=False),
        sa.Column("equipment", sa.Text(), nullable=False),
        sa.Column("dose", sa.Text(), nullable=False),
        sa.Column("dose_source", sa.Text(), nullable=False),
        sa.Column("sets", sa.Integer(), nullable=True),
        sa.Column("repetitions", sa.Integer(), nullable=True),
        sa.Column("hold_s", sa.Double(), nullable=True),
        sa.Column("sessions_per_week", sa.Double(), nullable=True),
        sa.Column("progress", sa.Text(), nullable=False),
        sa.Column("ease", sa.Text(), nullable=False),
        sa.Column("metrics", sa.JSON(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("starter", sa.Boolean(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("dose = '' OR dose_source <> ''", name=op.f("ck_exercise_dose_source")),
        sa.CheckConstraint("name <> ''", name=op.f("ck_exercise_name")),
        sa.CheckConstraint("hold_s BETWEEN 0 AND 36000", name=op.f("ck_exercise_hold")),
        sa.CheckConstraint("repetitions BETWEEN 1 AND 10000", name=op.f("ck_exercise_repetitions")),
        sa.CheckConstraint("sessions_per_week BETWEEN 0 AND 70", name=op.f("ck_exercise_sessions")),
        sa.CheckConstraint("sets BETWEEN 1 AND 100", name=op.f("ck_exercise_sets")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exercise")),
        sa.UniqueConstraint("key", name=op.f("uq_exercise_key")),
    )
    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column("run_on", sa.Date(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("distance_km", sa.Double(), nullable=True),
        sa.Column("minutes", sa.Double(), nullable=True),
        sa.Column("effort", sa.Double(), nullable=True),
        sa.CheckConstraint("distance_km BETWEEN 0 AND 1000", name=op.f("ck_run_distance")),
        sa.CheckConstraint("effort BETWEEN 0 AND 10", name=op.f("ck_run_effort")),
        sa.CheckConstraint("minutes BETWEEN 0 AND 10000", name=op.f("ck_run_minutes")),
        sa.CheckConstraint("number BETWEEN 1 AND 20", name=op.f("ck_run_number")),
        sa.ForeignKeyConstraint(
            ["runner_id"], ["runner.id"], name=op.f("fk_run_runner_id_runner"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
        sa.UniqueConstraint(
            "runner_id", "run_on", "number", name=op.f("uq_run_runner_id_run_on_number")
        ),
    )
    op.create_table(
        "caution_acknowledgement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(length=40), nullable=False),
        sa.Column(
            "action",
            sa.Enum(
                "referred",
                "followed_pathway",
                "not_needed",
                name="action",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("acknowledged_by", sa.Integer(), nullable=False),
        sa.Column("acknowledged_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("reason <> ''", name=op.f("ck_caution_acknowledgement_reason")),
        sa.ForeignKeyConstraint(
            ["acknowledged_by"],
            ["clinic_user.id"],
            name=op.f("fk_caution_acknowledgement_acknowledged_by_clinic_user"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_caution_acknowledgement_visit_id_visit"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_caution_acknowledgement")),
        sa.UniqueConstraint(
            "visit_id", "rule", name=op.f("uq_caution_acknowledgement_visit_id_rule")
        ),
    )
    op.create_table(
        "visit_finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column(
            "finding",
            sa.Enum(
                "bone_tenderness",
                "night_pain",
                "rest_pain",
                "hop_pain",
                "suspected_bone_stress",
                "site_femoral_neck",
                "site_anterior_tibia",
                "site_navicular",
                "site_fifth_metatarsal",
                "site_other_high_risk",
                "numbness",
                "weakness",
                "saddle_numbness",
                "bladder_or_bowel",
                "calf_swelling",
                "calf_warmth",
                "acute_tightness",
                "pain_on_passive_stretch",
                "fever",
                "weight_loss",
                name="finding",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("present", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_visit_finding_visit_id_visit"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_finding")),
        sa.UniqueConstraint("visit_id", "finding", name=op.f("uq_visit_finding_visit_id_finding")),
    )
    op.create_table(
        "hypothesis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "structure",
                "mobility",
                "strength",
                "control",
                "technique",
                "load",
                "other",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("driver", sa.Text(), nullable=False),
        sa.Column("leads_to", sa.Text(), nullable=False),
        sa.Column("sureness_pct", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("written_on", sa.Date(), nullable=False),
        sa.Column("written_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("written_by", sa.String(length=64), nullable=False),
        sa.CheckConstraint("(version = 1) = (reason = '')", name=op.f("ck_hypothesis_reason")),
        sa.CheckConstraint("driver <> ''", name=op.f("ck_hypothesis_driver")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_hypothesis_number")),
        sa.CheckConstraint("sureness_pct BETWEEN 1 AND 99", name=op.f("ck_hypothesis_sureness")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_hypothesis_version")),
        sa.ForeignKeyConstraint(
            ["programme_id"],
            ["programme.id"],
            name=op.f("fk_hypothesis_programme_id_programme"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_hypothesis_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hypothesis")),
        sa.UniqueConstraint(
            "programme_id",
            "number",
            "version",
            name=op.f("uq_hypothesis_programme_id_number_version"),
        ),
    )
    with op.batch_alter_table("hypothesis", schema=None) as batch_op:
        batch_op.create_index("ix_hypothesis_runner_id", ["runner_id"], unique=False)

    op.create_table(
        "pain_acknowledgement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("week_start", sa.Date(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "during_too_high",
                "morning_too_high",
                "rising",
                "bone",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("acknowledged_by", sa.Integer(), nullable=False),
        sa.Column("acknowledged_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("reason <> ''", name=op.f("ck_pain_acknowledgement_reason")),
        sa.ForeignKeyConstraint(
            ["acknowledged_by"],
            ["clinic_user.id"],
            name=op.f("fk_pain_acknowledgement_acknowledged_by_clinic_user"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["programme_id"],
            ["programme.id"],
            name=op.f("fk_pain_acknowledgement_programme_id_programme"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pain_acknowledgement")),
        sa.UniqueConstraint(
            "programme_id",
            "week_start",
            "kind",
            name=op.f("uq_pain_acknowledgement_programme_id_week_start_kind"),
        ),
    )
    op.create_table(
        "hypothesis_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hypothesis_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "driver",
                "consequence",
                "change",
                "still",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("metric_id", sa.Integer(), nullable=False),
        sa.Column(
            "what",
            sa.Enum(
                "left",
                "right",
                "none",
                "asymmetry",
                name="what",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "direction",
            sa.Enum(
                "up",
                "down",
                "towards_zero",
                name="direction",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=True,
        ),
        sa.Column("amount", sa.Double(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(role = 'still') = (direction IS NULL)", name=op.f("ck_hypothesis_link_way")
        ),
        sa.CheckConstraint(
            "role = 'still' OR amount IS NOT NULL", name=op.f("ck_hypothesis_link_asked")
        ),
        sa.CheckConstraint(
            "amount > 0 AND amount <= 100000000", name=op.f("ck_hypothesis_link_amount")
        ),
        sa.CheckConstraint("position >= 1", name=op.f("ck_hypothesis_link_position")),
        sa.ForeignKeyConstraint(
            ["hypothesis_id"],
            ["hypothesis.id"],
            name=op.f("fk_hypothesis_link_hypothesis_id_hypothesis"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_hypothesis_link_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hypothesis_link")),
        sa.UniqueConstraint(
            "hypothesis_id",
            "metric_id",
            "what",
            name=op.f("uq_hypothesis_link_hypothesis_id_metric_id_what"),
        ),
        sa.UniqueConstraint(
            "hypothesis_id", "position", name=op.f("uq_hypothesis_link_hypothesis_id_position")
        ),
    )
    for table, columns in COLUMNS.items():
        for name, kind, rule, sql in columns:
            op.execute(_column(table, name, kind, rule, sql))
    _subjects(SINCE)
    for statement in _guards():
        op.execute(statement)


def downgrade() -> None:
    for table, columns in COLUMNS.items():
        for name, *_ in reversed(columns):
            op.execute(f"ALTER TABLE {table} DROP COLUMN {name}")
    op.drop_table("hypothesis_link")
    op.drop_table("pain_acknowledgement")
    op.drop_index("ix_hypothesis_runner_id", "hypothesis")
    op.drop_table("hypothesis")
    op.drop_table("visit_finding")
    op.drop_table("caution_acknowledgement")
    op.drop_table("run")
    op.drop_table("exercise")
    if _on_postgresql():
        op.execute("DROP FUNCTION casebook_hypothesis_stands()")
    _subjects(BEFORE)


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _column(table: str, name: str, kind: str, rule: str, sql: str) -> str:
    # As plain SQL with its CHECK inside: on SQLite that adds the column without copying the
    # table, which has others referring to it.
    if kind == "CHOICE":
        listed = ", ".join(f"'{one}'" for one in CHOICES[name])
        kind, rule, sql = "VARCHAR(40)", name, f"{name} IN ({listed})"
    if kind == "NUMBER":
        kind = "DOUBLE PRECISION" if _on_postgresql() else "DOUBLE"
    checked = f" CONSTRAINT ck_{table}_{rule} CHECK ({sql})" if rule else ""
    return f"ALTER TABLE {table} ADD COLUMN {name} {kind}{checked}"


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
    """Triggers by which the database itself refuses to change what was predicted."""
    if not _on_postgresql():
        return tuple(
            f"""
            CREATE TRIGGER {table}_{name} BEFORE {act} ON {table}
            BEGIN
                SELECT RAISE(ABORT, 'a working hypothesis is only ever added to');
            END
            """
            for table in FIXED
            for name, act in (("stands", "UPDATE"), ("stays", "DELETE"))
        )
    return (
        """
        CREATE FUNCTION casebook_hypothesis_stands() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION 'a working hypothesis is only ever added to';
        END
        $$
        """,
        *(
            f"""
            CREATE TRIGGER {table}_stands BEFORE UPDATE OR DELETE ON {table}
            FOR EACH ROW EXECUTE FUNCTION casebook_hypothesis_stands()
            """
            for table in FIXED
        ),
        *(
            f"""
            CREATE TRIGGER {table}_stays BEFORE TRUNCATE ON {table}
            FOR EACH STATEMENT EXECUTE FUNCTION casebook_hypothesis_stands()
            """
            for table in FIXED
        ),
    )
