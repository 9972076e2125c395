"""Dates as spreadsheets have them, and which of day and month stands first."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from casebook.domain.errors import InputRefused, refuse
from casebook.intake.cells import is_given, read_date
from casebook.intake.mapping import Dates

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            ("jan", "january"), ("feb", "february"), ("mar", "march"), ("apr", "april"),
            ("may",), ("jun", "june"), ("jul", "july"), ("aug", "august"),
            ("sep", "sept", "september"), ("oct", "october"), ("nov", "november"),
            ("dec", "december"),
        ),
        start=1,
    )
    for name in names
}  # fmt: skip
_TIME = re.compile(r"[T ]\s*\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s*[ap]m)?\Z", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})\Z", re.ASCII)
_NUMBERS = re.compile(r"(\d{1,2})\s*([./-])\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})\Z", re.ASCII)
_DAY_MONTH = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th)?[. /-]+([A-Za-z]+)[., /-]+(\d{4}|\d{2})\Z", re.ASCII
)
_MONTH_DAY = re.compile(
    r"([A-Za-z]+)[. /-]+(\d{1,2})(?:st|nd|rd|th)?[., /-]+(\d{4}|\d{2})\Z", re.ASCII
)
_SERIAL = re.compile(r"[1-6]\d{4}(?:\.\d+)?\Z", re.ASCII)
CENTURY = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class DatesSeen:
    """What the dates of a column say about their order.

    Parameters
    ----------
    dates : Dates
        UNDECIDED where both orders would do, or each is needed somewhere.
    sure : bool
    why : str
        In words.
    """

    dates: Dates
    sure: bool
    why: str


def order_of(texts: Iterable[str]) -> DatesSeen:
    """Tell from a column's distinct texts how its dates are written.

    Examples
    --------
    >>> order_of(["2025-04-03"]).dates.value, order_of(["03/04/2025", "31/12/2025"]).dates.value
    ('year first', 'day first')
    >>> order_of(["03/04/2025"]).dates.value
    '?'
    """
    day_first = month_first = either = ""
    for text in texts:
        found = _NUMBERS.match(_without_time(text))
        if not found:
            continue
        first, second = int(found[1]), int(found[3])
        if first > 12 >= second:
            day_first = day_first or text.strip()
        elif second > 12 >= first:
            month_first = month_first or text.strip()
        elif first != second:
            either = either or text.strip()
    if day_first and month_first:
        return DatesSeen(
            dates=Dates.UNDECIDED,
            sure=False,
            why=f"'{day_first}' is day first and '{month_first}' is month first",
        )
    if day_first:
        return DatesSeen(
            dates=Dates.DAY_FIRST, sure=True, why=f"'{day_first}' can only be day first"
        )
    if month_first:
        return DatesSeen(
            dates=Dates.MONTH_FIRST, sure=True, why=f"'{month_first}' can only be month first"
        )
    if either:
        return DatesSeen(
            dates=Dates.UNDECIDED,
            sure=False,
            why=f"'{either}' could be day first or month first",
        )
    return DatesSeen(dates=Dates.YEAR_FIRST, sure=True, why="no date can be read in two ways")


def looks_like_date(text: str) -> bool:
    """Whether a text has the form of a date (a bare number has not)."""
    bare = _without_time(text)
    if any(form.match(bare) for form in (_YEAR_FIRST, _NUMBERS)):
        return True
    named = _DAY_MONTH.match(bare) or _MONTH_DAY.match(bare)
    return bool(named and any(part.casefold() in MONTHS for part in named.groups() if part))


def iso_text(text: str, dates: Dates) -> str:
    """A date in the form that the importer reads.

    Parameters
    ----------
    text : str
        As given; what is not given stays as it is.
    dates : Dates

    Raises
    ------
    InputRefused
        For a text that is no date, a day that no calendar has, and a bare number.

    Examples
    --------
    >>> iso_text("3.4.2025", Dates.DAY_FIRST), iso_text("3 Apr 2025", Dates.YEAR_FIRST)
    ('2025-04-03', '2025-04-03')
    """
    if not is_given(text):
        return text
    bare = _without_time(text)
    if found := _YEAR_FIRST.match(bare):
        return _iso(found[1], found[3], found[4])
    if found := _NUMBERS.match(bare):
        return _in_order(found[1], found[3], found[4], text, dates)
    if found := _DAY_MONTH.match(bare):
        return _named(found[3], found[2], found[1], text)
    if found := _MONTH_DAY.match(bare):
        return _named(found[3], found[1], found[2], text)
    if _SERIAL.match(bare):
        raise refuse(
            "date_form",
            f"'{text}' is a number; is it a date whose cell lost its format? Format the column "
            "as dates in the spreadsheet and save it again.",
            value=text,
        )
    raise refuse("date_form", f"'{text[:60]}' is not a date.", value=text)


def has_short_year(text: str) -> bool:
    """Whether a date has a year of two digits, which is taken as 20.. and told."""
    bare = _without_time(text)
    for form in (_NUMBERS, _DAY_MONTH, _MONTH_DAY):
        found = form.match(bare)
        if found:
            return len(found.groups()[-1]) == 2
    return False


def _without_time(text: str) -> str:
    return _TIME.sub("", text.strip())


def _in_order(first: str, second: str, year: str, text: str, dates: Dates) -> str:
    if dates is Dates.DAY_FIRST:
        return _iso(year, second, first)
    if dates is Dates.MONTH_FIRST:
        return _iso(year, first, second)
    one, other = int(first), int(second)
    if one == other:
        return _iso(year, first, second)
    raise refuse(
        "date_form",
        f"'{text}' could be day first or month first; say in the mapping which it is "
        "(dates = 'day first' or 'month first').",
        value=text,
    )


def _named(year: str, month: str, day: str, text: str) -> str:
    number = MONTHS.get(month.casefold())
    if number is None:
        raise refuse("date_form", f"'{text[:60]}' is not a date.", value=text)
    return _iso(year, str(number), day)


def _iso(year: str, month: str, day: str) -> str:
    whole = int(year) if len(year) == 4 else CENTURY + int(year)
    iso = f"{whole:04d}-{int(month):02d}-{int(day):02d}"
    read_date(iso)
    return iso


def day_of(text: str, dates: Dates) -> date | None:
    """The day, or None for what is not given or no date."""
    try:
        return read_date(iso_text(text, dates))
    except InputRefused:
        return None
