"""What a clinician types into one cell of the logging grid, read into a value.

A cell takes every trial (`4.1 4.4 3.9`), a mean with its number of trials (`4.1 n=7`), either
with a unit behind it (`12 in`), or the reason why there is none (`painful`, or `p`). A comma
within a number is a decimal sign; blanks and semicolons part the trials.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from casebook.domain.errors import InputRefused, refuse
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
from casebook.domain.wording import MISSING_REASONS, exactly, plausible_words, unit_words

MISSING_WORDS = {reason: reason.value.replace("_", " ") for reason in MissingReason}
MISSING_KEYS = {
    MissingReason.NOT_DONE: "n",
    MissingReason.PAINFUL: "p",
    MissingReason.NOT_VISIBLE: "c",
    MissingReason.EQUIPMENT: "e",
}
# As the reason is told on the pages.
_ALSO = {MissingReason.NOT_VISIBLE: "couldn't be seen", MissingReason.EQUIPMENT: "equipment failed"}
SHORTEST_WORD = 3

Converter = Callable[[float, str], float]
"""A number and its unit as typed, to the number in the metric's own; InputRefused otherwise."""

_N = re.compile(
    r"(?P<mean>.*?[^\s(;])\s*[(;]?\s*(?<![A-Za-z])n\s*[=:]?\s*(?P<n>\d+)\s*\)?\Z", re.IGNORECASE
)
_GLUED = re.compile(r"(?P<number>[+-]?[\d.,]*\d[.,]?)(?P<unit>[^\d\s.,;+-][^\d\s;]*)\Z")


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
    unit : str
        The unit as typed, where that made other numbers of those that were typed.
    """

    value: Value | None = None
    problem: str = ""
    question: str = ""
    unit: str = ""


def read_entry(text: str, metric: Metric, side: Side, *, convert: Converter | None = None) -> Entry:
    """Read one cell of the logging grid.

    Parameters
    ----------
    text : str
        As typed; numbers without a unit are in the metric's own.
    metric : Metric
        Gives the plausible range and, for a grade, which grades there are.
    side : Side
        Side that the cell belongs to.
    convert : callable or None
        Turns a number with a unit into the metric's own; without it no unit is taken.

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
    return _read_numbers(typed, metric, side, convert)


def write_entry(value: Value) -> str:
    """A value as one would type it, so that it can be read back by `read_entry`."""
    if value.missing_reason is not None:
        return MISSING_WORDS[value.missing_reason]
    if value.trials:
        return " ".join(f"{trial:.15g}" for trial in value.trials)
    return f"{value.mean:.15g} n={value.n_trials}"


def _read_reason(typed: str, metric: Metric, side: Side) -> Entry:
    word = re.sub(r"[\s_-]+", " ", typed.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")).lower()
    fitting = [reason for reason in MissingReason if _means(word, reason)]
    if len(fitting) == 1:
        return Entry(value=missing_value(metric.key, side, fitting[0]))
    known = ", ".join(
        f"{words} ({MISSING_KEYS[reason]})" for reason, words in MISSING_REASONS.items()
    )
    return Entry(
        problem=f"'{typed}' is neither a number nor a reason. Type numbers, or one of: {known}."
    )


def _means(word: str, reason: MissingReason) -> bool:
    told = (MISSING_WORDS[reason], _ALSO.get(reason, ""))
    return word == MISSING_KEYS[reason] or (
        len(word) >= SHORTEST_WORD and any(words.startswith(word) for words in told)
    )


def _read_numbers(typed: str, metric: Metric, side: Side, convert: Converter | None) -> Entry:
    found = _N.match(typed)
    words = [one.rstrip(",;") for one in re.split(r"[\s;]+", found["mean"] if found else typed)]
    try:
        cut, unit = _apart([one for one in words if one], convert)
        if found and len(cut) > 1:
            raise _not_a_number(" ".join(cut))
        as_typed = [float(word.replace(",", ".")) for word in cut]
        if found and int(found["n"]) == 0:
            return Entry(problem="n=0 says that nothing was averaged. Type how many trials were.")
        numbers = [_converted(number, unit, convert) for number in as_typed]
        value = (
            value_of_mean(metric.key, side, numbers[0], int(found["n"]))
            if found
            else value_of_trials(metric.key, side, numbers)
        )
    except InputRefused as refusal:
        told = refusal.problems[0].message
        for named in (f"'{metric.key}'", f"{metric.key} {side}", metric.key):
            told = told.replace(named, metric.label)
        return Entry(problem=f"{told[:1].upper()}{told[1:]}")
    impossible = value_problems(metric, value)
    if impossible:
        told = impossible[0].message.replace(f"'{metric.key}'", metric.label)
        return Entry(problem=told + _grades_of(metric))
    return Entry(
        value=value,
        question=_range_question(numbers, metric),
        unit=unit if numbers != as_typed else "",
    )


def _apart(words: list[str], convert: Converter | None) -> tuple[list[str], str]:
    """The numbers of a cell and their unit, which may stand once or behind each of them."""
    numbers: list[str] = []
    units: list[str] = []
    for word in words:
        glued = _GLUED.match(word)
        if NUMBER.match(word):
            numbers.append(word)
        elif convert and glued and NUMBER.match(glued["number"]):
            numbers.append(glued["number"])
            units.append(glued["unit"])
        elif convert and numbers and not any(sign.isdigit() for sign in word):
            units.append(word)
        else:
            raise _not_a_number(word)
    if not numbers:
        raise _not_a_number(" ".join(words) or ";")
    # 'steps per minute' is one unit; '12 in 13 in' names one twice.
    unit = units[0] if len(set(units)) == 1 else " ".join(units)
    return numbers, unit


def _converted(number: float, unit: str, convert: Converter | None) -> float:
    if not unit or convert is None:
        return number
    # To twelve digits: 12 in are 30.48 cm and not 30.479999999999997.
    return float(f"{convert(number, unit):.12g}")


def _not_a_number(word: str) -> InputRefused:
    return refuse(
        "not_a_number",
        f"'{word}' is not a number. Part trials by a blank (4.1 4.4 3.9), or type a mean with "
        "its number of trials (4.1 n=7).",
    )


def _grades_of(metric: Metric) -> str:
    if metric.scale is not Scale.GRADE:
        return ""
    listed = ", ".join(f"{grade} {words}" for grade, words in enumerate(metric.grades))
    return f" The grades: {listed}."


def _range_question(numbers: list[float], metric: Metric) -> str:
    beyond = [n for n in numbers if not metric.plausible_low <= n <= metric.plausible_high]
    if not beyond:
        return ""
    lies, is_it = ("lies", "Is it") if len(beyond) == 1 else ("lie", "Are they")
    return (
        f"{exactly(beyond, unit_words(metric.unit))} {lies} outside the plausible "
        f"{plausible_words(metric)}. {is_it} right?"
    )
