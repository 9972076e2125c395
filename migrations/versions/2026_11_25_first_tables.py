"""The first tables: clinic, runners, visits and values, catalogue, programmes, flags.

Revision first_tables; nothing before it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "first_tables"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "clinic",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("code <> ''", name=op.f("ck_clinic_code")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic")),
        sa.UniqueConstraint("code", name=op.f("uq_clinic_code")),
    )
    op.create_table(
        "metric",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=63), nullable=False),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column(
            "metric_group",
            sa.Enum(
                "posterior_view",
                "side_view",
                "timing",
                "table",
                "reported",
                name="metric_group",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("unit", sa.String(length=40), nullable=False),
        sa.Column(
            "scale",
            sa.Enum(
                "ratio",
                "interval",
                "grade",
                "count",
                "score",
                name="scale",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("sided", sa.Boolean(), nullable=False),
        sa.Column("plane", sa.String(length=60), nullable=False),
        sa.Column("view", sa.String(length=60), nullable=False),
        sa.Column("phase", sa.String(length=100), nullable=False),
        sa.Column("sign_convention", sa.Text(), nullable=False),
        sa.Column(
            "better",
            sa.Enum(
                "higher",
                "lower",
                "range",
                "none",
                name="better",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("target_low", sa.Double(), nullable=True),
        sa.Column("target_high", sa.Double(), nullable=True),
        sa.Column("plausible_low", sa.Double(), nullable=False),
        sa.Column("plausible_high", sa.Double(), nullable=False),
        sa.Column("resolution", sa.Double(), nullable=False),
        sa.Column(
            "floor_kind",
            sa.Enum(
                "reading",
                "interval",
                name="floor_kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("usual_trials", sa.Integer(), nullable=False),
        sa.Column(
            "asymmetry_form",
            sa.Enum(
                "difference",
                "percent",
                "log_ratio",
                "none",
                name="asymmetry_form",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("important_change", sa.Double(), nullable=True),
        sa.Column("sensitive_to", sa.JSON(), nullable=False),
        sa.Column("grades", sa.JSON(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("sources", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("starter", sa.Boolean(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "better <> 'range' OR (target_low IS NOT NULL AND target_high IS NOT NULL"
            " AND target_low >= -100000000 AND target_low < target_high"
            " AND target_high <= 100000000)",
            name=op.f("ck_metric_target"),
        ),
        sa.CheckConstraint(
            "important_change > 0 AND important_change <= 100000000",
            name=op.f("ck_metric_important_change"),
        ),
        sa.CheckConstraint(
            "plausible_low >= -100000000 AND plausible_low < plausible_high"
            " AND plausible_high <= 100000000",
            name=op.f("ck_metric_plausible"),
        ),
        sa.CheckConstraint("resolution BETWEEN 0 AND 100000000", name=op.f("ck_metric_resolution")),
        sa.CheckConstraint("usual_trials BETWEEN 1 AND 500", name=op.f("ck_metric_usual_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_metric")),
        sa.UniqueConstraint("key", name=op.f("uq_metric_key")),
    )
    op.create_table(
        "clinic_user",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("display_name", sa.String(length=200), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "clinician",
                "lead",
                "data_manager",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("code <> ''", name=op.f("ck_clinic_user_code")),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_clinic_user_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic_user")),
        sa.UniqueConstraint("clinic_id", "code", name=op.f("uq_clinic_user_clinic_id_code")),
    )
    op.create_table(
        "error_figure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("metric_id", sa.Integer(), nullable=False),
        sa.Column(
            "applies_to",
            sa.Enum(
                "side_value",
                "asymmetry",
                name="applies_to",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "origin",
            sa.Enum(
                "own",
                "published",
                "within_session",
                "none",
                name="origin",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("between_sd", sa.Double(), nullable=True),
        sa.Column("within_sd", sa.Double(), nullable=True),
        sa.Column("sem", sa.Double(), nullable=True),
        sa.Column("sem_trials", sa.Integer(), nullable=True),
        sa.Column("grade_step", sa.Integer(), nullable=True),
        sa.Column("published_as", sa.Text(), nullable=False),
        sa.Column("published_level", sa.Double(), nullable=True),
        sa.Column("averaged", sa.Text(), nullable=False),
        sa.Column("population", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("adopted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "(origin = 'within_session')"
            " = (sem IS NULL AND between_sd IS NULL AND grade_step IS NULL)",
            name=op.f("ck_error_figure_origin_form"),
        ),
        sa.CheckConstraint("origin <> 'none'", name=op.f("ck_error_figure_origin_known")),
        sa.CheckConstraint("source <> ''", name=op.f("ck_error_figure_source")),
        sa.CheckConstraint(
            "(sem IS NOT NULL AND sem_trials IS NOT NULL"
            " AND between_sd IS NULL AND within_sd IS NULL AND grade_step IS NULL)"
            " OR (sem IS NULL AND sem_trials IS NULL AND within_sd IS NOT NULL"
            " AND grade_step IS NULL)"
            " OR (grade_step IS NOT NULL AND sem IS NULL AND sem_trials IS NULL"
            " AND between_sd IS NULL AND within_sd IS NULL)",
            name=op.f("ck_error_figure_one_form"),
        ),
        sa.CheckConstraint("grade_step BETWEEN 0 AND 20", name=op.f("ck_error_figure_grade_step")),
        sa.CheckConstraint(
            "between_sd BETWEEN 0 AND 100000000", name=op.f("ck_error_figure_between_sd")
        ),
        sa.CheckConstraint(
            "published_level BETWEEN 50 AND 99.9", name=op.f("ck_error_figure_published_level")
        ),
        sa.CheckConstraint("retired_at >= adopted_at", name=op.f("ck_error_figure_retired")),
        sa.CheckConstraint("sem > 0 AND sem <= 100000000", name=op.f("ck_error_figure_sem")),
        sa.CheckConstraint("sem_trials >= 1", name=op.f("ck_error_figure_sem_trials")),
        sa.CheckConstraint(
            "within_sd BETWEEN 0 AND 100000000", name=op.f("ck_error_figure_within_sd")
        ),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_error_figure_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_error_figure")),
    )
    op.create_index(
        "uq_error_figure_in_force",
        "error_figure",
        ["metric_id", "applies_to", "origin"],
        unique=True,
        sqlite_where=sa.text("retired_at IS NULL"),
        postgresql_where=sa.text("retired_at IS NULL"),
    )

    op.create_table(
        "runner",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column(
            "sex",
            sa.Enum(
                "female",
                "male",
                "other",
                "not_recorded",
                name="sex",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        sa.Column("discipline", sa.String(length=100), nullable=False),
        sa.Column("height_cm", sa.Double(), nullable=True),
        sa.Column("mass_kg", sa.Double(), nullable=True),
        sa.Column("registered_on", sa.Date(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.CheckConstraint("code <> ''", name=op.f("ck_runner_code")),
        sa.CheckConstraint("birth_year BETWEEN 1900 AND 2100", name=op.f("ck_runner_birth_year")),
        sa.CheckConstraint("height_cm BETWEEN 50 AND 260", name=op.f("ck_runner_height")),
        sa.CheckConstraint("mass_kg BETWEEN 10 AND 350", name=op.f("ck_runner_mass")),
        sa.ForeignKeyConstraint(
            ["clinic_id"],
            ["clinic.id"],
            name=op.f("fk_runner_clinic_id_clinic"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runner")),
        sa.UniqueConstraint("clinic_id", "code", name=op.f("uq_runner_clinic_id_code")),
    )
    op.create_table(
        "consent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
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
        sa.Column("given_on", sa.Date(), nullable=False),
        sa.Column("withdrawn_on", sa.Date(), nullable=True),
        sa.CheckConstraint("withdrawn_on >= given_on", name=op.f("ck_consent_withdrawn")),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_consent_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent")),
        sa.UniqueConstraint(
            "runner_id", "purpose", "given_on", name=op.f("uq_consent_runner_id_purpose_given_on")
        ),
    )
    op.create_table(
        "injury",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column(
            "region",
            sa.Enum(
                "foot",
                "ankle",
                "lower_leg",
                "knee",
                "thigh",
                "hip_groin",
                "lumbosacral",
                "other",
                name="region",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "pathology",
            sa.Enum(
                "tendinopathy",
                "muscle_injury",
                "bone_stress",
                "joint",
                "ligament",
                "fascia",
                "nerve",
                "non_specific",
                "other",
                name="pathology",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "side",
            sa.Enum(
                "left",
                "right",
                "both",
                "none",
                name="side",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("onset_on", sa.Date(), nullable=False),
        sa.Column(
            "onset",
            sa.Enum(
                "sudden",
                "gradual",
                name="onset",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "occurrence",
            sa.Enum(
                "first",
                "recurrent",
                name="occurrence",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "course",
            sa.Enum(
                "open",
                "improving",
                "resolved",
                name="course",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("returned_on", sa.Date(), nullable=True),
        sa.CheckConstraint("returned_on >= onset_on", name=op.f("ck_injury_returned")),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_injury_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_injury")),
        sa.UniqueConstraint(
            "runner_id",
            "region",
            "pathology",
            "side",
            "onset_on",
            name=op.f("uq_injury_runner_id_region_pathology_side_onset_on"),
        ),
    )
    op.create_table(
        "runner_identity",
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column("given_name", sa.String(length=200), nullable=False),
        sa.Column("family_name", sa.String(length=200), nullable=False),
        sa.Column("birth_date", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_runner_identity_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("runner_id", name=op.f("pk_runner_identity")),
    )
    op.create_table(
        "visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column("visited_on", sa.Date(), nullable=False),
        sa.Column("session", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "baseline",
                "review",
                "discharge",
                "repeat",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("speed_km_h", sa.Double(), nullable=True),
        sa.Column("surface", sa.String(length=60), nullable=False),
        sa.Column("incline_pct", sa.Double(), nullable=True),
        sa.Column("footwear", sa.String(length=60), nullable=False),
        sa.Column("view", sa.String(length=60), nullable=False),
        sa.Column("frames_per_s", sa.Double(), nullable=True),
        sa.Column("assessor", sa.String(length=64), nullable=False),
        sa.Column("pain_today", sa.Double(), nullable=True),
        sa.Column("next_due_on", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.CheckConstraint("frames_per_s BETWEEN 10 AND 2000", name=op.f("ck_visit_frame_rate")),
        sa.CheckConstraint("incline_pct BETWEEN -30 AND 30", name=op.f("ck_visit_incline")),
        sa.CheckConstraint("next_due_on >= visited_on", name=op.f("ck_visit_next_due")),
        sa.CheckConstraint("pain_today BETWEEN 0 AND 10", name=op.f("ck_visit_pain")),
        sa.CheckConstraint("session >= 1", name=op.f("ck_visit_session")),
        sa.CheckConstraint("speed_km_h BETWEEN 0.5 AND 45", name=op.f("ck_visit_speed")),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_visit_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
        sa.UniqueConstraint(
            "runner_id", "visited_on", "session", name=op.f("uq_visit_runner_id_visited_on_session")
        ),
    )
    op.create_table(
        "flag_acknowledgement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("metric_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "asymmetry_above_baseline",
                "asymmetry_above_best",
                "drift",
                "target_missed",
                "better_side_fell",
                "symptom_up",
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
        sa.CheckConstraint("reason <> ''", name=op.f("ck_flag_acknowledgement_reason")),
        sa.ForeignKeyConstraint(
            ["acknowledged_by"],
            ["clinic_user.id"],
            name=op.f("fk_flag_acknowledgement_acknowledged_by_clinic_user"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_flag_acknowledgement_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_flag_acknowledgement_visit_id_visit"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_flag_acknowledgement")),
        sa.UniqueConstraint(
            "visit_id",
            "metric_id",
            "kind",
            name=op.f("uq_flag_acknowledgement_visit_id_metric_id_kind"),
        ),
    )
    op.create_table(
        "programme",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.Integer(), nullable=False),
        sa.Column("injury_id", sa.Integer(), nullable=True),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "injury",
                "performance",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("rationale", sa.Text(), nullable=False),
        sa.Column("started_on", sa.Date(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.CheckConstraint("title <> ''", name=op.f("ck_programme_title")),
        sa.CheckConstraint("ended_on >= started_on", name=op.f("ck_programme_ended")),
        sa.ForeignKeyConstraint(
            ["injury_id"],
            ["injury.id"],
            name=op.f("fk_programme_injury_id_injury"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["runner_id"],
            ["runner.id"],
            name=op.f("fk_programme_runner_id_runner"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_programme")),
        sa.UniqueConstraint(
            "runner_id", "started_on", "title", name=op.f("uq_programme_runner_id_started_on_title")
        ),
    )
    op.create_table(
        "value",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("metric_id", sa.Integer(), nullable=False),
        sa.Column(
            "side",
            sa.Enum(
                "left",
                "right",
                "none",
                name="side",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("n_trials", sa.Integer(), nullable=False),
        sa.Column("mean", sa.Double(), nullable=True),
        sa.Column("sd", sa.Double(), nullable=True),
        sa.Column(
            "missing_reason",
            sa.Enum(
                "not_done",
                "painful",
                "not_visible",
                "equipment",
                name="missing_reason",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=True,
        ),
        sa.Column("saved_in", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.CheckConstraint(
            "(mean IS NULL AND n_trials = 0) OR (mean IS NOT NULL AND n_trials BETWEEN 1 AND 500)",
            name=op.f("ck_value_n_trials"),
        ),
        sa.CheckConstraint(
            "(mean IS NULL) = (missing_reason IS NOT NULL)", name=op.f("ck_value_mean_or_reason")
        ),
        sa.CheckConstraint("mean BETWEEN -100000000 AND 100000000", name=op.f("ck_value_mean")),
        sa.CheckConstraint("saved_in >= 1", name=op.f("ck_value_saved_in")),
        sa.CheckConstraint(
            "sd IS NULL OR (n_trials > 1 AND sd BETWEEN 0 AND 200000000)", name=op.f("ck_value_sd")
        ),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_value_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_value_visit_id_visit"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_value")),
        sa.UniqueConstraint(
            "visit_id", "metric_id", "side", name=op.f("uq_value_visit_id_metric_id_side")
        ),
    )
    op.create_index("ix_value_metric_id", "value", ["metric_id"], unique=False)

    op.create_table(
        "visit_save",
        sa.Column("visit_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revision", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("saved_by", sa.String(length=64), nullable=False),
        sa.CheckConstraint("revision >= 2", name=op.f("ck_visit_save_revision")),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_visit_save_visit_id_visit"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("visit_id", "revision", name=op.f("pk_visit_save")),
    )
    op.create_table(
        "adherence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("week_start", sa.Date(), nullable=False),
        sa.Column("sessions_planned", sa.Integer(), nullable=False),
        sa.Column("sessions_done", sa.Integer(), nullable=False),
        sa.Column("pain_during", sa.Double(), nullable=True),
        sa.Column("pain_morning_after", sa.Double(), nullable=True),
        sa.Column("comment", sa.Text(), nullable=False),
        sa.CheckConstraint("pain_during BETWEEN 0 AND 10", name=op.f("ck_adherence_pain_during")),
        sa.CheckConstraint(
            "pain_morning_after BETWEEN 0 AND 10", name=op.f("ck_adherence_pain_morning_after")
        ),
        sa.CheckConstraint("sessions_done BETWEEN 0 AND 70", name=op.f("ck_adherence_done")),
        sa.CheckConstraint("sessions_planned BETWEEN 0 AND 70", name=op.f("ck_adherence_planned")),
        sa.ForeignKeyConstraint(
            ["programme_id"],
            ["programme.id"],
            name=op.f("fk_adherence_programme_id_programme"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_adherence")),
        sa.UniqueConstraint(
            "programme_id", "week_start", name=op.f("uq_adherence_programme_id_week_start")
        ),
    )
    op.create_table(
        "programme_block",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
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
        sa.Column("exercise", sa.String(length=200), nullable=False),
        sa.Column(
            "side",
            sa.Enum(
                "left",
                "right",
                "both",
                "none",
                name="side",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("sets", sa.Integer(), nullable=True),
        sa.Column("repetitions", sa.Integer(), nullable=True),
        sa.Column("load", sa.String(length=100), nullable=False),
        sa.Column("hold_s", sa.Double(), nullable=True),
        sa.Column("sessions_per_week", sa.Double(), nullable=True),
        sa.CheckConstraint("hold_s BETWEEN 0 AND 36000", name=op.f("ck_programme_block_hold")),
        sa.CheckConstraint("position >= 1", name=op.f("ck_programme_block_position")),
        sa.CheckConstraint(
            "repetitions BETWEEN 1 AND 10000", name=op.f("ck_programme_block_repetitions")
        ),
        sa.CheckConstraint(
            "sessions_per_week BETWEEN 0 AND 70", name=op.f("ck_programme_block_sessions")
        ),
        sa.CheckConstraint("sets BETWEEN 1 AND 100", name=op.f("ck_programme_block_sets")),
        sa.ForeignKeyConstraint(
            ["programme_id"],
            ["programme.id"],
            name=op.f("fk_programme_block_programme_id_programme"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_programme_block")),
        sa.UniqueConstraint(
            "programme_id", "position", name=op.f("uq_programme_block_programme_id_position")
        ),
    )
    op.create_table(
        "target",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
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
            nullable=False,
        ),
        sa.Column("amount", sa.Double(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.CheckConstraint("amount > 0 AND amount <= 100000000", name=op.f("ck_target_amount")),
        sa.ForeignKeyConstraint(
            ["metric_id"],
            ["metric.id"],
            name=op.f("fk_target_metric_id_metric"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["programme_id"],
            ["programme.id"],
            name=op.f("fk_target_programme_id_programme"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_target")),
        sa.UniqueConstraint(
            "programme_id", "metric_id", "what", name=op.f("uq_target_programme_id_metric_id_what")
        ),
    )
    op.create_table(
        "trial",
        sa.Column("value_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("reading", sa.Double(), nullable=False),
        sa.CheckConstraint("number BETWEEN 1 AND 500", name=op.f("ck_trial_number")),
        sa.CheckConstraint(
            "reading BETWEEN -100000000 AND 100000000", name=op.f("ck_trial_reading")
        ),
        sa.ForeignKeyConstraint(
            ["value_id"], ["value.id"], name=op.f("fk_trial_value_id_value"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("value_id", "number", name=op.f("pk_trial")),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    op.drop_table("trial")
    op.drop_table("target")
    op.drop_table("programme_block")
    op.drop_table("adherence")
    op.drop_table("visit_save")
    op.drop_index("ix_value_metric_id", "value")
    op.drop_table("value")
    op.drop_table("programme")
    op.drop_table("flag_acknowledgement")
    op.drop_table("visit")
    op.drop_table("runner_identity")
    op.drop_table("injury")
    op.drop_table("consent")
    op.drop_table("runner")
    op.drop_index("uq_error_figure_in_force", "error_figure")
    op.drop_table("error_figure")
    op.drop_table("clinic_user")
    op.drop_table("metric")
    op.drop_table("clinic")
