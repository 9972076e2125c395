"""Row classes of the case itself: what is stored, and what the database itself refuses.

The house rules stand in `row_base.py`; the rows of how things were captured (history, drafts,
imports, attachments) in `capture_tables.py`, those of what was prescribed and what came of it in
`plan_tables.py`; both come from here as well.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from casebook.domain.injuries import Course, Occurrence, Onset, Pathology, Region
from casebook.domain.metrics import (
    LARGEST_GRADE_STEP,
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorOrigin,
    FloorKind,
    MetricGroup,
    Scale,
)
from casebook.domain.people import LONGEST_CODE, Purpose, Role, Sex
from casebook.domain.sides import InjurySide, Side
from casebook.domain.verdicts import FlagKind
from casebook.domain.visits import LARGEST_READING, MOST_TRIALS, MissingReason, VisitKind
from casebook.storage.capture_tables import (
    AttachmentRow,
    DraftRow,
    ExportRunRow,
    HistoryRow,
    ImportMappingRow,
    ImportRunRow,
    MeasurementSetMetricRow,
    MeasurementSetRow,
)
from casebook.storage.plan_tables import (
    AdherenceRow,
    BlockRow,
    CautionAcknowledgementRow,
    ExerciseRow,
    FindingRow,
    HypothesisLinkRow,
    HypothesisRow,
    PainAcknowledgementRow,
    ProgrammeRow,
    RunRow,
    TargetRow,
)
from casebook.storage.row_base import Row, UtcDateTime, coded, within

__all__ = [
    "AdherenceRow",
    "AttachmentRow",
    "BlockRow",
    "CautionAcknowledgementRow",
    "ClinicRow",
    "ConsentRow",
    "DraftRow",
    "ErrorFigureRow",
    "ExerciseRow",
    "ExportRunRow",
    "FindingRow",
    "FlagAcknowledgementRow",
    "HistoryRow",
    "HypothesisLinkRow",
    "HypothesisRow",
    "IdentityRow",
    "ImportMappingRow",
    "ImportRunRow",
    "InjuryRow",
    "MeasurementSetMetricRow",
    "MeasurementSetRow",
    "MetricRow",
    "PainAcknowledgementRow",
    "ProgrammeRow",
    "Row",
    "RunRow",
    "RunnerRow",
    "TargetRow",
    "TrialRow",
    "UserRow",
    "UtcDateTime",
    "ValueRow",
    "VisitRow",
    "VisitSaveRow",
]


class ClinicRow(Row):
    __tablename__ = "clinic"
    __table_args__ = (UniqueConstraint("code"), CheckConstraint("code <> ''", name="code"))

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(LONGEST_CODE))
    name: Mapped[str] = mapped_column(String(200))
    created_at: Mapped[datetime]
    # By it counts are rounded before they leave, the same way each time; '' before the first.
    export_secret: Mapped[str] = mapped_column(String(64), default="", server_default=text("''"))


class UserRow(Row):
    __tablename__ = "clinic_user"
    __table_args__ = (
        UniqueConstraint("clinic_id", "code"),
        CheckConstraint("code <> ''", name="code"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    code: Mapped[str] = mapped_column(String(LONGEST_CODE))
    display_name: Mapped[str] = mapped_column(String(200))
    role: Mapped[Role] = mapped_column(coded(Role, "role"))
    active: Mapped[bool] = mapped_column(default=True)


class RunnerRow(Row):
    __tablename__ = "runner"
    __table_args__ = (
        UniqueConstraint("clinic_id", "code"),
        CheckConstraint("code <> ''", name="code"),
        CheckConstraint("birth_year BETWEEN 1900 AND 2100", name="birth_year"),
        CheckConstraint("height_cm BETWEEN 50 AND 260", name="height"),
        CheckConstraint("mass_kg BETWEEN 10 AND 350", name="mass"),
        # An id is never given twice: the history tells of runners that an undone import took.
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    code: Mapped[str] = mapped_column(String(LONGEST_CODE))
    sex: Mapped[Sex] = mapped_column(coded(Sex, "sex"))
    birth_year: Mapped[int | None]
    discipline: Mapped[str] = mapped_column(String(100), default="")
    height_cm: Mapped[float | None]
    mass_kg: Mapped[float | None]
    registered_on: Mapped[date | None]
    # Grows with everything stored about the runner: what was judged before is judged again
    # only when this has moved.
    revision: Mapped[int] = mapped_column(default=1)


class IdentityRow(Row):
    """Direct identifiers, apart from everything else so that they can be left behind."""

    __tablename__ = "runner_identity"

    runner_id: Mapped[int] = mapped_column(
        ForeignKey("runner.id", ondelete="RESTRICT"), primary_key=True
    )
    given_name: Mapped[str] = mapped_column(String(200), default="")
    family_name: Mapped[str] = mapped_column(String(200), default="")
    birth_date: Mapped[date | None]


class ConsentRow(Row):
    __tablename__ = "consent"
    __table_args__ = (
        UniqueConstraint("runner_id", "purpose", "given_on"),
        CheckConstraint("withdrawn_on >= given_on", name="withdrawn"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    purpose: Mapped[Purpose] = mapped_column(coded(Purpose, "purpose"))
    given_on: Mapped[date]
    withdrawn_on: Mapped[date | None]


class InjuryRow(Row):
    __tablename__ = "injury"
    __table_args__ = (
        UniqueConstraint("runner_id", "region", "pathology", "side", "onset_on"),
        CheckConstraint("returned_on >= onset_on", name="returned"),
        CheckConstraint(
            "fully_back_on >= onset_on AND (returned_on IS NULL OR fully_back_on >= returned_on)",
            name="fully_back",
        ),
        CheckConstraint("days_limited BETWEEN 0 AND 36600", name="days_limited"),
        CheckConstraint("sessions_missed_in_row BETWEEN 0 AND 10000", name="sessions_missed"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    region: Mapped[Region] = mapped_column(coded(Region, "region"))
    pathology: Mapped[Pathology] = mapped_column(coded(Pathology, "pathology"))
    side: Mapped[InjurySide] = mapped_column(coded(InjurySide, "side"))
    onset_on: Mapped[date]
    onset: Mapped[Onset] = mapped_column(coded(Onset, "onset"))
    occurrence: Mapped[Occurrence] = mapped_column(coded(Occurrence, "occurrence"))
    course: Mapped[Course] = mapped_column(coded(Course, "course"))
    returned_on: Mapped[date | None]
    # First day of full training and racing; `returned_on` is the day of the first run.
    fully_back_on: Mapped[date | None]
    days_limited: Mapped[int | None]
    sessions_missed_in_row: Mapped[int | None]
    consulted: Mapped[bool | None]


class VisitRow(Row):
    __tablename__ = "visit"
    __table_args__ = (
        UniqueConstraint("runner_id", "visited_on", "session"),
        CheckConstraint("session >= 1", name="session"),
        CheckConstraint("speed_km_h BETWEEN 0.5 AND 45", name="speed"),
        CheckConstraint("incline_pct BETWEEN -30 AND 30", name="incline"),
        CheckConstraint("frames_per_s BETWEEN 10 AND 2000", name="frame_rate"),
        CheckConstraint("pain_today BETWEEN 0 AND 10", name="pain"),
        CheckConstraint("next_due_on >= visited_on", name="next_due"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    visited_on: Mapped[date]
    session: Mapped[int] = mapped_column(default=1)
    kind: Mapped[VisitKind] = mapped_column(coded(VisitKind, "kind"))
    speed_km_h: Mapped[float | None]
    surface: Mapped[str] = mapped_column(String(60), default="")
    incline_pct: Mapped[float | None]
    footwear: Mapped[str] = mapped_column(String(60), default="")
    view: Mapped[str] = mapped_column(String(60), default="")
    frames_per_s: Mapped[float | None]
    assessor: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    pain_today: Mapped[float | None]
    next_due_on: Mapped[date | None]
    note: Mapped[str] = mapped_column(Text, default="")
    # Who saved it first; later saves stand in `visit_save`.
    recorded_at: Mapped[datetime]
    recorded_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    # Counts saves, so that the second of two people to save one visit can be told.
    revision: Mapped[int] = mapped_column(default=1)


class VisitSaveRow(Row):
    """Who added to a visit after its first save, and when; one row a revision from 2 on."""

    __tablename__ = "visit_save"
    __table_args__ = (CheckConstraint("revision >= 2", name="revision"),)

    visit_id: Mapped[int] = mapped_column(
        ForeignKey("visit.id", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    revision: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    saved_at: Mapped[datetime]
    saved_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")


class MetricRow(Row):
    __tablename__ = "metric"
    __table_args__ = (
        UniqueConstraint("key"),
        CheckConstraint(
            f"plausible_low >= {-LARGEST_READING:.0f} AND plausible_low < plausible_high"
            f" AND plausible_high <= {LARGEST_READING:.0f}",
            name="plausible",
        ),
        CheckConstraint(within("resolution", 0, LARGEST_READING), name="resolution"),
        CheckConstraint(
            f"important_change > 0 AND important_change <= {LARGEST_READING:.0f}",
            name="important_change",
        ),
        CheckConstraint(f"usual_trials BETWEEN 1 AND {MOST_TRIALS}", name="usual_trials"),
        # A CHECK passes when it comes out NULL, so that the ends must be asked for as well.
        CheckConstraint(
            "better <> 'range' OR (target_low IS NOT NULL AND target_high IS NOT NULL"
            f" AND target_low >= {-LARGEST_READING:.0f} AND target_low < target_high"
            f" AND target_high <= {LARGEST_READING:.0f})",
            name="target",
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(63))
    label: Mapped[str] = mapped_column(String(200))
    group: Mapped[MetricGroup] = mapped_column("metric_group", coded(MetricGroup, "metric_group"))
    unit: Mapped[str] = mapped_column(String(40))
    scale: Mapped[Scale] = mapped_column(coded(Scale, "scale"))
    sided: Mapped[bool]
    plane: Mapped[str] = mapped_column(String(60))
    view: Mapped[str] = mapped_column(String(60))
    phase: Mapped[str] = mapped_column(String(100))
    sign_convention: Mapped[str] = mapped_column(Text)
    better: Mapped[Better] = mapped_column(coded(Better, "better"))
    target_low: Mapped[float | None]
    target_high: Mapped[float | None]
    plausible_low: Mapped[float]
    plausible_high: Mapped[float]
    resolution: Mapped[float]
    floor_kind: Mapped[FloorKind] = mapped_column(coded(FloorKind, "floor_kind"))
    usual_trials: Mapped[int]
    asymmetry_form: Mapped[AsymmetryForm] = mapped_column(coded(AsymmetryForm, "asymmetry_form"))
    important_change: Mapped[float | None]
    sensitive_to: Mapped[list[Any]] = mapped_column(JSON)
    grades: Mapped[list[Any]] = mapped_column(JSON)
    notes: Mapped[str] = mapped_column(Text)
    sources: Mapped[str] = mapped_column(Text)
    position: Mapped[int]
    starter: Mapped[bool]
    active: Mapped[bool]
    revision: Mapped[int] = mapped_column(default=1)


class ErrorFigureRow(Row):
    __tablename__ = "error_figure"
    __table_args__ = (
        CheckConstraint(
            "(sem IS NOT NULL AND sem_trials IS NOT NULL"
            " AND between_sd IS NULL AND within_sd IS NULL AND grade_step IS NULL)"
            " OR (sem IS NULL AND sem_trials IS NULL AND within_sd IS NOT NULL"
            " AND grade_step IS NULL)"
            " OR (grade_step IS NOT NULL AND sem IS NULL AND sem_trials IS NULL"
            " AND between_sd IS NULL AND within_sd IS NULL)",
            name="one_form",
        ),
        CheckConstraint(
            "(origin = 'within_session')"
            " = (sem IS NULL AND between_sd IS NULL AND grade_step IS NULL)",
            name="origin_form",
        ),
        CheckConstraint(f"grade_step BETWEEN 0 AND {LARGEST_GRADE_STEP}", name="grade_step"),
        CheckConstraint("origin <> 'none'", name="origin_known"),
        CheckConstraint(within("between_sd", 0, LARGEST_READING), name="between_sd"),
        CheckConstraint(within("within_sd", 0, LARGEST_READING), name="within_sd"),
        CheckConstraint(f"sem > 0 AND sem <= {LARGEST_READING:.0f}", name="sem"),
        CheckConstraint("sem_trials >= 1", name="sem_trials"),
        CheckConstraint("published_level BETWEEN 50 AND 99.9", name="published_level"),
        CheckConstraint("source <> ''", name="source"),
        CheckConstraint("retired_at >= adopted_at", name="retired"),
        # One figure of each origin in force at a time; retired ones are kept beside it.
        Index(
            "uq_error_figure_in_force",
            "metric_id",
            "applies_to",
            "origin",
            unique=True,
            sqlite_where=text("retired_at IS NULL"),
            postgresql_where=text("retired_at IS NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    metric_id: Mapped[int] = mapped_column(ForeignKey("metric.id", ondelete="RESTRICT"))
    applies_to: Mapped[AppliesTo] = mapped_column(coded(AppliesTo, "applies_to"))
    origin: Mapped[ErrorOrigin] = mapped_column(coded(ErrorOrigin, "origin"))
    between_sd: Mapped[float | None]
    within_sd: Mapped[float | None]
    sem: Mapped[float | None]
    sem_trials: Mapped[int | None]
    grade_step: Mapped[int | None]
    published_as: Mapped[str] = mapped_column(Text, default="")
    published_level: Mapped[float | None]
    averaged: Mapped[str] = mapped_column(Text, default="")
    population: Mapped[str] = mapped_column(Text, default="")
    source: Mapped[str] = mapped_column(Text)
    adopted_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]


class ValueRow(Row):
    """One metric on one side at one visit: n, mean and SD at hand, or why it is missing."""

    __tablename__ = "value"
    __table_args__ = (
        UniqueConstraint("visit_id", "metric_id", "side"),
        CheckConstraint("(mean IS NULL) = (missing_reason IS NOT NULL)", name="mean_or_reason"),
        CheckConstraint(
            f"(mean IS NULL AND n_trials = 0)"
            f" OR (mean IS NOT NULL AND n_trials BETWEEN 1 AND {MOST_TRIALS})",
            name="n_trials",
        ),
        CheckConstraint(within("mean", -LARGEST_READING, LARGEST_READING), name="mean"),
        CheckConstraint(
            f"sd IS NULL OR (n_trials > 1 AND {within('sd', 0, 2 * LARGEST_READING)})", name="sd"
        ),
        CheckConstraint("saved_in >= 1", name="saved_in"),
        CheckConstraint(
            "marking_sd IS NULL OR (mean IS NOT NULL"
            f" AND {within('marking_sd', 0, LARGEST_READING)})",
            name="marking_sd",
        ),
        Index("ix_value_metric_id", "metric_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="RESTRICT"))
    metric_id: Mapped[int] = mapped_column(ForeignKey("metric.id", ondelete="RESTRICT"))
    side: Mapped[Side] = mapped_column(coded(Side, "side"))
    n_trials: Mapped[int]
    mean: Mapped[float | None]
    sd: Mapped[float | None]
    missing_reason: Mapped[MissingReason | None] = mapped_column(
        coded(MissingReason, "missing_reason")
    )
    # Revision of the visit that brought it, so that what another person added can be listed.
    saved_in: Mapped[int] = mapped_column(default=1, server_default=text("1"))
    # SD of the error of one trial that comes from marking points on pictures, where it is known.
    marking_sd: Mapped[float | None]


class TrialRow(Row):
    """One trial's number; its natural key is its primary key."""

    __tablename__ = "trial"
    __table_args__ = (
        CheckConstraint(f"number BETWEEN 1 AND {MOST_TRIALS}", name="number"),
        CheckConstraint(within("reading", -LARGEST_READING, LARGEST_READING), name="reading"),
        {"sqlite_with_rowid": False},
    )

    value_id: Mapped[int] = mapped_column(
        ForeignKey("value.id", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    reading: Mapped[float]


class FlagAcknowledgementRow(Row):
    """A flag that a named user has seen, with the reason; never deleted."""

    __tablename__ = "flag_acknowledgement"
    __table_args__ = (
        UniqueConstraint("visit_id", "metric_id", "kind"),
        CheckConstraint("reason <> ''", name="reason"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="RESTRICT"))
    metric_id: Mapped[int] = mapped_column(ForeignKey("metric.id", ondelete="RESTRICT"))
    kind: Mapped[FlagKind] = mapped_column(coded(FlagKind, "kind"))
    reason: Mapped[str] = mapped_column(Text)
    acknowledged_by: Mapped[int] = mapped_column(ForeignKey("clinic_user.id", ondelete="RESTRICT"))
    acknowledged_at: Mapped[datetime]
