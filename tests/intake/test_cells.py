"""Cells of text become values, or a refusal that says what to do."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.intake.cells import Mark, decimal_mark, read_date, read_number
from casebook.intake.columns import TABLES, TableKind, describe_tables
from casebook.intake.nearest import nearest


def code_of(call: object, *given: object, **named: object) -> str:
    with pytest.raises(InputRefused) as refused:
        call(*given, **named)  # type: ignore[operator]
    return refused.value.problems[0].code


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("4.1", 4.1),
        ("4,1", 4.1),
        (" 12 ", 12.0),
        ("-3.5", -3.5),
        ("−3,5", -3.5),
        ("+2", 2.0),
        (".5", 0.5),
        ("1e3", 1000.0),
        ("0,125", 0.125),
    ],
)
def test_a_number_is_read_with_a_decimal_dot_or_comma(text: str, number: float) -> None:
    assert read_number(text) == number


@pytest.mark.parametrize("text", ["", "  ", "n/a", "N/A", "NA", "na", "-", "–"])
def test_blanks_and_their_like_are_not_given(text: str) -> None:
    assert read_number(text) is None
    assert read_date(text) is None


@pytest.mark.parametrize("text", ["NaN", "nan", "inf", "-inf", "Infinity", "12 deg", "abc", "4..1"])
def test_what_is_no_finite_number_is_refused(text: str) -> None:
    assert code_of(read_number, text) == "not_a_number"


@pytest.mark.parametrize("text", ["1e9", "100000001", "-2e8"])
def test_a_number_beyond_any_instrument_is_refused(text: str) -> None:
    assert code_of(read_number, text) == "value_too_large"


@pytest.mark.parametrize("text", ["1,234.5", "1.234,5", "1.234.567", "1'234", "12 345"])
def test_a_thousands_separator_is_refused_by_name(text: str) -> None:
    assert code_of(read_number, text) == "thousands_separator"


def test_three_digits_after_a_comma_are_read_by_what_the_file_shows_elsewhere() -> None:
    assert code_of(read_number, "1,234", Mark.DOT) == "ambiguous_number"
    assert code_of(read_number, "1,234", Mark.MIXED) == "ambiguous_number"
    assert read_number("1,234", Mark.COMMA) == 1.234
    assert code_of(read_number, "1.234", Mark.COMMA) == "ambiguous_number"
    assert read_number("1.234", Mark.DOT) == 1.234


def test_a_semicolon_file_has_decimal_commas_unless_its_numbers_show_dots() -> None:
    assert decimal_mark(["1,234"], ";") is Mark.COMMA
    assert decimal_mark(["1,234", "3.5"], ";") is Mark.DOT
    assert decimal_mark(["1,234"], ",") is Mark.DOT
    assert decimal_mark(["3,5", "3.5"], ";") is Mark.MIXED


@given(st.floats(min_value=-1e8, max_value=1e8))
def test_every_number_python_writes_is_read_back(number: float) -> None:
    assert read_number(repr(number)) == number


@pytest.mark.parametrize("text", ["2026-03-09", "2026-03-09T00:00:00", "2026-03-09 00:00:00"])
def test_an_iso_date_is_read(text: str) -> None:
    assert read_date(text) == date(2026, 3, 9)


@pytest.mark.parametrize("text", ["31.12.2025", "31/12/2025", "31-12-2025"])
def test_a_day_first_date_is_read_when_declared_and_refused_with_a_hint_otherwise(
    text: str,
) -> None:
    assert read_date(text, day_first=True) == date(2025, 12, 31)
    with pytest.raises(InputRefused, match="--day-first"):
        read_date(text)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-02-30", "no_such_day"),
        ("2026-13-01", "no_such_day"),
        ("1826-01-01", "date_implausible"),
        ("2026/01/02", "date_form"),
        ("yesterday", "date_form"),
        ("31.12.25", "date_form"),
        ("2026-03-09 14:30", "date_form"),
    ],
)
def test_a_date_that_cannot_be_is_refused(text: str, code: str) -> None:
    assert code_of(read_date, text, day_first=True) == code


def test_the_help_names_every_table_and_every_column() -> None:
    words = describe_tables()
    for kind, table in TABLES.items():
        assert f"{kind.value}: " in words
        if kind is not TableKind.VISITS_WIDE:
            for column in table.columns:
                assert f"  {column.name}{'*' if column.required else ''}: " in words


def test_the_contract_s_columns_are_required_and_no_others_of_a_tidy_table() -> None:
    assert set(TABLES[TableKind.VISITS].required) == {
        "runner",
        "visit_date",
        "metric",
        "side",
        "trial",
        "value",
    }


def test_the_nearest_name_is_found_without_regard_to_case() -> None:
    assert nearest("Cadense", ["cadence", "step_width"]) == ("cadence",)
    assert nearest("zzz", ["cadence"]) == ()
