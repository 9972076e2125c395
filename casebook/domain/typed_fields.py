"""A number or a date that was typed into a box of its own.

What cannot be read is told, and nothing is put in its place: a box that goes on with another
number than the one that stands in it stores what nobody typed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date

NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)\Z")
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_ISO = re.compile(r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})\Z")
_DAY_FIRST = re.compile(r"(?P<day>\d{1,2})([./-])\s*(?P<month>\d{1,2})\2\s*(?P<year>\d{4})\Z")
_IN_WORDS = re.compile(r"(?P<day>\d{1,2})\.?\s+(?P<name>[A-Za-z]{3,9})\.?,?\s+(?P<year>\d{4})\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedNumber:
    """A box for a number as it was understood; neither value nor problem where it is blank."""

    value: float | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedDay:
    """A box for a date as it was understood; neither value nor problem where it is blank."""

    value: date | None = None
    problem: str = ""


def as_number(text: str) -> float | None:
    """A number with a decimal point or a decimal comma, or None where it is no number.

    Examples
    --------
    >>> as_number("9,5"), as_number("9.5"), as_number("9.5 km/h")
    (9.5, 9.5, None)
    """
    typed = text.replace("\N{MINUS SIGN}", "-").strip()
    return float(typed.replace(",", ".")) if NUMBER.match(typed) else None


def read_number(
    text: str,
    *,
    low: float = -math.inf,
    high: float = math.inf,
    unit: str = "",
    whole: bool = False,
) -> TypedNumber:
    """Read a box that holds one number.

    Parameters
    ----------
    text : str
        As typed.
    low, high : float
        The ends of what is accepted, themselves accepted.
    unit : str
        In words, for the message.
    whole : bool
        Only whole numbers are accepted.

    Examples
    --------
    >>> read_number("9,5", low=0.5, high=45, unit="km/h").value
    9.5
    >>> read_number("95", low=0.5, high=45, unit="km/h").problem
    "'95' is not within 0.5 to 45 km/h; nothing is stored of it."
    """
    typed = text.strip()
    if not typed:
        return TypedNumber()
    number = as_number(typed)
    if number is None:
        return TypedNumber(
            problem=f"'{typed}' is not a number; type one such as {'3' if whole else '9.5 or 9,5'}"
            ", without a unit."
        )
    if whole and not number.is_integer():
        return TypedNumber(problem=f"'{typed}' is not a whole number.")
    if not low <= number <= high:
        return TypedNumber(
            problem=f"'{typed}' is not {_range(low, high, unit)}; nothing is stored of it."
        )
    return TypedNumber(value=number)


def _range(low: float, high: float, unit: str) -> str:
    behind = f" {unit}" if unit else ""
    if math.isinf(high):
        return f"{low:g}{behind} or more"
    if math.isinf(low):
        return f"{high:g}{behind} or less"
    return f"within {low:g} to {high:g}{behind}"


def read_day(text: str, *, earliest: date | None = None, latest: date | None = None) -> TypedDay:
    """Read a box that holds one date: year first with dashes, else the day first.

    Parameters
    ----------
    text : str
        `2026-11-25`, `25.11.2026`, `25/11/2026` or `25 Nov 2026`.
    earliest, latest : date or None
        The first and the last day that are accepted.

    Examples
    --------
    >>> read_day("5.11.2026").value, read_day("05/11/2026").value
    (datetime.date(2026, 11, 5), datetime.date(2026, 11, 5))
    >>> read_day("31.2.2026").problem
    "'31.2.2026' is a day that does not exist."
    """
    typed = text.strip()
    if not typed:
        return TypedDay()
    found = _ISO.match(typed) or _DAY_FIRST.match(typed) or _IN_WORDS.match(typed)
    month = _month(found) if found else None
    if found is None or month is None:
        return TypedDay(
            problem=f"'{typed}' is not read as a date; type the day first, as 25.11.2026 or "
            "25/11/2026, or 2026-11-25, with all four figures of the year."
        )
    try:
        day = date(int(found["year"]), month, int(found["day"]))
    except ValueError:
        return TypedDay(problem=f"'{typed}' is a day that does not exist.")
    if latest is not None and day > latest:
        return TypedDay(
            problem=f"{weekday_words(day)} lies after {weekday_words(latest)}, the last day "
            "that can stand here."
        )
    if earliest is not None and day < earliest:
        return TypedDay(
            problem=f"{weekday_words(day)} lies before {weekday_words(earliest)}, the first day "
            "that can stand here."
        )
    return TypedDay(value=day)


def weekday_words(day: date) -> str:
    """A date that can't be read two ways.

    Examples
    --------
    >>> weekday_words(date(2026, 11, 5))
    'Thursday 5 Nov 2026'
    """
    return f"{day:%A} {day.day} {day:%b %Y}"


def _month(found: re.Match[str]) -> int | None:
    parts = found.groupdict()
    if "month" in parts:
        return int(parts["month"])
    name = parts["name"].lower()
    fitting = [number for number, month in enumerate(MONTHS, start=1) if name.startswith(month)]
    return fitting[0] if fitting else None
