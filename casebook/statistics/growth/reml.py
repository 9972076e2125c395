"""Restricted maximum likelihood for straight lines of many subjects, from sums of products.

The model of Laird & Ware (1982, Biometrics 38:963-974): y_i = X_i b + Z_i u_i + e_i with
u_i ~ N(0, s2 L L') and e_i ~ N(0, s2 I). The fixed part and s2 are profiled out, and the
criterion is minimised over L alone (Bates et al. 2015, section 3). Of each
subject only the products Z'Z, Z'X and Z'y are needed, so that a step costs the same however
many rows a subject has, and all subjects are taken at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

# Largest slope of the criterion at its minimum, a subject and a unit of L; the estimates then
# stand to far more than three digits.
FLAT = 1e-5
STARTS = (1.0, 0.2)
# Differences of the criterion that count, and diagonals of L that are looked at again.
WORTH, SMALL, LEFT_AT = 1e-6, 1e-3, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """Sums of products of a data set.

    Parameters
    ----------
    zz : array, shape (subjects, q, q)
    zd : array, shape (subjects, q, p + 1)
        Z' times the fixed columns and, last, the outcome.
    dd : array, shape (p + 1, p + 1)
    n_rows : int
    """

    zz: Real
    zd: Real
    dd: Real
    n_rows: int

    @property
    def n_fixed(self) -> int:
        """Columns of the fixed part."""
        return len(self.dd) - 1

    @property
    def n_random(self) -> int:
        """Columns of the random part."""
        return int(self.zz.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class RemlFit:
    """A fitted model.

    Parameters
    ----------
    fixed, se : array, shape (p,)
        Estimates of the fixed part and their standard errors.
    fixed_covariance : array, shape (p, p)
    random_covariance : array, shape (q, q)
        Variances and covariance of the subjects' own intercepts and slopes.
    residual_variance : float
    log_likelihood : float
        Restricted log-likelihood, constants included.
    factor : array, shape (q, q)
        L, lower triangular: random_covariance = residual_variance L L'.
    converged : bool
        True where the criterion is flat in every direction that L may take.
    """

    fixed: Real
    se: Real
    fixed_covariance: Real
    random_covariance: Real
    residual_variance: float
    log_likelihood: float
    factor: Real
    converged: bool


def products_of(subject: Whole, fixed: Real, random: Real, outcome: Real) -> Products:
    """Sums of products, all that the fit needs of the rows.

    Parameters
    ----------
    subject : array of int, shape (n,)
        0 to subjects - 1, in any order.
    fixed : array, shape (n, p)
        Columns must be linearly independent.
    random : array, shape (n, q)
    outcome : array, shape (n,)

    Returns
    -------
    Products

    References
    ----------
    Sums of products of the mixed model [Laird1982].

    Examples
    --------
    >>> line = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 0.0]])
    >>> products_of(np.array([0, 0, 1]), line, line[:, :1], np.array([3.0, 5.0, 4.0])).zz.ravel()
    array([2., 1.])
    """
    order = np.argsort(subject, kind="stable")
    starts = np.flatnonzero(np.diff(subject[order], prepend=-1))
    design = np.column_stack([fixed, outcome])[order]
    own = random[order]
    return Products(
        zz=np.add.reduceat(own[:, :, None] * own[:, None, :], starts, axis=0),
        zd=np.add.reduceat(own[:, :, None] * design[:, None, :], starts, axis=0),
        dd=design.T @ design,
        n_rows=len(outcome),
    )


def fit_reml(given: Products, *, correlated: bool = True) -> RemlFit:
    """Fit by restricted maximum likelihood.

    Parameters
    ----------
    given : Products
        With n_random 0 this is ordinary least squares.
    correlated : bool
        Whether a subject's intercept and slope may go together; else their covariance is 0.

    Returns
    -------
    RemlFit

    References
    ----------
    The model of [Laird1982]; profiled as in [Bates2015].

    Examples
    --------
    >>> ones = np.ones((4, 1))
    >>> who, value = np.array([0, 0, 1, 1]), np.array([1.0, 3.0, 7.0, 9.0])
    >>> fit = fit_reml(products_of(who, ones, ones, value))
    >>> round(float(fit.fixed[0]), 6), round(fit.residual_variance, 4)
    (5.0, 2.0)
    >>> round(float(fit.random_covariance[0, 0]), 3)  # half the squared distance, less error
    17.0
    """
    q = given.n_random
    free = _free(q, correlated=correlated)
    if not len(free):
        return _told(given, np.zeros((q, q)), converged=True)
    # In units in which each random column has size 1, a step is as long in every direction
    # whatever the time is counted in.
    size = random_sizes(given)
    products = replace(
        given,
        zz=given.zz / (size[:, None] * size[None, :]),
        zd=given.zd / size[:, None],
    )
    best, theta = np.inf, np.zeros(len(free))
    diagonal = free[:, 0] == free[:, 1]
    # The sign of a column of L does not count, so that every L with a zero on its diagonal is
    # stationary, a minimum or not: each zero is left once before it is believed.
    starts = [np.where(diagonal, start, 0.0) for start in STARTS]
    while starts:
        with np.errstate(all="ignore"):  # without any scatter nothing is found, which is said
            value, found = _descended(starts.pop(0), products, free)
        if value < best - WORTH:
            best, theta = value, found
            small = diagonal & (np.abs(theta) < SMALL)
            if small.any():
                starts.append(np.where(small, LEFT_AT, theta))
    factor = _factor(theta, q, free) / size[:, None]
    with np.errstate(all="ignore"):
        return _told(given, factor, converged=_is_flat(theta, products, free))


def random_sizes(products: Products) -> Real:
    """Root mean square of each random column over the rows.

    Parameters
    ----------
    products : Products

    Returns
    -------
    array, shape (q,)
        1 for a column of zeros.

    References
    ----------
    A scaling of the random columns, which leaves the model of [Laird1982] as it is.

    Examples
    --------
    >>> zero = np.zeros((2, 1))
    >>> random_sizes(products_of(np.array([0, 1]), zero, np.array([[3.0], [3.0]]), zero[:, 0]))
    array([3.])
    """
    size: Real = np.sqrt(np.einsum("iaa->a", products.zz) / products.n_rows)
    return np.where(size > 0, size, 1.0)


def _descended(start: Real, products: Products, free: Whole) -> tuple[float, Real]:
    # By subject: the last digits of a sum over thousands are noise, in which no step is found.
    size = len(products.zz)

    def by_subject(theta: Real) -> tuple[float, Real]:
        value, slope = _criterion(theta, products, free)
        return value / size, slope / size

    found = optimize.minimize(
        by_subject,
        start,
        jac=True,
        method="L-BFGS-B",
        options={"gtol": FLAT / 10, "ftol": 1e-15, "maxiter": 200},
    )
    return float(found.fun) * size, found.x


def restricted_log_likelihood(products: Products, factor: Real) -> float:
    """The profiled restricted log-likelihood at a factor L.

    Parameters
    ----------
    products : Products
    factor : array, shape (q, q)

    Returns
    -------
    float
        Constants included.

    References
    ----------
    [Harville1977]; profiled as in [Bates2015].

    Examples
    --------
    >>> ones = np.ones((4, 1))
    >>> data = products_of(np.array([0, 0, 1, 1]), ones, ones, np.array([1.0, 3.0, 7.0, 9.0]))
    >>> fit = fit_reml(data)
    >>> restricted_log_likelihood(data, 2 * fit.factor) < fit.log_likelihood
    True
    """
    every = np.argwhere(np.ones_like(factor, dtype=bool))
    value = _criterion(factor[tuple(every.T)], products, every)[0]
    return float(-0.5 * (value + _constant(products)))


def own_effects(products: Products, fit: RemlFit) -> Real:
    """What each subject adds to the common line, best predicted (BLUP).

    Parameters
    ----------
    products : Products
    fit : RemlFit

    Returns
    -------
    array, shape (subjects, q)
        Drawn towards 0 the more, the less a subject's rows say.

    References
    ----------
    [Laird1982], equation 3.2 from memory.

    Examples
    --------
    >>> ones = np.ones((4, 1))
    >>> data = products_of(np.array([0, 0, 1, 1]), ones, ones, np.array([1.0, 3.0, 7.0, 9.0]))
    >>> own_effects(data, fit_reml(data)).ravel().round(2)
    array([-2.83,  2.83])
    """
    beta = np.append(-fit.fixed, 1.0)
    residual = products.zd @ beta
    half = np.swapaxes(fit.factor.T @ products.zz @ fit.factor, 1, 2)
    inner = np.linalg.inv(np.eye(products.n_random) + half)
    own: Real = np.einsum("ab,ibc,dc,id->ia", fit.factor, inner, fit.factor, residual)
    return own


def _free(q: int, *, correlated: bool) -> Whole:
    """Places of L that are sought: its lower triangle, or its diagonal only."""
    places = [(a, b) for a in range(q) for b in range(a + 1) if correlated or a == b]
    return np.array(places, dtype=np.int64).reshape(-1, 2)


def _factor(theta: Real, q: int, free: Whole) -> Real:
    factor = np.zeros((q, q))
    factor[free[:, 0], free[:, 1]] = theta
    return factor


def _constant(products: Products) -> float:
    left = products.n_rows - products.n_fixed
    return left * (1.0 + math.log(2.0 * math.pi / left))


def _criterion(theta: Real, products: Products, free: Whole) -> tuple[float, Real]:
    """Minus twice the profiled restricted log-likelihood without its constant, and its slope."""
    p, q = products.n_fixed, products.n_random
    factor = _factor(theta, q, free)
    scaled = products.zz @ factor  # A L
    inner = np.eye(q) + factor.T @ scaled  # M = I + L'AL
    inverse = np.linalg.inv(inner)
    turned = factor.T @ products.zd  # L'C
    solved = inverse @ turned  # U
    cross = products.dd - np.tensordot(turned, solved, axes=((0, 1), (0, 1)))
    xx = cross[:p, :p]
    xx_inverse = np.linalg.inv(xx)
    beta = xx_inverse @ cross[:p, p]
    rss = max(float(cross[p, p] - cross[p, :p] @ beta), np.finfo(float).tiny)
    left = products.n_rows - p
    value = (
        left * np.log(rss)
        + float(np.linalg.slogdet(xx)[1])
        + float(np.linalg.slogdet(inner)[1].sum())
    )
    # How each sum moves with each place (a, b) of L.
    moved = products.zd - scaled @ solved
    slopes = np.tensordot(moved, solved, axes=(0, 0)).swapaxes(1, 2)
    determinant = 2.0 * np.einsum("iac,icb->ab", scaled, inverse)
    contrast = np.append(-beta, 1.0)
    gradient = np.empty(len(theta))
    for place, (a, b) in enumerate(free.tolist()):
        change = -(slopes[a, b] + slopes[a, b].T)
        gradient[place] = (
            left * float(contrast @ change @ contrast) / rss
            + float(np.sum(xx_inverse * change[:p, :p]))
            + determinant[a, b]
        )
    return value, gradient


def _is_flat(theta: Real, products: Products, free: Whole) -> bool:
    """Whether the criterion leads lower in no direction."""
    _, slope = _criterion(theta, products, free)
    return bool(np.all(np.abs(slope) <= FLAT * len(products.zz)))


def _told(products: Products, factor: Real, *, converged: bool) -> RemlFit:
    p = products.n_fixed
    turned = factor.T @ products.zd
    inner = np.eye(products.n_random) + factor.T @ products.zz @ factor
    cross = products.dd - np.einsum("iac,iad->cd", turned, np.linalg.inv(inner) @ turned)
    xx_inverse = np.linalg.inv(cross[:p, :p])
    beta = xx_inverse @ cross[:p, p]
    # Without any scatter what is left is the rounding of a difference, of either sign.
    variance = max(float(cross[p, p] - cross[p, :p] @ beta), 0.0) / (products.n_rows - p)
    return RemlFit(
        fixed=beta,
        se=np.sqrt(variance * np.diag(xx_inverse)),
        fixed_covariance=variance * xx_inverse,
        random_covariance=variance * factor @ factor.T,
        residual_variance=variance,
        log_likelihood=restricted_log_likelihood(products, factor),
        factor=factor,
        converged=converged,
    )
