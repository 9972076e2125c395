"""What every table of one run is read with, and the reading of one column."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from casebook.domain.decisions import Asked
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import Metric
from casebook.intake.cells import Cell, Mark, Style, decimal_mark, read_cell
from casebook.intake.collecting import Collector, Told
from casebook.intake.columns import Column, Type
from casebook.intake.reading import CodedColumn, Sheet
from casebook.intake.recognising import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """Of one run.

    Parameters
    ----------
    metrics : tuple of Metric
        The catalogue.
    today : date
        No visit may be later.
    day_first : bool
        Whether dates such as 31.12.2026 are declared.
    problems, warnings : Collector
        What is refused, and what is taken but asked about.
    runners : dict of str to int
        Runner codes of the visit tables, numbered as they come.
    runner_spellings : dict of str to tuple
        For each runner code, file and line where it was first seen.
    asked : Asked
        What only the user can decide, and what they decided.
    left_out : dict of int to int
        By file, readings or records left out by a decision.
    renamed : dict of str to mapping
        Cells of the table of runners, by the code that a decision gave to another runner.
    """

    metrics: tuple[Metric, ...]
    today: date
    day_first: bool = False
    problems: Collector = field(default_factory=Collector)
    warnings: Collector = field(default_factory=lambda: Collector(count_rows=False))
    runners: dict[str, int] = field(default_factory=dict)
    runner_spellings: dict[str, tuple[int, int]] = field(default_factory=dict)
    asked: Asked = field(default_factory=Asked)
    left_out: Counter[int] = field(default_factory=Counter)
    renamed: dict[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def metric_numbers(self) -> dict[str, int]:
        """Position of each metric in the catalogue."""
        return {metric.key: number for number, metric in enumerate(self.metrics)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A file that is being read.

    Parameters
    ----------
    file : int
        Its number within the run.
    """

    file: int
    sheet: Sheet
    layout: Layout
    style: Style

    @property
    def n_rows(self) -> int:
        """Rows of the file."""
        return len(self.sheet.lines)

    def coded(self, name: str) -> CodedColumn | None:
        """The column of that name, or None when the file has none."""
        position = self.layout.positions.get(name)
        return None if position is None else self.sheet.columns[position]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadColumn:
    """A column whose distinct texts were read.

    Parameters
    ----------
    codes : array of int, shape (n_rows,)
    values : list
        Value of each distinct text; None where not given or wrong.
    wrong : array of bool, shape (n_texts,)
    """

    codes: NDArray[np.int32]
    values: list[Cell]
    wrong: NDArray[np.bool_]

    def numbers(self, blank: float) -> NDArray[np.float64]:
        """A number for each row, `blank` where there is none."""
        by_text = np.array(
            [blank if value is None else value for value in self.values], dtype=np.float64
        )
        return by_text[self.codes]

    def whole(self, blank: int) -> NDArray[np.int64]:
        """A whole number for each row, `blank` where there is none."""
        by_text = np.array(
            [blank if value is None else value for value in self.values], dtype=np.int64
        )
        return by_text[self.codes]

    def days(self) -> NDArray[np.int64]:
        """Days since 1 January of year 1 (`date.toordinal`), 0 where there is none."""
        by_text = np.array(
            [value.toordinal() if isinstance(value, date) else 0 for value in self.values],
            dtype=np.int64,
        )
        return by_text[self.codes]

    def members(self, numbers: dict[str, int], blank: int = -1) -> NDArray[np.int64]:
        """The number of each row's word, `blank` where there is none."""
        by_text = np.array(
            [numbers.get(str(value), blank) for value in self.values], dtype=np.int64
        )
        return by_text[self.codes]


def given_style(sheet: Sheet, layout: Layout, *, day_first: bool) -> Style:
    """How the file writes numbers, told from all of its number columns."""
    positions = [
        layout.positions[column.name]
        for column in layout.table.columns
        if column.type is Type.NUMBER and column.name in layout.positions
    ]
    positions += [column.index for column in layout.metric_columns]
    texts = (text for position in positions for text in sheet.columns[position].texts)
    mark = decimal_mark(texts, sheet.delimiter) if positions else Mark.DOT
    return Style(mark=mark, day_first=day_first)


def read_column(
    context: Context,
    given: Given,
    name: str,
    ok: NDArray[np.bool_],
    check: Callable[[Cell, str], None] | None = None,
) -> ReadColumn | None:
    """Read a column; report what is wrong and mark its rows in `ok`.

    Parameters
    ----------
    ok : array of bool, shape (n_rows,)
        Set to False where the cell is refused.
    check : callable, optional
        Given a value and its text: raises `InputRefused` for one that the column's type takes
        and this table does not.

    Returns
    -------
    ReadColumn or None
        None when the file has no such column.
    """
    coded = given.coded(name)
    column = given.layout.table.column(name)
    if coded is None or column is None:
        return None
    values: list[Cell] = []
    told: list[Problem | None] = []
    for text in coded.texts:
        try:
            value = read_cell(text, column, given.style)
            if value is None and column.required and not column.may_be_blank:
                raise InputRefused((_blank(column, text),))
            if check is not None and value is not None:
                check(value, text)
        except InputRefused as refusal:
            values.append(None)
            told.append(replace(refusal.problems[0], column=name, value=text))
        else:
            values.append(value)
            told.append(None)
    wrong = np.array([problem is not None for problem in told], dtype=bool)
    if wrong.any():
        _tell(context, given, coded, name, told, wrong, ok)
    return ReadColumn(codes=coded.codes, values=values, wrong=wrong)


def _blank(column: Column, text: str) -> Problem:
    return Problem(
        code=f"{column.name}_blank",
        message=f"{column.name} is not given; every row needs it.",
        value=text,
    )


def _tell(
    context: Context,
    given: Given,
    coded: CodedColumn,
    name: str,
    told: list[Problem | None],
    wrong: NDArray[np.bool_],
    ok: NDArray[np.bool_],
) -> None:
    bad = wrong[coded.codes]
    ok &= ~bad
    codes = coded.codes[bad]

    def tell(i: int) -> Told:
        problem = told[codes[i]]
        if problem is None:
            raise AssertionError("a row without a problem was reported")
        return problem.value, problem.code, problem.message

    context.problems.add_rows(given.file, given.sheet.lines[bad], name, tell)
