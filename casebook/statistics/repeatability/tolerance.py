"""Exact factors for the uncertainty of limits of agreement.

A limit is the mean plus or minus z times the standard deviation of n normal differences.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, nct, ncx2, norm

from casebook.statistics.error import LEVEL, z_two_sided

# Gauss-Legendre points for the integral over the error of the mean, in its own SDs.
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(120)
_FARTHEST = 8.5


def one_limit_factor(n: int, confidence: float, *, level: float = LEVEL) -> float:
    """Factor that takes the mean to one end of the interval of one limit.

    Parameters
    ----------
    n : int, >= 2
        Differences.
    confidence : float, between 0 and 1
        0.025 and 0.975 for the two ends of a 95 % interval.
    level : float, between 0 and 1
        Share of differences between the limits.

    Returns
    -------
    float
        The end is mean + factor * SD for the upper limit, mean - factor * SD for the lower.

    References
    ----------
    [Carkeet2015]

    Examples
    --------
    >>> round(one_limit_factor(17, 0.975), 4)
    3.1483
    """
    return _of_one(n, confidence, level)


@lru_cache(maxsize=256)
def _of_one(n: int, confidence: float, level: float) -> float:
    root = math.sqrt(n)
    return float(nct.ppf(confidence, n - 1, z_two_sided(level) * root)) / root


def both_limits_factor(n: int, confidence: float, *, level: float = LEVEL) -> float:
    """Two-sided tolerance factor: for both limits at once.

    Parameters
    ----------
    n : int, >= 2
        Differences.
    confidence : float, between 0 and 1
        Probability that mean -/+ factor * SD holds `level` of all differences or more.
    level : float, between 0 and 1

    Returns
    -------
    float

    References
    ----------
    [Carkeet2015]

    Examples
    --------
    >>> round(both_limits_factor(10, 0.95), 4)
    3.3934
    """
    return _of_both(n, confidence, level)


@lru_cache(maxsize=256)
def _of_both(n: int, confidence: float, level: float) -> float:
    freedom = n - 1
    offset = 0.5 * _FARTHEST * (_POINTS + 1.0)
    density = 2.0 * 0.5 * _FARTHEST * _WEIGHTS * norm.pdf(offset)
    reach = freedom * ncx2.ppf(level, 1, np.square(offset) / n)

    def short(factor: float) -> float:
        return float(density @ chi2.sf(reach / factor**2, freedom)) - confidence

    highest = 4.0 * _of_one(n, max(confidence, 0.5), level)
    return float(brentq(short, 1e-3, highest, xtol=1e-10, rtol=1e-12))
