"""A workbook (.xlsx) read into grids, sheet by sheet, without its formats and pictures."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from casebook.domain.errors import InputRefused, refuse
from casebook.intake.archive_guard import damaged, look_through
from casebook.intake.grids import Grid, GridBuilder
from casebook.intake.reading import LARGEST_FILE

SIGNATURE = b"PK\x03\x04"
MOST_SHEETS = 60
LAST_ROW = 1_048_576
LAST_COLUMN = 16_384


def is_workbook(path: Path) -> bool:
    """True for a zip archive, which a workbook is, whatever its name says."""
    try:
        with path.open("rb") as file:
            return file.read(4) == SIGNATURE
    except OSError:
        return False


def read_workbook(path: Path, last_row: int = LAST_ROW) -> tuple[Grid, ...]:
    """Read every sheet of a workbook that is not hidden and not empty, down to a row.

    A cell with a formula gives the result that the file holds; where it holds none, that is
    told in `Grid.formulas`. Dates are read by the workbook's own calendar (1900 or 1904).

    Raises
    ------
    InputRefused
        When it is damaged, locked, no workbook, or too large.
    """
    if path.stat().st_size > LARGEST_FILE:
        raise refuse(
            "file_too_large",
            f"the file has more than {LARGEST_FILE // 1024**2} MB; split it by runner.",
        )
    looked = look_through(path)
    with _opened(path, data_only=True) as book:
        sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        if len(sheets) > MOST_SHEETS:
            raise refuse(
                "too_many_sheets",
                f"the workbook has {len(sheets)} sheets; at most {MOST_SHEETS} are taken.",
            )
        builders = {sheet.title: _build(sheet, last_row) for sheet in sheets}
    formulas = _formulas(path, builders, last_row) if any(looked.formulas.values()) else {}
    grids = [
        builder.grid(path.name, sheet=title, formulas=formulas.get(title))
        for title, builder in builders.items()
    ]
    found = tuple(grid for grid in grids if grid.n_rows)
    if not found:
        raise refuse("empty_file", "the workbook is empty; expected a header and rows.")
    return found


@contextmanager
def _opened(path: Path, *, data_only: bool) -> Iterator[Any]:
    from openpyxl import load_workbook  # noqa: PLC0415 - a CSV import need not wait for it

    # Given open: when a workbook can't be read, the file is left to whoever opened it.
    with path.open("rb") as file, warnings.catch_warnings():
        # It warns of formats that it does not keep; formats are not looked at here.
        warnings.simplefilter("ignore")
        try:
            book = load_workbook(file, read_only=True, data_only=data_only, keep_links=False)
            try:
                yield book
            finally:
                book.close()
        except InputRefused:
            raise
        except Exception as error:
            # Nearly every kind of error comes out of a workbook that contradicts itself
            # (KeyError, TypeError, AttributeError, ...): to its owner they all mean the same.
            raise damaged() from error


def _rows(sheet: Any, last_row: int, *, values_only: bool) -> Iterator[tuple[Any, ...]]:
    # Sizes that the file declares may be wrong; only what is really there counts.
    sheet.reset_dimensions()
    rows: Iterator[tuple[Any, ...]] = sheet.iter_rows(max_row=last_row, values_only=values_only)
    return rows


def _build(sheet: Any, last_row: int) -> GridBuilder:
    builder = GridBuilder()
    for line, row in enumerate(_rows(sheet, last_row, values_only=True), start=1):
        if row:
            builder.add(line, [_text(value) for value in row])
    return builder


def _text(value: Any) -> str:
    """A cell's value as it would be typed, with a decimal dot and an ISO date."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number_text(value)
    if isinstance(value, datetime):
        # A date has no time of day; a rounded one is a few milliseconds off.
        nearest = (value + timedelta(milliseconds=500)).replace(microsecond=0)
        return nearest.date().isoformat() if nearest.time() == time() else nearest.isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)


def _number_text(value: float) -> str:
    # Fifteen digits, as a spreadsheet shows: 38.199999999999996 is the sum of 38 and 0.2.
    text = f"{value:.15g}"
    whole, dot, decimals = text.partition(".")
    # Three decimals could be a thousands sign in a sheet that also has texts such as '4,1'.
    return f"{text}0" if dot and len(decimals) == 3 and len(whole.lstrip("-")) < 4 else text


def _formulas(
    path: Path, builders: dict[str, GridBuilder], last_row: int
) -> dict[str, dict[tuple[int, int], bool]]:
    """Cells with a formula, sheet by sheet, and whether their result stands in the file."""
    found: dict[str, dict[tuple[int, int], bool]] = {}
    with _opened(path, data_only=False) as book:
        for sheet in book.worksheets:
            if sheet.title not in builders:
                continue
            found[sheet.title] = {
                (cell.row, cell.column - 1): builders[sheet.title].has(cell.row, cell.column - 1)
                for row in _rows(sheet, last_row, values_only=False)
                for cell in row
                if getattr(cell, "data_type", "") == "f"
            }
    return found
