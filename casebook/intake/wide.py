"""The wide visit table: a row for each visit, columns for each metric and side."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.visits import MOST_TRIALS
from casebook.intake.cells import is_given, read_number
from casebook.intake.collecting import Told
from casebook.intake.context import Context, Given
from casebook.intake.recognising import MetricColumn
from casebook.intake.rules import Places, check_numbers, factor_to_own
from casebook.intake.tidy import REASONS, SIDES
from casebook.intake.visit_rows import Gathered, Readings, Whole, picked, read_visit_rows

# A cell as understood: its numbers (NaN for a trial not given), or a reason for none.
Understood = tuple[float, ...] | str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    # Readings of one column; `row` is the row within the file.
    row: Whole
    trial: Whole
    n: Whole
    value: NDArray[np.float64]
    reason: Whole


def read_wide(context: Context, given: Given, gathered: Gathered) -> int:
    """Read a wide visit table into `gathered`.

    Returns
    -------
    int
        Metric cells that are blank: nothing is stored for them.
    """
    ok = np.ones(given.n_rows, dtype=bool)
    rows = read_visit_rows(context, given, gathered, ok)
    counts = {
        (column.metric, column.side): _read_counts(context, given, column)
        for column in given.layout.metric_columns
        if column.role == "n"
    }
    has_value = {key: np.zeros(given.n_rows, dtype=bool) for key in counts}
    position = np.cumsum(ok) - 1 + gathered.n_rows
    blank = 0
    for column in given.layout.metric_columns:
        if column.role == "n":
            continue
        key = (column.metric, column.side)
        part, unused = _read_metric(context, given, column, counts.get(key), ok)
        blank += unused
        if key in has_value:
            has_value[key][part.row] = True
        _gather(context, gathered, column, part, position)
    _refuse_lone_counts(context, given, counts, has_value, ok)
    gathered.rows.append(picked(rows, ok))
    gathered.n_rows += int(ok.sum())
    return blank


def _understand(
    context: Context, given: Given, column: MetricColumn, read: Callable[[str], Understood]
) -> tuple[list[Understood], NDArray[np.bool_]]:
    """Each distinct text of a column as understood, and which rows have a wrong cell."""
    coded = given.sheet.columns[column.index]
    understood: list[Understood] = []
    told: list[Problem | None] = []
    for text in coded.texts:
        try:
            understood.append(read(text))
            told.append(None)
        except InputRefused as refusal:
            understood.append(())
            told.append(replace(refusal.problems[0], value=text))
    wrong = np.array([problem is not None for problem in told], dtype=bool)[coded.codes]
    codes = coded.codes[wrong]

    def tell(i: int) -> Told:
        problem = told[codes[i]]
        if problem is None:
            raise AssertionError("a cell without a problem was reported")
        return problem.value, problem.code, problem.message

    if wrong.any():
        context.problems.add_rows(given.file, given.sheet.lines[wrong], column.name, tell)
    return understood, wrong


def _read_counts(context: Context, given: Given, column: MetricColumn) -> Whole:
    """Number of trials for each row; 0 where there is none."""

    def read(text: str) -> Understood:
        number = read_number(text, given.style.mark)
        if number is None:
            return ()
        if not number.is_integer() or not 1 <= number <= MOST_TRIALS:
            raise refuse(
                "n_trials_not_taken",
                f"{column.name} is '{text}'; expected a whole number from 1 to {MOST_TRIALS}.",
            )
        return (number,)

    understood, wrong = _understand(context, given, column, read)
    by_text = np.array([int(each[0]) if each else 0 for each in understood], dtype=np.int64)
    counts: Whole = by_text[given.sheet.columns[column.index].codes]
    # A wrong number has been told; it must not be told again as one without a value.
    counts[wrong] = 0
    return counts


def _read_metric(
    context: Context,
    given: Given,
    column: MetricColumn,
    count: Whole | None,
    ok: NDArray[np.bool_],
) -> tuple[_Part, int]:
    """Readings of one column, and how many of its cells are blank."""
    coded = given.sheet.columns[column.index]
    understood, wrong = _understand(
        context, given, column, lambda text: _read_cell(text, column, given)
    )
    numbers = [each if isinstance(each, tuple) else () for each in understood]
    reason = np.array(
        [REASONS[each] if isinstance(each, str) else -1 for each in understood], dtype=np.int64
    )[coded.codes]
    length = np.array([len(each) for each in numbers], dtype=np.int64)
    start = np.cumsum(length) - length
    flat = np.array([number for each in numbers for number in each], dtype=np.float64)
    use = ok & ~wrong
    blank = int(np.count_nonzero(use & (length[coded.codes] == 0) & (reason < 0)))
    if column.role == "missing":
        blank = 0
    size = np.where(use, length[coded.codes], 0)
    row = np.repeat(np.arange(given.n_rows, dtype=np.int64), size)
    within = np.arange(len(row), dtype=np.int64) - np.repeat(np.cumsum(size) - size, size)
    value = flat[start[coded.codes[row]] + within] if len(row) else np.empty(0, np.float64)
    trial = within + 1 if column.role == "cell" else np.full(len(row), column.trial)
    part = _with_counts(context, given, column, count, size, (row, trial, value))
    part = _checked(context, given, column, part)
    return _with_reasons(part, np.flatnonzero(use & (reason >= 0)), reason), blank


def _read_cell(text: str, column: MetricColumn, given: Given) -> Understood:
    if not is_given(text):
        return ()
    word = re.sub(r"[\s-]+", "_", text.strip().casefold())
    if word in REASONS:
        return word
    if column.role == "missing":
        raise refuse(
            "missing_reason_unknown",
            f"{column.name} is '{text}'; expected {', '.join(REASONS)}.",
        )
    numbers = [read_number(part, given.style.mark) for part in text.split()]
    if len(numbers) > 1 and column.role == "trial":
        raise refuse(
            "several_numbers",
            f"{column.name} is one trial and the cell has {len(numbers)} numbers ('{text}'); "
            "put them all into one column without a trial number.",
        )
    if len(numbers) > MOST_TRIALS:
        raise refuse("trial_count", f"the cell has {len(numbers)} trials; at most {MOST_TRIALS}.")
    return tuple(np.nan if number is None else number for number in numbers)


def _places(given: Given, column: MetricColumn, row: Whole) -> Places:
    coded = given.sheet.columns[column.index]
    return Places(
        given.file, given.sheet.lines[row], column.name, lambda i: coded.text(int(row[i]))
    )


def _with_counts(
    context: Context,
    given: Given,
    column: MetricColumn,
    count: Whole | None,
    size: Whole,
    readings: tuple[Whole, Whole, NDArray[np.float64]],
) -> _Part:
    """Take a lone number with a count beside it as a mean of that many trials."""
    row, trial, value = readings
    none = np.full(len(row), -1, dtype=np.int64)
    n = np.zeros(len(row), dtype=np.int64)
    if count is not None and column.role == "cell":
        averaged = (size[row] == 1) & (count[row] > 0)
        n = np.where(averaged, count[row], 0)
        trial = np.where(averaged, 0, trial)
        contrary = (size > 1) & (count > 0) & (count != size)
        rows = np.flatnonzero(contrary)
        _places(given, column, rows).tell(
            context.problems,
            np.ones(len(rows), dtype=bool),
            "n_trials_differs",
            lambda i: (
                f"the cell has {size[rows[i]]} trials and {column.metric}_n says "
                f"{count[rows[i]]}; correct one of them."
            ),
        )
    given_trials = ~np.isnan(value)
    return _Part(
        row=row[given_trials],
        trial=trial[given_trials],
        n=n[given_trials],
        value=value[given_trials],
        reason=none[given_trials],
    )


def _checked(context: Context, given: Given, column: MetricColumn, part: _Part) -> _Part:
    """Convert to the metric's unit and hold against its rules."""
    number = context.metric_numbers[column.metric]
    found = factor_to_own(column.unit, context.metrics[number])
    if isinstance(found, Problem):
        context.problems.add(
            given.file,
            replace(found, row=given.sheet.header_line, column=column.name, value=column.unit),
        )
        keep = np.zeros(len(part.row), dtype=bool)
        value = part.value
    else:
        value = found * part.value
        metric = np.full(len(part.row), number, dtype=np.int64)
        keep = check_numbers(context, _places(given, column, part.row), metric, value, part.n > 1)
    return _Part(
        row=part.row[keep],
        trial=part.trial[keep],
        n=part.n[keep],
        value=value[keep],
        reason=part.reason[keep],
    )


def _with_reasons(part: _Part, rows: Whole, reason: Whole) -> _Part:
    zero = np.zeros(len(rows), dtype=np.int64)
    return _Part(
        row=np.concatenate([part.row, rows]),
        trial=np.concatenate([part.trial, zero]),
        n=np.concatenate([part.n, zero]),
        value=np.concatenate([part.value, np.full(len(rows), np.nan)]),
        reason=np.concatenate([part.reason, reason[rows]]),
    )


def _gather(
    context: Context, gathered: Gathered, column: MetricColumn, part: _Part, position: Whole
) -> None:
    n = len(part.row)
    gathered.add_readings(
        Readings(
            row=position[part.row],
            column=np.full(n, gathered.column_labels[column.name], dtype=np.int64),
            metric=np.full(n, context.metric_numbers[column.metric], dtype=np.int64),
            side=np.full(n, SIDES[column.side], dtype=np.int64),
            trial=part.trial,
            n=part.n,
            value=part.value,
            reason=part.reason,
        )
    )


def _refuse_lone_counts(
    context: Context,
    given: Given,
    counts: dict[tuple[str, str], Whole],
    has_value: dict[tuple[str, str], NDArray[np.bool_]],
    ok: NDArray[np.bool_],
) -> None:
    columns = {
        (column.metric, column.side): column
        for column in given.layout.metric_columns
        if column.role == "n"
    }
    valued = {
        (column.metric, column.side) for column in given.layout.metric_columns if column.role != "n"
    }
    for key, count in counts.items():
        rows = np.flatnonzero(ok & (count > 0) & ~has_value[key])
        if key in valued:
            # The value beside it may have been refused, which has been told.
            told = context.problems.lines_of(given.file)
            rows = np.array([r for r in rows if given.sheet.lines[r] not in told], dtype=np.int64)
        message = (
            f"{columns[key].name} gives a number of trials and there is no value beside it; "
            "give the mean, or leave both blank."
        )
        _places(given, columns[key], rows).tell(
            context.problems,
            np.ones(len(rows), dtype=bool),
            "n_trials_without_value",
            _always(message),
        )


def _always(message: str) -> Callable[[int], str]:
    return lambda _: message
