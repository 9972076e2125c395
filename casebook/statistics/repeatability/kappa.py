"""Agreement of grades beyond chance, and the step that repeat grading reaches."""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np

from casebook.statistics.codes import Floats
from casebook.statistics.error import LEVEL, z_two_sided
from casebook.statistics.repeatability.results import Grading, Kappa

PAIRS_WITHIN_STEP = 0.95


class Weighting(StrEnum):
    """What two grades that differ count: nothing, or less the farther apart they are."""

    UNWEIGHTED = "unweighted"
    LINEAR = "linear"
    QUADRATIC = "quadratic"


def agreement_weights(grades: int, weighting: Weighting) -> Floats:
    """Weights of agreement, one on the diagonal and zero in the far corners.

    Parameters
    ----------
    grades : int, >= 2
    weighting : Weighting

    Returns
    -------
    ndarray of float, shape (grades, grades)

    References
    ----------
    [Cohen1968]

    Examples
    --------
    >>> agreement_weights(3, Weighting.QUADRATIC)
    array([[1.  , 0.75, 0.  ],
           [0.75, 1.  , 0.75],
           [0.  , 0.75, 1.  ]])
    """
    if weighting is Weighting.UNWEIGHTED:
        return np.eye(grades)
    apart = np.abs(np.subtract.outer(np.arange(grades), np.arange(grades))) / (grades - 1)
    weights: Floats = 1.0 - (apart if weighting is Weighting.LINEAR else np.square(apart))
    return weights


def weighted_kappa(table: Floats, weights: Floats) -> Kappa:
    """Kappa of a table of two gradings, with its large-sample standard error.

    Parameters
    ----------
    table : ndarray of float, shape (grades, grades)
        Subjects by first (row) and second (column) grade.
    weights : ndarray of float, shape (grades, grades)
        Weights of agreement, 1 on the diagonal.

    Returns
    -------
    Kappa
        NaN where only one grade was ever given.

    References
    ----------
    [Cohen1968], [Fleiss1969]

    Examples
    --------
    >>> table = np.array([[0.0, 4.0, 1.0], [0.0, 8.0, 0.0], [0.0, 1.0, 5.0]])
    >>> found = weighted_kappa(table, agreement_weights(3, Weighting.UNWEIGHTED))
    >>> round(found.estimate, 4), round(found.se, 4)
    (0.4842, 0.138)
    """
    n = float(table.sum())
    share = table / n
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    observed = float((weights * share).sum())
    expected = float(rows @ weights @ columns)
    if expected >= 1.0 - 1e-12:
        return Kappa(
            estimate=math.nan,
            se=math.nan,
            low=math.nan,
            high=math.nan,
            observed=observed,
            expected=expected,
        )
    estimate = (observed - expected) / (1.0 - expected)
    of_row, of_column = weights @ columns, rows @ weights
    inner = weights - (of_row[:, None] + of_column[None, :]) * (1.0 - estimate)
    variance = (
        float((share * np.square(inner)).sum()) - (estimate - expected * (1.0 - estimate)) ** 2
    )
    se = math.sqrt(max(variance, 0.0) / n) / (1.0 - expected)
    return _kappa(estimate, se, observed, expected)


def _kappa(estimate: float, se: float, observed: float, expected: float) -> Kappa:
    reach = z_two_sided(LEVEL) * se
    return Kappa(
        estimate=estimate,
        se=se,
        low=estimate - reach,
        high=min(estimate + reach, 1.0),
        observed=observed,
        expected=expected,
    )


def pair_tables(places: Floats, grades: int) -> Floats:
    """Pairs of gradings of each subject, each pair counted both ways.

    Parameters
    ----------
    places : ndarray of float, shape (subjects, occasions)
        Position of the grade given; NaN where there is none.
    grades : int

    Returns
    -------
    ndarray of float, shape (subjects, grades, grades)
        Weighted so that a subject graded m times counts as m, as in Fleiss' kappa.

    References
    ----------
    [Fleiss1971]

    Examples
    --------
    >>> pair_tables(np.array([[0.0, 1.0, 1.0]]), 2)[0]
    array([[0., 1.],
           [1., 1.]])
    """
    counts = np.stack([(places == grade).sum(axis=1) for grade in range(grades)], axis=1)
    gradings = counts.sum(axis=1)
    pairs = counts[:, :, None] * counts[:, None, :] - counts[:, :, None] * np.eye(grades)
    return np.asarray(pairs / np.maximum(gradings - 1, 1)[:, None, None], dtype=float)


def kappa_of_many(places: Floats, grades: int, weights: Floats) -> Kappa:
    """Kappa over any number of gradings of each subject, by all pairs of them.

    With unweighted agreement this is Fleiss' kappa. The standard error is by leaving out one
    subject at a time.

    Parameters
    ----------
    places : ndarray of float, shape (subjects, occasions)
        Position of the grade given; NaN where there is none.
    grades : int
    weights : ndarray of float, shape (grades, grades)

    Returns
    -------
    Kappa

    References
    ----------
    [Fleiss1971], [Conger1980]

    Examples
    --------
    >>> places = np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 1.0, 1.0]])
    >>> round(kappa_of_many(places, 2, np.eye(2)).estimate, 3)
    0.55
    """
    tables = pair_tables(places, grades)
    whole = weighted_kappa(tables.sum(axis=0), weights)
    n = len(tables)
    left_out = np.array(
        [weighted_kappa(tables.sum(axis=0) - one, weights).estimate for one in tables]
        if n > 2
        else [math.nan]
    )
    se = math.sqrt((n - 1) / n * float(np.square(left_out - left_out.mean()).sum()))
    return _kappa(whole.estimate, se, whole.observed, whole.expected)


def grading(table: Floats, grades: tuple[float, ...]) -> Grading | None:
    """Agreement of repeat grading and the step that it reaches.

    Parameters
    ----------
    table : ndarray of float, shape (subjects, occasions)
        Grades; NaN where there is none. Subjects graded once are left out.
    grades : tuple of float
        Every grade that can be given, in order.

    Returns
    -------
    Grading or None
        None where nobody was graded twice, or there is but one grade.

    References
    ----------
    [Cohen1968], [Fleiss1969], [Conger1980]

    Examples
    --------
    >>> found = grading(np.array([[0, 0], [1, 2], [2, 2], [1, 1], [0, 0]], dtype=float),
    ...     (0.0, 1.0, 2.0))
    >>> found.step_shares, found.step95
    ((0.8, 0.2, 0.0), 1)
    """
    used = table[np.isfinite(table).sum(axis=1) > 1]
    count = len(grades)
    if not len(used) or count < 2:
        return None
    places = np.where(np.isfinite(used), np.searchsorted(np.array(grades), used), np.nan)
    twice = used.shape[1] == 2
    counted = _cross_table(places, count) if twice else _all_pairs(places, count)
    kappas = {
        weighting: (
            weighted_kappa(counted, agreement_weights(count, weighting))
            if twice
            else kappa_of_many(places, count, agreement_weights(count, weighting))
        )
        for weighting in Weighting
    }
    pairs = float(counted.sum())
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    shares = [float(counted[apart == step].sum()) / pairs for step in range(count)]
    within = np.cumsum(shares) >= PAIRS_WITHIN_STEP - 1e-12
    return Grading(
        quadratic=kappas[Weighting.QUADRATIC],
        linear=kappas[Weighting.LINEAR],
        unweighted=kappas[Weighting.UNWEIGHTED],
        pairs=round(pairs if twice else pairs / 2),
        step_shares=tuple(shares),
        step95=int(np.argmax(within)),
        table=tuple(tuple(round(one) for one in row) for row in counted.tolist()),
        grades=grades,
    )


def _cross_table(places: Floats, grades: int) -> Floats:
    first, second = places.astype(np.int64).T
    counted = np.bincount(first * grades + second, minlength=grades**2)
    return np.asarray(counted, dtype=float).reshape(grades, grades)


def _all_pairs(places: Floats, grades: int) -> Floats:
    counts = np.stack([(places == grade).sum(axis=1) for grade in range(grades)], axis=1)
    return np.asarray(counts.T @ counts - np.diag(counts.sum(axis=0)), dtype=float)
