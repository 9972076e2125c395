"""The tidy visit table: a row for each trial of a metric on a side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason
from casebook.intake.cells import Cell
from casebook.intake.context import Context, Given, read_column
from casebook.intake.nearest import hint
from casebook.intake.rules import Places, check_numbers, check_sides, factor_to_own
from casebook.intake.visit_rows import (
    Gathered,
    Readings,
    VisitRows,
    Whole,
    picked,
    read_visit_rows,
)

SIDES = {side.value: number for number, side in enumerate(Side)}
REASONS = {reason.value: number for number, reason in enumerate(MissingReason)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cells:
    # The columns of a tidy table that say what was read, one entry a row.
    metric: Whole
    side: Whole
    trial: Whole
    n: Whole
    value: NDArray[np.float64]
    reason: Whole


def read_tidy(context: Context, given: Given, gathered: Gathered) -> int:
    """Read a tidy visit table into `gathered`.

    Returns
    -------
    int
        Rows whose value is blank and without a reason: nothing is stored for them.
    """
    ok = np.ones(given.n_rows, dtype=bool)
    rows = read_visit_rows(context, given, gathered, ok)
    cells = _read_cells(context, given, ok)
    value = _converted(context, given, cells, ok)
    _check_together(context, given, cells, value, ok)
    is_given = ~np.isnan(value) | (cells.reason >= 0)
    _gather(gathered, rows, cells, value, ok, is_given)
    return int(np.count_nonzero(ok & ~is_given))


def _read_cells(context: Context, given: Given, ok: NDArray[np.bool_]) -> _Cells:
    numbers = context.metric_numbers

    def known(value: Cell, text: str) -> None:
        if str(value).strip() not in numbers:
            raise unknown_metric(text, context)

    n = given.n_rows
    zeros = np.zeros(n, dtype=np.int64)
    metric = read_column(context, given, "metric", ok, check=known)
    side = read_column(context, given, "side", ok)
    trial = read_column(context, given, "trial", ok)
    value = read_column(context, given, "value", ok)
    trials = read_column(context, given, "n_trials", ok)
    reason = read_column(context, given, "missing_reason", ok)
    return _Cells(
        # A refused cell is marked in `ok`; its number is then never looked at.
        metric=np.maximum(metric.members(numbers), 0) if metric else zeros,
        side=side.members(SIDES, blank=2) if side else zeros,
        trial=trial.whole(0) if trial else zeros,
        n=trials.whole(0) if trials else zeros,
        value=value.numbers(np.nan) if value else np.full(n, np.nan),
        reason=reason.members(REASONS) if reason else np.full(n, -1, dtype=np.int64),
    )


def unknown_metric(text: str, context: Context) -> InputRefused:
    """Refusal of a metric that the catalogue does not have."""
    known = context.metric_numbers
    return refuse(
        "unknown_metric",
        f"the catalogue has no metric '{text.strip()}'.{hint(text.strip(), known)} Add it to "
        "the catalogue first, or correct the name.",
        column="metric",
        value=text,
    )


def _converted(
    context: Context, given: Given, cells: _Cells, ok: NDArray[np.bool_]
) -> NDArray[np.float64]:
    unit = read_column(context, given, "unit", ok)
    if unit is None:
        return cells.value
    n_metrics = len(context.metrics)
    pair = unit.codes.astype(np.int64) * n_metrics + cells.metric
    pairs, which = np.unique(pair, return_inverse=True)
    factor = np.ones(len(pairs))
    problems: dict[int, Problem] = {}
    for number, each in enumerate(pairs.tolist()):
        text = unit.values[each // n_metrics]
        found = factor_to_own("" if text is None else str(text), context.metrics[each % n_metrics])
        if isinstance(found, Problem):
            problems[number] = found
        else:
            factor[number] = found
    # A row refused already (its metric, say) gets no second message about its unit.
    bad = np.isin(which, list(problems)) & ok
    texts = given.coded("unit")
    places = Places(given.file, given.sheet.lines, "unit", lambda i: texts.text(i) if texts else "")
    by_code: dict[str, NDArray[np.bool_]] = {}
    for number, problem in problems.items():
        here = bad & (which == number)
        by_code[problem.code] = by_code.get(problem.code, np.zeros_like(bad)) | here
    for code, here in by_code.items():
        places.tell(context.problems, here, code, lambda i: problems[int(which[i])].message)
    ok &= ~bad
    return factor[which] * cells.value


def _check_together(
    context: Context,
    given: Given,
    cells: _Cells,
    value: NDArray[np.float64],
    ok: NDArray[np.bool_],
) -> None:
    """Checks that need more than one cell of a row."""
    lines = given.sheet.lines
    value_text = given.coded("value")
    side_text = given.coded("side")
    trials_text = given.coded("n_trials")
    at_value = Places(
        given.file, lines, "value", lambda i: value_text.text(i) if value_text else ""
    )
    at_side = Places(given.file, lines, "side", lambda i: side_text.text(i) if side_text else "")
    at_n = Places(
        given.file, lines, "n_trials", lambda i: trials_text.text(i) if trials_text else ""
    )
    has_value = ~np.isnan(value)
    both = ok & has_value & (cells.reason >= 0)
    at_value.tell(
        context.problems,
        both,
        "value_and_reason",
        lambda i: f"there is a value ({at_value.text(i)}) and a missing_reason; keep one of them.",
    )
    two_ways = ok & (cells.trial > 0) & (cells.n > 1)
    at_n.tell(
        context.problems,
        two_ways,
        "trial_and_n_trials",
        lambda i: (
            f"the row is trial {cells.trial[i]} and also a mean of {at_n.text(i)} trials; "
            "leave trial empty for a mean, or n_trials for a single trial."
        ),
    )
    ok &= ~(both | two_ways)
    _narrow(
        ok, lambda few: check_sides(context, _few(at_side, few), cells.metric[few], cells.side[few])
    )
    _narrow(
        ok,
        lambda few: check_numbers(
            context, _few(at_value, few), cells.metric[few], value[few], cells.n[few] > 1
        ),
    )


def _narrow(ok: NDArray[np.bool_], check: Callable[[Whole], NDArray[np.bool_]]) -> None:
    few = np.flatnonzero(ok)
    ok[few] = check(few)


def _few(places: Places, few: Whole) -> Places:
    return Places(
        places.file, places.lines[few], places.columns, lambda i: places.text(int(few[i]))
    )


def _gather(
    gathered: Gathered,
    rows: VisitRows,
    cells: _Cells,
    value: NDArray[np.float64],
    ok: NDArray[np.bool_],
    is_given: NDArray[np.bool_],
) -> None:
    kept = picked(rows, ok)
    use = is_given[ok]
    n_kept = len(kept.line)
    # Neither a trial's number nor a number of trials: one reading is all there was.
    single = (cells.trial == 0) & (cells.n == 0)
    # A missing trial keeps its number, below zero: it may stand beside trials that were read.
    trial = np.where(cells.reason >= 0, -cells.trial, np.where(single, 1, cells.trial))
    n = np.where((trial > 0) | (cells.reason >= 0), 0, cells.n)
    gathered.add_readings(
        Readings(
            row=np.arange(n_kept, dtype=np.int64)[use] + gathered.n_rows,
            column=np.full(int(use.sum()), gathered.column_labels["value"], dtype=np.int64),
            metric=cells.metric[ok][use],
            side=cells.side[ok][use],
            trial=trial[ok][use],
            n=n[ok][use],
            value=value[ok][use],
            reason=cells.reason[ok][use],
        )
    )
    gathered.rows.append(kept)
    gathered.n_rows += n_kept
