"""What a group is expected to change by itself, against exact results and drawn runners."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import foldnorm

from casebook.domain.metrics import Better
from casebook.statistics.codes import code_of
from casebook.statistics.cohort_regression import (
    Aim,
    Spreads,
    expected_distance,
    expected_gain,
    expected_side,
    shrunken,
    spreads_of,
)
from casebook.statistics.regression_to_mean import expected_regression

DRAWN = 200_000


def test_a_group_is_drawn_back_as_a_single_runner_is() -> None:
    others = np.random.default_rng(4).normal(100.0, 12.0, 14)
    sems = np.full(14, 6.0)
    spread = spreads_of(others, sems, np.zeros(14, dtype=np.int64), 1)
    expected, variance = shrunken(np.array([130.0]), np.array([6.0]), spread.mean, spread.true)
    one = expected_regression(130.0, 6.0, others, sems)
    assert one is not None
    assert expected[0] - 130.0 == pytest.approx(one.expected)
    assert variance[0] == pytest.approx(spread.true[0] * (1 - one.icc))


def test_too_few_runners_with_a_known_error_tell_no_spread() -> None:
    baseline, sem = np.arange(12.0), np.ones(12)
    sem[:3] = np.nan
    found = spreads_of(baseline, sem, np.zeros(12, dtype=np.int64), 2)
    assert np.isnan(found.mean).all()


def test_without_error_and_spread_nothing_is_drawn_back() -> None:
    zero = np.zeros(1)
    expected, variance = shrunken(np.array([5.0]), zero, np.array([9.0]), zero)
    assert (expected[0], variance[0]) == (5.0, 0.0)
    unknown, _ = shrunken(np.array([5.0]), np.array([np.nan]), np.array([9.0]), np.ones(1))
    assert np.isnan(unknown[0])


def test_the_mean_size_of_an_asymmetry_is_that_of_a_folded_normal() -> None:
    mean, sd = np.array([0.0, 1.3, -2.0]), np.array([1.0, 0.7, 3.0])
    theirs = foldnorm.mean(np.abs(mean) / sd, scale=sd)
    assert expected_distance(mean, sd, np.zeros(3), np.zeros(3)) == pytest.approx(theirs)


def test_a_value_known_exactly_has_its_own_distance() -> None:
    found = expected_distance(
        np.array([160.0, 180.0]), np.zeros(2), np.full(2, 170.0), np.full(2, 190.0)
    )
    assert found.tolist() == [10.0, 0.0]


def test_a_range_is_neared_by_those_that_error_put_outside_of_it() -> None:
    one = np.ones(1)
    aim = Aim(better=np.array([code_of(Better.RANGE)], np.int8), low=170 * one, high=190 * one)
    found = expected_gain(150 * one, 160 * one, 4 * one, 1e-9 * one, aim)
    assert found[0] == pytest.approx(10.0, abs=1e-3)


def test_where_neither_way_is_better_or_the_error_is_unknown_nothing_is_expected() -> None:
    nan = np.full(2, np.nan)
    aim = Aim(
        better=np.array([code_of(Better.NONE), code_of(Better.LOWER)], np.int8), low=nan, high=nan
    )
    found = expected_gain(np.ones(2), np.zeros(2), np.ones(2), np.array([1.0, np.nan]), aim)
    assert np.isnan(found).all()


def test_lower_is_better_by_what_is_expected_to_be_lost() -> None:
    nan = np.full(1, np.nan)
    aim = Aim(better=np.array([code_of(Better.LOWER)], np.int8), low=nan, high=nan)
    found = expected_gain(np.array([9.0]), np.array([6.5]), np.ones(1), np.ones(1), aim)
    assert found.tolist() == [2.5]


def test_drawn_runners_whose_worse_side_was_picked_gain_what_was_expected_though_none_changed() -> (
    None
):
    """True sides as a clinic has them, measured twice: the change of the sides is all error."""
    random = np.random.default_rng(20261127)
    middle = random.normal(300.0, 40.0, DRAWN)
    gap = random.normal(0.0, 20.0, DRAWN)
    sides = np.stack([middle - gap / 2, middle + gap / 2])
    first = sides + random.normal(0.0, 15.0, sides.shape)
    second = sides + random.normal(0.0, 15.0, sides.shape)
    picked = np.abs(first[1] - first[0]) > 40.0
    worse = np.argmin(first, axis=0)
    at = np.arange(DRAWN)
    sem = np.full(DRAWN, 15.0)
    ids = np.zeros(DRAWN, dtype=np.int64)
    error = np.hypot(sem, sem)
    middles = spreads_of((first[0] + first[1]) / 2, error / 2, ids, 1)
    gaps = spreads_of(first[1] - first[0], error, ids, 1)
    higher = Aim(
        better=np.zeros(DRAWN, np.int8), low=np.full(DRAWN, np.nan), high=np.full(DRAWN, np.nan)
    )
    for side, way in ((worse, 1), (1 - worse, -1)):
        sign = np.where(side == 1, 1.0, -1.0)
        expected, variance = expected_side(
            first[side, at],
            first[1 - side, at],
            sem,
            sem,
            Spreads(mean=middles.mean[ids], true=middles.true[ids]),
            Spreads(mean=sign * gaps.mean[ids], true=gaps.true[ids]),
        )
        told = expected_gain(first[side, at], expected, variance, sem, higher)[picked].mean()
        gained = (second[side, at] - first[side, at])[picked].mean()
        # The standard error of the mean change of some 30,000 runners is about 0.1.
        assert told == pytest.approx(gained, abs=0.4)
        assert way * told > 10.0


def test_of_all_runners_together_no_asymmetry_is_expected_to_shrink() -> None:
    random = np.random.default_rng(7)
    true = random.normal(0.0, 5.0, DRAWN)
    first, second = (true + random.normal(0.0, 3.0, DRAWN) for _ in range(2))
    sem, ids = np.full(DRAWN, 3.0), np.zeros(DRAWN, dtype=np.int64)
    spread = spreads_of(first, sem, ids, 1)
    expected, variance = shrunken(first, sem, spread.mean[ids], spread.true[ids])
    size = Aim(
        better=np.full(DRAWN, code_of(Better.RANGE), np.int8),
        low=np.zeros(DRAWN),
        high=np.zeros(DRAWN),
    )
    told = expected_gain(first, expected, variance, sem, size)
    assert told.mean() == pytest.approx(0.0, abs=0.03)
    large = np.abs(first) > 8.0
    shrank = np.abs(first[large]) - np.abs(second[large])
    assert told[large].mean() == pytest.approx(shrank.mean(), abs=0.1)
