"""What a growth model leaves over, to be looked at: is it even, is it normal?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import binom, norm, rankdata

from casebook.statistics.growth.model import GrowthFit
from casebook.statistics.growth.table import GrowthTable, fixed_part

Real = NDArray[np.float64]

# Rank correlation of the residuals' size with the level that is worth a look, and the share of
# them beyond 3 SD that is. Common practice, no source.
WIDENING, TOO_MANY_FAR = 0.2, 0.01
# Either is told only where even residuals would show as much in fewer than this share of tables.
BY_CHANCE = 0.05
# A row whose residual could be no larger than this (as a share of the variance) is fitted whole.
FITTED_WHOLE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualChecks:
    """Residuals of a model beside what they are looked at against; arrays of shape (n,).

    Parameters
    ----------
    fitted : array
        On each subject's own line, in the unit of the value.
    residual : array
        Conditional residual, in the SD that the model gives it: near a subject's own line, which
        bends towards its rows, that is less than the residual SD.
    expected : array
        The normal quantile of its rank.
    beyond_2, beyond_3 : float, 0 to 1
        Share of residuals beyond 2 and 3 SD; of normal ones 0.0455 and 0.0027.
    widens : float, -1 to 1
        Rank correlation of their size with the fitted value; near 0 where the spread is even.
    far, uneven : bool
        Whether more lie beyond 3 SD, or their size goes more with the level, than is to be
        overlooked and than chance makes of even normal ones.
    """

    fitted: Real
    residual: Real
    expected: Real
    beyond_2: float
    beyond_3: float
    widens: float
    far: bool
    uneven: bool


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
        In the unit of the value where there is no scatter at all.

    References
    ----------
    Conditional residuals of the model of [Laird1982].

    Examples
    --------
    >>> from casebook.statistics.growth.model import fit_growth
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> float(np.abs(residuals_of(fit_growth(table), table)).max()) < 3
    True
    """
    left = _left(fit, table)
    scatter = np.sqrt(fit.fit.residual_variance)
    return left / scatter if scatter > 0 else left


def standardised_residuals(fit: GrowthFit, table: GrowthTable) -> Real:
    """What is left of each row, in units of the SD that the model gives what is left of it.

    Parameters
    ----------
    fit : GrowthFit
    table : GrowthTable
        The one that was fitted.

    Returns
    -------
    array, shape (n,)
        0 for a row that its own subject's line, or the common one, is bound to run through; in
        the unit of the value where there is no scatter at all.

    References
    ----------
    Standardised conditional residuals [NobreSinger2007]: with V the covariance of the rows and R
    that of their errors, R (V^-1 - V^-1 X C X' V^-1) R is that of what is left.

    Examples
    --------
    >>> from casebook.statistics.growth.model import RandomPart, fit_growth
    >>> table = GrowthTable(  # without own lines: the studentised residuals of a regression
    ...     subject=np.arange(4), time=np.arange(4.0), value=np.array([0.0, 1.0, 2.0, 4.0])
    ... )
    >>> standardised_residuals(fit_growth(table, most=RandomPart.NONE), table).round(2)
    array([ 0.94, -0.31, -1.23,  1.41])
    """
    residual = residuals_of(fit, table)
    if fit.fit.residual_variance <= 0:
        return residual
    design, _ = fixed_part(table)
    factor = fit.fit.factor
    own = np.column_stack([np.ones(len(table.time)), table.time])[:, : len(factor)] @ factor
    # Sums of products by subject, as in the fit itself.
    q, p = own.shape[1], design.shape[1]
    inner = np.tile(np.eye(q), (fit.n_subjects, 1, 1))
    np.add.at(inner, table.subject, own[:, :, None] * own[:, None, :])
    across = np.zeros((fit.n_subjects, q, p))
    np.add.at(across, table.subject, own[:, :, None] * design[:, None, :])
    solved = np.linalg.inv(inner)
    taken = np.einsum("na,nab->nb", own, solved[table.subject])
    weighted = design - np.einsum("na,nap->np", taken, across[table.subject])
    relative = fit.fit.fixed_covariance / fit.fit.residual_variance
    share = 1.0 - np.sum(taken * own, axis=1)
    share = share - np.einsum("np,pr,nr->n", weighted, relative, weighted)
    free = share > FITTED_WHOLE
    return np.where(free, residual / np.sqrt(np.where(free, share, 1.0)), 0.0)


def residual_checks(fit: GrowthFit, table: GrowthTable) -> ResidualChecks:
    """What to look at before a model is believed.

    Parameters
    ----------
    fit : GrowthFit
    table : GrowthTable
        The one that was fitted.

    Returns
    -------
    ResidualChecks
        In the order of the rows.

    References
    ----------
    Conditional residuals of [Laird1982], standardised as in [NobreSinger2007]; normal quantiles
    at the ranks of [Blom1958]; the size of residuals with the level by Spearman's rank
    correlation, whose standard deviation by chance is 1 / sqrt(n - 1) [Kendall1970].

    Examples
    --------
    >>> from casebook.statistics.growth.model import fit_growth
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> residual_checks(fit_growth(table), table).expected.max().round(2)
    np.float64(1.64)
    """
    residual = standardised_residuals(fit, table)
    fitted = table.value - _left(fit, table)
    rank = np.empty(len(residual))
    rank[np.argsort(residual, kind="stable")] = np.arange(1.0, len(residual) + 1.0)
    expected: Real = ndtri((rank - 0.375) / (len(residual) + 0.25))
    size, count = np.abs(residual), len(residual)
    beyond = int(np.sum(size > 3))
    widens = _together(rankdata(size), rankdata(fitted))
    return ResidualChecks(
        fitted=fitted,
        residual=residual,
        expected=expected,
        beyond_2=float(np.mean(size > 2)),
        beyond_3=beyond / count,
        widens=widens,
        far=beyond > TOO_MANY_FAR * count
        and bool(binom.sf(beyond - 1, count, 2 * norm.sf(3.0)) < BY_CHANCE),
        uneven=abs(widens) > WIDENING
        and bool(2 * norm.sf(abs(widens) * np.sqrt(count - 1)) < BY_CHANCE),
    )


def _left(fit: GrowthFit, table: GrowthTable) -> Real:
    """What is left of each row, in the unit of the value."""
    design, _ = fixed_part(table)
    own = fit.own_lines[table.subject]
    line = own[:, 0] + own[:, 1] * table.time
    left: Real = table.value - design @ fit.fit.fixed - line
    return left


def _together(first: Real, second: Real) -> float:
    spread = float(first.std() * second.std())
    if spread == 0:
        return 0.0
    return float(np.mean((first - first.mean()) * (second - second.mean()))) / spread
