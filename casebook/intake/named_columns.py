"""Columns of a file that whoever gives it names: where they stand, their texts and numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from casebook.domain.errors import InputRefused, Problem
from casebook.intake.cells import Mark, decimal_mark, read_number
from casebook.intake.nearest import hint
from casebook.intake.reading import Sheet


def place_of(sheet: Sheet, name: str | None, option: str) -> int:
    """Position of a named column, told by its option where it is missing."""
    if name is None:
        raise InputRefused(
            (
                Problem(
                    code="column_not_named",
                    message=f"say with {option} which column it is; the file has "
                    f"{', '.join(sheet.header)}.",
                ),
            )
        )
    for match in (str, str.casefold):
        for position, found in enumerate(sheet.header):
            if match(found) == match(name.strip()):
                return position
    raise InputRefused(
        (
            Problem(
                code="unknown_column",
                message=f"there is no column '{name}' ({option}); the file has "
                f"{', '.join(sheet.header)}.{hint(name, sheet.header)}",
                row=sheet.header_line,
                column=name,
                value=name,
            ),
        )
    )


def texts_of(sheet: Sheet, position: int) -> list[str]:
    """A column's cells, trimmed."""
    column = sheet.columns[position]
    stripped = [text.strip() for text in column.texts]
    return [stripped[code] for code in column.codes]


def refuse_blanks(frame: pd.DataFrame, header: dict[str, str], problems: list[Problem]) -> None:
    """Add a problem for each blank cell but the value's; `frame` has each row's `line`."""
    for part, name in header.items():
        if part == "value":
            continue
        blank = ~frame[part].map(bool)
        problems.extend(
            Problem(
                code=f"{part}_blank",
                message=f"the {part} is not given; every row needs one.",
                row=int(line),
                column=name,
            )
            for line in frame["line"][blank]
        )


def numbers_of(
    sheet: Sheet, texts: pd.Series, name: str, whole: bool, problems: list[Problem]
) -> list[float]:
    """A column as numbers, NaN where blank; adds a problem for each cell that is none."""
    mark = decimal_mark(set(texts), sheet.delimiter)
    lines = sheet.lines.tolist()
    return [
        _number(text, mark, whole, (line, name), problems)
        for text, line in zip(texts, lines, strict=True)
    ]


def _number(
    text: str, mark: Mark, whole: bool, place: tuple[int, str], problems: list[Problem]
) -> float:
    row, column = place
    try:
        number = read_number(text, mark)
    except InputRefused as refusal:
        (problem,) = refusal.problems
        problems.append(replace(problem, row=row, column=column, value=text))
        return np.nan
    if number is None:
        return np.nan
    if whole and not number.is_integer():
        problems.append(
            Problem(
                code="grade_not_whole",
                message=f"'{text}' is no grade; with --grades every value is a whole number "
                "such as 0, 1, 2.",
                row=row,
                column=column,
                value=text,
            )
        )
    return number
