"""Error that grows with the mean, and the logarithmic scale on which it then is even."""

from __future__ import annotations

import math

import numpy as np
from scipy.stats import kendalltau

from casebook.statistics.codes import Floats
from casebook.statistics.error import mdc_from_sem
from casebook.statistics.repeatability.results import (
    BlandAltman,
    GrowingError,
    Interval,
    LogScale,
)

SIGNIFICANT = 0.05


def growing_error(table: Floats) -> GrowingError | None:
    """Whether a subject's spread over the occasions grows with the subject's mean.

    The shift that all subjects share between occasions is taken out first.

    Parameters
    ----------
    table : ndarray of float, shape (subjects, occasions)
        NaN where empty; subjects with fewer than two cells are left out.

    Returns
    -------
    GrowingError or None
        None with fewer than four subjects, or where the spread or the mean is the same in all.

    References
    ----------
    [Bland1996]

    Examples
    --------
    >>> size = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0])
    >>> wobble = np.array([1, -1, 1, -1, 1, -1]) * 0.1
    >>> found = growing_error(np.column_stack([size * (1 - wobble), size * (1 + wobble)]))
    >>> found.grows
    True
    """
    used = table[np.isfinite(table).sum(axis=1) > 1]
    if len(used) < 4:
        return None
    means = np.nanmean(used, axis=1)
    # Medians, so that one subject with a great change does not shift everybody's difference.
    apart = used - means[:, None]
    spread = np.nanstd(apart - np.nanmedian(apart, axis=0), axis=1, ddof=1)
    spread = np.where(spread <= 1e-12 * np.abs(means).max(), 0.0, spread)
    if np.ptp(spread) == 0.0 or np.ptp(means) == 0.0:
        return None
    found = kendalltau(spread, means)
    tau, p = float(found.statistic), float(found.pvalue)
    return GrowingError(tau=tau, p=p, n=len(used), grows=tau > 0.0 and p < SIGNIFICANT)


def log_scale(sem: Interval, limits: BlandAltman | None) -> LogScale:
    """Error in proportion to the mean, from an analysis of natural logarithms.

    Parameters
    ----------
    sem : Interval
        Standard deviation within subjects of the logarithms.
    limits : BlandAltman or None
        Of the logarithms.

    Returns
    -------
    LogScale
        A change counts beyond the ratios exp(-/+ MDC95 of the logarithms).

    References
    ----------
    [Bland1996], [Quan1996]

    Examples
    --------
    >>> found = log_scale(Interval(estimate=0.1, low=0.08, high=0.14), None)
    >>> round(found.cv_percent.estimate, 3), round(found.mdc95_up_percent, 1)
    (10.025, 31.9)
    """
    change = float(mdc_from_sem(sem.estimate))
    return LogScale(
        sem=sem.estimate,
        cv_percent=Interval(estimate=_cv(sem.estimate), low=_cv(sem.low), high=_cv(sem.high)),
        mdc95_up_percent=100.0 * _minus_one(change),
        mdc95_down_percent=-100.0 * math.expm1(-change),
        ratio_bias=None if limits is None else math.exp(limits.bias),
        ratio_lower=None if limits is None else math.exp(limits.lower),
        ratio_upper=None if limits is None else math.exp(limits.upper),
    )


def _cv(sem: float) -> float:
    return 100.0 * math.sqrt(_minus_one(sem**2)) if math.isfinite(sem) else math.nan


def _minus_one(power: float) -> float:
    """exp(power) - 1, infinite where it is too large to be written."""
    return math.expm1(power) if power < 700.0 else math.inf
