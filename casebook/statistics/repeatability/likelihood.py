"""Variance components of crossed or nested random effects by restricted maximum likelihood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.optimize import minimize
from scipy.sparse import csr_array, hstack

from casebook.statistics.codes import Floats, Whole

STARTS = (1.0, 0.05, 20.0)
LARGEST_RATIO = 1e10


@dataclass(frozen=True, slots=True, kw_only=True)
class RemlFit:
    """Variances of each random factor and of the residual, at the best likelihood found.

    Parameters
    ----------
    variances : tuple of float
        In the order of the factors; none below zero.
    residual : float
    mean : float
        Generalised least-squares estimate of the one fixed effect.
    criterion : float
        Minus twice the restricted log-likelihood.
    """

    variances: tuple[float, ...]
    residual: float
    mean: float
    criterion: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sums:
    """Sums of products that the likelihood needs, and which factor each random effect is of."""

    zz: Floats
    z1: Floats
    zy: Floats
    n: int
    y1: float
    yy: float
    factor: Whole
    factors: int


def fit_reml(value: Floats, factors: Sequence[Whole]) -> RemlFit:
    """Fit y = mean + one random effect a factor + residual.

    Parameters
    ----------
    value : ndarray of float, shape (rows,)
        Not all equal.
    factors : sequence of ndarray of int, shape (rows,) each
        Level of each row, from 0.

    Returns
    -------
    RemlFit

    References
    ----------
    [Patterson1971]

    Examples
    --------
    >>> fit = fit_reml(np.array([1.0, 2.0, 4.0, 5.0, 9.0, 8.0]), [np.array([0, 0, 1, 1, 2, 2])])
    >>> round(fit.residual, 6), round(fit.variances[0], 6)
    (0.5, 12.083333)
    """
    centre, spread = float(value.mean()), float(value.std())
    sums = _sums((value - centre) / spread, factors)
    fits = [
        minimize(
            _criterion,
            np.full(len(factors), start),
            args=(sums,),
            jac=True,
            method="L-BFGS-B",
            bounds=[(0.0, LARGEST_RATIO)] * len(factors),
            options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
        )
        for start in STARTS
    ]
    best = min(fits, key=lambda fit: float(fit.fun))
    ratios = np.asarray(best.x, dtype=float)
    _, residual, mean, *_ = _solve(ratios, sums)
    squared = spread**2
    return RemlFit(
        variances=tuple(float(ratio * residual * squared) for ratio in ratios),
        residual=float(residual * squared),
        mean=centre + spread * mean,
        criterion=float(best.fun) + (sums.n - 1) * float(np.log(squared)),
    )


def _sums(value: Floats, factors: Sequence[Whole]) -> _Sums:
    rows = np.arange(value.size)
    blocks = [
        csr_array((np.ones(value.size), (rows, levels)), shape=(value.size, int(levels.max()) + 1))
        for levels in factors
    ]
    z = hstack(blocks, format="csr")
    return _Sums(
        zz=np.asarray((z.T @ z).toarray(), dtype=float),
        z1=np.asarray(z.sum(axis=0), dtype=float).ravel(),
        zy=np.asarray(z.T @ value, dtype=float),
        n=int(value.size),
        y1=float(value.sum()),
        yy=float(value @ value),
        factor=np.repeat(np.arange(len(blocks)), [block.shape[1] for block in blocks]),
        factors=len(blocks),
    )


def _solve(ratios: Floats, sums: _Sums) -> tuple[float, float, float, Floats, Floats, float]:
    """Criterion, residual variance and mean (profiled), and what the gradient needs."""
    root = np.sqrt(ratios)[sums.factor]
    lower = cholesky(root[:, None] * sums.zz * root + np.eye(root.size), lower=True)
    # V^-1 = I - Z W Z' with W = root (lower lower')^-1 root, V being that of a unit residual.
    half_y = solve_triangular(lower, root * sums.zy, lower=True)
    half_1 = solve_triangular(lower, root * sums.z1, lower=True)
    one_v_one = sums.n - float(half_1 @ half_1)
    mean = (sums.y1 - float(half_1 @ half_y)) / one_v_one
    rest = sums.yy - float(half_y @ half_y) - mean**2 * one_v_one
    residual = max(rest, 1e-300) / (sums.n - 1)
    criterion = (
        2.0 * float(np.log(np.diag(lower)).sum())
        + float(np.log(one_v_one))
        + (sums.n - 1) * (1.0 + float(np.log(2.0 * np.pi * residual)))
    )
    return criterion, residual, mean, lower, root, one_v_one


def _criterion(ratios: Floats, sums: _Sums) -> tuple[float, Floats]:
    """Minus twice the restricted log-likelihood and its slope in each variance ratio."""
    criterion, residual, mean, lower, root, one_v_one = _solve(ratios, sums)

    def through(part: Floats) -> Floats:
        """Z' V^-1 applied to what Z' was applied to in `part`."""
        scaled = root[:, None] * cho_solve((lower, True), root[:, None] * part)
        return np.asarray(part - sums.zz @ scaled, dtype=float)

    z_v_z = through(sums.zz)
    z_v_1, z_v_y = through(np.column_stack([sums.z1, sums.zy])).T
    traces = np.diag(z_v_z) - z_v_1**2 / one_v_one
    squares = (z_v_y - mean * z_v_1) ** 2
    slope = np.bincount(sums.factor, weights=traces - squares / residual, minlength=sums.factors)
    return criterion, np.asarray(slope, dtype=float)
