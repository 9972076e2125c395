from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.domain.sides import Side
from casebook.domain.visits import (
    CONDITION_RANGES,
    LARGEST_READING,
    MOST_TRIALS,
    Conditions,
    MissingReason,
    check_reading,
    missing_value,
    value_of_mean,
    value_of_trials,
)

readings = st.floats(-LARGEST_READING, LARGEST_READING)


@given(st.lists(readings, min_size=1, max_size=20))
def test_a_value_keeps_every_trial_with_their_mean_and_spread(trials: list[float]) -> None:
    value = value_of_trials("lunge_distance", Side.LEFT, trials)
    assert value.trials == tuple(trials)
    assert value.n_trials == len(trials)
    assert value.mean == statistics.fmean(trials)
    assert (value.sd is None) == (len(trials) == 1)
    assert value.missing_reason is None


def test_the_spread_of_trials_divides_by_one_less_than_their_number() -> None:
    # By hand: squares of -1, 0, 1 sum to 2, over 2.
    assert value_of_trials("lunge_distance", Side.LEFT, [4.0, 5.0, 6.0]).sd == 1.0


def test_a_mean_alone_has_no_trials_and_no_spread() -> None:
    value = value_of_mean("lunge_distance", Side.RIGHT, 9.5, 3)
    assert (value.mean, value.n_trials, value.trials, value.sd) == (9.5, 3, (), None)


def test_a_missing_value_is_never_zero() -> None:
    value = missing_value("lunge_distance", Side.LEFT, MissingReason.PAINFUL)
    assert (value.mean, value.n_trials, value.missing_reason) == (None, 0, MissingReason.PAINFUL)


@pytest.mark.parametrize("count", [0, MOST_TRIALS + 1])
def test_a_count_of_trials_out_of_reach_is_refused(count: int) -> None:
    with pytest.raises(InputRefused, match="expected 1 to"):
        value_of_trials("lunge_distance", Side.LEFT, [1.0] * count)
    with pytest.raises(InputRefused, match="expected 1 to"):
        value_of_mean("lunge_distance", Side.LEFT, 1.0, count)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (math.nan, "not_a_number"),
        (math.inf, "not_a_number"),
        (1e9, "value_too_large"),
        (-1e9, "value_too_large"),
    ],
)
def test_a_number_no_instrument_shows_is_refused(number: float, code: str) -> None:
    for enter in (
        check_reading,
        lambda x: value_of_trials("lunge_distance", Side.LEFT, [9.0, x]),
        lambda x: value_of_mean("lunge_distance", Side.LEFT, x, 3),
    ):
        with pytest.raises(InputRefused) as refused:
            enter(number)
        assert refused.value.problems[0].code == code


@pytest.mark.parametrize(("column", "low", "high", "unit"), CONDITION_RANGES)
def test_a_condition_out_of_range_is_refused_and_its_ends_are_taken(
    column: str, low: float, high: float, unit: str
) -> None:
    for fine in (low, high, None):
        assert getattr(Conditions(**{column: fine}), column) == fine
    for wrong in (low - 0.1, high + 0.1, math.nan):
        with pytest.raises(InputRefused, match=unit) as refused:
            Conditions(**{column: wrong})
        assert refused.value.problems[0].column == column
