"""Numbers and dates as they are typed. ISO 8601 is the outside standard for dates."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.typed_fields import read_day, read_number, weekday_words

DAYS = st.dates(date(1900, 1, 1), date(2100, 12, 31))


@pytest.mark.parametrize(
    ("text", "number"),
    [("9,5", 9.5), ("9.5", 9.5), (" 9 ", 9.0), ("\N{MINUS SIGN}2,5", -2.5), (",5", 0.5)],
)
def test_a_comma_and_a_point_are_both_decimal_signs(text: str, number: float) -> None:
    assert read_number(text).value == number


@pytest.mark.parametrize("text", ["9,5 km/h", "1.000,5", "nine", "nan", "inf", "1e3", "9 5"])
def test_what_is_no_number_gives_no_value(text: str) -> None:
    typed = read_number(text)
    assert typed.value is None
    assert f"'{text}' is not a number" in typed.problem


def test_a_blank_box_is_neither_a_value_nor_a_problem() -> None:
    assert (read_number(" ").value, read_number("").problem) == (None, "")
    assert (read_day("").value, read_day(" ").problem) == (None, "")


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (0.0, 10.0, "within 0 to 10"),
        (0.0, math.inf, "0 cm or more"),
        (-math.inf, -20.0, "-20 cm or less"),
    ],
)
def test_a_number_out_of_range_is_told_with_the_range(low: float, high: float, told: str) -> None:
    typed = read_number("-15", low=low, high=high, unit="cm")
    assert typed.value is None
    assert told in typed.problem


def test_a_whole_number_is_asked_for_where_only_one_makes_sense() -> None:
    assert read_number("3", whole=True).value == 3.0
    assert "whole number" in read_number("3,5", whole=True).problem
    assert "such as 3" in read_number("x", whole=True).problem


@given(DAYS)
def test_every_date_is_read_alike_in_iso_8601_and_day_first(day: date) -> None:
    for text in (
        day.isoformat(),
        f"{day.day}.{day.month}.{day.year}",
        f"{day.day:02}/{day.month:02}/{day.year}",
        f"{day.day} {day:%b %Y}",
        f"{day.day}. {day:%B %Y}",
        weekday_words(day).split(" ", 1)[1],
    ):
        assert read_day(text).value == day


@pytest.mark.parametrize("text", ["25.11.26", "11/25", "25/11-2026", "tomorrow", "25 Foo 2026"])
def test_a_date_of_which_a_part_is_left_to_guess_is_refused(text: str) -> None:
    typed = read_day(text)
    assert typed.value is None
    assert "not read as a date" in typed.problem


def test_a_day_beyond_the_ends_is_refused_with_both_days_in_words() -> None:
    ends = {"earliest": date(2026, 1, 1), "latest": date(2026, 11, 25)}
    assert read_day("25.11.2026", **ends).value == date(2026, 11, 25)
    late = read_day("26.11.2026", **ends)
    assert late.value is None
    assert "Thursday 26 Nov 2026 lies after Wednesday 25 Nov 2026" in late.problem
    early = read_day("31.12.2025", **ends)
    assert early.value is None
    assert "Wednesday 31 Dec 2025 lies before Thursday 1 Jan 2026" in early.problem
