"""Standard error of measurement (SEM) and minimal detectable change, with 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.stats import chi2
from scipy.stats import f as f_distribution

from casebook.statistics.error import LEVEL, mdc_from_sem
from casebook.statistics.repeatability.icc import NOT_TOLD
from casebook.statistics.repeatability.results import Detectable, Interval, MeanSquares


def sem_interval(variance: float, freedom: float, *, level: float = LEVEL) -> Interval:
    """Root of one mean square with its interval by chi-square.

    Parameters
    ----------
    variance : float, >= 0
        In squared units.
    freedom : float
        Degrees of freedom; below one nothing can be told.
    level : float, between 0 and 1

    Returns
    -------
    Interval
        In the unit of the readings.

    References
    ----------
    [Weir2005], [Burdick1992]

    Examples
    --------
    >>> sem_interval(4.0, 0).estimate
    nan
    >>> round(sem_interval(4.0, 7).high, 4)
    4.0705
    """
    if freedom < 1.0 or not math.isfinite(variance):
        return NOT_TOLD
    low, high = chi2.ppf([0.5 + level / 2.0, 0.5 - level / 2.0], freedom)
    return Interval(
        estimate=math.sqrt(variance),
        low=math.sqrt(freedom * variance / float(low)),
        high=math.sqrt(freedom * variance / float(high)),
    )


def sem_of_sum(
    parts: Sequence[tuple[float, float, float]], *, level: float = LEVEL
) -> tuple[float, float, float]:
    """A sum of mean squares with its interval, modified for samples that are not large.

    Parameters
    ----------
    parts : sequence of (weight, mean square, degrees of freedom)
        Weights of zero or more.
    level : float, between 0 and 1

    Returns
    -------
    variance, low, high : float
        In squared units. Holds its level where few occasions make Satterthwaite's
        approximation too narrow.

    References
    ----------
    [Graybill1980], [Burdick1992]

    Examples
    --------
    >>> variance, low, high = sem_of_sum([(1.0, 4.0, 7)])
    >>> round(low, 4), round(high, 4)
    (1.7486, 16.5693)
    """
    weights, squares, freedom = (
        np.array(column, dtype=float) for column in zip(*parts, strict=True)
    )
    weighted = weights * squares
    upper, lower = chi2.ppf(0.5 + level / 2.0, freedom), chi2.ppf(0.5 - level / 2.0, freedom)
    variance = float(weighted.sum())
    down = float(np.hypot.reduce((1.0 - freedom / upper) * weighted))
    up = float(np.hypot.reduce((freedom / lower - 1.0) * weighted))
    return variance, max(variance - down, 0.0), variance + up


def difference_interval(
    greater: tuple[float, float], less: tuple[float, float], *, level: float = LEVEL
) -> tuple[float, float, float]:
    """A difference of two mean squares with its interval.

    Parameters
    ----------
    greater, less : (mean square, degrees of freedom)
    level : float, between 0 and 1

    Returns
    -------
    variance, low, high : float
        None is below zero. The lower end is zero exactly where the F test of the two finds
        no difference.

    References
    ----------
    [Ting1990], [Burdick1992]

    Examples
    --------
    >>> [round(one, 3) for one in difference_interval((9.0, 10), (2.0, 40))]
    [7.0, 2.199, 25.676]
    """
    (first, df1), (second, df2) = greater, less
    tail = 0.5 + level / 2.0
    g1, g2 = (1.0 - df / float(chi2.ppf(tail, df)) for df in (df1, df2))
    h1, h2 = (df / float(chi2.ppf(1.0 - tail, df)) - 1.0 for df in (df1, df2))
    top, bottom = (float(f_distribution.ppf(one, df1, df2)) for one in (tail, 1.0 - tail))
    g12 = ((top - 1.0) ** 2 - (g1 * top) ** 2 - h2**2) / top
    h12 = ((1.0 - bottom) ** 2 - (h1 * bottom) ** 2 - g2**2) / bottom
    down = (g1 * first) ** 2 + (h2 * second) ** 2 + g12 * first * second
    up = (h1 * first) ** 2 + (g2 * second) ** 2 + h12 * first * second
    variance = first - second
    return (
        max(variance, 0.0),
        max(variance - math.sqrt(max(down, 0.0)), 0.0),
        max(variance + math.sqrt(max(up, 0.0)), 0.0),
    )


def sem_for_agreement(squares: MeanSquares, *, level: float = LEVEL) -> Interval:
    """SEM with the shift between occasions counted as error.

    Parameters
    ----------
    squares : MeanSquares
    level : float, between 0 and 1

    Returns
    -------
    Interval
        sqrt(variance of occasions + error), a variance of occasions below zero taken as zero.
        The interval is that of the sum of mean squares, with few occasions a wide one.

    References
    ----------
    [Weir2005], [Graybill1980]

    Examples
    --------
    >>> from casebook.statistics.repeatability.mean_squares import two_way_mean_squares
    >>> found = two_way_mean_squares(np.array([[9.0, 2.0], [6.0, 1.0], [8.0, 4.0]]))
    >>> round(sem_for_agreement(found).estimate, 4)
    3.873
    """
    if squares.df_error < 1:
        return NOT_TOLD
    share = 1.0 / squares.subjects
    variance, low, high = sem_of_sum(
        [
            (share, squares.between_occasions, squares.df_occasions),
            (1.0 - share, squares.error, squares.df_error),
        ],
        level=level,
    )
    variance = max(variance, squares.error)
    return Interval(
        estimate=math.sqrt(variance), low=math.sqrt(low), high=math.sqrt(max(high, variance))
    )


def detectable(agreement: Interval, consistency: Interval, *, level: float) -> Detectable:
    """Minimal detectable change from each SEM, with the interval that the SEM's gives.

    Parameters
    ----------
    agreement, consistency : Interval
        SEM, in the unit of the readings.
    level : float, between 0 and 1
        Of the change: 0.90 or 0.95.

    Returns
    -------
    Detectable

    References
    ----------
    [Weir2005]

    Examples
    --------
    >>> one = Interval(estimate=1.0, low=0.5, high=2.0)
    >>> round(detectable(one, one, level=0.95).consistency_high, 4)
    5.5436
    """
    factor = float(mdc_from_sem(1.0, level=level))
    return Detectable(
        agreement=factor * agreement.estimate,
        agreement_low=factor * agreement.low,
        agreement_high=factor * agreement.high,
        consistency=factor * consistency.estimate,
        consistency_low=factor * consistency.low,
        consistency_high=factor * consistency.high,
    )
