"""Level and slope before and after the programme's start (segmented regression)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t
from statsmodels.regression.linear_model import OLS

from casebook.statistics.codes import Flags, Floats
from casebook.statistics.error import LEVEL


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One number of the segmented regression.

    Attributes
    ----------
    estimate, se, low, high : float
        `se` is the largest of the three below; the interval is 95 %, from Student's t.
    robust_se : float
        Robust against autocorrelation (Newey and West), corrected for few visits.
    plain_se : float
        Of ordinary least squares.
    measured_se : float
        What the known measurement error alone gives; NaN where it is not known.
    """

    estimate: float
    se: float
    low: float
    high: float
    robust_se: float
    plain_se: float
    measured_se: float

    @property
    def beyond_error(self) -> bool:
        """True where the interval leaves out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """A line before and a line after the programme's start.

    Attributes
    ----------
    before, after : int
        Visits in each phase.
    lags : int
        Visits over which errors may depend on one another.
    degrees : int
        Degrees of freedom of the intervals: visits minus 4.
    level_before : Estimate
        Where the line of the first phase stands on the day of the start, metric's unit.
    level_change : Estimate
        Step from there to the line of the second phase, on that day.
    slope_before, slope_change : Estimate
        A day; the second is what the slope after the start has over the one before.
    """

    before: int
    after: int
    lags: int
    degrees: int
    level_before: Estimate
    level_change: Estimate
    slope_before: Estimate
    slope_change: Estimate


def segmented_regression(
    days: Floats,
    values: Floats,
    second: Flags,
    start: float,
    *,
    sems: Floats | None = None,
    lags: int | None = None,
) -> Segments:
    """Change of level and slope at the programme's start, with cautious errors.

    With few visits the errors that are robust against autocorrelation come out too small
    more often than not, so each error is the largest of three: the robust one, that of
    ordinary least squares, and what the known measurement error alone gives.

    Parameters
    ----------
    days, values : ndarray of float, shape (visits,)
        In the order of time; the days of each phase not all the same.
    second : ndarray of bool, shape (visits,)
        Visits of the second phase.
    start : float
        Day of the start, on the scale of `days`.
    sems : ndarray of float, shape (visits,) or None
        Standard error of each value; None, or any NaN, where it is not known.
    lags : int or None
        None takes floor(4 (visits / 100)^(2/9)).

    Returns
    -------
    Segments

    References
    ----------
    [Wagner2002], [NeweyWest1987]

    Examples
    --------
    >>> day = np.arange(1.0, 21.0)
    >>> after = day >= 11
    >>> found = segmented_regression(
    ...     day, 10 + 0.5 * day + 3 * after - 0.2 * after * (day - 11), after, 11.0)
    >>> round(found.level_change.estimate, 6), round(found.slope_change.estimate, 6)
    (3.0, -0.2)
    """
    visits = len(days)
    chosen = math.floor(4.0 * (visits / 100.0) ** (2.0 / 9.0)) if lags is None else lags
    since = days - start
    design = np.column_stack([np.ones(visits), second, since, second * since]).astype(float)
    plain = OLS(values, design).fit()
    robust = robust_errors(values, design, chosen)
    degrees = visits - design.shape[1]
    measured = np.full(design.shape[1], np.nan)
    if sems is not None:
        measured = np.linalg.norm(np.linalg.pinv(design) * sems, axis=1)
    ses = np.fmax(np.fmax(robust, plain.bse), measured)
    half = ses * t.ppf(0.5 + LEVEL / 2.0, degrees)
    found = [
        Estimate(
            estimate=float(plain.params[i]),
            se=float(ses[i]),
            low=float(plain.params[i] - half[i]),
            high=float(plain.params[i] + half[i]),
            robust_se=float(robust[i]),
            plain_se=float(plain.bse[i]),
            measured_se=float(measured[i]),
        )
        for i in range(design.shape[1])
    ]
    return Segments(
        before=int(np.sum(~second)),
        after=int(np.sum(second)),
        lags=chosen,
        degrees=degrees,
        level_before=found[0],
        level_change=found[1],
        slope_before=found[2],
        slope_change=found[3],
    )


def robust_errors(values: Floats, design: Floats, lags: int) -> Floats:
    """Standard errors of least squares that allow for autocorrelation (Bartlett weights).

    Parameters
    ----------
    values : ndarray of float, shape (visits,)
    design : ndarray of float, shape (visits, terms)
        A column for each term, the constant included.
    lags : int, >= 0
        Visits over which errors may depend on one another.

    Returns
    -------
    ndarray of float, shape (terms,)
        Times sqrt(visits / (visits - terms)), the correction for few visits.

    References
    ----------
    [NeweyWest1987]

    Examples
    --------
    >>> design = np.column_stack([np.ones(4), [0.0, 1.0, 2.0, 3.0]])
    >>> robust_errors(np.array([1.0, 3.0, 2.0, 5.0]), design, 1).round(4)
    array([0.4247, 0.2871])
    """
    how = {"maxlags": lags, "use_correction": True}
    fitted = OLS(values, design).fit(cov_type="HAC", cov_kwds=how)
    # Where a line goes through its visits exactly, rounding can leave a variance below zero.
    variances: Floats = np.diag(fitted.cov_params())
    return np.sqrt(np.maximum(variances, 0.0))
