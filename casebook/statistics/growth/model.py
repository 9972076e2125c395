"""A growth model of a long table: the common course, and how far subjects go their own way.

The random part is what the data can support: an intercept and a slope for each subject that go
together; if that cannot be told, the same without their covariance; then an intercept alone;
then none. Each step down is named, so that it can be said in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from casebook.statistics.growth.reml import (
    Products,
    RemlFit,
    fit_reml,
    own_effects,
    products_of,
    random_sizes,
)

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# A relative standard deviation below the first, or a correlation beyond the second, is at the
# edge of what a covariance can be: the data do not hold that part apart.
LEAST_SPREAD = 1e-3
MOST_CORRELATED = 0.9999


class RandomPart(StrEnum):
    """What each subject has of its own, from the most to the least."""

    CORRELATED = "intercept_and_slope"
    APART = "intercept_and_slope_uncorrelated"
    INTERCEPT = "intercept"
    NONE = "none"


class StepDown(StrEnum):
    """Why a richer random part was given up."""

    TOO_FEW_ROWS = "too_few_rows"
    AT_THE_EDGE = "at_the_edge"
    NOT_CONVERGED = "not_converged"


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthTable:
    """A long table, a row a measurement; every array of shape (n,).

    Parameters
    ----------
    subject : array of int
        0 to subjects - 1.
    time : array
        In the unit that the slopes are to be told in.
    value : array
    group : array of int or None
        Number of each row's group in `groups`; the first is the one compared with.
    time_name, group_name : str
        How they are called in the names of the fixed part.
    """

    subject: Whole
    time: Real
    value: Real
    group: Whole | None = None
    groups: tuple[str, ...] = ()
    time_name: str = "time"
    group_name: str = "group"


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthFit:
    """A fitted growth model.

    Parameters
    ----------
    names : tuple of str
        Of the fixed part: Intercept, TIME, then GROUP[T.level] and TIME:GROUP[T.level].
    fit : RemlFit
    random : RandomPart
        What was fitted in the end.
    given_up : tuple of (RandomPart, StepDown)
        What was tried before, and why it was given up.
    n_rows, n_subjects : int
    error_variance : float or None
        Of a reading, where it is known: the measurement error.
    own_lines : array, shape (subjects, 2)
        What each subject adds to the common intercept and slope, best predicted.
    """

    names: tuple[str, ...]
    fit: RemlFit
    random: RandomPart
    given_up: tuple[tuple[RandomPart, StepDown], ...]
    n_rows: int
    n_subjects: int
    own_lines: Real
    error_variance: float | None = None

    @property
    def error_share(self) -> float | None:
        """Share of the residual variance that the known measurement error makes up.

        Above 1 where the residuals are smaller than the error lets one expect.
        """
        if self.error_variance is None or self.fit.residual_variance <= 0:
            return None
        return self.error_variance / self.fit.residual_variance


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedCourse:
    """The common course of one group with the 95 % band of its mean; arrays of shape (m,)."""

    group: str
    time: Real
    mean: Real
    low: Real
    high: Real


def fit_growth(
    table: GrowthTable,
    *,
    most: RandomPart = RandomPart.CORRELATED,
    error_variance: float | None = None,
) -> GrowthFit:
    """Fit a growth model by restricted maximum likelihood.

    Parameters
    ----------
    table : GrowthTable
    most : RandomPart
        The richest random part to be tried.
    error_variance : float or None
        Known variance of a value's measurement error, in the value's unit squared.

    Returns
    -------
    GrowthFit

    Raises
    ------
    ValueError
        When the fixed part cannot be told apart: one time only, a group of one time, or no more
        rows than columns.

    References
    ----------
    Random effects for growth: [Laird1982].

    Examples
    --------
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> found = fit_growth(table, most=RandomPart.INTERCEPT)
    >>> found.names, found.fit.fixed.round(2)
    (('Intercept', 'time'), array([4.6 , 0.96]))
    """
    fixed, names = _fixed_part(table)
    if len(table.value) <= fixed.shape[1] or np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise ValueError("the rows do not tell the parts of the model apart")
    line = np.column_stack([np.ones(len(table.time)), table.time])
    given_up: list[tuple[RandomPart, StepDown]] = []
    parts = list(RandomPart)
    for part in parts[parts.index(most) :]:  # pragma: no branch  (none is always supported)
        products = products_of(table.subject, fixed, line[:, : _columns(part)], table.value)
        if _too_few(products, table):
            given_up.append((part, StepDown.TOO_FEW_ROWS))
            continue
        fit = fit_reml(products, correlated=part is RandomPart.CORRELATED)
        why = _unsupported(fit, random_sizes(products))
        if why is None:
            break
        given_up.append((part, why))
    own = np.zeros((len(products.zz), 2))
    own[:, : products.n_random] = own_effects(products, fit)
    return GrowthFit(
        names=names,
        fit=fit,
        random=part,
        given_up=tuple(given_up),
        n_rows=len(table.value),
        n_subjects=len(products.zz),
        own_lines=own,
        error_variance=error_variance,
    )


def predict_course(fit: GrowthFit, table: GrowthTable, time: Real) -> tuple[PredictedCourse, ...]:
    """The common course of each group at some times, with the 95 % band of its mean.

    Parameters
    ----------
    fit : GrowthFit
    table : GrowthTable
        The one that was fitted.
    time : array, shape (m,)

    Returns
    -------
    tuple of PredictedCourse
        One a group, or one alone.

    References
    ----------
    The fixed part of [Laird1982] with its covariance; the band takes the variances as known.

    Examples
    --------
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> (course,) = predict_course(fit_growth(table), table, np.array([0.0, 4.0]))
    >>> course.mean.round(2)
    array([4.6 , 8.45])
    """
    found = []
    for number, name in enumerate(table.groups or ("",)):
        design, _ = _fixed_part(
            GrowthTable(
                subject=np.zeros(len(time), dtype=np.int64),
                time=time,
                value=np.zeros(len(time)),
                group=np.full(len(time), number) if table.groups else None,
                groups=table.groups,
            )
        )
        mean = design @ fit.fit.fixed
        spread = np.sqrt(np.einsum("ij,jk,ik->i", design, fit.fit.fixed_covariance, design))
        wide = float(norm.ppf(0.975)) * spread
        found.append(
            PredictedCourse(group=name, time=time, mean=mean, low=mean - wide, high=mean + wide)
        )
    return tuple(found)


def residuals_of(fit: GrowthFit, table: GrowthTable) -> Real:
    """What is left of each row after its subject's own line, in units of the residual SD.

    Parameters
    ----------
    fit : GrowthFit
    table : GrowthTable
        The one that was fitted.

    Returns
    -------
    array, shape (n,)

    References
    ----------
    Conditional residuals of the model of [Laird1982].

    Examples
    --------
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> float(np.abs(residuals_of(fit_growth(table), table)).max()) < 3
    True
    """
    design, _ = _fixed_part(table)
    own = fit.own_lines[table.subject]
    line = own[:, 0] + own[:, 1] * table.time
    left: Real = (table.value - design @ fit.fit.fixed - line) / np.sqrt(fit.fit.residual_variance)
    return left


def _columns(part: RandomPart) -> int:
    return {RandomPart.NONE: 0, RandomPart.INTERCEPT: 1}.get(part, 2)


def _fixed_part(table: GrowthTable) -> tuple[Real, tuple[str, ...]]:
    columns, names = [np.ones(len(table.time)), table.time], ["Intercept", table.time_name]
    for number, level in enumerate(table.groups[1:], start=1):
        inside = np.asarray(table.group == number, dtype=np.float64)
        columns.append(inside)
        names.append(f"{table.group_name}[T.{level}]")
    for number, level in enumerate(table.groups[1:], start=1):
        columns.append(columns[1 + number] * table.time)
        names.append(f"{table.time_name}:{table.group_name}[T.{level}]")
    return np.column_stack(columns), tuple(names)


def _too_few(products: Products, table: GrowthTable) -> bool:
    """Whether the residual cannot be told from what the subjects have of their own."""
    q = products.n_random
    if q == 0:
        return False
    # A subject's own line takes up as many of its rows as it has columns.
    steps = np.unique(np.column_stack([table.subject, table.time]), axis=0)
    times = np.bincount(steps[:, 0].astype(np.int64))
    rows = np.bincount(table.subject)
    return bool(np.sum(np.maximum(rows - np.minimum(times, q), 0)) < q)


def _unsupported(fit: RemlFit, sizes: Real) -> StepDown | None:
    if not fit.converged:
        return StepDown.NOT_CONVERGED
    relative = fit.factor @ fit.factor.T
    spread = np.sqrt(np.diag(relative))
    if np.any(spread * sizes < LEAST_SPREAD):
        return StepDown.AT_THE_EDGE
    together = relative / np.outer(spread, spread) - np.eye(len(spread))
    return StepDown.AT_THE_EDGE if np.any(np.abs(together) > MOST_CORRELATED) else None
