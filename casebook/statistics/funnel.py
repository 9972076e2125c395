"""How far shares of small and large groups lie from a common one by chance alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from casebook.statistics.error import LEVEL

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# The outer limits: one group in 500 lies beyond them by chance.
OUTER = 0.998


def funnel_limits(overall: float, totals: Whole, *, level: float = LEVEL) -> tuple[Real, Real]:
    """Exact limits around a common share, one pair a group size.

    Parameters
    ----------
    overall : float, 0 to 1
        The common share.
    totals : array of int, shape (n,)
        Sizes of the groups, at least 1.
    level : float, between 0 and 1
        Share of groups that lie within by chance.

    Returns
    -------
    low, high : array, shape (n,), 0 to 1
        Binomial quantiles, interpolated between the counts so that they do not jump from one
        size to the next. Both are the common share itself where that is 0 or 1.

    Raises
    ------
    ValueError
        For a common share that is none, or a size below 1.

    References
    ----------
    [Spiegelhalter2005], appendix.

    Examples
    --------
    >>> low, high = funnel_limits(348 / 1011, np.array([82]))
    >>> low.round(4), high.round(4)
    (array([0.2367]), array([0.443]))
    """
    if not 0 <= overall <= 1 or np.any(totals < 1):
        raise ValueError("expected a common share from 0 to 1, and groups of at least 1")
    if overall in (0.0, 1.0):
        same = np.full(len(totals), overall)
        return same, same
    tail = (1.0 - level) / 2.0
    return _quantile(tail, overall, totals), _quantile(1.0 - tail, overall, totals)


def beyond_chance(
    overall: float, counts: Whole, totals: Whole, *, level: float = LEVEL
) -> NDArray[np.bool_]:
    """Whether a count is so high or so low that chance alone seldom brings it about.

    Limits that are interpolated between counts can leave a count a little outside that is not
    rare at all where groups are small; so the count itself is asked.

    Parameters
    ----------
    overall : float, 0 to 1
        The common share.
    counts, totals : array of int, shape (n,)
        0 <= counts <= totals.
    level : float, between 0 and 1

    Returns
    -------
    array of bool, shape (n,)
        True where a count as far out on its side has at most half of what `level` leaves.

    References
    ----------
    [ClopperPearson1934]: the exact binomial tails.

    Examples
    --------
    >>> beyond_chance(0.05, np.array([1, 3]), np.array([5, 5]))
    array([False,  True])
    """
    tail = (1.0 - level) / 2.0
    high = binom.sf(counts - 1, totals, overall) <= tail
    low = binom.cdf(counts, totals, overall) <= tail
    return np.asarray(high | low, dtype=np.bool_)


def _quantile(p: float, overall: float, totals: Whole) -> Real:
    count = binom.ppf(p, totals, overall)
    beyond = binom.cdf(count, totals, overall) - p
    between = (count - beyond / binom.pmf(count, totals, overall)) / totals
    found: Real = np.clip(between, 0.0, 1.0)
    return found
