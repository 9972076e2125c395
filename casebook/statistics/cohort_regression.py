"""Regression to the mean of a group: what change is to be expected though nobody changed.

What is told of one runner in `regression_to_mean` is told here of many at once, and of two
things that audits choose by themselves: the size of an asymmetry, which error can only make
larger near none, and the side that was the worse at the baseline, which was picked for being so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from casebook.statistics.change import HIGHER, LOWER, RANGE, distance_to_range
from casebook.statistics.codes import Codes, Flags, Floats, Whole
from casebook.statistics.regression_to_mean import FEWEST_RUNNERS


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """Where a clinic's runners started from, an element a group (metric and what).

    Parameters
    ----------
    mean : ndarray of float
        NaN in groups of fewer than ten runners whose error is known.
    true : ndarray of float, >= 0
        Variance between runners that is no measurement error.
    """

    mean: Floats
    true: Floats


def spreads_of(baseline: Floats, sem: Floats, group: Whole, groups: int) -> Spreads:
    """Mean and true variance of the baselines of each group.

    Parameters
    ----------
    baseline, sem : ndarray of float, shape (rows,)
        A row a runner and group; rows with NaN in either do not count.
    group : ndarray of int, shape (rows,)
    groups : int

    Returns
    -------
    Spreads
        The true variance is the observed one less the mean square of the errors, and 0 where
        that is negative.

    References
    ----------
    [Barnett2005]

    Examples
    --------
    >>> baseline = np.array([90.0, 110.0] * 5)
    >>> found = spreads_of(baseline, np.full(10, 5.0), np.zeros(10, int), 1)
    >>> found.mean, found.true.round(2)
    (array([100.]), array([86.11]))
    """
    known = np.isfinite(baseline) & np.isfinite(sem)
    at, values = group[known], baseline[known]
    count = np.bincount(at, minlength=groups)
    enough = np.where(count >= FEWEST_RUNNERS, count, np.nan)
    mean = np.bincount(at, weights=values, minlength=groups) / enough
    squares = np.bincount(at, weights=np.square(values - mean[at]), minlength=groups)
    error = np.bincount(at, weights=np.square(sem[known]), minlength=groups) / enough
    return Spreads(mean=mean, true=np.maximum(squares / (enough - 1) - error, 0.0))


def shrunken(baseline: Floats, sem: Floats, mean: Floats, true: Floats) -> tuple[Floats, Floats]:
    """True values to be expected of runners measured at a baseline, and how sure that is.

    Parameters
    ----------
    baseline, sem : ndarray of float, shape (rows,)
    mean, true : ndarray of float, shape (rows,)
        Of the clinic's runners, as `spreads_of` tells them.

    Returns
    -------
    expected, variance : ndarray of float, shape (rows,)
        ICC * baseline + (1 - ICC) * mean, ICC = true / (true + sem^2), and true * (1 - ICC):
        mean and variance of a normal true value given what was measured.

    References
    ----------
    [Barnett2005], [Gelman2013]

    Examples
    --------
    >>> expected, variance = shrunken(np.array([130.0]), np.array([5.0]), np.array([100.0]),
    ...     np.array([75.0]))
    >>> expected, variance
    (array([122.5]), array([18.75]))
    """
    total = true + np.square(sem)
    icc = np.where(total == 0.0, 1.0, true / np.where(total == 0.0, 1.0, total))
    return mean + icc * (baseline - mean), true * (1.0 - icc)


def expected_distance(mean: Floats, sd: Floats, low: Floats, high: Floats) -> Floats:
    """Mean distance to a range of a normal value; with a range from 0 to 0 its mean size.

    Parameters
    ----------
    mean, sd : ndarray of float
        sd >= 0.
    low, high : ndarray of float
        low <= high.

    Returns
    -------
    ndarray of float, >= 0

    References
    ----------
    [Leone1961]

    Examples
    --------
    >>> expected_distance(np.array([0.0]), np.array([1.0]), np.array(0.0), np.array(0.0)).round(4)
    array([0.7979])
    """
    return _beyond(low - mean, sd) + _beyond(mean - high, sd)


def expected_side(
    side: Floats, other: Floats, sem: Floats, sem_other: Floats, middle: Spreads, gap: Spreads
) -> tuple[Floats, Floats]:
    """True value to be expected of one side, given both sides as measured.

    A side that was picked for being the worse of two is nearer to the other than it was
    measured, the more so the less the sides of the clinic's runners truly differ. Mean of the
    sides and difference of the sides are drawn back each to its own mean.

    Parameters
    ----------
    side, other, sem, sem_other : ndarray of float, shape (rows,)
        The side asked about and the other one; their errors are taken as independent.
    middle, gap : Spreads
        Of the clinic's runners, an element a row: (side + other) / 2 and side - other.

    Returns
    -------
    expected, variance : ndarray of float, shape (rows,)

    References
    ----------
    [Barnett2005]

    Examples
    --------
    >>> one = np.ones(1)
    >>> expected, _ = expected_side(80.0 * one, 100.0 * one, 5.0 * one, 5.0 * one,
    ...     Spreads(mean=90.0 * one, true=100.0 * one), Spreads(mean=0.0 * one, true=50.0 * one))
    >>> expected  # half of the 20 between the sides is expected to be error
    array([85.])
    """
    error = np.hypot(sem, sem_other)
    centre, centre_var = shrunken((side + other) / 2.0, error / 2.0, middle.mean, middle.true)
    apart, apart_var = shrunken(side - other, error, gap.mean, gap.true)
    return centre + apart / 2.0, centre_var + apart_var / 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What is better of each row: codes of `Better`, and the range where a range is better."""

    better: Codes
    low: Floats
    high: Floats


def expected_gain(
    baseline: Floats, expected: Floats, variance: Floats, sem: Floats, aim: Aim
) -> Floats:
    """Change towards better to be expected by itself at the next measurement.

    Parameters
    ----------
    baseline : ndarray of float, shape (rows,)
        As measured.
    expected, variance : ndarray of float, shape (rows,)
        Of the true value, as `shrunken` or `expected_side` tell it.
    sem : ndarray of float, shape (rows,)
        Of the next measurement.
    aim : Aim
        An asymmetry is a range from 0 to 0.

    Returns
    -------
    ndarray of float, shape (rows,)
        NaN where neither way is better, or anything is not known.

    References
    ----------
    [Barnett2005]

    Examples
    --------
    >>> aim = Aim(better=np.array([0], np.int8), low=np.full(1, np.nan), high=np.full(1, np.nan))
    >>> expected_gain(np.array([80.0]), np.array([85.0]), np.array([9.0]), np.array([5.0]), aim)
    array([5.])
    """
    change = expected - baseline
    spread = np.sqrt(variance + np.square(sem))
    ranged: Flags = aim.better == RANGE
    nearer = np.full(baseline.size, np.nan)
    nearer[ranged] = distance_to_range(
        baseline[ranged], aim.low[ranged], aim.high[ranged]
    ) - expected_distance(expected[ranged], spread[ranged], aim.low[ranged], aim.high[ranged])
    known = np.isfinite(spread)
    gain = np.select(
        [aim.better == HIGHER, aim.better == LOWER, ranged], [change, -change, nearer], np.nan
    )
    return np.where(known, gain, np.nan)


def _beyond(away: Floats, sd: Floats) -> Floats:
    """Mean of what a normal number lies above zero."""
    z = away / np.where(sd > 0.0, sd, 1.0)
    density = np.exp(-np.square(z) / 2.0) / np.sqrt(2.0 * np.pi)
    return np.where(sd > 0.0, away * ndtr(z) + sd * density, np.maximum(away, 0.0))
