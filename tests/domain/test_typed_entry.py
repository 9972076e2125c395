"""Reading one cell of the logging grid."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import refuse
from casebook.domain.metrics import Better, Metric, MetricGroup, Scale
from casebook.domain.sides import Side
from casebook.domain.typed_entry import read_entry, write_entry
from casebook.domain.visits import (
    MissingReason,
    missing_value,
    value_of_mean,
    value_of_trials,
)

DROP = Metric(
    key="pelvic_drop",
    label="Pelvic drop",
    group=MetricGroup.POSTERIOR_VIEW,
    unit="deg",
    scale=Scale.INTERVAL,
    sided=True,
    sign_convention="towards the swing side is positive",
    better=Better.LOWER,
    plausible_low=-5,
    plausible_high=25,
    resolution=0.5,
)
SWING = Metric(
    key="arm_swing",
    label="Arm swing",
    group=MetricGroup.POSTERIOR_VIEW,
    unit="1",
    scale=Scale.GRADE,
    sided=True,
    sign_convention="more is further across",
    better=Better.LOWER,
    plausible_low=0,
    plausible_high=2,
    resolution=1,
    grades=("fore and aft", "reaches the midline", "crosses the midline"),
)


@pytest.mark.parametrize(
    ("typed", "trials"),
    [
        ("4.1 4.4 3.9", (4.1, 4.4, 3.9)),
        ("4,1 4,4 3,9", (4.1, 4.4, 3.9)),
        ("4.1, 4.4, 3.9", (4.1, 4.4, 3.9)),
        ("4,1; 4,4;3,9", (4.1, 4.4, 3.9)),
        ("  5 ", (5.0,)),
        ("-1.5 \N{MINUS SIGN}2", (-1.5, -2.0)),
        ("+2 .5", (2.0, 0.5)),
    ],
)
def test_every_trial_is_read_whatever_the_decimal_sign(
    typed: str, trials: tuple[float, ...]
) -> None:
    entry = read_entry(typed, DROP, Side.LEFT)
    assert entry.value is not None
    assert entry.value.trials == trials
    assert entry.value.side is Side.LEFT
    assert not entry.problem
    assert not entry.question


@pytest.mark.parametrize("typed", ["4.1 n=7", "4,1 n=7", "4.1 n 7", "4.1 (n=7)", "4.1 N:7"])
def test_a_mean_with_its_number_of_trials_is_kept_as_a_mean(typed: str) -> None:
    value = read_entry(typed, DROP, Side.RIGHT).value
    assert value == value_of_mean("pelvic_drop", Side.RIGHT, 4.1, 7)


@pytest.mark.parametrize("typed", ["painful", "Painful", "pain", "PAIN"])
def test_a_reason_for_missing_can_be_typed(typed: str) -> None:
    value = read_entry(typed, DROP, Side.LEFT).value
    assert value is not None
    assert value.missing_reason is MissingReason.PAINFUL


def test_a_reason_is_read_with_blank_or_underscore() -> None:
    for typed in ("not done", "not_done", "not d"):
        value = read_entry(typed, DROP, Side.LEFT).value
        assert value is not None
        assert value.missing_reason is MissingReason.NOT_DONE


@pytest.mark.parametrize("typed", ["not", "no", "tired"])
def test_a_word_that_fits_no_single_reason_is_named_with_the_reasons(typed: str) -> None:
    entry = read_entry(typed, DROP, Side.LEFT)
    assert entry.value is None
    assert f"'{typed}'" in entry.problem
    assert "couldn't be seen (c)" in entry.problem


@pytest.mark.parametrize("typed", ["4,1,3", "4.1 4.x", "1,234.5", "--4", "4..1", "1e9"])
def test_what_is_no_number_is_named_and_nothing_is_stored(typed: str) -> None:
    entry = read_entry(typed, DROP, Side.LEFT)
    assert entry.value is None
    assert "is not a number" in entry.problem


def test_a_number_beyond_any_instrument_is_refused() -> None:
    entry = read_entry("1000000000", DROP, Side.LEFT)
    assert entry.value is None
    assert "no metric reaches beyond" in entry.problem


def test_a_mean_of_no_trials_is_refused() -> None:
    entry = read_entry("4.1 n=0", DROP, Side.LEFT)
    assert entry.value is None
    assert "nothing was averaged" in entry.problem


def test_a_number_beyond_the_plausible_range_is_asked_about_and_kept() -> None:
    entry = read_entry("4 40", DROP, Side.LEFT)
    assert entry.value is not None
    assert entry.value.trials == (4.0, 40.0)
    assert "40° lies outside the plausible −5 to 25°" in entry.question


@pytest.mark.parametrize("typed", ["3", "-1", "1.5"])
def test_what_is_no_grade_is_refused_with_the_grades(typed: str) -> None:
    entry = read_entry(typed, SWING, Side.LEFT)
    assert entry.value is None
    assert "2 crosses the midline" in entry.problem


def test_a_negative_length_is_refused_in_its_cell() -> None:
    step = replace(DROP, key="step_length", scale=Scale.RATIO, plausible_low=20, unit="cm")
    entry = read_entry("-70", step, Side.LEFT)
    assert entry.value is None
    assert "cannot be negative" in entry.problem
    cadence = replace(step, key="cadence", unit="{steps}/min")
    assert "as steps/min, which" in read_entry("-3", cadence, Side.LEFT).problem
    assert "grades" not in entry.problem


def test_a_grade_and_a_mean_of_grades_are_read() -> None:
    assert read_entry("1", SWING, Side.LEFT).value is not None
    assert read_entry("1.5 n=2", SWING, Side.LEFT).value is not None


def inches(number: float, unit: str) -> float:
    if unit not in {"in", "hand widths"}:
        raise refuse("unit", f"unit '{unit}' given, but the metric's unit is 'cm'.")
    return number * (2.54 if unit == "in" else 10.0)


@pytest.mark.parametrize(
    ("typed", "trials"),
    [
        ("12 in", (30.48,)),
        ("12in 12,5in", (30.48, 31.75)),
        ("12 in; 12.5 in", (30.48, 31.75)),
        ("1 2 hand widths", (10.0, 20.0)),
    ],
)
def test_a_unit_behind_the_numbers_is_converted(typed: str, trials: tuple[float, ...]) -> None:
    entry = read_entry(typed, DROP, Side.LEFT, convert=inches)
    assert entry.value is not None
    assert entry.value.trials == trials
    assert entry.unit in {"in", "hand widths"}


def test_a_mean_in_another_unit_is_converted_and_without_a_unit_nothing_is() -> None:
    entry = read_entry("1.5 in n=7", DROP, Side.LEFT, convert=inches)
    assert entry.value == value_of_mean("pelvic_drop", Side.LEFT, 3.81, 7)
    plain = read_entry("1.5 n=7", DROP, Side.LEFT, convert=inches)
    assert (plain.value, plain.unit) == (value_of_mean("pelvic_drop", Side.LEFT, 1.5, 7), "")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("300 30x", "Unit 'x' given"),
        ("12 in 3 cm", "Unit 'in cm' given"),
        ("in 12", "neither a number nor a reason"),
        ("--4 in", "'--4' is not a number"),
        ("4 5 n=2", "'4 5' is not a number"),
        ("12 in2", "'in2' is not a number"),
    ],
)
def test_a_unit_that_cannot_be_read_is_told(typed: str, told: str) -> None:
    entry = read_entry(typed, DROP, Side.LEFT, convert=inches)
    assert entry.value is None
    assert told in entry.problem


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("n", MissingReason.NOT_DONE),
        ("P", MissingReason.PAINFUL),
        ("c", MissingReason.NOT_VISIBLE),
        ("couldn\N{RIGHT SINGLE QUOTATION MARK}t be seen", MissingReason.NOT_VISIBLE),
        ("e", MissingReason.EQUIPMENT),
        ("equipment failed", MissingReason.EQUIPMENT),
    ],
)
def test_one_key_is_enough_for_a_reason(typed: str, reason: MissingReason) -> None:
    assert read_entry(typed, DROP, Side.LEFT).value == missing_value(
        "pelvic_drop", Side.LEFT, reason
    )


@pytest.mark.parametrize("typed", ["", "   "])
def test_a_blank_cell_is_neither_value_nor_problem(typed: str) -> None:
    entry = read_entry(typed, DROP, Side.LEFT)
    assert entry.value is None
    assert not entry.problem


def test_punctuation_alone_is_told_apart_from_a_blank_cell() -> None:
    assert read_entry(";", DROP, Side.LEFT).problem


@given(st.lists(st.floats(-1e6, 1e6, allow_subnormal=False), min_size=1, max_size=12))
def test_trials_written_and_read_back_are_the_same_to_fifteen_digits(trials: list[float]) -> None:
    # Written with 15 significant digits, in positional form only where that is what g gives.
    rounded = [round(trial, 4) for trial in trials]
    value = value_of_trials("pelvic_drop", Side.LEFT, rounded)
    again = read_entry(write_entry(value), DROP, Side.LEFT).value
    assert again is not None
    assert again.trials == pytest.approx(tuple(rounded), rel=1e-14, abs=1e-9)


def test_trials_a_mean_and_a_reason_are_written_as_one_would_type_them() -> None:
    assert write_entry(value_of_trials("pelvic_drop", Side.LEFT, [4.1, 4.0])) == "4.1 4"
    assert write_entry(value_of_mean("pelvic_drop", Side.LEFT, 4.1, 7)) == "4.1 n=7"
    reason = missing_value("pelvic_drop", Side.LEFT, MissingReason.NOT_VISIBLE)
    assert write_entry(reason) == "not visible"
