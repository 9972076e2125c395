"""The common course that a growth model predicts, with its band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from casebook.statistics.growth.model import GrowthFit
from casebook.statistics.growth.table import GrowthTable, fixed_part

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedCourse:
    """The common course of one group with the 95 % band of its mean; arrays of shape (m,)."""

    group: str
    time: Real
    mean: Real
    low: Real
    high: Real


def predict_course(
    fit: GrowthFit, table: GrowthTable, time: Real, *, at: Mapping[str, float] | None = None
) -> tuple[PredictedCourse, ...]:
    """The common course of each group at some times, with the 95 % band of its mean.

    Parameters
    ----------
    fit : GrowthFit
    table : GrowthTable
        The one that was fitted.
    time : array, shape (m,)
    at : mapping of str to float or None
        Value of each covariate; 0 where none is given.

    Returns
    -------
    tuple of PredictedCourse
        One a group, or one alone.

    References
    ----------
    The fixed part of [Laird1982] with its covariance; the band by Student's t with the degrees of
    freedom between subjects [SchluchterElashoff1990].

    Examples
    --------
    >>> from casebook.statistics.growth.model import fit_growth
    >>> table = GrowthTable(
    ...     subject=np.repeat(np.arange(4), 3),
    ...     time=np.tile([0.0, 1.0, 2.0], 4),
    ...     value=np.array([1.0, 2.1, 3.0, 3.2, 4.0, 5.1, 6.0, 7.3, 8.0, 8.1, 9.0, 9.9]),
    ... )
    >>> (course,) = predict_course(fit_growth(table), table, np.array([0.0, 4.0]))
    >>> course.mean.round(2)
    array([4.6 , 8.45])
    """
    known = at or {}
    found = []
    for number, name in enumerate(table.groups or ("",)):
        design, _ = fixed_part(
            replace(
                table,
                subject=np.zeros(len(time), dtype=np.int64),
                time=time,
                value=np.zeros(len(time)),
                group=np.full(len(time), number) if table.groups else None,
                covariates=tuple(
                    replace(one, value=np.full(len(time), known.get(one.name, 0.0)))
                    for one in table.covariates
                ),
            )
        )
        mean = design @ fit.fit.fixed
        spread = np.sqrt(np.einsum("ij,jk,ik->i", design, fit.fit.fixed_covariance, design))
        wide = fit.wide * spread
        found.append(
            PredictedCourse(group=name, time=time, mean=mean, low=mean - wide, high=mean + wide)
        )
    return tuple(found)
