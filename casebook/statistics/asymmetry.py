"""Comparing the two sides: the forms, their errors, and where each has no meaning.

Signed right minus left throughout. Formulas on arrays never raise; where one has no meaning
the value is NaN and a code says why. `asymmetry_of` and `limb_symmetry_of` take two numbers
and raise with a sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike

from casebook.domain.errors import FormulaRefused
from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.codes import Codes, Flags, Floats

# Share of the larger size under which a mean counts as near zero: a percent of it would be
# more than twenty times the values themselves. Common practice, no source.
NEAR_ZERO_SHARE = 0.05


class Refused(IntEnum):
    """Why an asymmetry formula has no meaning for a pair of values; FINE where it has."""

    FINE = 0
    MEAN_NEAR_ZERO = 1
    OPPOSITE_SIGNS = 2
    NOT_POSITIVE = 3


WHY_REFUSED = {
    Refused.MEAN_NEAR_ZERO: "their mean is near zero, and a percent of it would mean nothing",
    Refused.OPPOSITE_SIGNS: "they have opposite signs, and a ratio of them means nothing",
    Refused.NOT_POSITIVE: "the formula is for positive values only",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asymmetry:
    """Asymmetries of pairs of values.

    Parameters
    ----------
    value : ndarray of float
        Signed right minus left, in the form's unit; NaN where refused.
    left_slope, right_slope : ndarray of float
        Change of `value` for a unit change of each side, for the delta method.
    refused : ndarray of int8
        `Refused` codes.
    """

    value: Floats
    left_slope: Floats
    right_slope: Floats
    refused: Codes


def difference(left: ArrayLike, right: ArrayLike) -> Asymmetry:
    """Right minus left, for anything that can cross zero, such as an angle.

    Parameters
    ----------
    left, right : array_like of float
        Values of each side, in the metric's unit.

    Returns
    -------
    Asymmetry
        In the metric's unit; never refused.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> difference([4.0, -2.0], [6.5, 1.0]).value
    array([2.5, 3. ])
    """
    low, high = _pair(left, right)
    one = np.ones_like(low)
    return Asymmetry(
        value=high - low,
        left_slope=-one,
        right_slope=one,
        refused=np.zeros(low.shape, dtype=np.int8),
    )


def symmetry_index(left: ArrayLike, right: ArrayLike, smallest_mean: ArrayLike = 0.0) -> Asymmetry:
    """Symmetry index: the difference in percent of the mean of both sides.

    Parameters
    ----------
    left, right : array_like of float
        Values of each side on a ratio scale, none negative.
    smallest_mean : array_like of float, >= 0
        A mean not larger than this counts as near zero (the metric's resolution).

    Returns
    -------
    Asymmetry
        100 * (right - left) / ((right + left) / 2), in percent, between -200 and 200. Refused
        for a mean near zero, opposite signs and negative values.

    References
    ----------
    [Robinson1987], [JCGM2008]

    Examples
    --------
    >>> symmetry_index([100.0, -5.0], [90.0, 5.0]).value.round(4)
    array([-10.5263,      nan])
    """
    low, high = _pair(left, right)
    total = high + low
    near_zero = np.abs(total) / 2 <= np.maximum(
        smallest_mean, NEAR_ZERO_SHARE * np.maximum(np.abs(low), np.abs(high))
    )
    refused = _first_refusal(near_zero, low * high < 0, (low < 0) | (high < 0))
    total = np.where(refused == Refused.FINE, total, np.nan)
    square = np.square(total)
    return Asymmetry(
        value=200.0 * (high - low) / total,
        left_slope=-400.0 * high / square,
        right_slope=400.0 * low / square,
        refused=refused,
    )


def log_ratio(left: ArrayLike, right: ArrayLike) -> Asymmetry:
    """One hundred times the natural logarithm of right over left.

    Additive twin of the symmetry index: near symmetry both are about equal.

    Parameters
    ----------
    left, right : array_like of float
        Values of each side on a ratio scale, both positive.

    Returns
    -------
    Asymmetry
        100 * ln(right / left), in log percent. Refused for opposite signs and values that
        are not positive.

    References
    ----------
    [Tornqvist1985], [JCGM2008]

    Examples
    --------
    >>> log_ratio([100.0, 0.0], [90.0, 5.0]).value.round(4)
    array([-10.5361,      nan])
    """
    low, high = _pair(left, right)
    refused = _first_refusal(
        np.zeros(low.shape, dtype=np.bool_), low * high < 0, (low <= 0) | (high <= 0)
    )
    fine = refused == Refused.FINE
    low, high = np.where(fine, low, np.nan), np.where(fine, high, np.nan)
    return Asymmetry(
        value=100.0 * (np.log(high) - np.log(low)),
        left_slope=-100.0 / low,
        right_slope=100.0 / high,
        refused=refused,
    )


def limb_symmetry(involved: ArrayLike, uninvolved: ArrayLike) -> tuple[Floats, Codes]:
    """Limb symmetry index: the involved side in percent of the uninvolved one.

    Parameters
    ----------
    involved, uninvolved : array_like of float
        Values of each side on a ratio scale.

    Returns
    -------
    value : ndarray of float
        100 * involved / uninvolved, in percent; NaN where refused.
    refused : ndarray of int8
        `Refused` codes: opposite signs, an uninvolved side that is not positive, a negative
        involved one.

    References
    ----------
    [Bishop2018]

    Examples
    --------
    >>> limb_symmetry([108.0, 5.0], [120.0, 0.0])
    (array([90., nan]), array([0, 3], dtype=int8))
    """
    one, other = _pair(involved, uninvolved)
    refused = _first_refusal(
        np.zeros(one.shape, dtype=np.bool_), one * other < 0, (other <= 0) | (one < 0)
    )
    return 100.0 * one / np.where(refused == Refused.FINE, other, np.nan), refused


def sem_of_asymmetry(
    asymmetry: Asymmetry,
    sem_left: ArrayLike,
    sem_right: ArrayLike,
    covariance: ArrayLike = 0.0,
) -> Floats:
    """SEM of an asymmetry from the SEM of each side, by the delta method.

    Parameters
    ----------
    asymmetry : Asymmetry
    sem_left, sem_right : array_like of float, >= 0
        SEM of each side's value, in the metric's unit.
    covariance : array_like of float
        Covariance of the two errors, in squared units; 0 where no study gives it.

    Returns
    -------
    ndarray of float
        In the unit of the asymmetry; NaN where the asymmetry was refused.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> float(sem_of_asymmetry(difference(10.0, 12.0), 3.0, 4.0))
    5.0
    """
    variance = (
        np.square(asymmetry.left_slope * np.asarray(sem_left))
        + np.square(asymmetry.right_slope * np.asarray(sem_right))
        + 2.0 * asymmetry.left_slope * asymmetry.right_slope * np.asarray(covariance)
    )
    return np.where(asymmetry.refused == Refused.FINE, np.sqrt(np.maximum(variance, 0.0)), np.nan)


def asymmetry_of(
    left: float, right: float, form: AsymmetryForm, *, smallest_mean: float = 0.0
) -> float:
    """Asymmetry of one pair of values.

    Parameters
    ----------
    left, right : float
        Values of each side, in the metric's unit.
    form : AsymmetryForm
    smallest_mean : float, >= 0
        For the percent form: a mean not larger than this counts as near zero.

    Returns
    -------
    float
        Signed right minus left, in the form's unit.

    Raises
    ------
    FormulaRefused
        Where the form has no meaning for these values, or is `NONE`.

    References
    ----------
    [Robinson1987], [Tornqvist1985]

    Examples
    --------
    >>> asymmetry_of(100.0, 90.0, AsymmetryForm.DIFFERENCE)
    -10.0
    """
    if form is AsymmetryForm.NONE:
        raise FormulaRefused("This metric has no asymmetry form; choose one in the catalogue.")
    found = _in_form(form, left, right, smallest_mean)
    why = Refused(int(found.refused))
    if why is not Refused.FINE:
        raise FormulaRefused(
            f"The asymmetry in the form '{form}' of left {left:g} and right {right:g} cannot be "
            f"told: {WHY_REFUSED[why]}. Use the difference."
        )
    return float(found.value)


def limb_symmetry_of(involved: float, uninvolved: float) -> float:
    """Limb symmetry index of one pair of values, in percent.

    Parameters
    ----------
    involved, uninvolved : float
        Values of each side, in the metric's unit.

    Returns
    -------
    float
        100 * involved / uninvolved.

    Raises
    ------
    FormulaRefused
        For opposite signs, an uninvolved side that is not positive, a negative involved one.

    References
    ----------
    [Bishop2018]

    Examples
    --------
    >>> limb_symmetry_of(108.0, 120.0)
    90.0
    """
    value, refused = limb_symmetry(involved, uninvolved)
    why = Refused(int(refused))
    if why is not Refused.FINE:
        raise FormulaRefused(
            f"The limb symmetry index of involved {involved:g} and uninvolved {uninvolved:g} "
            f"cannot be told: {WHY_REFUSED[why]}. Use the difference."
        )
    return float(value)


def _pair(left: ArrayLike, right: ArrayLike) -> tuple[Floats, Floats]:
    low, high = np.broadcast_arrays(np.asarray(left, dtype=float), np.asarray(right, dtype=float))
    return low, high


def _first_refusal(near_zero: Flags, opposite: Flags, not_positive: Flags) -> Codes:
    refused = np.where(not_positive, np.int8(Refused.NOT_POSITIVE), np.int8(Refused.FINE))
    refused = np.where(opposite, np.int8(Refused.OPPOSITE_SIGNS), refused)
    return np.where(near_zero, np.int8(Refused.MEAN_NEAR_ZERO), refused)


def _in_form(
    form: AsymmetryForm, left: ArrayLike, right: ArrayLike, smallest_mean: ArrayLike
) -> Asymmetry:
    if form is AsymmetryForm.PERCENT:
        return symmetry_index(left, right, smallest_mean)
    if form is AsymmetryForm.LOG_RATIO:
        return log_ratio(left, right)
    return difference(left, right)


def asymmetries(left: Floats, right: Floats, form: Codes, smallest_mean: Floats) -> Asymmetry:
    """Asymmetries of many pairs, each in its own form.

    Parameters
    ----------
    left, right : ndarray of float, shape (pairs,)
        Values of each side, each pair in its metric's unit.
    form : ndarray of int8, shape (pairs,)
        Position in `AsymmetryForm`; pairs of the form `NONE` come back as NaN.
    smallest_mean : ndarray of float, shape (pairs,)
        For the percent form: a mean not larger than this counts as near zero.

    Returns
    -------
    Asymmetry
        Each value in the unit of its form.

    References
    ----------
    [Robinson1987], [Tornqvist1985]

    Examples
    --------
    >>> pairs = np.array([100.0, 100.0]), np.array([90.0, 90.0])
    >>> asymmetries(*pairs, np.array([0, 1], dtype=np.int8), np.zeros(2)).value.round(4)
    array([-10.    , -10.5263])
    """
    value, left_slope, right_slope = (np.full(left.shape, np.nan) for _ in range(3))
    refused = np.zeros(left.shape, dtype=np.int8)
    for code, kind in enumerate(AsymmetryForm):
        rows = np.flatnonzero(form == code)
        if kind is AsymmetryForm.NONE or not rows.size:
            continue
        found = _in_form(kind, left[rows], right[rows], smallest_mean[rows])
        value[rows] = found.value
        left_slope[rows] = found.left_slope
        right_slope[rows] = found.right_slope
        refused[rows] = found.refused
    return Asymmetry(value=value, left_slope=left_slope, right_slope=right_slope, refused=refused)
