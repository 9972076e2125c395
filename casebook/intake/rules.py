"""What a reading may be, by the metric it is of."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from casebook.catalogue.units import convert
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.fitting import reading_problem, side_problem
from casebook.domain.metrics import Metric, Scale
from casebook.domain.sides import Side
from casebook.domain.visits import LARGEST_READING
from casebook.intake.collecting import Collector
from casebook.intake.context import Context

WHOLE = frozenset({Scale.GRADE, Scale.COUNT})


class Places:
    """Where a set of readings stands in its file, for problems and warnings.

    Parameters
    ----------
    lines : array of int, shape (n,)
    columns : str or sequence of str
    text : callable
        The text of reading i as given.
    """

    __slots__ = ("columns", "file", "lines", "text")

    def __init__(
        self,
        file: int,
        lines: NDArray[np.int64],
        columns: str | Sequence[str],
        text: Callable[[int], str],
    ) -> None:
        self.file = file
        self.lines = lines
        self.columns = columns
        self.text = text

    def tell(
        self,
        collector: Collector,
        bad: NDArray[np.bool_],
        code: str,
        message: Callable[[int], str],
    ) -> None:
        """Report the readings marked in `bad`."""
        if not bad.any():
            return
        which = np.flatnonzero(bad)
        columns = self.columns
        if not isinstance(columns, str):
            columns = [columns[i] for i in which.tolist()]
        collector.add_rows(
            self.file,
            self.lines[which],
            columns,
            lambda i: (self.text(int(which[i])), code, message(int(which[i]))),
        )


def check_numbers(
    context: Context,
    places: Places,
    metric: NDArray[np.int64],
    value: NDArray[np.float64],
    averaged: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Hold readings against their metrics.

    The same rules as `casebook.domain.fitting`, for whole columns at a time; the words are
    taken from there.

    Parameters
    ----------
    metric : array of int, shape (n,)
        Position in the catalogue.
    value : array of float, shape (n,)
        In the metric's own unit; NaN where there is none.
    averaged : array of bool, shape (n,)
        True where the reading is a mean of several trials.

    Returns
    -------
    array of bool, shape (n,)
        False where the reading is refused. One outside the plausible range is kept, with a
        warning.
    """
    metrics = context.metrics
    low = np.array([m.plausible_low for m in metrics], dtype=np.float64)[metric]
    high = np.array([m.plausible_high for m in metrics], dtype=np.float64)[metric]
    positive = np.array([_is_size(m) for m in metrics], dtype=bool)[metric]
    whole = np.array([m.scale in WHOLE for m in metrics], dtype=bool)[metric]
    most = np.array([_highest(m) for m in metrics], dtype=np.float64)[metric]
    with np.errstate(invalid="ignore"):
        too_large = np.abs(value) > LARGEST_READING
        broken = whole & ~averaged & (value != np.floor(value)) & ~np.isnan(value)
        beyond = whole & ((value < 0) | (value > most))
        impossible = ~too_large & (broken | beyond | (positive & (value < 0)))
        unlikely = ~too_large & ~impossible & ((value < low) | (value > high))
    places.tell(
        context.problems,
        too_large,
        "value_too_large",
        lambda i: (
            f"{metrics[int(metric[i])].key} would be {value[i]:g} "
            f"{metrics[int(metric[i])].unit}; nothing reaches beyond {LARGEST_READING:g}. "
            "Check the decimal sign and the unit."
        ),
    )
    places.tell(
        context.problems,
        impossible,
        "impossible_reading",
        lambda i: _words(reading_problem(metrics[int(metric[i])], float(value[i]))),
    )

    def question(i: int) -> str:
        of = metrics[int(metric[i])]
        return (
            f"{of.key} is {value[i]:g} {of.unit}, outside the plausible {of.plausible_low:g} to "
            f"{of.plausible_high:g}; it is taken. Is it right?"
        )

    places.tell(context.warnings, unlikely, "outside_plausible_range", question)
    kept: NDArray[np.bool_] = ~(too_large | impossible)
    return kept


def _words(problem: Problem | None) -> str:
    return problem.message if problem else ""


def _is_size(metric: Metric) -> bool:
    return metric.scale is Scale.RATIO and metric.plausible_low >= 0


def _highest(metric: Metric) -> float:
    return float(len(metric.grades) - 1) if metric.scale is Scale.GRADE else np.inf


def check_sides(
    context: Context, places: Places, metric: NDArray[np.int64], side: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Hold each side against its metric: left or right where it has sides, else none."""
    metrics = context.metrics
    sides = tuple(Side)
    sided = np.array([m.sided for m in metrics], dtype=bool)[metric]
    fits: NDArray[np.bool_] = sided == (side != sides.index(Side.NONE))
    for code, bad in (("side_missing", ~fits & sided), ("side_not_expected", ~fits & ~sided)):
        places.tell(
            context.problems,
            bad,
            code,
            lambda i: _words(side_problem(metrics[int(metric[i])], sides[int(side[i])])),
        )
    return fits


def factor_to_own(unit: str, metric: Metric) -> float | Problem:
    """What a number in a unit is multiplied by to be in the metric's own, or why it cannot."""
    if unit in {"", metric.unit}:
        return 1.0
    try:
        return convert(1.0, unit, metric.unit, metric=metric.key)
    except InputRefused as refusal:
        return refusal.problems[0]
