"""Questions about tables of records: what differs from what is stored, and what stands twice."""

from __future__ import annotations

from typing import Any

from casebook.domain.decisions import Asks, Choice, Question, Shown
from casebook.domain.sides import InjurySide
from casebook.intake.columns import TABLES, TableKind
from casebook.intake.records import IDENTIFIERS, Record

KIND_WORDS = {
    TableKind.USERS: "User",
    TableKind.RUNNERS: "Runner",
    TableKind.INJURIES: "Complaint",
    TableKind.CONSENTS: "Consent",
    TableKind.PROGRAMMES: "Programme",
    TableKind.BLOCKS: "Exercise of a programme",
    TableKind.TARGETS: "Target",
    TableKind.ADHERENCE: "Week of adherence",
    TableKind.RUNS: "Run",
    TableKind.FINDINGS: "Finding",
    TableKind.ERROR_FIGURES: "Error figure",
}
COLUMN_WORDS = {
    "height_cm": "height (cm)",
    "mass_kg": "mass (kg)",
    "hold_s": "hold (s)",
    "onset_on": "began on",
    "returned_on": "ran again on",
    "fully_back_on": "fully back on",
    "rest_s": "rest between sets (s)",
    "given_on": "given on",
    "withdrawn_on": "withdrawn on",
    "injury_onset_on": "complaint that it is for",
    "display_name": "name as shown",
}


def column_words(column: str) -> str:
    """A column's name in words."""
    return COLUMN_WORDS.get(column, column.replace("_on", " on").replace("_", " "))


def cell_words(cell: Any) -> str:
    """A cell in words."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, InjurySide):
        return cell.value
    if isinstance(cell, float):
        return f"{cell:.10g}"
    return str(cell).replace("_", " ") if hasattr(cell, "value") else str(cell)


def _about(record: Record) -> tuple[str, ...]:
    names = TABLES[record.kind].key
    return (
        record.kind.value,
        *(str(record.cells[name]) for name in names if record.cells.get(name) is not None),
    )


def record_title(record: Record) -> str:
    """What a record is about, in words."""
    named = [
        cell_words(record.cells[name])
        for name in TABLES[record.kind].key
        if record.cells.get(name) is not None
    ]
    return f"{KIND_WORDS[record.kind]} {', '.join(named)}"


def ask_record(record: Record, file: str, column: str, stored: Any, given: Any) -> Question:
    """The question whether a cell of a stored record gives way to the file's."""
    # A name that gave way would stand nowhere any more: the history keeps no names.
    names = column in IDENTIFIERS
    about_complaint = column == "injury_onset_on"
    return Question(
        kind=Asks.RECORD,
        about=(*_about(record), column),
        title=f"{record_title(record)}: {column_words(column)}",
        shown=(
            Shown(
                where="stored", what="another complaint" if about_complaint else cell_words(stored)
            ),
            Shown(where=f"row {record.line} of {file}", what=cell_words(given)),
        ),
        choices=(Choice.KEEP, Choice.LEAVE_OUT)
        if names
        else (Choice.KEEP, Choice.TAKE, Choice.LEAVE_OUT),
    )


def ask_twice(records: list[Record], files: list[str]) -> Question:
    """The question which of several records about the same thing is taken."""
    first = records[0]
    names = [name for name in first.cells if name not in TABLES[first.kind].key]
    return Question(
        kind=Asks.RECORD_TWICE,
        about=_about(first),
        title=record_title(first),
        shown=tuple(
            Shown(
                where=f"row {record.line} of {files[record.file]}",
                what=", ".join(
                    f"{column_words(name)}: {cell_words(record.cells[name])}"
                    for name in names
                    if record.cells[name] is not None
                )
                or "nothing more",
            )
            for record in records
        ),
        choices=(Choice.FIRST, Choice.LAST, Choice.LEAVE_OUT),
    )
