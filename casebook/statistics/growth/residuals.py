"""What a growth model leaves over, to be looked at: is it even, is it normal?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import rankdata

from casebook.statistics.growth.model import GrowthFit
from casebook.statistics.growth.table import GrowthTable, fixed_part

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualChecks:
    """Residuals of a model beside what they are looked at against; arrays of shape (n,).

    Parameters
    ----------
    fitted : array
        On each subject's own line, in the unit of the value.
    residual : array
        Conditional residual, in residual SDs.
    expected : array
        The normal quantile of its rank.
    beyond_2, beyond_3 : float, 0 to 1
        Share of residuals beyond 2 and 3 SD; of normal ones 0.0455 and 0.0027.
    widens : float, -1 to 1
        Rank correlation of their size with the fitted value; near 0 where the spread is even.
    """

    fitted: Real
    residual: Real
    expected: Real
    beyond_2: float
    beyond_3: float
    widens: float


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
    design, _ = fixed_part(table)
    own = fit.own_lines[table.subject]
    line = own[:, 0] + own[:, 1] * table.time
    left: Real = table.value - design @ fit.fit.fixed - line
    scatter = np.sqrt(fit.fit.residual_variance)
    return left / scatter if scatter > 0 else left


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
    Conditional residuals of [Laird1982]; normal quantiles at the ranks of [Blom1958].

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
    residual = residuals_of(fit, table)
    fitted = table.value - residual * np.sqrt(fit.fit.residual_variance or 1.0)
    rank = np.empty(len(residual))
    rank[np.argsort(residual, kind="stable")] = np.arange(1.0, len(residual) + 1.0)
    expected: Real = ndtri((rank - 0.375) / (len(residual) + 0.25))
    size = np.abs(residual)
    return ResidualChecks(
        fitted=fitted,
        residual=residual,
        expected=expected,
        beyond_2=float(np.mean(size > 2)),
        beyond_3=float(np.mean(size > 3)),
        widens=_together(rankdata(size), rankdata(fitted)),
    )


def _together(first: Real, second: Real) -> float:
    spread = float(first.std() * second.std())
    if spread == 0:
        return 0.0
    return float(np.mean((first - first.mean()) * (second - second.mean()))) / spread
