"""What is expected to come back by itself, by hand and by simulation (invented numbers)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.statistics.regression_to_mean import FEWEST_RUNNERS, expected_regression


def test_the_expected_change_is_one_minus_icc_times_the_distance_from_the_mean() -> None:
    # Barnett et al. 2005, formula from memory. By hand: variance 1000/9, error 25.
    others = np.array([90.0, 110.0] * 5)
    found = expected_regression(130.0, 5.0, others, np.full(10, 5.0))
    assert found is not None
    true = 1000 / 9 - 25
    icc = true / (true + 25)
    assert found.icc == pytest.approx(icc, rel=1e-12)
    assert found.expected == pytest.approx((1 - icc) * (100.0 - 130.0), rel=1e-12)
    assert (found.clinic_mean, found.runners) == (100.0, 10)


def test_too_few_others_say_nothing() -> None:
    few = np.arange(FEWEST_RUNNERS - 1.0)
    assert expected_regression(1.0, 1.0, few, np.ones(few.size)) is None


def test_a_clinic_that_differs_by_no_more_than_its_error_gives_the_whole_distance_back() -> None:
    others = np.array([9.0, 11.0] * 6)
    found = expected_regression(14.0, 3.0, others, np.full(12, 3.0))
    assert found is not None
    assert (found.icc, found.expected) == (0.0, -4.0)


def test_a_baseline_without_error_has_nothing_to_give_back() -> None:
    found = expected_regression(14.0, 0.0, np.full(10, 10.0), np.zeros(10))
    assert found is not None
    assert (found.icc, found.expected) == (1.0, 0.0)


@given(st.floats(-1e3, 1e3), st.floats(0.01, 50.0), st.integers(0, 2**32 - 1))
def test_the_expected_change_is_towards_the_mean_and_never_beyond_it(
    baseline: float, sem: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    others = rng.normal(0.0, 10.0, 30)
    found = expected_regression(baseline, sem, others, np.full(30, 3.0))
    assert found is not None
    distance = found.clinic_mean - baseline
    assert 0.0 <= found.icc <= 1.0
    assert found.expected * distance >= 0.0
    assert abs(found.expected) <= abs(distance) * (1 + 1e-12)


@pytest.mark.parametrize(("sem", "visits"), [(4.0, 1), (4.0, 3), (8.0, 2)])
def test_runners_picked_for_extreme_baselines_come_back_by_as_much_as_is_told(
    sem: float, visits: int
) -> None:
    rng = np.random.default_rng([int(sem), visits])
    size = 4000
    true = rng.normal(100.0, 10.0, size)
    error = sem / np.sqrt(visits)
    baseline = true + rng.normal(0.0, error, size)
    later = true + rng.normal(0.0, sem, size)
    picked = np.flatnonzero(baseline > np.quantile(baseline, 0.9))
    told = []
    for one in picked:
        others = np.delete(baseline, one)
        found = expected_regression(baseline[one], error, others, np.full(others.size, error))
        assert found is not None
        told.append(found.expected)
    came_back = (later - baseline)[picked]
    spread = came_back.std(ddof=1) / np.sqrt(picked.size)
    assert np.mean(told) == pytest.approx(came_back.mean(), abs=4 * spread)
    assert came_back.mean() < 0
