"""Nonoverlap, Tau-U and segmented regression against numbers from outside the project."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import mannwhitneyu

from casebook.statistics.course.nonoverlap import nonoverlap_of_all_pairs, tau_u
from casebook.statistics.course.phases import Segments, robust_errors, segmented_regression

DATA = Path(__file__).parent / "data"
TEN_DIGITS = {"abs": 5e-11}
THROUGH_A_SOLVER = {"abs": 1e-4}

# A example of the vignette of the R package SingleCaseES; B of the help page of the R package
# scan (there a fall is the better way, hence the sign); C of Parker et al. 2011 (from memory).
VIGNETTE = ([20, 20, 26, 25, 22, 23], [28, 25, 24, 27, 30, 30, 29])
SCAN = ([-12, -14, -9, -10], [-10, -6, -4, -5, -3, -4])
PARKER = ([2, 3, 5, 3], [4, 5, 5, 7, 6])
ALL = [VIGNETTE, SCAN, PARKER]


def phases(pair: tuple[list[int], list[int]]) -> tuple[np.ndarray, np.ndarray]:
    return np.array(pair[0], dtype=float), np.array(pair[1], dtype=float)


# Counts, NAP and Sen's unbiased standard error computed in R 4.2.2; the vignette prints NAP
# 0.9166667 (from memory). p: exact permutation test of the R package coin, ties handled.
@pytest.mark.parametrize(
    ("pair", "counts", "nap", "se", "p"),
    [
        (VIGNETTE, (38, 3, 1), 0.9166666667, 0.0675536236, 0.009324009324),
        (SCAN, (22, 1, 1), 0.9375, 0.0625, 0.023809523810),
        (PARKER, (17, 1, 2), 0.9, 0.1, 0.055555555556),
    ],
)
def test_nap_its_error_and_its_exact_p_are_those_of_r(
    pair: tuple[list[int], list[int]],
    counts: tuple[int, int, int],
    nap: float,
    se: float,
    p: float,
) -> None:
    found = nonoverlap_of_all_pairs(*phases(pair))
    assert (found.higher, found.lower, found.tied) == counts
    assert found.nap == pytest.approx(nap, **TEN_DIGITS)
    assert found.tau == pytest.approx(2 * nap - 1, abs=1e-10)
    assert found.se == pytest.approx(se, **TEN_DIGITS)
    assert found.p == pytest.approx(p, abs=5e-13)


# Newcombe 2006, method 5, solved by scipy. The package SingleCaseES prints 0.5973406 to
# 0.9860176 for the first (from memory), 2e-5 off.
@pytest.mark.parametrize(
    ("pair", "low", "high"),
    [
        (VIGNETTE, 0.5973193600, 0.9859976894),
        (SCAN, 0.5573943258, 0.9934744225),
        (PARKER, 0.4999240323, 0.9859866859),
    ],
)
def test_the_interval_of_nap_is_newcombes(
    pair: tuple[list[int], list[int]], low: float, high: float
) -> None:
    found = nonoverlap_of_all_pairs(*phases(pair))
    assert found.low == pytest.approx(low, **THROUGH_A_SOLVER)
    assert found.high == pytest.approx(high, **THROUGH_A_SOLVER)


# All four variants of Tau-U computed in R 4.2.2; .65 is what Parker et al. 2011 print for theirs.
@pytest.mark.parametrize(
    ("pair", "s", "minus_trend", "all_pairs", "later", "full"),
    [
        (VIGNETTE, (35, 4, 8), 0.7380952381, 0.5438596491, 0.6825396825, 0.5),
        (SCAN, (21, 2, 10), 0.7916666667, 0.6333333333, 0.7948717949, 0.6444444444),
        (PARKER, (16, 3, 7), 0.65, 0.5, 0.7666666667, 0.5555555556),
    ],
)
def test_every_variant_of_tau_u_is_the_published_one(
    pair: tuple[list[int], list[int]],
    s: tuple[int, int, int],
    minus_trend: float,
    all_pairs: float,
    later: float,
    full: float,
) -> None:
    found = tau_u(*phases(pair))
    assert (found.s_between, found.s_before, found.s_after) == s
    assert found.minus_trend == pytest.approx(minus_trend, **TEN_DIGITS)
    assert found.minus_trend_all_pairs == pytest.approx(all_pairs, **TEN_DIGITS)
    assert found.plus_later_trend == pytest.approx(later, **TEN_DIGITS)
    assert found.full == pytest.approx(full, **TEN_DIGITS)


@pytest.mark.parametrize("pair", ALL)
def test_nap_is_the_u_of_scipys_rank_sum_test_over_the_pairs(
    pair: tuple[list[int], list[int]],
) -> None:
    before, after = phases(pair)
    u = mannwhitneyu(after, before).statistic
    found = nonoverlap_of_all_pairs(before, after)
    assert found.nap == pytest.approx(u / (before.size * after.size), rel=1e-12)


@pytest.mark.parametrize(("m", "n"), [(3, 3), (3, 5), (6, 4), (7, 9)])
def test_without_ties_the_exact_p_is_that_of_scipys_rank_sum_test(m: int, n: int) -> None:
    values = np.random.default_rng(m * n).normal(size=m + n)
    known = mannwhitneyu(values[m:], values[:m], method="exact").pvalue
    assert nonoverlap_of_all_pairs(values[:m], values[m:]).p == pytest.approx(known, rel=1e-9)


def _estimates(found: Segments) -> tuple[float, float, float]:
    return (
        found.slope_before.estimate,
        found.level_change.estimate,
        found.slope_change.estimate,
    )


def _robust(found: Segments) -> tuple[float, float, float]:
    return (
        found.slope_before.robust_se,
        found.level_change.robust_se,
        found.slope_change.robust_se,
    )


def test_a_series_without_noise_gives_back_its_own_coefficients() -> None:
    t = np.arange(1.0, 21.0)
    after = t >= 11
    values = 10 + 0.5 * t + 3 * after - 0.2 * np.maximum(0.0, t - 11)
    found = segmented_regression(t, values, after, 11.0)
    assert _estimates(found) == pytest.approx((0.5, 3.0, -0.2), abs=1e-9)
    assert found.level_before.estimate == pytest.approx(10 + 0.5 * 11, abs=1e-9)
    assert found.level_change.se == pytest.approx(0.0, abs=1e-9)


# R 4.2.2: lm, and sandwich::NeweyWest(lag = 2, prewhite = FALSE, adjust = TRUE).
def test_the_short_series_has_the_estimates_and_errors_of_r() -> None:
    series = pd.read_csv(DATA / "its_short.csv")
    t = series["t"].to_numpy(float)
    found = segmented_regression(t, series["y"].to_numpy(float), t >= 9, 9.0)
    assert _estimates(found) == pytest.approx((0.7738095238, 5.8928571429, 0.1547619048), abs=5e-11)
    assert found.lags == 2
    assert _robust(found) == pytest.approx((0.061336220986, 0.572537521071, 0.105562412314))
    assert found.level_change.plain_se == pytest.approx(0.9692820784, abs=5e-11)
    assert found.slope_change.plain_se == pytest.approx(0.2090407491, abs=5e-11)
    # With so few points the robust error is the smaller: the plain one is used.
    assert found.level_change.se == found.level_change.plain_se
    assert found.level_before.estimate == pytest.approx(41.6428571429 + 9 * 0.7738095238, abs=1e-9)


# R 4.2.2 on Harvey & Durbin's series without season; Newey-West lag 12, adjusted.
def test_the_seat_belt_law_has_the_step_and_errors_of_r() -> None:
    series = pd.read_csv(DATA / "seatbelts.csv")
    t = np.arange(1.0, 193.0)
    found = segmented_regression(
        t, series["drivers"].to_numpy(float), series["law"].to_numpy() == 1, 170.0, lags=12
    )
    assert _estimates(found) == pytest.approx(
        (-1.557349212, -457.768100628, 19.201617987), abs=5e-9
    )
    assert _robust(found) == pytest.approx((0.60675451836, 63.22544629283, 5.08183375719), rel=1e-6)


# Greene 1993, ch. 15 prints 18.96, 0.0168, 3.34 without the correction (from memory); R 4.2.2
# with sandwich::NeweyWest(lag = 4, prewhite = FALSE, adjust = TRUE) the six digits below.
def test_the_robust_errors_are_those_of_greene_and_of_r() -> None:
    years = pd.read_csv(DATA / "greene_investment.csv")
    design = np.column_stack([np.ones(len(years)), years["RealGNP"], years["RealInt"]])
    found = robust_errors(years["RealInv"].to_numpy(float), design, 4)
    assert found == pytest.approx(np.array([20.6593264245, 0.0182537457, 3.6422690984]), rel=1e-8)
    uncorrected = found / np.sqrt(19 / 16)
    assert uncorrected[0] == pytest.approx(18.96, abs=0.005)
    assert uncorrected[1] == pytest.approx(0.0168, abs=0.00005)
    assert uncorrected[2] == pytest.approx(3.34, abs=0.005)
