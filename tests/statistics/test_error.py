from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import chi2, norm, t

from casebook.statistics.error import (
    FEWEST_DEGREES,
    MANY_DEGREES,
    few_trials_factor,
    interval_floor,
    mdc_between,
    mdc_from_sem,
    pooled_within_sd,
    reading_floor,
    sem_from_mean_of,
    sem_from_parts,
    sem_lower_bound,
    z_two_sided,
)

sizes = st.just(0.0) | st.floats(1e-3, 100.0)
counts = st.integers(1, 100)


@given(sizes, sizes, sizes, counts, counts)
def test_more_trials_never_raise_the_sem(
    between: float, within: float, floor: float, n: int, trials: int
) -> None:
    slack = 1.0 + 1e-12
    for sem in (
        lambda m: sem_from_parts(between, within, floor, m),
        lambda m: sem_from_mean_of(between, trials, within, floor, m),
        lambda m: sem_lower_bound(within, floor, m),
    ):
        assert sem(n + 1) <= sem(n) * slack


@given(sizes, sizes, sizes, counts)
def test_the_sem_never_falls_below_the_floor_of_the_mean(
    between: float, within: float, floor: float, n: int
) -> None:
    least = floor / np.sqrt(n) * (1 - 1e-12)
    assert sem_from_parts(between, within, floor, n) >= least
    assert sem_from_mean_of(between, 7, within, floor, n) >= least
    assert sem_lower_bound(within, floor, n) >= least


def test_a_figure_is_used_as_it_stands_with_as_many_trials_or_more() -> None:
    assert sem_from_mean_of(2.0, 7, np.nan, 0.0, [7, 9]).tolist() == [2.0, 2.0]


def test_fewer_trials_than_the_figure_add_what_they_do_not_average_out() -> None:
    # By hand: 2^2 + 3^2 (1/2 - 1/6) = 7.
    assert sem_from_mean_of(2.0, 6, 3.0, 0.0, 2) == pytest.approx(np.sqrt(7.0), rel=1e-12)


def test_fewer_trials_without_trials_to_pool_give_no_sem() -> None:
    assert np.isnan(sem_from_mean_of(2.0, 7, np.nan, 0.1, 5))


def test_pooling_weighs_by_degrees_of_freedom_and_leaves_single_trials_out() -> None:
    first, second = np.array([1.0, 2.0, 6.0]), np.array([4.0, 9.0])
    pooled, degrees = pooled_within_sd(
        [first.std(ddof=1), second.std(ddof=1), np.nan, 5.0], [3, 2, 1, 1], [0, 0, 0, 1], 2
    )
    residual = np.concatenate([first - first.mean(), second - second.mean()])
    assert pooled[0] == pytest.approx(np.sqrt(np.sum(residual**2) / 3), rel=1e-12)
    assert np.isnan(pooled[1])
    assert degrees.tolist() == [3, 0]


@given(sizes, sizes)
def test_the_mdc_of_equal_errors_is_the_mdc_of_one(sem: float, other: float) -> None:
    assert mdc_from_sem(sem) == mdc_between(sem, sem)
    assert mdc_between(sem, other) == mdc_between(other, sem)


@pytest.mark.parametrize("level", [0.0, 1.0, 95.0, -0.1, float("nan")])
def test_a_level_that_is_no_share_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        z_two_sided(level)


def test_the_floor_of_a_duration_is_that_of_two_readings() -> None:
    frame = 1000.0 / 240.0
    assert interval_floor(240.0) == pytest.approx(np.hypot(*[reading_floor(frame)] * 2), rel=1e-12)


def false_changes(share: float, degrees: int, factor: float) -> float:
    """Chance that a mere error exceeds its MDC95, by quadrature over the estimated variance.

    `share` of the error's variance is estimated with some degrees of freedom, the rest known.
    """

    def beyond(ratio: float) -> float:
        told = 1.0 - share + share * factor**2 * ratio
        return float(2 * norm.sf(z * np.sqrt(told)) * density.pdf(ratio))

    z = z_two_sided()
    density = chi2(degrees, scale=1.0 / degrees)
    ends = density.ppf([1e-12, 0.5, 1 - 1e-12])
    return sum(quad(beyond, low, high)[0] for low, high in pairwise(ends))


@pytest.mark.parametrize("degrees", [4, 5, 8, 20, 100])
def test_allowing_for_few_trials_keeps_false_changes_at_five_percent_or_fewer(
    degrees: int,
) -> None:
    factor = float(few_trials_factor(degrees))
    chances = [false_changes(share, degrees, factor) for share in np.linspace(0.0, 1.0, 11)]
    assert max(chances) <= 0.05 + 1e-6
    # Exact at both ends: nothing estimated, everything estimated (Student's t).
    assert (chances[0], chances[-1]) == pytest.approx((0.05, 0.05), abs=1e-6)
    # Without it a spread from few trials would be taken for better known than it is.
    assert false_changes(1.0, degrees, 1.0) > 0.05
    assert false_changes(1.0, 4, 1.0) == pytest.approx(2 * t.sf(z_two_sided(), 4), abs=1e-6)


@pytest.mark.parametrize("degrees", [4, 6, 20])
def test_simulated_changes_of_nothing_with_a_bridged_error_are_called_real_in_five_percent(
    degrees: int,
) -> None:
    # A figure for a mean of seven used for single trials; invented numbers, seeded.
    rng = np.random.default_rng(degrees)
    runs, within, trials, n = 40_000, 2.0, 7, 1
    for between in (0.0, 1.0, 4.0):
        sem = np.sqrt(between**2 + within**2 / trials)
        spread = within * np.sqrt(rng.chisquare(degrees, runs) / degrees)
        widened = spread * few_trials_factor(degrees)
        told = sem_from_mean_of(sem, trials, widened, 0.0, n)
        change = rng.normal(0.0, np.sqrt(2 * (between**2 + within**2 / n)), runs)
        share = np.mean(np.abs(change) > mdc_between(told, told))
        assert share <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / runs)


@given(st.integers(0, 5000))
def test_the_allowance_for_few_trials_shrinks_with_their_number(degrees: int) -> None:
    now, then = few_trials_factor([degrees, degrees + 1])
    if degrees < FEWEST_DEGREES:
        assert np.isnan(now)
    else:
        assert now >= then > 1.0
        assert now == pytest.approx(
            t.ppf(0.975, min(degrees, MANY_DEGREES)) / norm.ppf(0.975), rel=1e-12
        )


def test_no_runners_need_no_allowance() -> None:
    assert few_trials_factor([]).size == 0
