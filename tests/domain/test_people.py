from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.domain.people import LONGEST_CODE, Identity, clean_by, clean_code


@given(st.text())
def test_a_code_is_trimmed_and_printable_or_refused(text: str) -> None:
    try:
        code = clean_code(text)
    except InputRefused as refused:
        (problem,) = refused.problems
        assert problem.code in {"code_empty", "code_too_long", "code_unprintable"}
        assert problem.value == text
    else:
        assert code == text.strip()
        assert code.isprintable()
        assert 0 < len(code) <= LONGEST_CODE


@pytest.mark.parametrize("code", ["R-01", "O'Neil", 'the "quick" one', "🏃 12", "Läufer 3"])
def test_codes_with_quotes_signs_and_other_alphabets_are_taken(code: str) -> None:
    assert clean_code(f"  {code} ") == code


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "code_empty"),
        ("   ", "code_empty"),
        ("a" * 65, "code_too_long"),
        ("a\nb", "code_unprintable"),
        ("a\x00b", "code_unprintable"),
    ],
)
def test_what_no_file_or_screen_could_show_is_refused(text: str, code: str) -> None:
    with pytest.raises(InputRefused) as refused:
        clean_code(text, column="by")
    (problem,) = refused.value.problems
    assert (problem.code, problem.column) == (code, "by")


def test_an_identity_shows_its_code_only() -> None:
    identity = Identity(
        runner="R-01", given_name="Invented", family_name="Person", birth_date=date(1990, 5, 1)
    )
    assert repr(identity) == "Identity(runner='R-01')"


def test_whoever_does_something_may_be_unknown_but_not_unprintable() -> None:
    assert clean_by("  kim ") == "kim"
    assert clean_by("   ") == ""
    with pytest.raises(InputRefused):
        clean_by("a\tb")
