"""Agreement of two occasions: Bland and Altman's limits, Lin's concordance."""

from __future__ import annotations

import math

import numpy as np
from scipy.stats import t as student

from casebook.statistics.codes import Floats
from casebook.statistics.error import LEVEL, z_two_sided
from casebook.statistics.repeatability.results import BlandAltman, Concordance
from casebook.statistics.repeatability.tolerance import both_limits_factor, one_limit_factor

FEWEST_PAIRS = 3
ROUNDING = 1e-13


def bland_altman(first: Floats, second: Floats, *, difference: str) -> BlandAltman:
    """Bias and limits of agreement of second minus first, with their intervals.

    Parameters
    ----------
    first, second : ndarray of float, shape (pairs,)
        Three pairs or more, none missing.
    difference : str
        In words, which was taken from which.

    Returns
    -------
    BlandAltman
        `points` are (mean of the two, difference), for a plot.

    Raises
    ------
    ValueError
        For fewer than three pairs.

    References
    ----------
    [Bland1986], [Bland1999], [Carkeet2015]

    Examples
    --------
    >>> found = bland_altman(np.array([5.0, 7.0, 9.0]), np.array([6.0, 7.0, 11.0]),
    ...     difference="second minus first")
    >>> found.bias, found.sd, round(found.upper, 4)
    (1.0, 1.0, 2.96)
    """
    gap = second - first
    n = int(gap.size)
    if n < FEWEST_PAIRS:
        raise ValueError(f"{n} pairs given; limits of agreement need {FEWEST_PAIRS} or more.")
    bias, sd = float(gap.mean()), float(gap.std(ddof=1))
    size = float(max(np.abs(first).max(), np.abs(second).max()))
    # Differences that are rounding and nothing else count as none.
    bias, sd = (0.0 if abs(one) <= ROUNDING * size else one for one in (bias, sd))
    se = sd / math.sqrt(n)
    z = z_two_sided(LEVEL)
    quantile = float(student.ppf(0.5 + LEVEL / 2.0, n - 1))
    lower, upper = bias - z * sd, bias + z * sd
    reach = quantile * standard_error_of_limit(sd, n)
    t, p = _test_of_bias(bias, se, n)
    middle = (first + second) / 2.0
    return BlandAltman(
        n=n,
        difference=difference,
        bias=bias,
        bias_low=bias - quantile * se,
        bias_high=bias + quantile * se,
        sd=sd,
        se=se,
        t=t,
        p=p,
        lower=lower,
        upper=upper,
        lower_low=lower - reach,
        lower_high=lower + reach,
        upper_low=upper - reach,
        upper_high=upper + reach,
        exact=_exact_ends(bias, sd, n),
        points=tuple((float(m), float(d)) for m, d in zip(middle, gap, strict=True)),
    )


def _test_of_bias(bias: float, se: float, n: int) -> tuple[float, float]:
    if se == 0.0:
        return math.nan, math.nan
    t = bias / se
    return t, float(2.0 * student.sf(abs(t), n - 1))


def _exact_ends(bias: float, sd: float, n: int) -> dict[str, float]:
    tails = (0.5 - LEVEL / 2.0, 0.5 + LEVEL / 2.0)
    near, far = (one_limit_factor(n, tail) * sd for tail in tails)
    pair_near, pair_far = (both_limits_factor(n, tail) * sd for tail in tails)
    return {
        "lower_low": bias - far,
        "lower_high": bias - near,
        "upper_low": bias + near,
        "upper_high": bias + far,
        "pair_lower_low": bias - pair_far,
        "pair_lower_high": bias - pair_near,
        "pair_upper_low": bias + pair_near,
        "pair_upper_high": bias + pair_far,
    }


def standard_error_of_limit(sd: float, n: int) -> float:
    """Approximate standard error of a limit of agreement.

    Parameters
    ----------
    sd : float, >= 0
        Standard deviation of the differences.
    n : int, >= 2
        Differences.

    Returns
    -------
    float
        sd * sqrt(1/n + z2 / (2 (n - 1))).

    References
    ----------
    [Bland1999]

    Examples
    --------
    >>> round(standard_error_of_limit(1.0, 50), 4)
    0.2433
    """
    z = z_two_sided(LEVEL)
    return sd * math.sqrt(1.0 / n + z**2 / (2.0 * (n - 1)))


def single_reading_sd(
    variance: float, within: tuple[float, float], trials: tuple[float, float]
) -> float:
    """Standard deviation of the differences of single readings, from those of means.

    Parameters
    ----------
    variance : float, >= 0
        Of the differences of the means.
    within : (float, float)
        Variance of single readings within a subject, on each occasion.
    trials : (float, float)
        Readings averaged on each occasion.

    Returns
    -------
    float
        sqrt(variance + sum of (1 - 1/m) * within).

    References
    ----------
    [Bland1999]

    Examples
    --------
    >>> round(single_reading_sd(358.493, (37.408, 83.141), (3, 3)), 3)
    20.949
    """
    added = (sw2 * (1.0 - 1.0 / m) for sw2, m in zip(within, trials, strict=True))
    return math.sqrt(variance + sum(added))


def concordance(first: Floats, second: Floats) -> Concordance:
    """Lin's concordance correlation: how near the pairs lie to the line of equality.

    Parameters
    ----------
    first, second : ndarray of float, shape (pairs,)
        Three pairs or more, neither without spread.

    Returns
    -------
    Concordance
        Variances over n. The interval is NaN where the pairs lie on a line.

    References
    ----------
    [Lin1989]

    Examples
    --------
    >>> found = concordance(np.array([1.0, 2.0, 3.0]), np.array([2.0, 3.0, 4.0]))
    >>> round(found.estimate, 4), round(found.pearson, 4)
    (0.5714, 1.0)
    """
    n = first.size
    deviation1, deviation2 = first - first.mean(), second - second.mean()
    sd1, sd2 = math.sqrt(np.mean(deviation1**2)), math.sqrt(np.mean(deviation2**2))
    covariance = float(np.mean(deviation1 * deviation2))
    apart = float(second.mean() - first.mean())
    estimate = 2.0 * covariance / (sd1**2 + sd2**2 + apart**2)
    r, location = covariance / (sd1 * sd2), apart / math.sqrt(sd1 * sd2)
    low = high = math.nan
    # On a straight line, or without any correlation, the formula has no meaning.
    if n > 2 and 0.0 < r**2 < 1.0 - 1e-12:
        c2 = estimate**2
        variance = (
            (1.0 - r**2) * c2 * (1.0 - c2) / r**2
            + 2.0 * estimate**3 * (1.0 - estimate) * location**2 / r
            - 0.5 * c2**2 * location**4 / r**2
        ) / (n - 2)
        reach = z_two_sided(LEVEL) * math.sqrt(max(variance, 0.0)) / (1.0 - c2)
        middle = math.atanh(estimate)
        low, high = math.tanh(middle - reach), math.tanh(middle + reach)
    return Concordance(
        estimate=estimate,
        low=low,
        high=high,
        location_shift=location,
        scale_shift=sd1 / sd2,
        accuracy=estimate / r if r else math.nan,
        pearson=r,
    )
