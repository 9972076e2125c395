"""Trend of a course: a line through visits of known error, and one that looks at ranks only."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm, t, theilslopes

from casebook.statistics.codes import Floats
from casebook.statistics.error import LEVEL

# Lack of fit at this p or less widens the interval. Common practice, no source.
LACK_OF_FIT = 0.05
# With four visits even a perfectly steady course has a two-sided p of 1/12: no 95 % interval.
RANK_INTERVAL_NEEDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownErrorLine:
    """A straight line through visits whose measurement error is known.

    Attributes
    ----------
    visits : int
    start, end : float
        Height of the line at the first and at the last visit, in the metric's unit.
    slope, slope_se : float
        In the metric's unit a day; the error as the measurement error alone gives it.
    slope_low, slope_high : float
        Interval; widened where the line does not fit.
    slope_p : float
        Two-sided, against a level course; by the same errors as the interval.
    rise, rise_low, rise_high : float
        The same from the first visit to the last, in the metric's unit.
    chi2, degrees, lack_of_fit_p : float, int, float
        Weighted squared residuals against the known errors.
    birge : float
        Birge ratio, sqrt(chi2 / degrees): how many times the scatter exceeds the known error.
    widened : bool
        True where the line does not fit (lack_of_fit_p is 0.05 or less): the interval is then
        widened by the Birge ratio and taken from Student's t, the scale being estimated.
    """

    visits: int
    start: float
    end: float
    slope: float
    slope_se: float
    slope_low: float
    slope_high: float
    slope_p: float
    rise: float
    rise_low: float
    rise_high: float
    chi2: float
    degrees: int
    lack_of_fit_p: float
    birge: float
    widened: bool

    @property
    def beyond_error(self) -> bool:
        """True where the interval of the slope leaves out a level course."""
        return self.slope_low > 0 or self.slope_high < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RankTrend:
    """Theil-Sen slope and Kendall's test, which need no measurement error.

    Attributes
    ----------
    visits : int
    slope : float
        Median of the slopes between all pairs of visits, in the metric's unit a day.
    slope_low, slope_high : float or None
        95 % interval (Sen 1968); None with four visits, where none exists.
    s : int
        Kendall's S: pairs that rise minus pairs that fall.
    tau : float
        Kendall's tau-b, -1 to 1; 0 where all values are equal.
    p : float
        Exact, two-sided, ties allowed for; visits taken as independent.
    """

    visits: int
    slope: float
    slope_low: float | None
    slope_high: float | None
    s: int
    tau: float
    p: float


def known_error_line(
    days: Floats, values: Floats, sems: Floats, *, level: float = LEVEL
) -> KnownErrorLine:
    """Weighted least squares with known errors, its lack of fit, and the Birge widening.

    Parameters
    ----------
    days : ndarray of float, shape (visits,)
        Not all the same.
    values : ndarray of float, shape (visits,)
        In the metric's unit; three or more.
    sems : ndarray of float, > 0, shape (visits,)
        Standard error of each value.
    level : float, between 0 and 1

    Returns
    -------
    KnownErrorLine

    References
    ----------
    [Bevington2003], [Birge1932]

    Examples
    --------
    >>> line = known_error_line(np.array([0.0, 1.0, 2.0]), np.array([1.0, 2.0, 2.0]), np.ones(3))
    >>> round(line.slope, 6), round(line.slope_se, 6), round(line.chi2, 6)
    (0.5, 0.707107, 0.166667)
    """
    weights = 1.0 / np.square(sems)
    centre = np.average(days, weights=weights)
    level_there = np.average(values, weights=weights)
    spread = float(np.sum(weights * np.square(days - centre)))
    slope = float(np.sum(weights * (days - centre) * (values - level_there)) / spread)
    residuals = values - level_there - slope * (days - centre)
    misfit = float(np.sum(weights * np.square(residuals)))
    degrees = len(days) - 2
    lack_p = float(chi2.sf(misfit, degrees))
    birge = math.sqrt(misfit / degrees)
    widened = lack_p <= LACK_OF_FIT

    se = 1.0 / math.sqrt(spread)
    used = se * birge if widened else se
    law = t(degrees) if widened else norm
    half = used * float(law.ppf(0.5 + level / 2.0))
    span = float(np.max(days) - np.min(days))
    return KnownErrorLine(
        visits=len(days),
        start=float(level_there + slope * (np.min(days) - centre)),
        end=float(level_there + slope * (np.max(days) - centre)),
        slope=slope,
        slope_se=se,
        slope_low=slope - half,
        slope_high=slope + half,
        slope_p=float(2.0 * law.sf(abs(slope) / used)),
        rise=slope * span,
        rise_low=(slope - half) * span,
        rise_high=(slope + half) * span,
        chi2=misfit,
        degrees=degrees,
        lack_of_fit_p=lack_p,
        birge=birge,
        widened=widened,
    )


def rank_trend(days: Floats, values: Floats) -> RankTrend:
    """Theil-Sen slope with Sen's interval, and Kendall's S with its exact p.

    Parameters
    ----------
    days : ndarray of float, shape (visits,)
        No two the same.
    values : ndarray of float, shape (visits,)
        In the metric's unit; four or more.

    Returns
    -------
    RankTrend

    References
    ----------
    [Sen1968], [Kendall1970]

    Examples
    --------
    >>> trend = rank_trend(np.arange(5.0), np.array([1.0, 3.0, 2.0, 5.0, 6.0]))
    >>> trend.slope, trend.s, round(trend.p, 4)
    (1.125, 8, 0.0833)
    """
    steps = theilslopes(values, days, alpha=LEVEL)
    has_interval = len(days) >= RANK_INTERVAL_NEEDS
    s = kendall_s(days, values)
    _, ties = np.unique(values, return_counts=True)
    pairs = math.comb(len(values), 2)
    untied = pairs - sum(math.comb(int(size), 2) for size in ties)
    return RankTrend(
        visits=len(days),
        slope=float(steps.slope),
        slope_low=float(steps.low_slope) if has_interval else None,
        slope_high=float(steps.high_slope) if has_interval else None,
        s=s,
        tau=s / math.sqrt(pairs * untied) if untied else 0.0,
        p=kendall_p(s, tuple(int(size) for size in ties)),
    )


def kendall_s(days: Floats, values: Floats) -> int:
    """Kendall's S: pairs of visits that rise minus pairs that fall.

    Parameters
    ----------
    days, values : ndarray of float, shape (visits,)

    Returns
    -------
    int

    References
    ----------
    [Kendall1970]

    Examples
    --------
    >>> kendall_s(np.array([1.0, 2.0, 3.0]), np.array([5.0, 7.0, 5.0]))
    0
    """
    earlier, later = np.triu_indices(len(days), k=1)
    signs = np.sign(days[later] - days[earlier]) * np.sign(values[later] - values[earlier])
    return int(signs.sum())


def kendall_p(s: int, ties: tuple[int, ...]) -> float:
    """Exact two-sided p of Kendall's S, with ties among the values and none among the days.

    Every order of the values is equally likely where there is no trend. The orders are
    counted, not drawn: they have as many inversions as the Gaussian multinomial coefficient
    of the tie sizes says.

    Parameters
    ----------
    s : int
        Kendall's S.
    ties : tuple of int, >= 1
        How often each distinct value occurs.

    Returns
    -------
    float
        Share of all orders whose S is as far from zero as this one, or farther.

    References
    ----------
    [Kendall1970], [Andrews1976]

    Examples
    --------
    >>> round(kendall_p(6, (1, 1, 1, 1)), 6), round(kendall_p(4, (2, 2)), 6)
    (0.083333, 0.333333)
    """
    orders = orders_by_inversions(ties)
    most = len(orders) - 1
    extreme = sum(count for swaps, count in enumerate(orders) if abs(most - 2 * swaps) >= abs(s))
    return extreme / sum(orders)


def orders_by_inversions(ties: tuple[int, ...]) -> tuple[int, ...]:
    """How many orders of some values with ties have 0, 1, 2, ... inversions.

    Parameters
    ----------
    ties : tuple of int, >= 1
        How often each distinct value occurs.

    Returns
    -------
    tuple of int
        Coefficients of the Gaussian multinomial.

    References
    ----------
    [Andrews1976]

    Examples
    --------
    >>> orders_by_inversions((1, 1, 1)), orders_by_inversions((2, 2))
    ((1, 2, 2, 1), (1, 1, 2, 1, 1))
    """
    orders, placed = [1], 0
    for size in ties:
        orders += [0] * (placed * size)
        for step in range(1, size + 1):
            # Times (1 - x^(placed + step)), over (1 - x^step), term by term in whole numbers.
            for power in range(len(orders) - 1, placed + step - 1, -1):
                orders[power] -= orders[power - placed - step]
            for power in range(step, len(orders)):
                orders[power] += orders[power - step]
        placed += size
    return tuple(orders)
