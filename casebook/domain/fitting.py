"""Does a value fit its metric? One place, for typed visits and imported ones alike.

What merely lies outside the plausible range fits: it is asked about elsewhere, never refused.
"""

from __future__ import annotations

from collections.abc import Sequence

from casebook.domain.errors import Problem
from casebook.domain.metrics import Metric, Scale
from casebook.domain.sides import Side
from casebook.domain.visits import Value
from casebook.domain.wording import unit_words


def side_problem(metric: Metric, side: Side) -> Problem | None:
    """What is wrong with a side for a metric, or None."""
    if metric.sided and side is Side.NONE:
        return Problem(
            code="side_missing",
            column="side",
            value=side,
            message=f"'{metric.key}' is read on each side; expected side left or right.",
        )
    if not metric.sided and side is not Side.NONE:
        return Problem(
            code="side_not_expected",
            column="side",
            value=side,
            message=f"'{metric.key}' has no sides; expected side none.",
        )
    return None


def reading_problem(metric: Metric, reading: float) -> Problem | None:
    """What makes a single reading impossible on the metric's scale, or None.

    Parameters
    ----------
    metric : Metric
    reading : float
        Finite, in the metric's own unit.
    """
    highest = len(metric.grades) - 1
    if metric.scale is Scale.GRADE and not (reading.is_integer() and 0 <= reading <= highest):
        return _impossible(metric, reading, f"a grade, which is a whole number from 0 to {highest}")
    if metric.scale is Scale.COUNT and (reading < 0 or not reading.is_integer()):
        return _impossible(metric, reading, "a count, which is a whole number of zero or more")
    # A ratio-scaled metric whose range begins at zero or above is a size (force, length,
    # time); one that may lie on either side of something has a range that reaches below zero.
    if metric.scale is Scale.RATIO and metric.plausible_low >= 0 and reading < 0:
        return _impossible(metric, reading, f"{unit_words(metric.unit)}, which cannot be negative")
    return None


def _impossible(metric: Metric, reading: float, expected: str) -> Problem:
    return Problem(
        code="impossible_reading",
        column="value",
        value=f"{reading:g}",
        message=f"'{metric.key}' is {reading:g}; it is measured as {expected}. Check the sign, "
        "the unit and the metric.",
    )


def value_problems(metric: Metric, value: Value) -> list[Problem]:
    """Everything that keeps a value from being one of its metric."""
    readings: Sequence[float] = value.trials
    problems = [side_problem(metric, value.side)]
    problems.extend(reading_problem(metric, reading) for reading in readings)
    if not readings and value.mean is not None and value.n_trials == 1:
        problems.append(reading_problem(metric, value.mean))
    elif not readings and value.mean is not None:
        problems.append(_mean_problem(metric, value.mean))
    return [problem for problem in problems if problem is not None]


def _mean_problem(metric: Metric, mean: float) -> Problem | None:
    # A mean of whole numbers need not be whole.
    whole = metric.scale in {Scale.GRADE, Scale.COUNT}
    if not whole:
        return reading_problem(metric, mean)
    highest = len(metric.grades) - 1 if metric.scale is Scale.GRADE else float("inf")
    if 0 <= mean <= highest:
        return None
    return reading_problem(metric, mean)
