"""Every fit of a growth model before a second judge: the likelihood of statsmodels.

Its likelihood and gradient are evaluated at the solution, over all rows. It walks from group to
group, so some subjects are put into one group, each with random columns of its own: the covariance
of the rows stays the same, and the walk is shorter. Whatever turns the covariance of the random
effects is a sum of directions, each with a variance of its own, which statsmodels calls variance
components; their gradient is flat where, and only where, that of the covariance is.
"""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams, VCSpec

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.growth.reml import RemlFit

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# Subjects that share a group: the fewest seconds at 5,000 subjects of 6 rows.
TOGETHER = 8
# Largest slope of the log-likelihood by the relative size of a variance, a subject; and by a
# fixed effect, in its standard errors. Estimates then stand to more than three digits.
STEEPEST, STEEPEST_FIXED = 1e-4, 1e-3
# Largest difference between the two log-likelihoods, by their own size.
SAME = 1e-8
# How statsmodels searches: its own default, one way after the other.
SETTINGS: dict[str, Any] = {"method": ["bfgs", "lbfgs", "cg"]}


def checked_fit(
    subject: Whole,
    fixed: Real,
    random: Real,
    outcome: Real,
    fit: RemlFit,
    *,
    correlated: bool = True,
) -> tuple[RemlFit, FitCheck]:
    """A fit that statsmodels confirms, else statsmodels' own fit.

    Parameters
    ----------
    subject : array of int, shape (n,)
        0 to subjects - 1, in any order.
    fixed : array, shape (n, p)
    random : array, shape (n, q)
        q is 1 or 2.
    outcome : array, shape (n,)
    fit : RemlFit
        What is to be checked.
    correlated : bool
        Whether a subject's random effects may go together.

    Returns
    -------
    RemlFit
        The one given where it is confirmed; that of statsmodels where it is not; the one given
        where statsmodels finds none either.
    FitCheck

    References
    ----------
    The restricted likelihood of [LindstromBates1988], as statsmodels writes it.

    Examples
    --------
    >>> from casebook.statistics.growth.reml import fit_reml, products_of
    >>> ones = np.ones((4, 1))
    >>> who, value = np.array([0, 0, 1, 1]), np.array([1.0, 3.0, 7.0, 9.0])
    >>> fit = fit_reml(products_of(who, ones, ones, value))
    >>> checked_fit(who, ones, ones, value, fit)[1]
    <FitCheck.AGREES: 'agrees'>
    """
    if _confirmed(subject, fixed, random, outcome, fit, correlated=correlated):
        return fit, FitCheck.AGREES
    other = _other_fit(subject, fixed, random, outcome, correlated=correlated)
    return (fit, FitCheck.UNCONFIRMED) if other is None else (other, FitCheck.REFITTED)


def _confirmed(
    subject: Whole, fixed: Real, random: Real, outcome: Real, fit: RemlFit, *, correlated: bool
) -> bool:
    directions = _directions(fit.factor, correlated=correlated)
    order = np.argsort(subject, kind="stable")
    group, place = np.divmod(subject[order], TOGETHER)
    cuts = np.flatnonzero(np.diff(group)) + 1
    matrices = []
    for column in (random[order] @ directions).T:
        apart = np.zeros((len(order), TOGETHER))
        apart[np.arange(len(order)), place] = column
        matrices.append(np.split(apart, cuts))
    names = [str(number) for number in range(len(matrices))]
    columns = [[str(number) for number in range(TOGETHER)]] * (len(cuts) + 1)
    parts = VCSpec(names, [columns] * len(names), matrices)
    model = MixedLM(outcome[order], fixed[order], groups=group, exog_vc=parts)
    model.cov_pen = None  # what its own fit sets before it evaluates anything
    at = MixedLMParams.from_components(fe_params=fit.fixed, vcomp=np.ones(len(names)))
    with np.errstate(all="ignore"):
        value = model.loglike(at, profile_fe=False)
        by_fixed, _, by_variance = model.score_full(at, calc_fe=True)
    same = abs(value - fit.log_likelihood) <= SAME * (abs(value) + len(outcome))
    flat = np.abs(by_variance).max() <= STEEPEST * (1 + subject.max())
    # A comparison with what is no number is never true.
    return bool(same and flat and np.abs(by_fixed * fit.se).max() <= STEEPEST_FIXED)


def _directions(factor: Real, *, correlated: bool) -> Real:
    """Columns d with factor factor' the sum of d d', and with it every way it may turn."""
    if not correlated or len(factor) == 1:
        return factor
    # In a plane, three directions a third of a turn apart, each at 2/3, make up the identity, and
    # any symmetric matrix is a sum of them.
    turn = np.arange(3) * 2.0 * math.pi / 3.0
    directions: Real = math.sqrt(2.0 / 3.0) * (factor @ np.array([np.cos(turn), np.sin(turn)]))
    return directions


def _other_fit(
    subject: Whole, fixed: Real, random: Real, outcome: Real, *, correlated: bool
) -> RemlFit | None:
    p, q = fixed.shape[1], random.shape[1]
    free = MixedLMParams.from_components(
        fe_params=np.ones(p), cov_re=np.ones((q, q)) if correlated else np.eye(q)
    )
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")  # whether it settled is asked below
            found = MixedLM(outcome, fixed, groups=subject, exog_re=random).fit(
                reml=True, free=None if correlated else free, **SETTINGS
            )
            factor = np.linalg.cholesky(found.cov_re / found.scale)
            se = np.asarray(found.bse_fe)
    except (ValueError, np.linalg.LinAlgError):
        return None
    if not found.converged or not np.all(np.isfinite(se)):
        return None
    return RemlFit(
        fixed=np.asarray(found.fe_params),
        se=se,
        fixed_covariance=np.asarray(found.cov_params())[:p, :p],
        random_covariance=np.asarray(found.cov_re),
        residual_variance=float(found.scale),
        log_likelihood=float(found.llf),
        factor=factor,
        converged=True,
    )
