"""The rows of a mapped sheet: which stand for something, and what blank cells mean."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import Problem, refuse
from casebook.intake.grids import Grid
from casebook.intake.mapping import (
    NOTHING,
    ColumnUse,
    SheetMapping,
    SummaryRows,
    folded_header,
    headers_of,
    is_summary_word,
)
from casebook.intake.reading import CodedColumn

ROWS_SEARCHED = 60
# Where the label of a summary row may stand; a note or a shoe may well be called 'Max'.
_LABELS = frozenset({
    "runner", "visit_date", "session", "side", "trial", "metric", "programme", "week_start",
    "run_date", NOTHING,
})  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What of a sheet stands below its header.

    Parameters
    ----------
    headers : tuple of str
    line : int
        Row of the header.
    lines : array of int, shape (n_rows,)
    columns : list of CodedColumn
        One for each header.
    breaks : frozenset of int
        Rows above which something was left out: a blank cell there does not mean the row above.
    told : set of int
        Positions of rows that were refused already.
    problems, warnings : list of Problem
    """

    headers: tuple[str, ...]
    line: int
    lines: NDArray[np.int64]
    columns: list[CodedColumn]
    breaks: frozenset[int] = frozenset()
    told: set[int] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)


def headers_at(grid: Grid, row: int, header_rows: int) -> tuple[str, ...]:
    """The names of all columns, with the header at this position among the grid's rows."""
    upper = grid.cells(row - 1) if header_rows > 1 and row > 0 else ()
    return headers_of(grid.cells(row), upper)


def find_body(grid: Grid, mapping: SheetMapping) -> Body:
    """Find the header that a mapping speaks of, and what stands below it.

    Raises
    ------
    InputRefused
        When the sheet has no row with these column names.
    """
    needed = {folded_header(one.header) for one in mapping.columns if one.holds != NOTHING}
    at = grid.row_of_line(mapping.header_row)
    candidates = [at] if at is not None else []
    candidates += [row for row in range(min(grid.n_rows, ROWS_SEARCHED)) if row != at]
    nearest: set[str] = set(needed)
    for row in candidates:
        headers = headers_at(grid, row, mapping.header_rows)
        missing = needed - {folded_header(header) for header in headers}
        if not missing:
            return below(grid, row, headers)
        nearest = min(nearest, missing, key=len)
    named = ", ".join(f"'{one.header}'" for one in mapping.columns
                      if folded_header(one.header) in nearest)  # fmt: skip
    raise refuse(
        "mapping_does_not_fit",
        f"the mapping does not fit this sheet: no row has the column names that it speaks of; "
        f"not found: {named[:300]}. Propose a mapping for this file and correct that.",
    )


def below(grid: Grid, row: int, headers: tuple[str, ...]) -> Body:
    """What stands below the header at this position among the grid's rows."""
    columns = [CodedColumn(column.codes[row + 1 :], column.texts) for column in grid.columns]
    lines = grid.lines[row + 1 :]
    body = Body(headers=headers, line=int(grid.lines[row]), lines=lines, columns=columns)
    first = grid.cells(row)
    again = np.ones(len(lines), dtype=bool)
    for cell, column in zip(first, columns, strict=True):
        if cell:
            again &= _where(column, partial(_is_cell, cell))
    if again.any() and sum(map(bool, first)) > 1:
        body.warnings.append(
            Problem(
                code="header_again",
                message=f"the header stands again in {rows_words(lines[again])}; passed over.",
                row=int(lines[again][0]),
            )
        )
        return _picked(body, ~again)
    return body


def _is_cell(cell: str, text: str) -> bool:
    return text.strip() == cell


def _where(column: CodedColumn, is_so: Callable[[str], bool]) -> NDArray[np.bool_]:
    by_text = np.array([is_so(text) for text in column.texts], dtype=bool)
    found: NDArray[np.bool_] = by_text[column.codes]
    return found


def _picked(body: Body, keep: NDArray[np.bool_]) -> Body:
    columns = [CodedColumn(column.codes[keep], column.texts) for column in body.columns]
    return replace(body, lines=body.lines[keep], columns=columns)


def rows_words(lines: NDArray[np.int64]) -> str:
    """Rows in words, the first few by number.

    Examples
    --------
    >>> rows_words(np.array([7])), rows_words(np.array([3, 4, 5, 9, 12, 13]))
    ('row 7', 'rows 3, 4, 5, 9 and 2 more')
    """
    if len(lines) == 1:
        return f"row {lines[0]}"
    named = ", ".join(str(line) for line in lines[:4].tolist())
    return f"rows {named}" + (f" and {len(lines) - 4} more" if len(lines) > 4 else "")


def summary_rows(body: Body, uses: list[ColumnUse], allowed: tuple[str, ...]) -> dict[int, str]:
    """Rows that sum up others, by position, and the word that says so."""
    taken = {word.strip().casefold() for word in allowed}
    found: dict[int, str] = {}
    for use, column in zip(uses, body.columns, strict=True):
        if use.holds not in _LABELS:
            continue
        words = {
            code: text.strip()
            for code, text in enumerate(column.texts)
            if is_summary_word(text) and text.strip().casefold() not in taken
        }
        if words:
            for position in np.flatnonzero(np.isin(column.codes, list(words))).tolist():
                found.setdefault(position, words[int(column.codes[position])])
    return found


def without_summaries(body: Body, uses: list[ColumnUse], mapping: SheetMapping) -> Body:
    """Refuse rows that sum up others, or leave them out where somebody said so."""
    # 'Range' or 'Count' may be how a test is called, once somebody said so.
    known = tuple(word.word for word in mapping.words if word.metric != NOTHING)
    found = summary_rows(body, uses, (*mapping.not_summaries, *known))
    if not found:
        return body
    rows = np.array(sorted(found), dtype=np.int64)
    if mapping.summary_rows is SummaryRows.LEAVE_OUT:
        words = ", ".join(dict.fromkeys(f"'{found[row]}'" for row in rows.tolist()))
        body.warnings.append(
            Problem(
                code="summary_rows_left_out",
                message=f"{rows_words(body.lines[rows])} ({words[:120]}) sum up others and were "
                "left out, as the mapping says.",
                row=int(body.lines[rows[0]]),
            )
        )
    else:
        body.problems.extend(
            Problem(
                code="summary_row",
                message=f"'{found[row]}' looks like a row that sums up others, and no runner. "
                "Have such rows left out (by the box on the page Import, or summary_rows = "
                "'leave out' in a mapping file), delete it, or, if it is a runner's code, list it "
                "under not_summaries in the mapping file.",
                row=int(body.lines[row]),
                value=found[row],
            )
            for row in rows.tolist()
        )
    keep = np.ones(len(body.lines), dtype=bool)
    keep[rows] = False
    left_above = np.flatnonzero(~keep[:-1] & keep[1:]) + 1
    return replace(_picked(body, keep), breaks=frozenset(body.lines[left_above].tolist()))


def fill_down(body: Body, uses: list[ColumnUse], names: tuple[str, ...]) -> Body:
    """Give blank cells of these columns the text above; how many is told."""
    columns = list(body.columns)
    breaks = np.isin(body.lines, sorted(body.breaks))
    for position, use in enumerate(uses):
        if use.holds not in names or not len(body.lines):
            continue
        column = columns[position]
        blank = _where(column, lambda text: not text.strip())
        rows = np.arange(len(body.lines))
        source = np.maximum.accumulate(np.where(blank & ~breaks, -1, rows))
        filled = source >= 0
        codes = np.where(filled, column.codes[np.maximum(source, 0)], column.codes)
        taken = blank & (codes != column.codes)
        columns[position] = CodedColumn(codes.astype(np.int32), column.texts)
        if taken.any():
            body.warnings.append(
                Problem(
                    code="taken_from_above",
                    message=f"{use.holds} is blank in {rows_words(body.lines[taken])}, and was "
                    "taken from the row above.",
                    row=int(body.lines[taken][0]),
                    column=use.header,
                )
            )
    return replace(body, columns=columns)


_TRIAL = re.compile(
    r"(?:trial|rep|run|try|attempt|no\.?|nr\.?|t|#)?\s*\.?\s*(\d{1,4})(?:\.0)?\Z", re.I
)


def trial_text(text: str) -> str:
    """The number in a cell such as 'Trial 2' or '#2'; anything else as it stands.

    Examples
    --------
    >>> trial_text("Trial 2"), trial_text("T3"), trial_text("best")
    ('2', '3', 'best')
    """
    found = _TRIAL.match(text.strip())
    return found[1] if found else text
