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
from scipy.special import chdtr, stdtrit

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.error import LEVEL
from casebook.statistics.growth.checked import checked_fit
from casebook.statistics.growth.reml import (
    Products,
    RemlFit,
    fit_reml,
    own_effects,
    products_of,
    random_sizes,
)
from casebook.statistics.growth.table import GrowthTable, fixed_part, told_apart

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# A relative standard deviation below the first, or a correlation beyond the second, is at the
# edge of what a covariance can be: the data do not hold that part apart.
LEAST_SPREAD = 1e-3
MOST_CORRELATED = 0.9999
# An error figure is called too large where residuals so small would come of it so seldom.
BY_CHANCE = 0.025


class RandomPart(StrEnum):
    """What each subject has of its own, from the most to the least."""

    CORRELATED = "intercept_and_slope"
    APART = "intercept_and_slope_uncorrelated"
    INTERCEPT = "intercept"
    NONE = "none"


class StepDown(StrEnum):
    """Why a richer random part was given up."""

    TOO_FEW_ROWS = "too_few_rows"
    TOO_FEW_SUBJECTS = "too_few_subjects"
    AT_THE_EDGE = "at_the_edge"
    NOT_CONVERGED = "not_converged"


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthFit:
    """A fitted growth model.

    Parameters
    ----------
    names : tuple of str
        Of the fixed part: Intercept, TIME, then GROUP[T.level] and TIME:GROUP[T.level], then
        COVARIATE and TIME:COVARIATE.
    fit : RemlFit
    random : RandomPart
        What was fitted in the end.
    given_up : tuple of (RandomPart, StepDown)
        What was tried before, and why it was given up.
    n_rows, n_subjects : int
    degrees : int
        Subjects less the fixed effects that tell subjects apart, at least 1: how well the
        variances between subjects are known.
    rows_left : int
        Rows less what the subjects' own lines and the fixed part take up, at least 1: how well
        the residual variance is.
    error_variance : float or None
        Of a reading, where it is known: the measurement error.
    own_lines : array, shape (subjects, 2)
        What each subject adds to the common intercept and slope, best predicted.
    check : FitCheck
        What the second judge said of the fit.
    """

    names: tuple[str, ...]
    fit: RemlFit
    random: RandomPart
    given_up: tuple[tuple[RandomPart, StepDown], ...]
    n_rows: int
    n_subjects: int
    degrees: int
    rows_left: int
    own_lines: Real
    error_variance: float | None = None
    check: FitCheck = FitCheck.CLOSED_FORM

    @property
    def error_share(self) -> float | None:
        """Share of the residual variance that the known measurement error makes up.

        Above 1 where the residuals are smaller than the error lets one expect.
        """
        if self.error_variance is None or self.fit.residual_variance <= 0:
            return None
        return self.error_variance / self.fit.residual_variance

    @property
    def error_too_large(self) -> bool:
        """Whether chance alone would seldom make residuals so small of the known error.

        The sum of squares of the residuals over the error's variance is held against chi-square:
        where readings scatter by nothing but their error, every other share lies above 1.
        """
        share = self.error_share
        return share is not None and bool(chdtr(self.rows_left, self.rows_left / share) < BY_CHANCE)

    @property
    def wide(self) -> float:
        """Standard errors on either side of an estimate that make its 95 % interval.

        Student's t with the degrees of freedom between subjects [SchluchterElashoff1990], for
        effects within them, too: of those it is on the safe side.
        """
        return float(stdtrit(self.degrees, 0.5 + LEVEL / 2.0))


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
    Random effects for growth: [Laird1982]; degrees of freedom between subjects:
    [SchluchterElashoff1990].

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
    if not told_apart(table):
        raise ValueError("the rows do not tell the parts of the model apart")
    fixed, names = fixed_part(table)
    line = np.column_stack([np.ones(len(table.time)), table.time])
    given_up: list[tuple[RandomPart, StepDown]] = []
    between = len(np.unique(table.subject)) - _between(fixed, table)
    parts = list(RandomPart)
    for part in parts[parts.index(most) :]:  # pragma: no branch  (none is always supported)
        products = products_of(table.subject, fixed, line[:, : _columns(part)], table.value)
        if _too_few(products, table):
            given_up.append((part, StepDown.TOO_FEW_ROWS))
            continue
        if products.n_random and between < 1:
            # A single subject's level, or one a group, is all in the fixed part.
            given_up.append((part, StepDown.TOO_FEW_SUBJECTS))
            continue
        fit = fit_reml(products, correlated=part is RandomPart.CORRELATED)
        why = _unsupported(fit, random_sizes(products))
        if why is None:
            break
        given_up.append((part, why))
    check = FitCheck.CLOSED_FORM
    if products.n_random:
        fit, check = checked_fit(
            table.subject,
            fixed,
            line[:, : products.n_random],
            table.value,
            fit,
            correlated=part is RandomPart.CORRELATED,
        )
    own = np.zeros((len(products.zz), 2))
    own[:, : products.n_random] = own_effects(products, fit)
    return GrowthFit(
        names=names,
        fit=fit,
        random=part,
        given_up=tuple(given_up),
        n_rows=len(table.value),
        n_subjects=len(products.zz),
        degrees=max(between, 1),
        rows_left=_rows_left(products, fixed),
        own_lines=own,
        error_variance=error_variance,
        check=check,
    )


def _between(fixed: Real, table: GrowthTable) -> int:
    """Columns of the fixed part that are the same in all rows of each subject."""
    order = np.argsort(table.subject, kind="stable")
    inside = np.diff(table.subject[order]) == 0
    moves = np.any((np.diff(fixed[order], axis=0) != 0) & inside[:, None], axis=0)
    return int(np.sum(~moves))


def _rows_left(products: Products, fixed: Real) -> int:
    rows, q = len(fixed), products.n_random
    # Columns that the subjects' own lines hold already take up nothing more.
    more = max(fixed.shape[1] - q, 0)
    own = np.linalg.matrix_rank(products.zz, hermitian=True).sum() if q else 0
    return max(int(rows - own - more), 1)


def _columns(part: RandomPart) -> int:
    return {RandomPart.NONE: 0, RandomPart.INTERCEPT: 1}.get(part, 2)


def _too_few(products: Products, table: GrowthTable) -> bool:
    """Whether the residual cannot be told from what the subjects have of their own."""
    q = products.n_random
    if q == 0:
        return False
    # A subject's own line takes up as many of its rows as it has columns.
    order = np.lexsort((table.time, table.subject))
    subject, time = table.subject[order], table.time[order]
    new = np.append(True, (np.diff(subject) != 0) | (np.diff(time) != 0))
    times, rows = np.bincount(subject[new]), np.bincount(subject)
    return bool(np.sum(np.maximum(rows - np.minimum(times, q), 0)) < q)


def _unsupported(fit: RemlFit, sizes: Real) -> StepDown | None:
    if not fit.converged or not np.isfinite(fit.log_likelihood) or fit.residual_variance <= 0:
        return StepDown.NOT_CONVERGED
    relative = fit.factor @ fit.factor.T
    spread = np.sqrt(np.diag(relative))
    if np.any(spread * sizes < LEAST_SPREAD):
        return StepDown.AT_THE_EDGE
    together = relative / np.outer(spread, spread) - np.eye(len(spread))
    return StepDown.AT_THE_EDGE if np.any(np.abs(together) > MOST_CORRELATED) else None
