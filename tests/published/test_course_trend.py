"""Slopes, ranks and the smoothed level against numbers from outside the project."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit, minimize_scalar
from scipy.stats import kendalltau
from statsmodels.api import WLS
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.structural import UnobservedComponents

from casebook.statistics.course.slopes import (
    kendall_p,
    kendall_s,
    known_error_line,
    orders_by_inversions,
    rank_trend,
)
from casebook.statistics.course.smoothing import LocalLevel, smoothed_course

DATA = Path(__file__).parent / "data"
CLOSED_FORM = 1e-9

# Hollander & Wolfe 1973, canned tuna, as printed in R's help page of cor.test.
TUNA_X = np.array([44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1])
TUNA_Y = np.array([2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8])


def test_the_tuna_of_hollander_and_wolfe_have_the_tau_and_exact_p_that_r_prints() -> None:
    trend = rank_trend(TUNA_X, TUNA_Y)
    assert trend.s == 2 * 26 - 36  # R prints the number of pairs that agree, T = 26 of 36
    assert trend.tau == pytest.approx(0.4444444444, abs=5e-11)
    assert trend.p == pytest.approx(0.119438932981, abs=5e-13)
    # Slope and order-statistic interval computed in R 4.2.2 from all 36 slopes.
    assert trend.slope == pytest.approx(0.1293478261, abs=5e-11)
    assert trend.slope_low == pytest.approx(-0.0769230769, abs=5e-11)
    assert trend.slope_high == pytest.approx(0.3068181818, abs=5e-11)


# Helsel & Hirsch, Statistical Methods in Water Resources, ch. 10: 21 slopes, median 1, S = 19
# (from memory; tau and the interval computed in R 4.2.2).
def test_one_wild_value_does_not_move_the_slope_of_helsel_and_hirsch() -> None:
    trend = rank_trend(np.arange(1.0, 8.0), np.array([1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]))
    assert (trend.slope, trend.s) == (1.0, 19)
    assert trend.tau == pytest.approx(0.9047619048, abs=5e-11)
    assert (trend.slope_low, trend.slope_high) == pytest.approx((1.0, 3.5), rel=CLOSED_FORM)


def test_the_temperatures_of_new_haven_have_the_slope_of_scipy_and_the_s_of_r() -> None:
    temperatures = pd.read_csv(DATA / "nhtemp.csv")
    trend = rank_trend(temperatures["year"].to_numpy(float), temperatures["temp"].to_numpy(float))
    assert trend.slope == pytest.approx(0.034482758620689655, rel=CLOSED_FORM)
    assert trend.slope_low == pytest.approx(0.02040816326530612, rel=CLOSED_FORM)
    assert trend.slope_high == pytest.approx(0.05000000000000012, rel=CLOSED_FORM)
    assert trend.s == 624
    assert trend.tau == pytest.approx(0.3565947171501596, rel=CLOSED_FORM)  # tau-b, as scipy's
    # The normal p of scipy is 6.772e-05; so far out the exact law's tail is the thinner one.
    assert 6.772173560224956e-05 / 2 < trend.p < 6.772173560224956e-05


def test_the_exact_law_of_s_with_ties_has_the_published_variance() -> None:
    # Variance with ties by Kendall 1970: R and pymannkendall print 24530 for these 60 years.
    values = pd.read_csv(DATA / "nhtemp.csv")["temp"]
    orders = orders_by_inversions(tuple(values.value_counts().tolist()))
    most = len(orders) - 1
    variance = sum(count * (most - 2 * swaps) ** 2 for swaps, count in enumerate(orders))
    assert variance / sum(orders) == pytest.approx(24530.0, rel=CLOSED_FORM)


@pytest.mark.parametrize("visits", [4, 5, 7, 9, 12])
def test_without_ties_the_exact_p_is_that_of_scipy(visits: int) -> None:
    values = np.random.default_rng(visits).permutation(visits).astype(float)
    days = np.arange(visits, dtype=float)
    known = kendalltau(days, values, method="exact")
    assert kendall_p(kendall_s(days, values), (1,) * visits) == pytest.approx(
        known.pvalue, rel=1e-9
    )


def _visits() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    days = np.array([0.0, 20.0, 55.0, 90.0, 160.0, 200.0])
    sems = rng.uniform(0.6, 1.8, days.size)
    return days, 12.0 - 0.02 * days + rng.normal(0.0, sems), sems


def test_the_line_with_known_errors_is_that_of_statsmodels_with_a_fixed_scale() -> None:
    days, values, sems = _visits()
    line = known_error_line(days, values, sems)
    fitted = WLS(values, np.column_stack([np.ones(6), days]), weights=1 / sems**2).fit(
        cov_type="fixed scale", cov_kwds={"scale": 1.0}
    )
    assert line.start == pytest.approx(fitted.params[0], rel=CLOSED_FORM)
    assert line.slope == pytest.approx(fitted.params[1], rel=CLOSED_FORM)
    assert line.slope_se == pytest.approx(fitted.bse[1], rel=CLOSED_FORM)
    assert line.chi2 == pytest.approx(np.sum(np.square(fitted.resid / sems)), rel=CLOSED_FORM)
    assert not line.widened
    assert (line.slope_low, line.slope_high) == pytest.approx(fitted.conf_int()[1], rel=1e-6)
    assert line.slope_p == pytest.approx(fitted.pvalues[1], rel=1e-6)


def test_the_line_with_known_errors_is_that_of_scipys_curve_fit_with_absolute_sigma() -> None:
    days, values, sems = _visits()
    line = known_error_line(days, values, sems)
    params, covariance = curve_fit(
        lambda day, start, slope: start + slope * day, days, values, sigma=sems, absolute_sigma=True
    )
    assert line.slope == pytest.approx(params[1], rel=1e-6)
    assert line.slope_se == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-6)


def test_widened_the_line_has_the_interval_of_plain_weighted_least_squares() -> None:
    # A scale estimated from the residuals is what statsmodels does by default: the Birge ratio.
    days, values, sems = _visits()
    line = known_error_line(days, values, sems / 10)
    fitted = WLS(values, np.column_stack([np.ones(6), days]), weights=1 / sems**2).fit()
    assert line.widened
    assert line.birge * line.slope_se == pytest.approx(fitted.bse[1], rel=CLOSED_FORM)
    assert (line.slope_low, line.slope_high) == pytest.approx(fitted.conf_int()[1], rel=1e-6)


# Durbin & Koopman, Time Series Analysis by State Space Methods, ch. 2: variances 15099 of the
# error and 1469.1 of the level of the Nile's yearly flow (from memory; printed to 5 digits).
def test_the_drift_of_the_nile_is_that_of_durbin_and_koopman() -> None:
    flow = nile.load_pandas().data["volume"].to_numpy(float)
    model = LocalLevel(np.arange(100.0), flow, np.full(100, math.sqrt(15098.5)))
    found = minimize_scalar(
        lambda drift: -model.loglike([drift]), bounds=(1.0, 200.0), method="bounded"
    )
    assert found.x**2 == pytest.approx(1469.1, abs=0.15)
    course = smoothed_course(np.arange(100.0), flow, np.full(100, math.sqrt(15098.5)))
    assert course.drift_sd**2 == pytest.approx(1469.1, abs=0.15)


def test_with_even_times_and_one_error_the_smoother_is_the_librarys_own_local_level() -> None:
    flow = nile.load_pandas().data["volume"].to_numpy(float)
    own = LocalLevel(np.arange(100.0), flow, np.full(100, math.sqrt(15098.5)))
    library = UnobservedComponents(flow, "local level", use_exact_diffuse=True)
    ours = own.smooth([math.sqrt(1469.1)])
    theirs = library.smooth([15098.5, 1469.1])
    assert ours.smoothed_state == pytest.approx(theirs.smoothed_state, rel=CLOSED_FORM)
    assert ours.smoothed_state_cov == pytest.approx(theirs.smoothed_state_cov, rel=CLOSED_FORM)
    assert ours.llf == pytest.approx(theirs.llf, rel=CLOSED_FORM)


# NIST/SEMATECH e-Handbook 6.3.2.4, EWMA with lambda 0.3 from 50 (numbers from memory): an EWMA
# is the steady filter of a local level whose variances have the ratio lambda^2 / (1 - lambda).
def test_filtering_the_level_gives_the_moving_average_of_the_nist_handbook() -> None:
    readings = pd.read_csv(DATA / "nist_ewma.csv")["x"].to_numpy(float)
    weight = 0.3
    model = LocalLevel(np.arange(readings.size, dtype=float), readings, np.ones(readings.size))
    model.ssm.initialize_known(np.array([50.0]), np.array([[weight / (1.0 - weight)]]))
    filtered = model.filter([weight / math.sqrt(1.0 - weight)]).filtered_state[0]
    published = [
        50.600000, 49.520000, 50.564000, 50.184800, 50.159360, 49.211552, 49.748086, 49.853660,
        50.257562, 50.330294, 50.111206, 49.357844, 49.520491, 50.054344, 49.378040, 49.924628,
        50.727240, 51.229068, 51.940348, 51.988243,
    ]  # fmt: skip
    # The handbook prints two decimals; these six come from the recursion in R 4.2.2.
    assert filtered == pytest.approx(np.array(published), abs=5e-7)
