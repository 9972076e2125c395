"""The part of a visit table that says which visit a row is about, and its conditions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import refuse
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason
from casebook.intake.cells import Cell
from casebook.intake.columns import CONDITION_NAMES
from casebook.intake.context import Context, Given, ReadColumn, read_column

Whole = NDArray[np.int64]
SIDE_NAMES = tuple(side.value for side in Side)
REASON_NAMES = tuple(reason.value for reason in MissingReason)
# Of one run: some five hundred bytes each while they are held against the store.
MOST_READINGS = 3_000_000


class Codebook(dict[Cell, int]):
    """Numbers distinct values in the order in which they come."""

    def __missing__(self, value: Cell) -> int:
        """Give a new value the next number."""
        number = len(self)
        self[value] = number
        return number


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRows:
    """Rows of visit tables, as numbers.

    Parameters
    ----------
    file, line : array of int, shape (n,)
        Where each row stands.
    runner : array of int, shape (n,)
        Number of the runner within the run.
    day : array of int, shape (n,)
        `date.toordinal` of the visit.
    session : array of int, shape (n,)
    conditions : dict of str to array of int, shape (n,)
        For each condition that some file has the number of its value; -1 where not given.
    """

    file: Whole
    line: Whole
    runner: Whole
    day: Whole
    session: Whole
    conditions: dict[str, Whole]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Single readings, as numbers.

    Parameters
    ----------
    row : array of int, shape (m,)
        Row among the visit rows.
    column : array of int, shape (m,)
        Number of the column label.
    metric, side : array of int, shape (m,)
        Position in the catalogue; 0 left, 1 right, 2 none.
    trial : array of int, shape (m,)
        Number of the trial; 0 for a mean and for a missing value; below 0 for a single
        trial that is missing.
    n : array of int, shape (m,)
        Trials that a mean is made of; 0 otherwise.
    value : array of float, shape (m,)
        In the metric's own unit; NaN when missing.
    reason : array of int, shape (m,)
        Number of the missing reason; -1 where there is a value.
    """

    row: Whole
    column: Whole
    metric: Whole
    side: Whole
    trial: Whole
    n: Whole
    value: NDArray[np.float64]
    reason: Whole


@dataclass(slots=True, kw_only=True)
class Gathered:
    """Everything that the visit tables of a run hold, file after file."""

    rows: list[VisitRows] = field(default_factory=list)
    readings: list[Readings] = field(default_factory=list)
    condition_values: dict[str, Codebook] = field(
        default_factory=lambda: {name: Codebook() for name in CONDITION_NAMES}
    )
    column_labels: Codebook = field(default_factory=Codebook)
    n_rows: int = 0
    n_readings: int = 0

    def add_readings(self, part: Readings) -> None:
        """Add readings of a file.

        Raises
        ------
        InputRefused
            When a run has more than can be held in memory with certainty.
        """
        self.n_readings += len(part.row)
        if self.n_readings > MOST_READINGS:
            raise refuse(
                "too_many_values",
                f"this import has more than {MOST_READINGS:,} values; import the files one "
                "after the other, or split this one by runner.",
            )
        self.readings.append(part)


def read_visit_rows(
    context: Context, given: Given, gathered: Gathered, ok: NDArray[np.bool_]
) -> VisitRows:
    """Read runner, day, session and conditions of every row; mark refused rows in `ok`."""
    runner = read_column(context, given, "runner", ok)
    day = read_column(context, given, "visit_date", ok, check=_not_later_than(context))
    session = read_column(context, given, "session", ok)
    n = given.n_rows
    conditions = {
        name: _numbered(column, gathered.condition_values[name])
        for name in CONDITION_NAMES
        if (column := read_column(context, given, name, ok)) is not None
    }
    return VisitRows(
        file=np.full(n, given.file, dtype=np.int64),
        line=given.sheet.lines,
        runner=_runner_numbers(context, given, runner),
        day=day.days() if day else np.zeros(n, dtype=np.int64),
        session=session.whole(1) if session else np.ones(n, dtype=np.int64),
        conditions=conditions,
    )


def _not_later_than(context: Context) -> Callable[[Cell, str], None]:
    def check(value: Cell, text: str) -> None:
        if isinstance(value, date) and value > context.today:
            raise refuse(
                "date_in_future",
                f"'{text}' is later than today ({context.today}); a visit is entered when it "
                "has taken place. Check day, month and year.",
                value=text,
            )

    return check


def _runner_numbers(context: Context, given: Given, column: ReadColumn | None) -> Whole:
    if column is None:
        return np.full(given.n_rows, -1, dtype=np.int64)
    first = np.full(len(column.values), -1, dtype=np.int64)
    texts, where = np.unique(column.codes, return_index=True)
    first[texts] = where
    numbers = []
    same = context.asked.decisions.same_runners()
    for value, row in zip(column.values, first.tolist(), strict=True):
        if value is None or row < 0:
            numbers.append(-1)
            continue
        code = same.get(str(value), str(value))
        numbers.append(context.runners.setdefault(code, len(context.runners)))
        place = (given.file, int(given.sheet.lines[row]))
        for spelt in {str(value), code}:
            context.runner_spellings[spelt] = min(context.runner_spellings.get(spelt, place), place)
    return np.array(numbers, dtype=np.int64)[column.codes]


def _numbered(column: ReadColumn, book: Codebook) -> Whole:
    numbers = [-1 if value is None else book[value] for value in column.values]
    return np.array(numbers, dtype=np.int64)[column.codes]


def picked(rows: VisitRows, which: NDArray[np.bool_]) -> VisitRows:
    """Some of the rows."""
    if which.all():
        return rows
    return VisitRows(
        file=rows.file[which],
        line=rows.line[which],
        runner=rows.runner[which],
        day=rows.day[which],
        session=rows.session[which],
        conditions={name: codes[which] for name, codes in rows.conditions.items()},
    )


def joined_rows(parts: list[VisitRows]) -> VisitRows:
    """The rows of all files, one after the other."""
    return VisitRows(
        file=_joined([part.file for part in parts]),
        line=_joined([part.line for part in parts]),
        runner=_joined([part.runner for part in parts]),
        day=_joined([part.day for part in parts]),
        session=_joined([part.session for part in parts]),
        conditions={
            name: _joined([_condition(part, name) for part in parts])
            for name in CONDITION_NAMES
            if any(name in part.conditions for part in parts)
        },
    )


def _condition(part: VisitRows, name: str) -> Whole:
    codes = part.conditions.get(name)
    return np.full(len(part.line), -1, dtype=np.int64) if codes is None else codes


def joined_readings(parts: list[Readings]) -> Readings:
    """The readings of all files, one after the other."""
    whole = {
        name: _joined([getattr(part, name) for part in parts])
        for name in ("row", "column", "metric", "side", "trial", "n", "reason")
    }
    values = [part.value for part in parts]
    return Readings(
        value=np.concatenate(values) if values else np.empty(0, np.float64),
        **whole,
    )


def _joined(parts: list[Whole]) -> Whole:
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.empty(0, np.int64)
