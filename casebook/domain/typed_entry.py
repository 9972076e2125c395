"""What a clinician types into one cell of the logging grid, read into a value.

A cell takes every trial (`4.1 4.4 3.9`), a mean with its number of trials (`4.1 n=7`), or the
reason why there is none (`painful`). A comma within a number is a decimal sign; blanks and
semicolons part the trials.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from casebook.domain.errors import InputRefused
from casebook.domain.fitting import value_problems
from casebook.domain.metrics import Metric, Scale
from casebook.domain.sides import Side
from casebook.domain.typed_fields import NUMBER
from casebook.domain.visits import (
    MissingReason,
    Value,
    missing_value,
    value_of_mean,
    value_of_trials,
)

MISSING_WORDS = {reason: reason.value.replace("_", " ") for reason in MissingReason}
SHORTEST_WORD = 3

_MEAN = re.compile(r"(?P<mean>\S+)\s*[(;]?\s*n\s*[=:]?\s*(?P<n>\d+)\s*\)?\Z", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One cell as it was understood.

    Parameters
    ----------
    value : Value or None
        What would be stored; None for a blank cell and for one that could not be read.
    problem : str
        Why it could not be read and what to type instead; empty when there is none.
    question : str
        What to look at again before saving (a number beyond the plausible range); the value
        is kept and never dropped.
    """

    value: Value | None = None
    problem: str = ""
    question: str = ""


def read_entry(text: str, metric: Metric, side: Side) -> Entry:
    """Read one cell of the logging grid.

    Parameters
    ----------
    text : str
        As typed; numbers in the metric's own unit.
    metric : Metric
        Gives the plausible range and, for a grade, which grades there are.
    side : Side
        Side that the cell belongs to.

    Returns
    -------
    Entry
        A blank cell gives an entry with neither value nor problem.

    Examples
    --------
    >>> from casebook.domain.metrics import Better, MetricGroup
    >>> drop = Metric(key="drop", label="Pelvic drop", group=MetricGroup.POSTERIOR_VIEW,
    ...     unit="deg", scale=Scale.INTERVAL, sided=True, sign_convention="down is positive",
    ...     better=Better.LOWER, plausible_low=-5, plausible_high=25, resolution=0.5)
    >>> read_entry("4,1 4,4 3,9", drop, Side.LEFT).value.trials
    (4.1, 4.4, 3.9)
    >>> read_entry("4.1 n=7", drop, Side.LEFT).value.n_trials
    7
    >>> read_entry("painful", drop, Side.LEFT).value.missing_reason.value
    'painful'
    """
    typed = text.replace("\N{MINUS SIGN}", "-").strip()
    if not typed:
        return Entry()
    if typed[0].isalpha():
        return _read_reason(typed, metric, side)
    return _read_numbers(typed, metric, side)


def write_entry(value: Value) -> str:
    """A value as one would type it, so that it can be read back by `read_entry`."""
    if value.missing_reason is not None:
        return MISSING_WORDS[value.missing_reason]
    if value.trials:
        return " ".join(f"{trial:.15g}" for trial in value.trials)
    return f"{value.mean:.15g} n={value.n_trials}"


def _read_reason(typed: str, metric: Metric, side: Side) -> Entry:
    word = re.sub(r"[\s_-]+", " ", typed).lower()
    fitting = [
        reason
        for reason, words in MISSING_WORDS.items()
        if words == word or (len(word) >= SHORTEST_WORD and words.startswith(word))
    ]
    if len(fitting) == 1:
        return Entry(value=missing_value(metric.key, side, fitting[0]))
    known = ", ".join(MISSING_WORDS.values())
    return Entry(
        problem=f"'{typed}' is neither a number nor a reason. Type numbers, or one of: {known}."
    )


def _read_numbers(typed: str, metric: Metric, side: Side) -> Entry:
    as_mean = _MEAN.match(typed)
    words = [as_mean["mean"]] if as_mean else re.split(r"[\s;]+", typed)
    cut = [word.rstrip(",;") for word in words if word.rstrip(",;")]
    unread = [word for word in cut if not NUMBER.match(word)]
    if unread:
        return Entry(
            problem=f"'{unread[0]}' is not a number. Part trials by a blank (4.1 4.4 3.9), "
            "or type a mean with its number of trials (4.1 n=7)."
        )
    numbers = [float(word.replace(",", ".")) for word in cut]
    if as_mean and int(as_mean["n"]) == 0:
        return Entry(problem="n=0 says that nothing was averaged. Type how many trials were.")
    try:
        value = (
            value_of_mean(metric.key, side, numbers[0], int(as_mean["n"]))
            if as_mean
            else value_of_trials(metric.key, side, numbers)
        )
    except InputRefused as refusal:
        told = refusal.problems[0].message
        for named in (f"'{metric.key}'", f"{metric.key} {side}", metric.key):
            told = told.replace(named, metric.label)
        return Entry(problem=told)
    impossible = value_problems(metric, value)
    if impossible:
        told = impossible[0].message.replace(f"'{metric.key}'", metric.label)
        return Entry(problem=told + _grades_of(metric))
    return Entry(value=value, question=_range_question(numbers, metric))


def _grades_of(metric: Metric) -> str:
    if metric.scale is not Scale.GRADE:
        return ""
    listed = ", ".join(f"{grade} {words}" for grade, words in enumerate(metric.grades))
    return f" The grades: {listed}."


def _range_question(numbers: list[float], metric: Metric) -> str:
    beyond = [n for n in numbers if not metric.plausible_low <= n <= metric.plausible_high]
    if not beyond:
        return ""
    listed = ", ".join(f"{number:g}" for number in beyond)
    lies, is_it = ("lies", "Is it") if len(beyond) == 1 else ("lie", "Are they")
    return (
        f"{listed} {lies} outside the plausible {metric.plausible_low:g} to "
        f"{metric.plausible_high:g}. {is_it} right?"
    )
