"""Flags: what worsened beyond error at a visit, how sure, and how many would be false.

All tests are one-sided. A visit's flags hold the false-discovery rate over all tests of that
visit and must each lie beyond the 95 % minimal detectable change as well, so that a flag
never contradicts the verdict beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr
from scipy.stats import binom, false_discovery_control

from casebook.statistics.codes import Floats, Whole

FALSE_DISCOVERY_RATE = 0.10
LARGEST_P = 0.025


def p_growth(reference: Floats, latest: Floats, se: Floats) -> Floats:
    """P-value of "the asymmetry is not larger in size than at the reference".

    Parameters
    ----------
    reference, latest : ndarray of float, shape (rows,)
        Asymmetries, signed right minus left.
    se : ndarray of float, shape (rows,), > 0
        Standard error of their difference, which is that of their sum as well.

    Returns
    -------
    ndarray of float, 0 to 1
        NaN for an unknown standard error.

    Notes
    -----
    The true size grew exactly when latest - reference and latest + reference are both beyond
    zero on the side of the latest. Each is tested one-sided and the larger p-value counts (an
    intersection-union test), which is that of the gain in size. Folding at zero therefore
    never makes it too small.

    References
    ----------
    [Berger1982]

    Examples
    --------
    >>> p_growth(np.array([5.0, 0.0, -4.0]), np.array([7.0, 2.0, 5.0]), np.full(3, 1.4)).round(4)
    array([0.0766, 0.0766, 0.2375])
    """
    return p_worse(np.abs(latest) - np.abs(reference), se)


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
    """Flags to be expected at a visit of a runner in whom nothing truly changed.

    Parameters
    ----------
    tests : array_like of int, >= 0
        Tests at the visit, taken as independent.
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
