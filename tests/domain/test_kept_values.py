"""What a value that was given takes over from the stored one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from casebook.domain.sides import Side
from casebook.domain.visits import (
    LARGEST_READING,
    MOST_TRIALS,
    MissingReason,
    Value,
    as_kept,
    grown_marking_sd,
    missing_value,
    numbers_with_gaps,
    value_of_mean,
    value_of_trials,
)


def trials(*readings: float, numbers: tuple[int, ...] = (), marking: float | None = None) -> Value:
    value = value_of_trials("bend", Side.LEFT, readings)
    return replace(value, trial_numbers=numbers, marking_sd=marking)


def test_trials_are_known_by_their_numbers() -> None:
    assert trials(4.0, 5.0).numbered == {1: 4.0, 2: 5.0}
    assert trials(4.0, 5.0, numbers=(1, 3)).numbered == {1: 4.0, 3: 5.0}
    assert numbers_with_gaps([1, 2]) == ()
    assert numbers_with_gaps([2, 3]) == (2, 3)


def test_more_trials_make_the_mean_no_better_known_than_its_marks_do() -> None:
    assert grown_marking_sd(2.0, 2, 8) / math.sqrt(8) == pytest.approx(2.0 / math.sqrt(2))
    assert grown_marking_sd(2.0, 8, 2) == 2.0
    assert grown_marking_sd(LARGEST_READING, 1, 100) == LARGEST_READING


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ((4.0, 5.0, 6.0), (1, 3, 4)),  # one more: it comes behind the last
        ((4.0, 6.0), (1, 3)),  # one amended: the numbers stay
        ((5.0,), (3,)),  # one taken out: the other keeps its own
        ((7.0,), ()),  # a single one that was neither is the first
    ],
)
def test_trials_keep_their_numbers_where_the_stored_have_gaps(
    given: tuple[float, ...], expected: tuple[int, ...]
) -> None:
    kept = trials(4.0, 5.0, numbers=(1, 3))
    assert as_kept(trials(*given), kept).trial_numbers == expected


def test_numbers_that_no_longer_fit_are_counted_anew() -> None:
    kept = trials(4.0, 5.0, numbers=(1, MOST_TRIALS))
    assert as_kept(trials(4.0, 5.0, 6.0), kept).trial_numbers == ()


def test_the_error_of_marks_stays_as_long_as_one_reading_does() -> None:
    kept = trials(4.0, 5.0, marking=1.0)
    assert as_kept(trials(4.0, 6.0), kept).marking_sd == 1.0
    grown = as_kept(trials(4.0, 5.0, 6.0, 7.0), kept)
    assert grown.marking_sd == pytest.approx(math.sqrt(2))
    assert as_kept(trials(8.0, 9.0), kept).marking_sd is None
    assert as_kept(missing_value("bend", Side.LEFT, MissingReason.PAINFUL), kept).marking_sd is None
    assert as_kept(trials(4.0, marking=3.0), kept).marking_sd == 3.0
    mean = value_of_mean("bend", Side.LEFT, 4.5, 3)
    assert as_kept(mean, replace(mean, marking_sd=2.0)).marking_sd == 2.0
    assert as_kept(mean, kept).marking_sd is None
