"""Delimited text cut into columns, some hundred rows at a time.

Text without quotation marks, the usual case, is split as a whole, which is several times
faster than row by row; text with them goes through the csv reader of the standard library.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from operator import methodcaller
from typing import TYPE_CHECKING

from casebook.domain.errors import Problem

if TYPE_CHECKING:
    from _csv import Reader

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
LONGEST_LINE = 1_000_000
LONGEST_CELL = 131_072
# About what stays within a processor's cache.
CHARACTERS_AT_ONCE = 65_536
ROWS_AT_ONCE = 1_000


@dataclass(frozen=True, slots=True)
class Block:
    """Some rows: the line that each begins on, and their cells column by column."""

    lines: Sequence[int]
    columns: list[Sequence[str]]


def blocks(
    text: str, first_line: int, delimiter: str, width: int, problems: list[Problem], start: int = 0
) -> Iterator[Block]:
    r"""Cut the rows below the header into blocks.

    Parameters
    ----------
    text : str
        Lines ended by `\n`.
    first_line : int
        Number, within the file, of the line that begins at `start`.
    start : int
        Where the text below the header begins.
    width : int
        Cells that a row must have.
    problems : list of Problem
        Rows that have another number of cells are added here and left out.
    """
    if text.find('"', start) >= 0:
        yield from _quoted(text[start:], first_line, delimiter, width, problems)
    else:
        yield from _unquoted(text, start, first_line, (delimiter, width), problems)


def csv_reader(lines: Iterable[str], delimiter: str) -> Reader:
    """The standard library's reader, strict, and with our limit of what a cell may hold.

    That limit is one for the whole process, and other libraries lift it when they are imported.
    """
    csv.field_size_limit(LONGEST_CELL)
    return csv.reader(lines, delimiter=delimiter, strict=True)


def _unquoted(
    body: str, start: int, line: int, form: tuple[str, int], problems: list[Problem]
) -> Iterator[Block]:
    delimiter, width = form
    count = methodcaller("count", delimiter)
    while start < len(body):
        end = body.find("\n", min(start + CHARACTERS_AT_ONCE, len(body)))
        if end < 0:
            end = len(body)
        if end - start > LONGEST_LINE:
            problems.append(_too_long(line + body.count("\n", start, start + CHARACTERS_AT_ONCE)))
            return
        piece = body[start:end]
        rows = piece.split("\n")
        if set(map(count, rows)) == {width - 1}:
            cells = piece.replace("\n", delimiter).split(delimiter)
            yield Block(
                range(line, line + len(rows)), [cells[index::width] for index in range(width)]
            )
        else:
            split = [row.split(delimiter) for row in rows]
            yield _full_rows(range(line, line + len(rows)), split, width, delimiter, problems)
        line += len(rows)
        start = end + 1


def _quoted(
    body: str, first_line: int, delimiter: str, width: int, problems: list[Problem]
) -> Iterator[Block]:
    reader = csv_reader(io.StringIO(body, newline=""), delimiter)
    lines: list[int] = []
    rows: list[list[str]] = []
    broken: Problem | None = None
    while broken is None:
        lines, rows = [], []
        # A quoted cell may hold line breaks: only the reader knows the line.
        before = reader.line_num
        try:
            for row in islice(reader, ROWS_AT_ONCE):
                rows.append(row)
                lines.append(first_line + before)
                before = reader.line_num
        except csv.Error as error:
            broken = _broken(first_line + before, str(error))
        if not rows and broken is None:
            return
        yield _full_rows(lines, rows, width, delimiter, problems)
    problems.append(broken)


def _full_rows(
    lines: Sequence[int],
    rows: list[list[str]],
    width: int,
    delimiter: str,
    problems: list[Problem],
) -> Block:
    kept_lines: list[int] = []
    kept: list[list[str]] = []
    for line, row in zip(lines, rows, strict=True):
        if len(row) != width and not any(cell.strip() for cell in row):
            continue
        # A trailing delimiter adds blank cells.
        cells = row if any(cell.strip() for cell in row[width:]) else row[:width]
        if len(cells) == width:
            kept_lines.append(line)
            kept.append(cells)
        else:
            problems.append(_ragged(line, row, width, delimiter))
    return Block(kept_lines, list(zip(*kept, strict=True)) or [()] * width)


def _ragged(line: int, row: list[str], width: int, delimiter: str) -> Problem:
    advice = (
        "A decimal comma in a file that is parted by commas needs quotation marks."
        if delimiter == "," and len(row) > width
        else f"Every row needs as many cells as the header, parted by a {DELIMITERS[delimiter]}."
    )
    return Problem(
        code="ragged_row",
        message=f"the row has {len(row)} cells and the header {width}. {advice}",
        row=line,
        value=delimiter.join(row)[:60],
    )


def _broken(line: int, reason: str) -> Problem:
    if "field larger" in reason:
        return Problem(
            code="line_too_long",
            message=f"a cell has more than {LONGEST_CELL} characters; is a quotation "
            "mark missing? The rest of the file was not read.",
            row=line,
        )
    return Problem(
        code="broken_quotation",
        message=f"a quotation is broken in the row that begins here ({reason}); the rest of the "
        "file was not read. A quotation mark within a quoted cell is written twice.",
        row=line,
    )


def _too_long(line: int) -> Problem:
    return Problem(
        code="line_too_long",
        message=f"from here on there are more than {LONGEST_LINE} characters without a line "
        "break; is this a table? The rest of the file was not read.",
        row=line,
    )
