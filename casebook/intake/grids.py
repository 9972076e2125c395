"""A sheet as it stands, titles and all, before anybody has said what its columns are."""

from __future__ import annotations

import csv
import io
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.intake.reading import CodedColumn, Sheet, decoded, header_problems
from casebook.intake.rows import DELIMITERS, csv_reader

MOST_COLUMNS = 1_000
MOST_CELLS = 12_000_000
# What a cell of a workbook can hold at most.
LONGEST_CELL = 32_767
ROWS_FOR_DELIMITER = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Rows of text that are not blank.

    Parameters
    ----------
    file : str
        Its name, for messages.
    sheet : str
        Name of the sheet; '' where the file is one table of text.
    delimiter : str
        Between the cells of a text; '' for a workbook's sheet.
    lines : array of int, shape (n_rows,)
        Row number as a spreadsheet shows it (the line of a text).
    columns : list of CodedColumn
        Ragged rows are filled up with blanks.
    formulas : dict of (int, int) to bool
        Row number and column position of every cell with a formula, and whether the file holds
        its result.
    problems : list of Problem
        Cells that could not be taken.
    """

    file: str
    sheet: str = ""
    delimiter: str = ""
    lines: NDArray[np.int64]
    columns: list[CodedColumn]
    formulas: dict[tuple[int, int], bool] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def n_rows(self) -> int:
        """Rows that are not blank."""
        return len(self.lines)

    def cells(self, row: int) -> tuple[str, ...]:
        """The stripped texts of one row, by its position."""
        return tuple(column.text(row).strip() for column in self.columns)

    def row_of_line(self, line: int) -> int | None:
        """Position of the row with this number; None where it is blank or not there."""
        position = int(np.searchsorted(self.lines, line))
        if position < len(self.lines) and self.lines[position] == line:
            return position
        return None


def cell_name(line: int, column: int) -> str:
    """A cell as a spreadsheet names it.

    Parameters
    ----------
    line : int
        From 1.
    column : int
        From 0.

    Examples
    --------
    >>> cell_name(7, 0), cell_name(3, 27)
    ('A7', 'AB3')
    """
    letters = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(65 + place) + letters
    return f"{letters}{line}"


class GridBuilder:
    """Takes rows one by one; keeps each distinct text of a column once."""

    __slots__ = ("_cells", "_codes", "_lines", "_texts", "problems")

    def __init__(self) -> None:
        self._lines = array("q")
        self._texts: list[dict[str, int]] = []
        self._codes: list[array[int]] = []
        self._cells = 0
        self.problems: list[Problem] = []

    def add(self, line: int, cells: Sequence[str]) -> None:
        """Add a row; a blank one is passed over.

        Raises
        ------
        InputRefused
            When the table becomes too wide or too large.
        """
        width = len(cells)
        while width and not cells[width - 1].strip():
            width -= 1
        if not width:
            return
        if width > MOST_COLUMNS:
            raise refuse(
                "too_many_columns",
                f"row {line} has a cell in column {width}; at most {MOST_COLUMNS} columns are "
                "taken. Delete what stands far to the right of the table.",
            )
        self._widen(width)
        self._cells += len(self._codes)
        if self._cells > MOST_CELLS:
            raise refuse(
                "too_many_cells",
                f"the sheet has more than {MOST_CELLS:,} cells; split it by runner.",
            )
        for position in range(width):
            self._codes[position].append(self._code(line, position, cells[position]))
        for position in range(width, len(self._codes)):
            self._codes[position].append(0)
        self._lines.append(line)

    def _widen(self, width: int) -> None:
        while len(self._codes) < width:
            self._codes.append(array("i", bytes(4 * len(self._lines))))
            self._texts.append({"": 0})

    def _code(self, line: int, position: int, text: str) -> int:
        if len(text) > LONGEST_CELL:
            self.problems.append(
                Problem(
                    code="cell_too_long",
                    message=f"cell {cell_name(line, position)} has {len(text):,} characters; at "
                    f"most {LONGEST_CELL:,} are taken.",
                    row=line,
                    value=text[:40],
                )
            )
            text = ""
        book = self._texts[position]
        return book.setdefault(text, len(book))

    def has(self, line: int, position: int) -> bool:
        """Whether a cell of a row that was added holds anything."""
        row = bisect_left(self._lines, line)
        if row == len(self._lines) or self._lines[row] != line or position >= len(self._codes):
            return False
        return self._codes[position][row] != 0

    def grid(
        self,
        file: str,
        *,
        sheet: str = "",
        delimiter: str = "",
        formulas: dict[tuple[int, int], bool] | None = None,
    ) -> Grid:
        """Everything that was added."""
        return Grid(
            file=file,
            sheet=sheet,
            delimiter=delimiter,
            lines=np.array(self._lines, dtype=np.int64),
            columns=[
                CodedColumn(np.array(codes, dtype=np.int32), list(texts))
                for codes, texts in zip(self._codes, self._texts, strict=True)
            ],
            formulas=formulas or {},
            problems=self.problems,
        )


def read_text_grid(path: Path, last_row: int | None = None) -> Grid:
    """Read a file of delimited text, whatever stands above its header, down to a row.

    Raises
    ------
    InputRefused
        When the file as a whole cannot be read.
    """
    text = decoded(path)
    delimiter, body, first = _delimiter(text)
    builder = GridBuilder()
    reader = csv_reader(io.StringIO(body, newline=""), delimiter)
    before = 0
    try:
        for row in reader:
            if last_row is not None and first + before > last_row:
                break
            builder.add(first + before, row)
            before = reader.line_num
    except csv.Error as error:
        raise InputRefused(
            (
                Problem(
                    code="broken_quotation",
                    message=f"a quotation is broken in the row that begins here ({error}).",
                    row=first + before,
                ),
            )
        ) from None
    return builder.grid(path.name, delimiter=delimiter)


def _delimiter(text: str) -> tuple[str, str, int]:
    """The delimiter, the text below a line that declares one, and that text's first line."""
    if text.startswith("sep=") and text[4:5] in DELIMITERS and text[5:6] in {"\n", ""}:
        return text[4], text[6:], 2
    lines = [line for line in text[:200_000].split("\n")[:ROWS_FOR_DELIMITER] if line.strip()]

    def fit(delimiter: str) -> tuple[int, int]:
        counts = [line.count(delimiter) for line in lines]
        # A comma in words or numbers stands in some rows only; a delimiter parts many alike.
        alike = max((n * counts.count(n) for n in set(counts)), default=0)
        return alike, max(counts, default=0)

    return max(DELIMITERS, key=fit), text, 1


def sheet_of(grid: Grid) -> Sheet:
    """A grid whose first row is its header, as the tables with known columns are read.

    Raises
    ------
    InputRefused
        When it is empty or has a column name twice.
    """
    if not grid.n_rows:
        raise refuse("empty_file", "the sheet is empty; expected a header and rows.")
    header = grid.cells(0)
    problems = header_problems(header, int(grid.lines[0]))
    if problems:
        raise InputRefused(tuple(problems))
    return Sheet(
        file=grid.file,
        delimiter=grid.delimiter or ",",
        header=header,
        header_line=int(grid.lines[0]),
        lines=grid.lines[1:],
        columns=[CodedColumn(column.codes[1:], column.texts) for column in grid.columns],
        problems=[*grid.problems, *formula_problems(grid, range(len(header)))],
    )


def formula_problems(grid: Grid, columns: Iterable[int], below: int = 0) -> list[Problem]:
    """Cells with a formula and without its result, which nobody here can work out."""
    used = set(columns)
    header = grid.cells(0) if grid.n_rows else ()
    return [
        Problem(
            code="formula_without_result",
            message=f"cell {cell_name(line, column)} holds a formula, and the file does not hold "
            "its result. Open the workbook in a spreadsheet program, let it calculate and save "
            "it, or put the number itself there.",
            row=line,
            column=header[column] if not below and column < len(header) else "",
        )
        for (line, column), has_result in sorted(grid.formulas.items())
        if not has_result and column in used and line > below
    ]


def formulas_told(grid: Grid, columns: Iterable[int], below: int = 0) -> Problem | None:
    """What is said of formulas whose stored results were taken."""
    used = set(columns)
    cells = [
        cell_name(line, column)
        for (line, column), has_result in sorted(grid.formulas.items())
        if has_result and column in used and line > below
    ]
    if not cells:
        return None
    named = ", ".join(cells[:3]) + (", …" if len(cells) > 3 else "")
    many = f"{len(cells)} cells hold formulas" if len(cells) > 1 else "1 cell holds a formula"
    return Problem(
        code="formula_result_taken",
        message=f"{many} ({named}); the result that the file holds was taken. It is as old as "
        "the last time the workbook was calculated.",
        value=cells[0],
    )
