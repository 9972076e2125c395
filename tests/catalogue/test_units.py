"""Units: UCUM codes, a clinic's spellings, and conversion by exact factors."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ucumvert import get_ucum_parser, parse_ucum

from casebook.catalogue.units import (
    SPELLINGS,
    allowed_units,
    check_ucum,
    convert,
    is_ucum,
    ucum_of,
    unit_words,
)
from casebook.domain.errors import InputRefused

# The Unified Code for Units of Measure (ucum-essence 2.2, 17 June 2024), as the ucumvert
# library ships it; both lists were parsed with it.
VALID = [
    "deg",
    "cm",
    "mm",
    "kg",
    "N",
    "ms",
    "%",
    "m/s",
    "/min",
    "{steps}/min",
    "{score}",
    "1",
    "s",
    "N.m",
    "N/kg",
    "N.m/kg",
    "W/kg",
    "km/h",
    "min/km",
    "kg/m2",
    "deg/s",
    "Hz",
    "h",
    "d",
    "wk",
    "mo",
    "a",
]
INVALID = ["bpm", "score", "steps/min", "degrees", "°", "sec", "kgs", "msec"]


@pytest.mark.parametrize("code", VALID)
def test_codes_of_ucum_are_taken_as_a_metrics_unit(code: str) -> None:
    assert check_ucum(code) == code


@pytest.mark.parametrize("code", [*INVALID, "", " deg", "deg "])
def test_what_is_no_code_of_ucum_is_refused_as_a_metrics_unit(code: str) -> None:
    with pytest.raises(InputRefused) as caught:
        check_ucum(code, metric="my_metric")
    problem = caught.value.problems[0]
    assert problem.code == "unit_not_ucum"
    assert problem.value == code
    assert "my_metric" in problem.message


def test_the_code_that_was_meant_is_named() -> None:
    with pytest.raises(InputRefused, match=r"write '\{steps\}/min'"):
        check_ucum("steps/min")


@pytest.fixture(scope="module")
def parser() -> Any:
    return get_ucum_parser()


@pytest.mark.parametrize("code", SPELLINGS)
def test_every_spelling_stands_for_a_code_of_ucum(code: str, parser: Any) -> None:
    # By the library itself: ours takes these for known.
    assert parse_ucum(code, parser)
    assert is_ucum(code)
    assert {ucum_of(spelling.upper()) for spelling in SPELLINGS[code]} == {code}


@pytest.mark.parametrize(
    ("given_unit", "own", "factor"),
    [
        # Exact by definition: NIST Special Publication 811, appendix B (from memory).
        ("in", "cm", 2.54),
        ("inch", "mm", 25.4),
        ("ft", "cm", 30.48),
        ("mi", "km", 1.609344),
        ("mph", "km/h", 1.609344),
        ("kgf", "N", 9.80665),
        ("lbf", "N", 4.4482216152605),
        ("lb", "kg", 0.45359237),
        ("m/s", "km/h", 3.6),
        ("s", "ms", 1000.0),
        ("sec", "ms", 1000.0),
        ("m", "cm", 100.0),
        ("mm", "cm", 0.1),
        ("h", "min", 60.0),
        # pi radians are 180 degrees.
        ("rad", "deg", 57.29577951308232),
        ("Hz", "{steps}/min", 60.0),
        # Other words for the same.
        ("°", "deg", 1.0),
        ("Degrees", "deg", 1.0),
        ("steps/min", "{steps}/min", 1.0),
        ("/min", "{steps}/min", 1.0),
        ("reps", "1", 1.0),
        ("points", "{score}", 1.0),
        ("percent", "%", 1.0),
        ("1", "%", 100.0),
    ],
)
def test_a_clinics_units_are_converted_by_their_exact_factor(
    given_unit: str, own: str, factor: float
) -> None:
    assert convert(1.0, given_unit, own) == pytest.approx(factor, rel=1e-14)
    many = convert(np.array([[0.0, 2.0], [-3.0, np.nan]]), given_unit, own)
    np.testing.assert_allclose(many, np.array([[0, 2], [-3, np.nan]]) * factor, rtol=1e-14)


@pytest.mark.parametrize(
    ("given_unit", "own", "says"),
    [
        ("kg", "N", "write 'kgf'"),
        ("lb", "N", "write 'lbf'"),
        ("N", "N/kg", "something else"),
        ("cm", "deg", "something else"),
        ("deg", "1", "something else"),
        ("deg", "%", "something else"),
        ("deg", "{grade}", "something else"),
        ("%", "{score}", "something else"),
        ("points", "{grade}", "something else"),
        ("deg/s", "{steps}/min", "something else"),
        ("min/km", "km/h", "a pace"),
        ("min per mile", "km/h", "a pace"),
        ("bpm", "{steps}/min", "beats a minute"),
        ("strides/min", "{steps}/min", "a stride is two steps"),
        ("furlongs", "km", "not known"),
        ("[pH]", "deg", "can't be converted"),
        ("Cel", "cm", "something else"),
    ],
)
def test_a_unit_that_can_not_be_taken_is_refused_with_what_is_allowed(
    given_unit: str, own: str, says: str
) -> None:
    with pytest.raises(InputRefused) as caught:
        convert(1.0, given_unit, own, metric="my_metric")
    problem = caught.value.problems[0]
    assert (problem.column, problem.value) == ("unit", given_unit)
    for part in (f"'{given_unit}'", f"'{own}'", "my_metric", says, "Allowed: "):
        assert part in problem.message


def test_a_temperature_is_no_multiple_of_another() -> None:
    with pytest.raises(InputRefused, match="no multiple"):
        convert(20.0, "Cel", "K")


def test_blank_means_the_metrics_own_unit() -> None:
    assert convert(4.1, "  ", "deg") == 4.1


def test_allowed_units_are_those_that_convert() -> None:
    assert allowed_units("N") == ("N", "kgf", "lbf")
    assert allowed_units("cm") == ("mm", "cm", "m", "km", "in", "ft", "mi")
    assert allowed_units("{score}") == ("1", "score")


@given(st.sampled_from([(a, b) for b in ("cm", "N", "ms", "km/h", "deg") for a in
                        allowed_units(b)]), st.floats(-1e6, 1e6))  # fmt: skip
def test_converting_there_and_back_gives_the_same(units: tuple[str, str], value: float) -> None:
    given_unit, own = units
    there = convert(value, given_unit, own)
    back = convert(there, own, ucum_of(given_unit))
    # Two roundings of a double.
    assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_units_are_shown_as_a_person_reads_them() -> None:
    shown = [unit_words(u) for u in ("deg", "{steps}/min", "N/kg", "1", "{grade}", "N.m")]
    assert shown == ["°", "steps/min", "N/kg", "", "grade", "N·m"]


def test_no_registry_is_built_when_nothing_needs_converting() -> None:
    # In a process of its own: here other tests have built it already.
    asked = (
        "import sys\n"
        "from casebook.catalogue.units import convert\n"
        "for given, own in (('', 'deg'), ('deg', 'deg'), ('°', 'deg'), ('cm', 'cm'), "
        "('steps/min', '{steps}/min')):\n"
        "    assert convert(4.1, given, own) == 4.1\n"
        "print('pint' in sys.modules, 'ucumvert' in sys.modules)\n"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", asked],
        capture_output=True,
        text=True,
        check=True,
        cwd=root,
        env=os.environ | {"PYTHONPATH": str(root)},
    )
    assert done.stdout.split() == ["False", "False"]
