"""Intraclass correlation: six forms with their F-based 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from scipy.stats import f as f_distribution

from casebook.statistics.error import LEVEL
from casebook.statistics.repeatability.results import Interval, MeanSquares

SINGLE = ("ICC(1,1)", "ICC(2,1)", "ICC(3,1)")
NOT_TOLD = Interval(estimate=math.nan, low=math.nan, high=math.nan)


def icc_forms(
    squares: MeanSquares, averaged: int, *, level: float = LEVEL
) -> Mapping[str, Interval]:
    """Intraclass correlations from mean squares.

    As published, from the mean squares as they stand: a component below zero is not set to
    zero here, and an estimate may be below zero.

    Parameters
    ----------
    squares : MeanSquares
    averaged : int
        Occasions averaged in the forms with k.
    level : float, between 0 and 1
        Confidence level.

    Returns
    -------
    mapping of str to Interval
        (1,.) one-way random; (2,.) two-way random, absolute agreement; (3,.) two-way mixed,
        consistency; (.,1) one measurement, (.,k) mean of `averaged`. NaN where all readings
        are alike.

    References
    ----------
    [Shrout1979], [McGraw1996]

    Examples
    --------
    >>> from casebook.statistics.repeatability.mean_squares import two_way_mean_squares
    >>> judged = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6],
    ...     [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float)
    >>> round(icc_forms(two_way_mean_squares(judged), 4)["ICC(2,1)"].estimate, 2)
    0.29
    """
    one = _one_way(squares, level)
    singles = dict(
        zip(SINGLE, (one, _agreement(squares, level), _consistency(squares, level)), strict=True)
    )
    means = {
        name.replace(",1", ",k"): Interval(
            estimate=of_mean(single.estimate, averaged),
            low=of_mean(single.low, averaged),
            high=of_mean(single.high, averaged),
        )
        for name, single in singles.items()
    }
    return singles | means


def of_mean(single: float, averaged: int) -> float:
    """Reliability of a mean from that of one measurement (Spearman and Brown).

    Parameters
    ----------
    single : float
    averaged : int
        Measurements averaged.

    Returns
    -------
    float
        Minus infinity where `single` lies below what its form can reach.

    References
    ----------
    [McGraw1996]

    Examples
    --------
    >>> round(of_mean(0.5, 2), 4)
    0.6667
    """
    below = 1.0 + (averaged - 1) * single
    if below <= 0.0:
        return -math.inf
    return averaged * single / below


def _f(probability: float, df1: float, df2: float) -> float:
    return float(f_distribution.ppf(probability, df1, df2))


def _from_ratio(
    between: float, error: float, k: float, df1: int, df2: int, level: float
) -> Interval:
    """(F - 1) / (F + k - 1) at the observed F and at the two that its distribution leaves."""
    tail = 0.5 + level / 2.0
    if error == 0.0:
        return Interval(estimate=1.0, low=1.0, high=1.0) if between > 0.0 else NOT_TOLD
    ratio = between / error
    low, high = ratio / _f(tail, df1, df2), ratio * _f(tail, df2, df1)
    estimate, low, high = ((one - 1.0) / (one + k - 1.0) for one in (ratio, low, high))
    return Interval(estimate=estimate, low=low, high=high)


def _one_way(squares: MeanSquares, level: float) -> Interval:
    return _from_ratio(
        squares.between_subjects,
        squares.within,
        squares.occasions,
        squares.df_subjects,
        squares.df_within,
        level,
    )


def _consistency(squares: MeanSquares, level: float) -> Interval:
    return _from_ratio(
        squares.between_subjects,
        squares.error,
        squares.occasions,
        squares.df_subjects,
        squares.df_error,
        level,
    )


def _agreement(squares: MeanSquares, level: float) -> Interval:
    n, k = squares.subjects, squares.occasions
    rows, columns, error = squares.between_subjects, squares.between_occasions, squares.error
    below = rows + (k - 1.0) * error + k * (columns - error) / n
    if below <= 0.0:
        return NOT_TOLD
    estimate = (rows - error) / below
    if error == 0.0 and (columns == 0.0 or rows == 0.0):
        return Interval(estimate=estimate, low=estimate, high=estimate)
    df = _agreement_freedom(squares, estimate)
    tail = 0.5 + level / 2.0
    rest = k * columns + (k * n - k - n) * error
    upper, lower = _f(tail, squares.df_subjects, df), _f(tail, df, squares.df_subjects)
    return Interval(
        estimate=estimate,
        low=n * (rows - upper * error) / (upper * rest + n * rows),
        high=n * (lower * rows - error) / (rest + n * lower * rows),
    )


def _agreement_freedom(squares: MeanSquares, icc: float) -> float:
    """Satterthwaite's degrees of freedom of the denominator, at the estimated correlation."""
    n, k = squares.subjects, squares.occasions
    of_columns = k * icc * squares.between_occasions
    of_error = (n * (1.0 + (k - 1.0) * icc) - k * icc) * squares.error
    return float(
        np.square(of_columns + of_error)
        / (np.square(of_columns) / squares.df_occasions + np.square(of_error) / squares.df_error)
    )
