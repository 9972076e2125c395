"""Is a change larger than its error, and which way is it?

Arrays in, arrays of codes out (`casebook.statistics.codes`). A change is the latest value
minus the mean of the reference visits; `mdc` is the minimal detectable change of that pair.
Nothing here says why a runner changed.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from casebook.domain.metrics import Better
from casebook.domain.verdicts import Call, Reason
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Whole, code_of

IMPROVED, WORSENED, UNCHANGED, CANNOT_SAY = (code_of(call) for call in Call)
HIGHER, LOWER, RANGE = code_of(Better.HIGHER), code_of(Better.LOWER), code_of(Better.RANGE)
NO_DIRECTION = code_of(Reason.NO_BETTER_DIRECTION)
ONLY_WITHIN = code_of(Reason.ONLY_WITHIN_SESSION)


def reference_means(
    value: Floats, sem: Floats, group: Whole, group_count: int
) -> tuple[Floats, Floats, Whole]:
    """Mean of the reference visits of each group and the error of that mean.

    Parameters
    ----------
    value, sem : ndarray of float, shape (rows,)
        Level and SEM at each reference visit.
    group : ndarray of int, shape (rows,)
        Group (runner, metric, side) of each row.
    group_count : int

    Returns
    -------
    mean, sem : ndarray of float, shape (group_count,)
        NaN where there is no reference visit (for the SEM: or one without a SEM).
    visits : ndarray of int, shape (group_count,)

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> mean, sem, visits = reference_means(
    ...     np.array([4.0, 6.0]), np.array([3.0, 4.0]), np.array([0, 0]), 2)
    >>> mean, sem, visits
    (array([ 5., nan]), array([2.5, nan]), array([2, 0]))
    """
    visits = np.bincount(group, minlength=group_count)
    count = np.where(visits > 0, visits, np.nan)
    mean = np.bincount(group, weights=value, minlength=group_count) / count
    variance = np.bincount(group, weights=np.square(sem), minlength=group_count)
    return mean, np.sqrt(variance) / count, visits


def distance_to_range(value: Floats, low: Floats, high: Floats) -> Floats:
    """How far values lie outside a target range; 0 inside.

    Parameters
    ----------
    value, low, high : ndarray of float
        In the metric's unit.

    Returns
    -------
    ndarray of float, >= 0

    References
    ----------
    [Practice]

    Examples
    --------
    >>> distance_to_range(np.array([160.0, 175.0, 195.0]), np.array(170.0), np.array(190.0))
    array([10.,  0.,  5.])
    """
    return np.maximum(np.maximum(low - value, value - high), 0.0)


def loss_of(reference: Floats, latest: Floats, better: Codes, low: Floats, high: Floats) -> Floats:
    """Change counted positive in the worse direction.

    Parameters
    ----------
    reference, latest : ndarray of float, shape (rows,)
        In the metric's unit.
    better : ndarray of int8, shape (rows,)
        Codes of `Better`.
    low, high : ndarray of float, shape (rows,)
        Target range where a range is better.

    Returns
    -------
    ndarray of float
        With a range: by how much farther from it. Where neither way is better: NaN.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> nan = np.full(2, np.nan)
    >>> loss_of(np.zeros(2), np.array([3.0, 3.0]), np.array([0, 1], np.int8), nan, nan)
    array([-3.,  3.])
    """
    change = latest - reference
    farther = distance_to_range(latest, low, high) - distance_to_range(reference, low, high)
    return np.select(
        [better == HIGHER, better == LOWER, better == RANGE], [-change, change, farther], np.nan
    )


def call_side(
    reference: Floats, latest: Floats, mdc: Floats, better: Codes, low: Floats, high: Floats
) -> tuple[Codes, Codes]:
    """Verdict on a side's own value: changed beyond error, and the better way or not?

    Parameters
    ----------
    reference, latest, mdc : ndarray of float, shape (rows,)
        In the metric's unit.
    better : ndarray of int8, shape (rows,)
        Codes of `Better`.
    low, high : ndarray of float, shape (rows,)
        Target range where a range is better, NaN elsewhere.

    Returns
    -------
    call, reason : ndarray of int8, shape (rows,)
        A change not larger than the MDC is unchanged. With a range, a larger one is improved
        when its distance to the range shrank by more than the MDC too, and worsened when that
        grew by more. Cannot say (`no_better_direction`) where neither way is better, and where
        a move changed the distance to the range by less.

    References
    ----------
    [Jacobson1991], [Practice]

    Examples
    --------
    >>> call, _ = call_side(np.zeros(2), np.array([3.0, 1.0]), np.full(2, 2.8),
    ...     np.zeros(2, np.int8), np.full(2, np.nan), np.full(2, np.nan))
    >>> call
    array([0, 2], dtype=int8)
    """
    loss = loss_of(reference, latest, better, low, high)
    # A move that enters, leaves or leaps over a range changes the distance to it by less than
    # the value itself: it is the distance that must change beyond error.
    loss = np.where(np.abs(loss) <= mdc, 0.0, loss)
    moved = np.abs(latest - reference) > mdc
    call = np.select(
        [~moved, loss < 0, loss > 0], [UNCHANGED, IMPROVED, WORSENED], CANNOT_SAY
    ).astype(np.int8)
    reason = np.where(call == CANNOT_SAY, NO_DIRECTION, NOTHING).astype(np.int8)
    return call, reason


def settle(call: Codes, reason: Codes, gate: Codes, only_within: Flags) -> tuple[Codes, Codes]:
    """Withhold a verdict where something forbids it.

    Parameters
    ----------
    call, reason : ndarray of int8, shape (rows,)
        As the numbers alone would have it.
    gate : ndarray of int8, shape (rows,)
        Code of the `Reason` that forbids a verdict, -1 where none does.
    only_within : ndarray of bool, shape (rows,)
        True where the error is a lower bound from one session: then "unchanged" stands and
        anything else becomes cannot say.

    Returns
    -------
    call, reason : ndarray of int8, shape (rows,)

    References
    ----------
    [Practice]

    Examples
    --------
    >>> settle(np.array([0, 2], np.int8), np.full(2, -1, np.int8), np.full(2, -1, np.int8),
    ...     np.array([True, True]))
    (array([3, 2], dtype=int8), array([ 1, -1], dtype=int8))
    """
    unproven = only_within & (call != UNCHANGED)
    settled = np.where((gate != NOTHING) | unproven, CANNOT_SAY, call).astype(np.int8)
    why = np.where(gate != NOTHING, gate, np.where(unproven, ONLY_WITHIN, reason))
    return settled, why.astype(np.int8)


def p_gain(
    reference: Floats,
    latest: Floats,
    se: Floats,
    better: Codes,
    low: Floats,
    high: Floats,
    *,
    least: Floats | float = 0.0,
) -> Floats:
    """Probability that the true value changed for the better, by more than a least amount.

    Errors are normal and nothing is taken as known of the true change (flat prior).

    Parameters
    ----------
    reference, latest, se : ndarray of float, shape (rows,)
        Values and the standard error of their difference.
    better : ndarray of int8, shape (rows,)
        Codes of `Better`. An asymmetry is a range from 0 to 0.
    low, high : ndarray of float, shape (rows,)
        Target range where a range is better.
    least : ndarray of float or float, >= 0
        Such as the minimal important change; 0 for any change for the better.

    Returns
    -------
    ndarray of float, 0 to 1
        With a range: that the true value lies nearer to it than the reference did by more
        than `least`, all of the error being laid on the latest; 0 where the reference was not
        that far away. NaN where neither way is better, or the reference was inside the range
        already.

    References
    ----------
    [Gelman2013]

    Examples
    --------
    >>> nan = np.full(2, np.nan)
    >>> p_gain(np.zeros(2), np.array([1.96, 0.0]), np.ones(2), np.zeros(2, np.int8), nan, nan
    ...     ).round(3)
    array([0.975, 0.5  ])
    >>> p_gain(np.zeros(1), np.array([3.0]), np.ones(1), np.zeros(1, np.int8),
    ...     nan[:1], nan[:1], least=3.0)
    array([0.5])
    """
    known = np.where(se > 0, se, np.nan)
    away = distance_to_range(reference, low, high)
    # How far from the range the true value may lie at most.
    reach = away - least
    nearer = ndtr((high + reach - latest) / known) - ndtr((low - reach - latest) / known)
    gain = np.where(better == LOWER, reference - latest, latest - reference)
    return np.select(
        [(better == HIGHER) | (better == LOWER), (better == RANGE) & (away > 0)],
        [ndtr((gain - least) / known), np.where(reach > 0, nearer, 0.0)],
        np.nan,
    )
