"""The list of exercises from a table (CSV): a row for each, its columns named as in the list."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from casebook.catalogue.entries import Entry
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.exercises import LONGEST_EXERCISE_NAME, LONGEST_EXERCISE_TEXT, MOST, TEXTS
from casebook.domain.programmes import Aim
from casebook.intake.cells import Style, decimal_mark, read_cell
from casebook.intake.columns import Column, Type
from casebook.intake.nearest import hint
from casebook.intake.reading import Sheet, read_sheet

COLUMNS: tuple[Column, ...] = (
    Column(name="key", type=Type.TEXT, longest=63),
    Column(name="name", type=Type.TEXT, longest=LONGEST_EXERCISE_NAME),
    Column(name="aim", type=Type.CHOICE, allowed=tuple(Aim)),
    *(Column(name=name, type=Type.TEXT, longest=LONGEST_EXERCISE_TEXT) for name in TEXTS),
    Column(name="sided", type=Type.YES_NO),
    Column(name="sets", type=Type.WHOLE, low=1, high=MOST["sets"]),
    Column(name="repetitions", type=Type.WHOLE, low=1, high=MOST["repetitions"]),
    Column(name="hold_s", type=Type.NUMBER, low=0, high=MOST["hold_s"]),
    Column(name="sessions_per_week", type=Type.NUMBER, low=0, high=MOST["sessions_per_week"]),
    Column(name="metrics", type=Type.TEXT, longest=LONGEST_EXERCISE_TEXT),
    Column(name="position", type=Type.WHOLE, low=0, high=1_000_000),
    Column(name="active", type=Type.YES_NO),
)
NAMES = tuple(column.name for column in COLUMNS)


def read_exercise_table(path: Path) -> list[Entry]:
    """A table of exercises as entries; a blank cell says nothing of its field.

    Parameters
    ----------
    path : Path
        CSV with a column `key` and any of the others; `metrics` holds keys with blanks or
        semicolons between them.

    Raises
    ------
    InputRefused
        With every cell and column that cannot be taken.
    """
    try:
        return _entries(read_sheet(path, NAMES))
    except InputRefused as refusal:
        raise InputRefused(
            tuple(replace(problem, file=path.name) for problem in refusal.problems)
        ) from None


def _entries(sheet: Sheet) -> list[Entry]:
    header = [name.casefold() for name in sheet.header]
    problems = [*sheet.problems, *_header_problems(sheet, header)]
    if problems:
        raise InputRefused(tuple(problems))
    known = {column.name: column for column in COLUMNS}
    entries = []
    numbers = {Type.NUMBER, Type.WHOLE}
    texts = {
        text
        for name, column in zip(header, sheet.columns, strict=True)
        if known[name].type in numbers
        for text in column.texts
    }
    style = Style(mark=decimal_mark(texts, sheet.delimiter))
    for row, line in enumerate(sheet.lines.tolist()):
        content: dict[str, object] = {}
        for name, column in zip(header, sheet.columns, strict=True):
            try:
                cell = read_cell(column.text(row), known[name], style)
            except InputRefused as refusal:
                problems += [
                    replace(one, row=line, column=name, value=one.value or column.text(row))
                    for one in refusal.problems
                ]
                continue
            if cell is not None:
                content[name] = str(cell).replace(";", " ").split() if name == "metrics" else cell
        if "key" not in content:
            problems.append(
                Problem(
                    code="key_blank",
                    message="the key is not given; every row needs the key of an exercise.",
                    row=line,
                    column="key",
                )
            )
        name = f"exercise '{content.get('key', '?')}'"
        entries.append(Entry(file=sheet.file, row=line, name=name, content=content))
    if problems:
        raise InputRefused(tuple(problems))
    return entries


def _header_problems(sheet: Sheet, header: list[str]) -> list[Problem]:
    line = sheet.header_line
    problems = [
        Problem(
            code="unknown_column",
            message=f"the column '{name}' is not known; expected {', '.join(NAMES)}."
            f"{hint(name, NAMES)}",
            row=line,
            column=name,
            value=name,
        )
        for name in header
        if name not in NAMES
    ]
    if "key" not in header:
        problems.append(
            Problem(
                code="column_missing",
                message="the column 'key' is missing; it says which exercise a row is about.",
                row=line,
                column="key",
            )
        )
    return problems
