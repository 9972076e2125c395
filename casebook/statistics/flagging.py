"""Flags: what worsened beyond error at a visit, how sure, and how many would be false.

All tests are one-sided. A metric has one p-value at a visit, its kinds of test combined; over
the metrics of a visit the false-discovery rate is held, and each flag must lie beyond the
95 % minimal detectable change as well, so that it never contradicts the verdict beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtr
from scipy.stats import binom, false_discovery_control

from casebook.statistics.codes import Flags, Floats, Whole

FALSE_DISCOVERY_RATE = 0.10
LARGEST_P = 0.025
# Difference and sum of two sizes more alike than this: growing either way are two chances.
MOST_ALIKE = 0.7


def p_growth(
    reference: Floats, latest: Floats, sem_reference: Floats, sem_latest: Floats
) -> Floats:
    """P-value of "the asymmetry is not larger in size than at the reference".

    Parameters
    ----------
    reference, latest : ndarray of float, shape (rows,)
        Asymmetries, signed right minus left.
    sem_reference, sem_latest : ndarray of float, shape (rows,), > 0
        Their standard errors, independent of one another.

    Returns
    -------
    ndarray of float, 0 to 1
        NaN for an unknown standard error.

    Notes
    -----
    See `p_larger`: latest - reference and latest + reference have the same standard error, so
    that the smaller of the two is the gain in size over it.

    References
    ----------
    [Berger1982]

    Examples
    --------
    >>> p_growth(np.array([5.0, 0.0, -4.0]), np.array([7.0, 2.0, 5.0]), np.full(3, 1.0),
    ...     np.full(3, 1.0)).round(4)
    array([0.0786, 0.0786, 0.2398])
    """
    before, after = np.square(sem_reference), np.square(sem_latest)
    se = np.sqrt(before + after)
    return p_larger(latest - reference, latest + reference, se, se, after - before)


def p_larger(
    difference: Floats,
    total: Floats,
    se_difference: Floats,
    se_total: Floats,
    covariance: Floats,
    degrees: ArrayLike = np.inf,
) -> Floats:
    """P-value of "the second of two signed numbers is not larger in size than the first".

    Parameters
    ----------
    difference, total : ndarray of float, shape (rows,)
        Second minus first, and their sum.
    se_difference, se_total : ndarray of float, shape (rows,), > 0
        Standard errors of both.
    covariance : ndarray of float, shape (rows,)
        Covariance of their errors: variance of the second minus that of the first.
    degrees : array_like of float, > 0
        Degrees of freedom of the standard errors; infinite where they are known.

    Returns
    -------
    ndarray of float, 0 to 1
        NaN for an unknown standard error.

    Notes
    -----
    The size grew exactly when difference and sum are both beyond zero on the side of the
    second number. Each is tested one-sided and the larger p-value counts (an
    intersection-union test), so that folding at zero never makes it too small. Growing to
    either side are two chances of a false one; while difference and sum are not much alike
    (correlation up to 0.7, such as a baseline of five visits), both together stay within one.
    Beyond that the p-value is doubled.

    References
    ----------
    [Berger1982], [Dunn1961]

    Examples
    --------
    >>> p_larger(np.array([2.0, 2.0]), np.array([8.0, 8.0]), np.ones(2), np.ones(2),
    ...     np.array([0.0, 0.9])).round(4)
    array([0.0228, 0.0455])
    """
    side = np.sign(difference + total)
    least = np.minimum(side * difference / se_difference, side * total / se_total)
    p = stdtr(degrees, -least)
    alike = covariance > MOST_ALIKE * se_difference * se_total
    doubled: Floats = np.where(alike, np.minimum(2.0 * p, 1.0), p)
    return doubled


def p_short(shortfall: Floats, se: Floats, either_side: Flags) -> Floats:
    """P-value of "the target was truly reached".

    Parameters
    ----------
    shortfall : ndarray of float, shape (rows,)
        How much is missing to the target; negative where more than enough was reached.
    se : ndarray of float, shape (rows,), > 0
        Standard error of that.
    either_side : ndarray of bool, shape (rows,)
        True where it can be missed on either side of zero (an asymmetry that should shrink).

    Returns
    -------
    ndarray of float, 0 to 1
        Doubled where it can be missed either way.

    References
    ----------
    [Dunn1961]

    Examples
    --------
    >>> p_short(np.array([1.96, 1.96]), np.ones(2), np.array([False, True])).round(3)
    array([0.025, 0.05 ])
    """
    return np.minimum(np.where(either_side, 2.0, 1.0) * p_worse(shortfall, se), 1.0)


def p_worse(loss: Floats, se: Floats) -> Floats:
    """P-value of "it did not get worse", one-sided.

    Parameters
    ----------
    loss : ndarray of float
        Change, counted positive in the worse direction.
    se : ndarray of float, > 0
        Standard error of that change.

    Returns
    -------
    ndarray of float, 0 to 1

    References
    ----------
    [Jacobson1991]

    Examples
    --------
    >>> p_worse(np.array([1.96, -1.0]), np.ones(2)).round(3)
    array([0.025, 0.841])
    """
    p: Floats = ndtr(-loss / se)
    return p


def combined_p(p: Floats, group: Whole, kind: Whole) -> tuple[Whole, Floats]:
    """One p-value for each group of tests: that none of its null hypotheses is wrong.

    Parameters
    ----------
    p : ndarray of float, shape (tests,), 0 to 1
    group : ndarray of int, shape (tests,), >= 0
        Tests with the same number belong together (a metric at a visit).
    kind : ndarray of int, shape (tests,), >= 0
        Different for the tests of a group; a small number.

    Returns
    -------
    groups : ndarray of int, shape (groups,)
        The distinct groups, ascending.
    combined : ndarray of float, shape (groups,), 0 to 1
        The least of k p(j) / j over the k ordered p-values p(1), ... p(k) of each group.

    Notes
    -----
    Holds the level for independent and for positively dependent tests; that it does so for
    the tests that are combined here is shown by the simulation in `tests/bench`.

    References
    ----------
    [Simes1986]

    Examples
    --------
    >>> combined_p(np.array([0.01, 0.04, 0.04]), np.array([7, 7, 9]), np.array([0, 1, 0]))
    (array([7, 9]), array([0.02, 0.04]))
    """
    groups, row = _numbered(group)
    kinds, column = _numbered(kind)
    table = np.full((groups.size, kinds.size), np.inf)
    table[row, column] = p
    table.sort(axis=1)
    count = np.isfinite(table).sum(axis=1)
    rank = np.arange(1, kinds.size + 1)
    combined = (table / rank).min(axis=1, initial=np.inf) * count
    return groups, np.minimum(combined, 1.0)


def _numbered(numbers: Whole) -> tuple[Whole, Whole]:
    """The distinct small numbers, ascending, and the place of each among them, unsorted."""
    present = np.zeros(int(numbers.max(initial=-1)) + 1, dtype=np.bool_)
    present[numbers] = True
    place = np.cumsum(present) - 1
    return np.flatnonzero(present), place[numbers]


def q_values(p: Floats, family: Whole) -> Floats:
    """Benjamini-Hochberg adjusted p-values within each family of tests.

    Parameters
    ----------
    p : ndarray of float, shape (tests,), 0 to 1
    family : ndarray of int, shape (tests,)
        Tests with the same number are adjusted together (a visit).

    Returns
    -------
    ndarray of float, shape (tests,), 0 to 1
        In the order given.

    References
    ----------
    [Benjamini1995]

    Examples
    --------
    >>> q_values(np.array([0.01, 0.04, 0.04]), np.array([7, 7, 9])).round(3)
    array([0.02, 0.04, 0.04])
    """
    adjusted = np.empty_like(p)
    order = np.argsort(family, kind="stable")
    _, start, size = np.unique(family[order], return_index=True, return_counts=True)
    # Families of one size make a table, which scipy adjusts row by row in one call.
    for count in np.unique(size):
        rows = order[start[size == count][:, None] + np.arange(count)]
        adjusted[rows] = false_discovery_control(p[rows], axis=1)
    return adjusted


def expected_false_flags(
    tests: ArrayLike, rate: float = FALSE_DISCOVERY_RATE, largest_p: float = LARGEST_P
) -> Floats:
    """Metrics expected to be flagged at a visit of a runner in whom nothing truly changed.

    Parameters
    ----------
    tests : array_like of int, >= 0
        Metrics tested at the visit, taken as independent.
    rate : float, between 0 and 1
        False-discovery rate of the Benjamini-Hochberg procedure.
    largest_p : float, between 0 and 1
        A flag needs a p-value not larger than this as well.

    Returns
    -------
    ndarray of float, >= 0

    Notes
    -----
    With m tests and rate q the number R of rejections has the law
    P(R = r) = C(m, r) (rq/m)^r (1 - rq/m)^(m - r) (1 - q) / (1 - rq/m), and given R = r the
    rejected p-values are uniform between 0 and rq/m.

    Metrics that share their errors keep the chance of any false flag, but raise them in
    bunches; their mean number can then be larger, up to `largest_p` times the tests.

    References
    ----------
    [Finner2001], [Benjamini1995]

    Examples
    --------
    >>> expected_false_flags([0, 1, 20]).round(4)
    array([0.    , 0.025 , 0.1219])
    """
    counts = np.asarray(tests, dtype=np.int64)
    distinct, place = np.unique(counts, return_inverse=True)
    table = np.array([_expected_for(int(m), rate, largest_p) for m in distinct])
    return table[place].reshape(counts.shape)


def _expected_for(m: int, rate: float, largest_p: float) -> float:
    r = np.arange(1, m + 1)
    edge = r * rate / max(m, 1)
    chance = binom.pmf(r, m, edge) * (1.0 - rate) / (1.0 - edge)
    return float(np.sum(chance * r * np.minimum(1.0, largest_p / edge)))


def raised_again(
    then: Floats, now: Floats, sem_then: Floats, sem_now: Floats, known: Flags
) -> Flags:
    """Is a flag worse than when it was acknowledged, so that it must be raised again?

    Parameters
    ----------
    then, now : ndarray of float, shape (rows,)
        How bad it was at the visit whose flag was acknowledged and how bad it is now: a
        number that is the larger the worse it is.
    sem_then, sem_now : ndarray of float, shape (rows,)
        Standard errors of both; NaN where not known.
    known : ndarray of bool, shape (rows,)
        True where the error is one between sessions. Else any worsening counts.

    Returns
    -------
    ndarray of bool, shape (rows,)
        True where it is worse by more than one standard error of the change. One, and not
        the two of a verdict, so that nothing that gets worse stays hidden for long.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> raised_again(np.full(3, 8.0), np.array([9.3, 9.5, 8.2]), np.ones(3), np.ones(3),
    ...     np.array([True, True, False]))
    array([False,  True,  True])
    """
    se = np.where(known, np.hypot(sem_then, sem_now), 0.0)
    worse: Flags = now - then > se
    return worse
