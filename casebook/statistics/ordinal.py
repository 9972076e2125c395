"""Grades that have an order but no distances: which way they lean, by the cumulative logit."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from statsmodels.miscmodels.ordinal_model import OrderedModel

from casebook.statistics.error import LEVEL, z_two_sided

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# A log odds ratio, a spread of the covariate, beyond which the grades are as good as told apart
# by it (odds of more than a million to one), or a standard error beyond which nothing is known of
# it. Common practice, no source.
SEPARATED, UNKNOWN = 14.0, 7.0
# Rows that are needed for each number that is estimated. Common practice, no source.
ROWS_EACH = 5
STEPS = 500


class NoFit(StrEnum):
    """Why grades cannot be fitted."""

    ONE_GRADE = "one_grade"
    TOO_FEW_ROWS = "too_few_rows"
    NOT_APART = "not_apart"
    SEPARATED = "separated"
    NOT_CONVERGED = "not_converged"


class OrdinalRefusedError(ValueError):
    """No fit can be given, and why."""

    def __init__(self, why: NoFit) -> None:
        super().__init__(why.value)
        self.why = why


@dataclass(frozen=True, slots=True, kw_only=True)
class OrdinalFit:
    """A fitted proportional odds model.

    Parameters
    ----------
    grades : array, shape (k,)
        The grades that occur, in order.
    thresholds : array, shape (k - 1,)
        Log odds of at most each grade but the last where every covariate is 0.
    log_odds, se, low, high : array, shape (p,)
        Log odds ratio of a higher grade for one more of each covariate, with its interval.
    log_likelihood : float
    n : int
    """

    grades: Real
    thresholds: Real
    log_odds: Real
    se: Real
    low: Real
    high: Real
    log_likelihood: float
    n: int


def fit_ordinal(grade: Real, covariates: Real, *, level: float = LEVEL) -> OrdinalFit:
    """Fit grades by a proportional odds (cumulative logit) model.

    Rows are taken as independent: give one a subject. The model says that a covariate moves the
    odds of a higher grade by the same factor wherever the line between lower and higher is drawn.

    Parameters
    ----------
    grade : array, shape (n,)
    covariates : array, shape (n, p)
        At least one column, without a constant.
    level : float, between 0 and 1

    Returns
    -------
    OrdinalFit

    Raises
    ------
    OrdinalRefusedError
        With the reason: one grade only, too few rows, covariates that cannot be told apart,
        grades that a covariate separates, or a fit that does not settle.

    References
    ----------
    [McCullagh1980]

    Examples
    --------
    >>> grade = np.repeat([0.0, 1.0, 0.0, 1.0], [30, 10, 15, 25])
    >>> group = np.repeat([0.0, 1.0], 40)[:, None]
    >>> found = fit_ordinal(grade, group)
    >>> round(float(found.log_odds[0]), 3)  # log((25 / 15) / (10 / 30)), with two grades
    1.609
    """
    grades, code = np.unique(grade, return_inverse=True)
    if len(grades) < 2:
        raise OrdinalRefusedError(NoFit.ONE_GRADE)
    n, p = covariates.shape
    if n < ROWS_EACH * (p + len(grades) - 1):
        raise OrdinalRefusedError(NoFit.TOO_FEW_ROWS)
    spread = covariates.std(axis=0)
    whole = np.column_stack([np.ones(n), covariates])
    if np.any(spread == 0) or np.linalg.matrix_rank(whole) < p + 1:
        raise OrdinalRefusedError(NoFit.NOT_APART)
    # In units of their spread, covariates are as easy to search whatever they are counted in.
    model = OrderedModel(code, covariates / spread, distr="logit")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it warns of is asked below
        found = model.fit(method="bfgs", maxiter=STEPS, disp=False)
    params, wide = np.asarray(found.params), np.asarray(found.bse)[:p]
    if np.any(np.abs(params[:p]) > SEPARATED) or np.any(wide > UNKNOWN):
        raise OrdinalRefusedError(NoFit.SEPARATED)
    if not found.mle_retvals["converged"] or not np.all(np.isfinite(wide)):
        raise OrdinalRefusedError(NoFit.NOT_CONVERGED)
    log_odds, se = params[:p] / spread, wide / spread
    reach = z_two_sided(level) * se
    return OrdinalFit(
        grades=grades,
        thresholds=np.asarray(model.transform_threshold_params(params))[1:-1],
        log_odds=log_odds,
        se=se,
        low=log_odds - reach,
        high=log_odds + reach,
        log_likelihood=float(found.llf),
        n=n,
    )


def grade_shares(fit: OrdinalFit, covariates: Real) -> Real:
    """Share of each grade that a fit predicts.

    Parameters
    ----------
    fit : OrdinalFit
    covariates : array, shape (m, p)

    Returns
    -------
    array, shape (m, k), 0 to 1
        Each row sums to 1.

    References
    ----------
    [McCullagh1980]

    Examples
    --------
    >>> grade = np.repeat([0.0, 1.0, 0.0, 1.0], [30, 10, 15, 25])
    >>> found = fit_ordinal(grade, np.repeat([0.0, 1.0], 40)[:, None])
    >>> grade_shares(found, np.array([[0.0], [1.0]])).round(3)
    array([[0.75 , 0.25 ],
           [0.375, 0.625]])
    """
    line = fit.thresholds[None, :] - (covariates @ fit.log_odds)[:, None]
    at_most = 1.0 / (1.0 + np.exp(-line))
    whole = np.column_stack([np.zeros(len(line)), at_most, np.ones(len(line))])
    shares: Real = np.diff(whole, axis=1)
    return shares
