"""What became of a group of runners: means, thirds, and how two groups differ.

Nothing here says why a group changed: there is no group of runners that was left alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit
from scipy.stats import rankdata

from casebook.statistics.change import loss_of
from casebook.statistics.codes import Codes, Floats
from casebook.statistics.error import LEVEL
from casebook.statistics.proportions import wilson

NOT_RECORDED = -1
# With fewer a spread cannot be told.
FEWEST = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean or a difference with its interval; `low` and `high` are NaN where n is below two."""

    n: int
    mean: float
    low: float
    high: float


def gain_of(reference: Floats, latest: Floats, better: Codes, low: Floats, high: Floats) -> Floats:
    """Change counted positive in the better direction.

    Parameters
    ----------
    reference, latest : ndarray of float, shape (rows,)
        In the metric's unit, or that of its asymmetry (signed right minus left).
    better : ndarray of int8, shape (rows,)
        Codes of `Better`; an asymmetry is a range from 0 to 0.
    low, high : ndarray of float, shape (rows,)
        Target range where a range is better.

    Returns
    -------
    ndarray of float, shape (rows,)
        With a range: by how much nearer to it; of an asymmetry: by how much its size shrank.
        NaN where neither way is better.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> gain_of(np.array([-9.0, 5.0]), np.array([4.0, 7.0]), np.array([2, 1], np.int8),
    ...     np.zeros(2), np.zeros(2))
    array([ 5., -2.])
    """
    return -loss_of(reference, latest, better, low, high)


def mean_of(values: Floats, *, level: float = LEVEL) -> Mean:
    """Mean with its interval by Student's t.

    Parameters
    ----------
    values : ndarray of float, shape (n,)
        Finite, an element a runner.
    level : float, between 0 and 1

    Returns
    -------
    Mean
        NaN without values; no interval with one.

    References
    ----------
    [Student1908]

    Examples
    --------
    >>> found = mean_of(np.array([1.0, 2.0, 3.0, 4.0]))
    >>> found.n, found.mean, round(found.low, 4), round(found.high, 4)
    (4, 2.5, 0.4457, 4.5543)
    """
    n = values.size
    if n < FEWEST:
        alone = float(values[0]) if n else math.nan
        return Mean(n=n, mean=alone, low=math.nan, high=math.nan)
    mean = float(values.mean())
    half = _t(n - 1, level) * float(values.std(ddof=1)) / math.sqrt(n)
    return Mean(n=n, mean=mean, low=mean - half, high=mean + half)


def difference_of_means(first: Floats, second: Floats, *, level: float = LEVEL) -> Mean:
    """Mean of the first group less that of the second, the groups' spreads being their own.

    Parameters
    ----------
    first, second : ndarray of float
        Finite, an element a runner.
    level : float, between 0 and 1

    Returns
    -------
    Mean
        `n` is the number of both together. No interval where a group has fewer than two
        runners; where neither group has any spread, the interval is the difference itself.

    References
    ----------
    [Welch1947]

    Examples
    --------
    >>> found = difference_of_means(np.array([5.0, 6.0, 7.0]), np.array([1.0, 2.0, 3.0]))
    >>> found.mean, round(found.low, 4), round(found.high, 4)
    (4.0, 1.733, 6.267)
    """
    n = first.size + second.size
    if min(first.size, second.size) == 0:
        return Mean(n=n, mean=math.nan, low=math.nan, high=math.nan)
    difference = float(first.mean() - second.mean())
    if min(first.size, second.size) < FEWEST:
        return Mean(n=n, mean=difference, low=math.nan, high=math.nan)
    parts = [float(group.var(ddof=1)) / group.size for group in (first, second)]
    variance = sum(parts)
    if variance == 0.0:
        return Mean(n=n, mean=difference, low=difference, high=difference)
    degrees = variance**2 / sum(
        part**2 / (group.size - 1) for part, group in zip(parts, (first, second), strict=True)
    )
    half = _t(degrees, level) * math.sqrt(variance)
    return Mean(n=n, mean=difference, low=difference - half, high=difference + half)


def difference_of_shares(
    first: int, first_of: int, second: int, second_of: int, *, level: float = LEVEL
) -> Mean:
    """Share in the first group less that in the second, from the score interval of each.

    Parameters
    ----------
    first, first_of, second, second_of : int
        `first` of `first_of` and `second` of `second_of`; both totals at least 1.
    level : float, between 0 and 1

    Returns
    -------
    Mean
        `n` is the number of both together; -1 to 1.

    Raises
    ------
    ValueError
        For counts that are no share.

    References
    ----------
    [Newcombe1998]

    Examples
    --------
    >>> found = difference_of_shares(56, 70, 48, 80)
    >>> round(found.mean, 4), round(found.low, 4), round(found.high, 4)
    (0.2, 0.0524, 0.3339)
    """
    one, other = wilson(first, first_of, level=level), wilson(second, second_of, level=level)
    difference = one.share - other.share
    return Mean(
        n=first_of + second_of,
        mean=difference,
        low=difference - math.hypot(one.share - one.low, other.high - other.share),
        high=difference + math.hypot(one.high - one.share, other.share - other.low),
    )


def standardised_difference(first: Floats, second: Floats) -> float:
    """Difference of two means in pooled standard deviations (Cohen's d).

    Parameters
    ----------
    first, second : ndarray of float
        Finite, an element a runner; a share is told by zeros and ones.

    Returns
    -------
    float
        First less second. NaN where a group has fewer than two runners or nothing spreads.

    References
    ----------
    [Cohen1988]

    Examples
    --------
    >>> standardised_difference(np.array([5.0, 6.0, 7.0]), np.array([1.0, 2.0, 3.0]))
    4.0
    """
    if min(first.size, second.size) < FEWEST:
        return math.nan
    squares = float(sum(np.square(group - group.mean()).sum() for group in (first, second)))
    if squares == 0.0:
        return math.nan
    pooled = math.sqrt(squares / (first.size + second.size - 2))
    return float(first.mean() - second.mean()) / pooled


def thirds(values: Floats) -> Codes:
    """In which third of the group each value lies.

    Parameters
    ----------
    values : ndarray of float, shape (runners,)
        NaN where not recorded.

    Returns
    -------
    ndarray of int8, shape (runners,)
        0 lowest, 1 middle, 2 highest, -1 not recorded. Equal values lie in one third, that of
        their mean rank, so that thirds need not be of one size: where all are equal they are in
        the middle.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> thirds(np.array([0.9, 0.2, np.nan, 0.5, 0.5, 0.95, 0.1]))
    array([ 2,  0, -1,  1,  1,  2,  0], dtype=int8)
    """
    known = np.isfinite(values)
    places = np.full(values.size, NOT_RECORDED, dtype=np.int8)
    if known.any():
        ranks = rankdata(values[known])
        # The middle of a rank's own place among all; whole numbers, so that no third is lost to
        # rounding.
        places[known] = ((3 * (2 * ranks - 1)) // (2 * ranks.size)).astype(np.int8)
    return places


def _t(degrees: float, level: float) -> float:
    return float(stdtrit(degrees, 0.5 + level / 2.0))
