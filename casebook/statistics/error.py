"""How large the error of a visit's mean is, and the smallest change that stands out of it.

Model: reading = true value at the visit + between-session error (variance sb2: set-up,
marking, day to day) + error of the single trial (variance sw2). Every function works on
scalars and on arrays that broadcast; NaN in gives NaN out.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm, t

from casebook.statistics.codes import Floats, Whole

LEVEL = 0.95
# With fewer degrees of freedom the spread of a runner's trials is known so badly that allowing
# for it would make the SEM more than half as large again: too little to go by. Common
# practice, no source; four are what two trials on both sides at two visits give.
FEWEST_DEGREES = 4
# Beyond this many the allowance is below 0.1 % and no longer worth telling apart.
MANY_DEGREES = 2000


def z_two_sided(level: float = LEVEL) -> float:
    """Standard normal quantile that leaves (1 - level)/2 above it.

    Parameters
    ----------
    level : float, between 0 and 1
        Confidence level.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        For a level outside the open interval from 0 to 1.

    References
    ----------
    [Weir2005]

    Examples
    --------
    >>> round(z_two_sided(0.95), 6)
    1.959964
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level}; expected a number between 0 and 1, such as 0.95.")
    return _quantile(level)


@lru_cache(maxsize=64)
def _quantile(level: float) -> float:
    # Kept, for a review asks for the same one thousands of times and the library takes its time.
    return float(norm.ppf(0.5 + level / 2.0))


def reading_floor(resolution: ArrayLike) -> Floats:
    """Smallest standard deviation that one reading of a given resolution can have.

    Parameters
    ----------
    resolution : array_like of float, >= 0
        Smallest step that can be read, in the metric's unit.

    Returns
    -------
    ndarray of float
        resolution / sqrt(12), in the metric's unit.

    References
    ----------
    [Bennett1948]

    Examples
    --------
    >>> round(float(reading_floor(1.0)), 9)
    0.288675135
    """
    return np.asarray(resolution, dtype=float) / math.sqrt(12.0)


def interval_floor(frames_per_s: ArrayLike) -> Floats:
    """Smallest standard deviation of a duration between two events seen on video frames.

    Each of the two instants is rounded to a frame, hence sqrt(2) times the floor of one.

    Parameters
    ----------
    frames_per_s : array_like of float, > 0
        Frames per second of the camera.

    Returns
    -------
    ndarray of float
        (1000 / frames_per_s) / sqrt(6), in milliseconds.

    References
    ----------
    [Bennett1948]

    Examples
    --------
    >>> round(float(interval_floor(60.0)), 6)
    6.804138
    """
    return 1000.0 / np.asarray(frames_per_s, dtype=float) / math.sqrt(6.0)


def sem_from_parts(
    between_sd: ArrayLike, within_sd: ArrayLike, floor: ArrayLike, n: ArrayLike
) -> Floats:
    """Standard error of measurement (SEM) of a visit's mean when both parts are known.

    Parameters
    ----------
    between_sd, within_sd : array_like of float, >= 0
        Between-session and single-trial standard deviation, in the metric's unit.
    floor : array_like of float, >= 0
        Smallest standard deviation one trial can have (`reading_floor`, `interval_floor`, and
        where points were marked the error of marking).
    n : array_like of int, >= 1
        Trials averaged at the visit.

    Returns
    -------
    ndarray of float
        sqrt(sb2 + max(sw2, floor2) / n). Averaging shrinks only the second part.

    References
    ----------
    [Bland1995], [Bennett1948]

    Examples
    --------
    >>> float(sem_from_parts(3.0, 8.0, 0.0, 4))
    5.0
    """
    single = np.maximum(np.asarray(within_sd, dtype=float), floor)
    variance: Floats = np.square(between_sd) + np.square(single) / n
    return np.sqrt(variance)


def sem_from_mean_of(
    sem: ArrayLike, trials: ArrayLike, within_sd: ArrayLike, floor: ArrayLike, n: ArrayLike
) -> Floats:
    """SEM of a visit's mean of n trials from the SEM of a mean of another number of trials.

    With as many trials as the figure or more, the figure is taken as it stands: how much of
    it further trials would shrink is not known. With fewer, the error that the missing trials
    would have averaged out is added.

    Parameters
    ----------
    sem : array_like of float, >= 0
        SEM of a mean of `trials` trials, in the metric's unit.
    trials : array_like of int, >= 1
        Trials that were averaged for that figure.
    within_sd : array_like of float
        Standard deviation of the runner's single trials (`pooled_within_sd`), widened by
        `few_trials_factor` where it is an estimate; NaN where there is none.
    floor : array_like of float, >= 0
        Smallest standard deviation one trial can have.
    n : array_like of int, >= 1
        Trials averaged at the visit.

    Returns
    -------
    ndarray of float
        sqrt(sem2 + max(sw2, floor2) * max(0, 1/n - 1/trials)), never below floor / sqrt(n).
        NaN where trials are missing and `within_sd` is NaN: the figure cannot be used there.

    References
    ----------
    [Bland1995], [Bennett1948]

    Examples
    --------
    >>> sem_from_mean_of(2.0, 7, [1.4, 1.4, np.nan], 0.0, [10, 5, 5]).round(4)
    array([2.   , 2.0278,    nan])
    """
    single = np.square(np.maximum(np.asarray(within_sd, dtype=float), floor))
    missing = np.maximum(1.0 / np.asarray(n, dtype=float) - 1.0 / np.asarray(trials), 0.0)
    added = np.where(missing > 0.0, single * missing, 0.0)
    variance: Floats = np.maximum(np.square(sem) + added, np.square(floor) / n)
    return np.sqrt(variance)


def sem_lower_bound(within_sd: ArrayLike, floor: ArrayLike, n: ArrayLike) -> Floats:
    """Smallest SEM a visit's mean can have when only the trials of one session are known.

    Parameters
    ----------
    within_sd : array_like of float, >= 0
        Standard deviation of single trials within a session, in the metric's unit.
    floor : array_like of float, >= 0
        Smallest standard deviation one trial can have.
    n : array_like of int, >= 1
        Trials averaged at the visit.

    Returns
    -------
    ndarray of float
        max(sw, floor) / sqrt(n). A lower bound: the error between sessions is left out, so
        that a change inside it is no change, and one beyond it proves nothing.

    References
    ----------
    [Bland1995], [Bennett1948]

    Examples
    --------
    >>> float(sem_lower_bound(2.0, 0.3, 4))
    1.0
    """
    bound: Floats = np.maximum(np.asarray(within_sd, dtype=float), floor) / np.sqrt(n)
    return bound


def pooled_within_sd(
    sd: ArrayLike, n: ArrayLike, group: ArrayLike, group_count: int
) -> tuple[Floats, Whole]:
    """Standard deviation of single trials, pooled over the sets of trials of each group.

    Parameters
    ----------
    sd : array_like of float, shape (rows,)
        Standard deviation (n - 1) of each set of trials; NaN where there is none.
    n : array_like of int, shape (rows,)
        Trials in each set.
    group : array_like of int, shape (rows,), 0 to group_count - 1
        Group each set belongs to.
    group_count : int

    Returns
    -------
    pooled : ndarray of float, shape (group_count,)
        sqrt(sum((n - 1) sd2) / sum(n - 1)); NaN where no set has two trials.
    degrees : ndarray of int, shape (group_count,)
        Degrees of freedom, sum(n - 1) over the sets used.

    References
    ----------
    [Bland1995]

    Examples
    --------
    >>> pooled, degrees = pooled_within_sd([1.0, 2.0, np.nan], [3, 3, 1], [0, 0, 1], 2)
    >>> pooled.round(4), degrees
    (array([1.5811,    nan]), array([4, 0]))
    """
    spread = np.asarray(sd, dtype=float)
    freedom = np.asarray(n, dtype=float) - 1.0
    used = np.isfinite(spread) & (freedom > 0)
    freedom = np.where(used, freedom, 0.0)
    squares = np.where(used, np.square(spread) * freedom, 0.0)
    groups = np.asarray(group, dtype=np.int64)
    total = np.bincount(groups, weights=freedom, minlength=group_count)
    summed = np.bincount(groups, weights=squares, minlength=group_count)
    pooled = np.full(group_count, np.nan)
    np.divide(summed, total, out=pooled, where=total > 0)
    return np.sqrt(pooled), total.astype(np.int64)


def few_trials_factor(degrees: ArrayLike) -> Floats:
    """How much to widen a standard deviation that was estimated from few trials.

    Parameters
    ----------
    degrees : array_like of int, >= 0
        Degrees of freedom of the estimate (`pooled_within_sd`).

    Returns
    -------
    ndarray of float, > 1
        t(0.975, degrees) / z(0.975), NaN below four degrees of freedom. A change whose error
        is made of a known variance and of one that was estimated and widened so exceeds its
        MDC95 by chance in at most 5 % of cases: in exactly 5 % where all of it is known or all
        estimated, and in fewer between, for the chance is a convex function of the share.

    References
    ----------
    [Student1908]

    Examples
    --------
    >>> few_trials_factor([3, 4, 20, 1000]).round(4)
    array([   nan, 1.4166, 1.0643, 1.0012])
    """
    known = np.minimum(np.asarray(degrees, dtype=np.int64), MANY_DEGREES)
    # A table, for there are far fewer numbers of degrees than runners and metrics.
    table = np.full(int(known.max(initial=0)) + 1, np.nan)
    enough = np.arange(FEWEST_DEGREES, table.size)
    table[enough] = t.ppf(0.5 + LEVEL / 2.0, enough) / z_two_sided()
    factor: Floats = table[known]
    return factor


def mdc_between(sem_a: ArrayLike, sem_b: ArrayLike, *, level: float = LEVEL) -> Floats:
    """Minimal detectable change between two means whose errors may differ.

    Parameters
    ----------
    sem_a, sem_b : array_like of float, >= 0
        SEM of each mean, in the metric's unit.
    level : float, between 0 and 1

    Returns
    -------
    ndarray of float
        z * sqrt(sem_a2 + sem_b2), in the metric's unit.

    Raises
    ------
    ValueError
        For a level outside the open interval from 0 to 1.

    References
    ----------
    [Weir2005], [Jacobson1991]

    Examples
    --------
    >>> round(float(mdc_between(3.0, 4.0)), 4)
    9.7998
    """
    return z_two_sided(level) * np.hypot(sem_a, sem_b)


def mdc_from_sem(sem: ArrayLike, *, level: float = LEVEL) -> Floats:
    """Minimal detectable change between two means that share one SEM.

    Parameters
    ----------
    sem : array_like of float, >= 0
        SEM of either mean, in the metric's unit.
    level : float, between 0 and 1

    Returns
    -------
    ndarray of float
        z * sqrt(2) * sem, in the metric's unit.

    Raises
    ------
    ValueError
        For a level outside the open interval from 0 to 1.

    References
    ----------
    [Weir2005]

    Examples
    --------
    >>> round(float(mdc_from_sem(1.0)), 4), round(float(mdc_from_sem(1.0, level=0.90)), 4)
    (2.7718, 2.3262)
    """
    return mdc_between(sem, sem, level=level)
