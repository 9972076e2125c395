"""Row classes of what was prescribed, what was expected of it, and what came of it."""

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

from casebook.domain.cautions import CautionAction, Finding, PainReason
from casebook.domain.hypotheses import LEAST_SURE, MOST_SURE, HypothesisKind
from casebook.domain.hypotheses import Role as LinkRole
from casebook.domain.people import LONGEST_CODE
from casebook.domain.prescriptions import (
    LONGEST_PHASE_S,
    LONGEST_REST_S,
    MOST_WEEKS,
    Delivery,
    Mode,
    Supervision,
    Tailoring,
)
from casebook.domain.programmes import Aim, ProgrammeKind, TargetDirection, TargetOn
from casebook.domain.running_load import LONGEST_KM, LONGEST_MIN
from casebook.domain.sides import InjurySide
from casebook.domain.visits import LARGEST_READING
from casebook.storage.row_base import Row, coded, within


def _text() -> Any:
    """A text that is empty where nothing was filled in, in rows from before it was asked, too."""
    return mapped_column(Text, default="", server_default=text("''"))


class ProgrammeRow(Row):
    """A programme as it stands; what its versions were is told by the history."""

    __tablename__ = "programme"
    __table_args__ = (
        UniqueConstraint("runner_id", "started_on", "title"),
        CheckConstraint("ended_on >= started_on", name="ended"),
        CheckConstraint("title <> ''", name="title"),
        CheckConstraint(f"planned_weeks BETWEEN 1 AND {MOST_WEEKS}", name="planned_weeks"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    injury_id: Mapped[int | None] = mapped_column(ForeignKey("injury.id", ondelete="RESTRICT"))
    title: Mapped[str] = mapped_column(String(200))
    kind: Mapped[ProgrammeKind] = mapped_column(coded(ProgrammeKind, "kind"))
    rationale: Mapped[str] = mapped_column(Text, default="")
    started_on: Mapped[date]
    ended_on: Mapped[date | None]
    # How it is delivered: the reporting items beyond the exercises.
    provider: Mapped[str] = _text()
    setting: Mapped[str] = _text()
    mode: Mapped[Mode | None] = mapped_column(coded(Mode, "mode"))
    delivery: Mapped[Delivery | None] = mapped_column(coded(Delivery, "delivery"))
    materials: Mapped[str] = _text()
    planned_weeks: Mapped[int | None]
    home_part: Mapped[str] = _text()
    other_parts: Mapped[str] = _text()
    starting_level: Mapped[str] = _text()
    tailored: Mapped[Tailoring | None] = mapped_column(coded(Tailoring, "tailored"))
    tailoring: Mapped[str] = _text()
    modifications: Mapped[str] = _text()
    motivation: Mapped[str] = _text()
    adverse_events: Mapped[str] = _text()
    fidelity_plan: Mapped[str] = _text()
    fidelity_actual: Mapped[str] = _text()


class BlockRow(Row):
    """One exercise of a programme with its dose and its rules."""

    __tablename__ = "programme_block"
    __table_args__ = (
        UniqueConstraint("programme_id", "position"),
        CheckConstraint("position >= 1", name="position"),
        CheckConstraint("sets BETWEEN 1 AND 100", name="sets"),
        CheckConstraint("repetitions BETWEEN 1 AND 10000", name="repetitions"),
        CheckConstraint("hold_s BETWEEN 0 AND 36000", name="hold"),
        CheckConstraint("sessions_per_week BETWEEN 0 AND 70", name="sessions"),
        CheckConstraint(within("rest_s", 0, LONGEST_REST_S), name="rest"),
        *(
            CheckConstraint(within(f"tempo_{part}_s", 0, LONGEST_PHASE_S), name=f"tempo_{part}")
            for part in ("lower", "hold", "lift", "rest")
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id", ondelete="RESTRICT"))
    position: Mapped[int]
    aim: Mapped[Aim] = mapped_column(coded(Aim, "aim"))
    exercise: Mapped[str] = mapped_column(String(200))
    side: Mapped[InjurySide] = mapped_column(coded(InjurySide, "side"))
    sets: Mapped[int | None]
    repetitions: Mapped[int | None]
    load: Mapped[str] = mapped_column(String(100), default="")
    hold_s: Mapped[float | None]
    sessions_per_week: Mapped[float | None]
    # Key in the list of exercises, '' for one in the clinician's own words. No reference: an
    # exercise is never removed from the list, and a programme outlives a change of the list.
    exercise_key: Mapped[str] = mapped_column(String(63), default="", server_default=text("''"))
    instructions: Mapped[str] = _text()
    # A tempo without its first three parts is none (`translation.tempo_value`).
    tempo_lower_s: Mapped[float | None]
    tempo_hold_s: Mapped[float | None]
    tempo_lift_s: Mapped[float | None]
    tempo_rest_s: Mapped[float | None]
    rest_s: Mapped[float | None]
    progress_when: Mapped[str] = _text()
    progress_how: Mapped[str] = _text()
    ease_when: Mapped[str] = _text()
    equipment: Mapped[str] = _text()
    supervision: Mapped[Supervision | None] = mapped_column(coded(Supervision, "supervision"))


class TargetRow(Row):
    """What a programme should change, by how much and by when."""

    __tablename__ = "target"
    __table_args__ = (
        UniqueConstraint("programme_id", "metric_id", "what"),
        CheckConstraint(f"amount > 0 AND amount <= {LARGEST_READING:.0f}", name="amount"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id", ondelete="RESTRICT"))
    metric_id: Mapped[int] = mapped_column(ForeignKey("metric.id", ondelete="RESTRICT"))
    what: Mapped[TargetOn] = mapped_column(coded(TargetOn, "what"))
    direction: Mapped[TargetDirection] = mapped_column(coded(TargetDirection, "direction"))
    amount: Mapped[float]
    due_on: Mapped[date]


class AdherenceRow(Row):
    """One week of a programme as it was done."""

    __tablename__ = "adherence"
    __table_args__ = (
        UniqueConstraint("programme_id", "week_start"),
        CheckConstraint("sessions_planned BETWEEN 0 AND 70", name="planned"),
        CheckConstraint("sessions_done BETWEEN 0 AND 70", name="done"),
        CheckConstraint("pain_during BETWEEN 0 AND 10", name="pain_during"),
        CheckConstraint("pain_morning_after BETWEEN 0 AND 10", name="pain_morning_after"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id", ondelete="RESTRICT"))
    week_start: Mapped[date]
    sessions_planned: Mapped[int]
    sessions_done: Mapped[int]
    pain_during: Mapped[float | None]
    pain_morning_after: Mapped[float | None]
    comment: Mapped[str] = mapped_column(Text, default="")


class ExerciseRow(Row):
    """An exercise of the list; hidden, never removed."""

    __tablename__ = "exercise"
    __table_args__ = (
        UniqueConstraint("key"),
        CheckConstraint("name <> ''", name="name"),
        CheckConstraint("sets BETWEEN 1 AND 100", name="sets"),
        CheckConstraint("repetitions BETWEEN 1 AND 10000", name="repetitions"),
        CheckConstraint("hold_s BETWEEN 0 AND 36000", name="hold"),
        CheckConstraint("sessions_per_week BETWEEN 0 AND 70", name="sessions"),
        CheckConstraint("dose = '' OR dose_source <> ''", name="dose_source"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(63))
    name: Mapped[str] = mapped_column(String(200))
    aim: Mapped[Aim] = mapped_column(coded(Aim, "aim"))
    purpose: Mapped[str] = mapped_column(Text, default="")
    how: Mapped[str] = mapped_column(Text, default="")
    sided: Mapped[bool]
    equipment: Mapped[str] = mapped_column(Text, default="")
    dose: Mapped[str] = mapped_column(Text, default="")
    dose_source: Mapped[str] = mapped_column(Text, default="")
    sets: Mapped[int | None]
    repetitions: Mapped[int | None]
    hold_s: Mapped[float | None]
    sessions_per_week: Mapped[float | None]
    progress: Mapped[str] = mapped_column(Text, default="")
    ease: Mapped[str] = mapped_column(Text, default="")
    metrics: Mapped[list[Any]] = mapped_column(JSON)
    position: Mapped[int]
    starter: Mapped[bool]
    active: Mapped[bool]


class HypothesisRow(Row):
    """One version of a working hypothesis; the database refuses to change or remove it.

    `number` tells the hypotheses of a programme apart, `version` those of one hypothesis.
    """

    __tablename__ = "hypothesis"
    __table_args__ = (
        UniqueConstraint("programme_id", "number", "version"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("version >= 1", name="version"),
        CheckConstraint("driver <> ''", name="driver"),
        CheckConstraint("(version = 1) = (reason = '')", name="reason"),
        CheckConstraint(f"sureness_pct BETWEEN {LEAST_SURE} AND {MOST_SURE}", name="sureness"),
        Index("ix_hypothesis_runner_id", "runner_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id", ondelete="RESTRICT"))
    number: Mapped[int]
    version: Mapped[int]
    kind: Mapped[HypothesisKind] = mapped_column(coded(HypothesisKind, "kind"))
    driver: Mapped[str] = mapped_column(Text)
    leads_to: Mapped[str] = mapped_column(Text, default="")
    sureness_pct: Mapped[int]
    reason: Mapped[str] = mapped_column(Text, default="")
    written_on: Mapped[date]
    written_at: Mapped[datetime]
    written_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")


class HypothesisLinkRow(Row):
    """One prediction of a version; as unalterable as the version."""

    __tablename__ = "hypothesis_link"
    __table_args__ = (
        UniqueConstraint("hypothesis_id", "position"),
        UniqueConstraint("hypothesis_id", "metric_id", "what"),
        CheckConstraint("position >= 1", name="position"),
        CheckConstraint(f"amount > 0 AND amount <= {LARGEST_READING:.0f}", name="amount"),
        CheckConstraint("(role = 'still') = (direction IS NULL)", name="way"),
        CheckConstraint("role = 'still' OR amount IS NOT NULL", name="asked"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    hypothesis_id: Mapped[int] = mapped_column(ForeignKey("hypothesis.id", ondelete="RESTRICT"))
    position: Mapped[int]
    role: Mapped[LinkRole] = mapped_column(coded(LinkRole, "role"))
    metric_id: Mapped[int] = mapped_column(ForeignKey("metric.id", ondelete="RESTRICT"))
    what: Mapped[TargetOn] = mapped_column(coded(TargetOn, "what"))
    direction: Mapped[TargetDirection | None] = mapped_column(coded(TargetDirection, "direction"))
    amount: Mapped[float | None]
    due_on: Mapped[date]
    why: Mapped[str] = mapped_column(Text, default="")


class RunRow(Row):
    """One run of a runner; `number` tells the runs of one day apart."""

    __tablename__ = "run"
    __table_args__ = (
        UniqueConstraint("runner_id", "run_on", "number"),
        CheckConstraint("number BETWEEN 1 AND 20", name="number"),
        CheckConstraint(within("distance_km", 0, LONGEST_KM), name="distance"),
        CheckConstraint(within("minutes", 0, LONGEST_MIN), name="minutes"),
        CheckConstraint("effort BETWEEN 0 AND 10", name="effort"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    runner_id: Mapped[int] = mapped_column(ForeignKey("runner.id", ondelete="RESTRICT"))
    run_on: Mapped[date]
    number: Mapped[int] = mapped_column(default=1)
    distance_km: Mapped[float | None]
    minutes: Mapped[float | None]
    effort: Mapped[float | None]


class FindingRow(Row):
    """What was asked or seen at a visit, and whether it was there; no row where it was not."""

    __tablename__ = "visit_finding"
    __table_args__ = (UniqueConstraint("visit_id", "finding"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="RESTRICT"))
    finding: Mapped[Finding] = mapped_column(coded(Finding, "finding"))
    present: Mapped[bool]


class CautionAcknowledgementRow(Row):
    """What a named user did about a caution, with the reason."""

    __tablename__ = "caution_acknowledgement"
    __table_args__ = (
        UniqueConstraint("visit_id", "rule"),
        CheckConstraint("reason <> ''", name="reason"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="RESTRICT"))
    rule: Mapped[str] = mapped_column(String(40))
    action: Mapped[CautionAction] = mapped_column(coded(CautionAction, "action"))
    reason: Mapped[str] = mapped_column(Text)
    acknowledged_by: Mapped[int] = mapped_column(ForeignKey("clinic_user.id", ondelete="RESTRICT"))
    acknowledged_at: Mapped[datetime]


class PainAcknowledgementRow(Row):
    """That a named user has seen a week's pain beyond the usual limits, with the reason."""

    __tablename__ = "pain_acknowledgement"
    __table_args__ = (
        UniqueConstraint("programme_id", "week_start", "kind"),
        CheckConstraint("reason <> ''", name="reason"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id", ondelete="RESTRICT"))
    week_start: Mapped[date]
    kind: Mapped[PainReason] = mapped_column(coded(PainReason, "kind"))
    reason: Mapped[str] = mapped_column(Text)
    acknowledged_by: Mapped[int] = mapped_column(ForeignKey("clinic_user.id", ondelete="RESTRICT"))
    acknowledged_at: Mapped[datetime]
