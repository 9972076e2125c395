"""Cells of text read into values, one kind of column at a time.

Every reader takes the text as given and either returns the value, or None for a cell that says
"not given", or raises `InputRefused` with one problem whose place the caller fills in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.errors import InputRefused, refuse
from casebook.domain.people import clean_code
from casebook.domain.visits import LARGEST_READING
from casebook.intake.columns import Column, Type, expectation
from casebook.intake.formulas import as_meant
from casebook.intake.nearest import hint

NOT_GIVEN = frozenset({"", "n/a", "na", "-", "–", "—", "#n/a"})
EARLIEST_YEAR = 1900
LONGEST_SHOWN = 200

Cell = str | float | int | bool | date | None


class Mark(StrEnum):
    """The decimal sign that a file uses; MIXED where its numbers show both."""

    DOT = "dot"
    COMMA = "comma"
    MIXED = "mixed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How a file writes numbers and dates."""

    mark: Mark = Mark.DOT
    day_first: bool = False


_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?\Z", re.ASCII)
_COMMA = re.compile(r"[+-]?(?:\d+,\d*|,\d+)\Z", re.ASCII)
_THREE_AFTER_COMMA = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}\Z", re.ASCII)
_THREE_AFTER_DOT = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}\Z", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:[.,'’  ]\d{3})+(?:[.,]\d+)?\Z", re.ASCII)
_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?\Z", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})\Z", re.ASCII)
_YEAR_FIRST = re.compile(r"\d{4}[./]\d{1,2}[./]\d{1,2}\Z", re.ASCII)


def is_given(text: str) -> bool:
    """False for a blank, 'n/a', 'NA' or '-'."""
    return text.strip().casefold() not in NOT_GIVEN


def decimal_mark(texts: Iterable[str], delimiter: str) -> Mark:
    """The decimal sign that a file's number cells show.

    Parameters
    ----------
    texts : iterable of str
        Cells of its number columns, without repetition.
    delimiter : str
        Between the cells of the file. A semicolon means a decimal comma unless numbers with
        a dot are seen.

    Examples
    --------
    >>> decimal_mark(["4,1", "3"], ";")
    <Mark.COMMA: 'comma'>
    >>> decimal_mark(["1,234", "3.5"], ",")
    <Mark.DOT: 'dot'>
    """
    comma = dot = False
    for raw in texts:
        for text in raw.split():
            if "," in text:
                comma = comma or bool(_COMMA.match(text) and not _THREE_AFTER_COMMA.match(text))
            elif "." in text:
                dot = dot or bool(_PLAIN.match(text) and not _THREE_AFTER_DOT.match(text))
        if comma and dot:
            return Mark.MIXED
    return Mark.COMMA if comma or (delimiter == ";" and not dot) else Mark.DOT


def read_number(text: str, mark: Mark = Mark.DOT) -> float | None:
    """A number with a decimal dot or comma; None when not given.

    Raises
    ------
    InputRefused
        For what is no number, for NaN and infinity, and for a number that could be read in
        two ways (a thousands sign or a decimal one).

    Examples
    --------
    >>> read_number("4,1")
    4.1
    >>> read_number("n/a") is None
    True
    """
    stripped = text.strip().replace("\N{MINUS SIGN}", "-")
    if not is_given(stripped):
        return None
    _refuse_long(stripped, "a number")
    if _PLAIN.match(stripped):
        if mark is not Mark.DOT and _THREE_AFTER_DOT.match(stripped):
            raise _ambiguous(text, "a decimal comma")
        return _within_size(float(stripped), text)
    if _COMMA.match(stripped):
        if mark is not Mark.COMMA and _THREE_AFTER_COMMA.match(stripped):
            raise _ambiguous(text, "a decimal dot")
        return _within_size(float(stripped.replace(",", ".")), text)
    if _GROUPED.match(stripped):
        raise refuse(
            "thousands_separator",
            f"'{text}' has a thousands separator; write the number without one, such as 1234.5.",
            value=text,
        )
    if stripped.casefold().lstrip("+-") in {"nan", "inf", "infinity", "∞"}:
        raise refuse(
            "not_a_number",
            f"'{text}' is no number that can be kept; leave the cell blank, and give a reason "
            "why it is missing where the table has a place for one.",
            value=text,
        )
    raise refuse(
        "not_a_number",
        f"'{text}' is not a number; expected one such as 4.1 or 4,1 (a unit stands in the "
        "column 'unit' or in the header, not in the cell).",
        value=text,
    )


def _refuse_long(text: str, what: str) -> None:
    # A cell may hold a whole page of text; what is said of it must not.
    if len(text) > LONGEST_SHOWN:
        raise refuse(
            "not_a_number" if what == "a number" else "date_form",
            f"'{text[:40]}…' ({len(text):,} characters) is not {what}.",
            value=text[:40],
        )


def _ambiguous(text: str, used: str) -> InputRefused:
    return refuse(
        "ambiguous_number",
        f"'{text}' could have a thousands separator or a decimal sign (the file's other numbers "
        f"have {used}); write it without a separator, or with one more decimal.",
        value=text,
    )


def _within_size(number: float, text: str) -> float:
    if math.isfinite(number) and abs(number) <= LARGEST_READING:
        return number
    raise refuse(
        "value_too_large",
        f"'{text}' is beyond {LARGEST_READING:g}, which nothing that is recorded here reaches; "
        "check the decimal sign and the unit.",
        value=text,
    )


def read_date(text: str, *, day_first: bool = False) -> date | None:
    """A date, ISO or, when declared, day first; None when not given.

    Raises
    ------
    InputRefused
        For another form and for a day that no calendar has.

    Examples
    --------
    >>> read_date("31.12.2026", day_first=True)
    datetime.date(2026, 12, 31)
    """
    stripped = text.strip()
    if not is_given(stripped):
        return None
    _refuse_long(stripped, "a date")
    iso = _ISO.match(stripped)
    if iso:
        return _calendar(int(iso[1]), int(iso[2]), int(iso[3]), text)
    other = _DAY_FIRST.match(stripped)
    if other and day_first:
        return _calendar(int(other[4]), int(other[3]), int(other[1]), text)
    if other:
        raise refuse(
            "date_form",
            f"'{text}' could be day first or month first; write YYYY-MM-DD, or declare that the "
            "dates are day first (--day-first).",
            value=text,
        )
    if _YEAR_FIRST.match(stripped):
        raise refuse(
            "date_form", f"'{text}': write the date with hyphens, as YYYY-MM-DD.", value=text
        )
    form = "YYYY-MM-DD or DD.MM.YYYY" if day_first else "YYYY-MM-DD"
    raise refuse("date_form", f"'{text}' is not a date; expected {form}.", value=text)


def _calendar(year: int, month: int, day: int, text: str) -> date:
    try:
        found = date(year, month, day)
    except ValueError:
        swapped = " Is the day where the month should be?" if month > 12 >= day else ""
        raise refuse(
            "no_such_day", f"'{text}': no calendar has this day.{swapped}", value=text
        ) from None
    if year < EARLIEST_YEAR:
        raise refuse(
            "date_implausible",
            f"'{text}' is before {EARLIEST_YEAR}; check the year.",
            value=text,
        )
    return found


def read_cell(text: str, column: Column, style: Style) -> Cell:
    """A cell of a column as its value; None when not given.

    Raises
    ------
    InputRefused
        When the cell is not what the column holds.
    """
    if column.type in {Type.CODE, Type.NAME, Type.TEXT}:
        return _read_text(text, column)
    if not is_given(text):
        return None
    if column.type is Type.DATE:
        return read_date(text, day_first=style.day_first)
    if column.type is Type.CHOICE:
        return _read_choice(text, column)
    if column.type is Type.YES_NO:
        return _read_yes_no(text, column)
    return _read_bounded(text, column, style)


def _read_text(text: str, column: Column) -> str | None:
    stripped = text.strip()
    # Initials and family names may well be 'NA': only a blank is no code and no name.
    if not stripped or (column.type is Type.TEXT and not is_given(stripped)):
        return None
    stripped = as_meant(stripped)
    if column.type is Type.CODE:
        return clean_code(stripped, column=column.name)
    if len(stripped) > column.longest:
        raise refuse(
            "text_too_long",
            f"{column.name} has {len(stripped)} characters; at most {column.longest}.",
            value=stripped[:40],
        )
    return stripped


def _read_choice(text: str, column: Column) -> str:
    word = re.sub(r"[\s-]+", "_", text.strip().casefold())
    meant = dict(column.also).get(word, word)
    if meant in column.allowed:
        return meant
    raise refuse(
        f"{column.name}_unknown",
        f"{column.name} is '{text[:LONGEST_SHOWN]}'; expected {', '.join(column.allowed)}."
        f"{hint(word[:LONGEST_SHOWN], column.allowed)}",
        value=text[:LONGEST_SHOWN],
    )


def _read_yes_no(text: str, column: Column) -> bool:
    word = text.strip().casefold()
    if word in {"yes", "true", "1", "y"}:
        return True
    if word in {"no", "false", "0", "n"}:
        return False
    raise refuse(
        f"{column.name}_unknown", f"{column.name} is '{text}'; expected yes or no.", value=text
    )


def _read_bounded(text: str, column: Column, style: Style) -> float | int | None:
    number = read_number(text, style.mark)
    if number is None:
        return None
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    whole = column.type is Type.WHOLE
    if (whole and not number.is_integer()) or not low <= number <= high:
        raise refuse(
            f"{column.name}_out_of_range" if not whole else f"{column.name}_not_taken",
            f"{column.name} is '{text}'; expected {expectation(column)}.",
            value=text,
        )
    return int(number) if whole else number
