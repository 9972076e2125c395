"""Everything held on one runner, out: readable, and as an HL7 FHIR R4 Bundle."""

from __future__ import annotations

import io
import os
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from casebook.domain.errors import Conflict, StoreUnavailable
from casebook.domain.history import Subject
from casebook.domain.history_words import column_label
from casebook.domain.metrics import Metric
from casebook.domain.plan_drafts import DraftKind, kind_of, plan_fields, read_plan
from casebook.domain.sides import Side
from casebook.domain.visit_drafts import RUNNER, TypedField, typed_fields
from casebook.domain.whole_record import METRIC, HistoryLine, Unsaved, WholeRecord
from casebook.domain.wording import upper_first
from casebook.intake.fhir_out import bundle_text
from casebook.intake.record_page import CAUTION, record_files
from casebook.intake.record_tables import tables_of
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row
from casebook.services.telling_history import ToldEntry, runner_history
from casebook.storage import clinics, drafts, export_runs, history, whole_record
from casebook.storage.session import Unit, reading

__all__ = ["BUNDLE", "CAUTION", "get_record", "readable_files", "record_zip", "write_record"]

BUNDLE: Final = "record.fhir.json"


def get_record(casebook: Casebook, code: str) -> WholeRecord:
    """Everything that is held on a runner, direct identifiers among it.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    """
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        rows = whole_record.rows_of(unit, runner_id)
        values = whole_record.values_of(unit, runner_id)
        keys = [row.fields[METRIC] for row in rows if METRIC in row.fields]
        users = {
            row.fields[name]
            for row in rows
            for name in whole_record.names_users(row.kind)
            if name in row.fields
        }
        record = WholeRecord(
            code=runner.code,
            clinic=clinics.clinic_name(unit, casebook.clinic_id),
            written_at=clock.now(),
            rows=rows,
            values=values,
            metrics=whole_record.metrics_of(unit, [*keys, *(one.value.metric for one in values)]),
            users=whole_record.users_of(unit, casebook.clinic_id, users),
            unsaved=_unsaved(unit, casebook.clinic_id, runner.code),
        )
        left = _exports(unit, casebook.clinic_id, runner_id)
    told = runner_history(casebook, runner.code)
    lines = (*(_line(entry) for entry in told), *left)
    return replace(record, history=tuple(sorted(lines, key=lambda line: line.number)))


def _exports(unit: Unit, clinic_id: int, runner_id: int) -> list[HistoryLine]:
    """De-identified exports that held the runner: whoever asks is told who may have the tables."""
    return [
        HistoryLine(
            number=history.entries_of_record(unit, Subject.EXPORT, run.number)[0].number,
            at=run.at,
            by=run.by,
            what=f"left de-identified in export {run.number} (for {run.purpose.value})",
        )
        for run in export_runs.runs(unit, clinic_id)
        if runner_id in run.runners
    ]


def _unsaved(unit: Unit, clinic_id: int, code: str) -> tuple[Unsaved, ...]:
    """The drafts that name the runner, oldest first."""
    kept = [one for one in drafts.drafts(unit, clinic_id) if one.content.get(RUNNER) == code]
    typed = [typed_fields(one.content) for one in kept]
    keys = {field.name for fields in typed for field in fields if field.side is not None}
    known = {metric.key: metric for metric in whole_record.metrics_of(unit, sorted(keys))}
    told = [
        Unsaved(
            kind=(kind := kind_of(one.content)),
            begun_by=one.owner,
            begun_at=one.started_at,
            typed_at=one.saved_at,
            fields=tuple((_what(field, known), field.typed) for field in fields)
            if kind is DraftKind.VISIT
            else _of_plan(one.content),
        )
        for one, fields in zip(kept, typed, strict=True)
    ]
    return tuple(sorted(told, key=lambda one: one.begun_at))


def _of_plan(content: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    return tuple(
        (f"{upper_first(row)}: {column_label(name)}" if row else column_label(name), typed)
        for row, name, typed in plan_fields(read_plan(content))
    )


def _what(field: TypedField, known: Mapping[str, Metric]) -> str:
    if field.side is None:
        return column_label(field.name)
    label = known[field.name].label if field.name in known else field.name
    return label if field.side is Side.NONE else f"{label}, {field.side.value}"


def _line(entry: ToldEntry) -> HistoryLine:
    visit = ""
    if entry.visit is not None:
        day, session = entry.visit
        visit = f" ({day}{f', session {session}' if session != 1 else ''})"
    return HistoryLine(
        number=entry.number,
        at=entry.at,
        by=entry.by,
        what=f"{entry.heading}{visit}",
        reason=entry.reason,
        changed=tuple(f"{one.label}: {one.was} → {one.now}" for one in entry.fields),
    )


def readable_files(record: WholeRecord) -> dict[str, bytes]:
    """Name and content of the page, the tables and what explains them."""
    return record_files(record, tables_of(record, whole_record.columns_of))


def record_zip(record: WholeRecord) -> bytes:
    """Both forms of a record in one file (.zip)."""
    return _zipped({**readable_files(record), BUNDLE: bundle_text(record).encode()})


def _zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in files.items():
            packed.writestr(name, content)
    return out.getvalue()


def write_record(record: WholeRecord, out: Path, *, text: bool = True, fhir: bool = True) -> Path:
    """Write a record where only its owner may read it; nothing that stands is replaced.

    Parameters
    ----------
    out : Path
        A folder to be made or an empty one, or a file: '.json' for the Bundle alone, '.zip' for
        whatever was asked for.
    text, fhir : bool
        Which forms.

    Returns
    -------
    Path
        What was written.

    Raises
    ------
    Conflict
        When something stands there.
    StoreUnavailable
        When it cannot be written; nothing is left half-written.
    """
    files = readable_files(record) if text else {}
    if fhir:
        files[BUNDLE] = bundle_text(record).encode()
    try:
        if out.suffix == ".zip":
            _write_file(out, _zipped(files))
        elif out.suffix == ".json" and not text:
            _write_file(out, files[BUNDLE])
        else:
            _write_folder(out, files)
    except OSError as error:
        raise StoreUnavailable(
            f"The record cannot be written to {out} ({error.strerror or error}). Name a new "
            "folder or file in a place that may be written."
        ) from error
    return out


def _write_file(out: Path, content: bytes) -> None:
    if out.exists():
        raise _taken(out)
    handle, name = tempfile.mkstemp(prefix=f".{out.name}.", dir=out.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        part.rename(out)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _write_folder(out: Path, files: Mapping[str, bytes]) -> None:
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise _taken(out)
    out.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    try:
        for name, content in files.items():
            (part / name).write_bytes(content)
            (part / name).chmod(0o600)
        part.rename(out)  # over an empty folder, too
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise


def _taken(out: Path) -> Conflict:
    return Conflict(
        f"{out} stands already and is not replaced, for it may hold somebody else's record. Name "
        "a new folder or file."
    )
