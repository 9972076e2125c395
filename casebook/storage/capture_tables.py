"""Row classes of what comes in and goes out: history, imports, exports, drafts, attachments."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from casebook.domain.history import Act, Subject
from casebook.domain.people import LONGEST_CODE, Purpose
from casebook.storage.row_base import Row, coded


class HistoryRow(Row):
    """One entry of the history; the database itself refuses to change or remove one.

    No foreign keys: the history outlives what it tells of.
    """

    __tablename__ = "history"
    __table_args__ = (
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("hash <> ''", name="hash"),
        # The first entry alone follows on none.
        CheckConstraint("(number = 1) = (previous = '')", name="previous"),
        CheckConstraint(
            "act NOT IN ('amended', 'struck_out', 'undone') OR reason <> ''", name="reason"
        ),
        UniqueConstraint("previous"),
        Index("ix_history_runner_id", "runner_id"),
        Index("ix_history_visit_id", "visit_id"),
        Index("ix_history_import_run_id", "import_run_id"),
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    act: Mapped[Act] = mapped_column(coded(Act, "act"))
    subject: Mapped[Subject] = mapped_column(coded(Subject, "subject"))
    subject_id: Mapped[int]
    runner_id: Mapped[int | None]
    visit_id: Mapped[int | None]
    import_run_id: Mapped[int | None]
    reason: Mapped[str] = mapped_column(Text, default="")
    content: Mapped[str] = mapped_column(Text)
    previous: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64))


class ImportRunRow(Row):
    """One import that stored something; undone as a whole or not at all."""

    __tablename__ = "import_run"
    __table_args__ = (CheckConstraint("(undone_at IS NULL) = (undo_reason = '')", name="undone"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    files: Mapped[list[Any]] = mapped_column(JSON)
    added: Mapped[int]
    undone_at: Mapped[datetime | None]
    undone_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    undo_reason: Mapped[str] = mapped_column(Text, default="")


class ExportRunRow(Row):
    """One export that left the casebook; the database refuses to change or remove it.

    `runners` are the ids of those whose records were in it, so that a runner can be told, and
    whoever holds the files can be asked when one withdraws. Pseudonyms are kept nowhere.
    """

    __tablename__ = "export_run"
    __table_args__ = (
        CheckConstraint("by <> ''", name="by"),
        CheckConstraint("settings <> ''", name="settings"),
        CheckConstraint("length(key_fingerprint) = 64", name="key_fingerprint"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(LONGEST_CODE))
    purpose: Mapped[Purpose] = mapped_column(coded(Purpose, "purpose"))
    settings: Mapped[str] = mapped_column(Text)
    key_fingerprint: Mapped[str] = mapped_column(String(64))
    # SHA-256 by file's name, rows by table, figures of the risk by name.
    files: Mapped[dict[str, Any]] = mapped_column(JSON)
    n_rows: Mapped[dict[str, Any]] = mapped_column(JSON)
    risk: Mapped[dict[str, Any]] = mapped_column(JSON)
    runners: Mapped[list[Any]] = mapped_column(JSON)


class ImportMappingRow(Row):
    """How files of one shape are read, as the user last settled it."""

    __tablename__ = "import_mapping"
    __table_args__ = (UniqueConstraint("clinic_id", "shape"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    shape: Mapped[str] = mapped_column(String(64))
    name: Mapped[str] = mapped_column(String(200))
    content: Mapped[str] = mapped_column(Text)
    saved_at: Mapped[datetime]
    saved_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")


class DraftRow(Row):
    """What was typed and not saved yet."""

    __tablename__ = "draft"
    __table_args__ = (UniqueConstraint("key"), CheckConstraint("key <> ''", name="key"))

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    key: Mapped[str] = mapped_column(String(64))
    owner: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
    content: Mapped[str] = mapped_column(Text)
    started_at: Mapped[datetime]
    saved_at: Mapped[datetime]


class MeasurementSetRow(Row):
    """Which metrics are shown together when a visit is logged; a clinic's own."""

    __tablename__ = "measurement_set"
    __table_args__ = (
        UniqueConstraint("clinic_id", "name"),
        CheckConstraint("name <> ''", name="name"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    clinic_id: Mapped[int] = mapped_column(ForeignKey("clinic.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(String(100))
    purpose: Mapped[str] = mapped_column(Text, default="")
    position: Mapped[int] = mapped_column(default=0)
    active: Mapped[bool] = mapped_column(default=True)


class MeasurementSetMetricRow(Row):
    __tablename__ = "measurement_set_metric"
    __table_args__ = (CheckConstraint("position >= 0", name="position"),)

    set_id: Mapped[int] = mapped_column(
        ForeignKey("measurement_set.id", ondelete="RESTRICT"),
        primary_key=True,
        autoincrement=False,
    )
    metric_id: Mapped[int] = mapped_column(
        ForeignKey("metric.id", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    position: Mapped[int]


class AttachmentRow(Row):
    """A picture or document of a visit; its bytes lie beside the database, by their hash."""

    __tablename__ = "attachment"
    __table_args__ = (
        UniqueConstraint("visit_id", "sha256"),
        CheckConstraint("kind IN ('png', 'jpeg', 'pdf')", name="kind"),
        CheckConstraint("n_bytes >= 1", name="n_bytes"),
        CheckConstraint("length(sha256) = 64", name="sha256"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="RESTRICT"))
    sha256: Mapped[str] = mapped_column(String(64))
    kind: Mapped[str] = mapped_column(String(8))
    name: Mapped[str] = mapped_column(String(200))
    n_bytes: Mapped[int]
    caption: Mapped[str] = mapped_column(Text, default="")
    added_at: Mapped[datetime]
    added_by: Mapped[str] = mapped_column(String(LONGEST_CODE), default="")
