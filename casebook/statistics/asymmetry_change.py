"""Did an asymmetry change beyond its error, and which side did it come from?

Arrays in, arrays of codes out. An asymmetry is signed right minus left and judged by its size,
with the folding at zero allowed for. Crossing over is told as such and never as an improvement.
"""

from __future__ import annotations

import numpy as np

from casebook.domain.verdicts import Reason, SideMoved
from casebook.statistics.change import (
    CANNOT_SAY,
    HIGHER,
    IMPROVED,
    LOWER,
    RANGE,
    UNCHANGED,
    WORSENED,
)
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, code_of
from casebook.statistics.error import z_two_sided

CROSSED = code_of(Reason.CROSSED_OVER)


def beyond_own_error(value: Floats, sem: Floats) -> Flags:
    """Is an asymmetry larger than its own error, so that its direction is known?

    Parameters
    ----------
    value, sem : ndarray of float
        Asymmetry and its SEM; an unknown SEM (NaN) gives False.

    Returns
    -------
    ndarray of bool
        abs(value) > z * sem at the 95 % level.

    References
    ----------
    [Weir2005]

    Examples
    --------
    >>> beyond_own_error(np.array([-4.0, 1.0]), np.array([2.0, 2.0]))
    array([ True, False])
    """
    return np.abs(value) > z_two_sided() * sem


def crossed_over(
    reference: Floats, latest: Floats, sem_reference: Floats, sem_latest: Floats
) -> Flags:
    """Did the larger side become the smaller one, both beyond their own error?

    Parameters
    ----------
    reference, latest, sem_reference, sem_latest : ndarray of float
        Asymmetries (signed right minus left) and their SEM.

    Returns
    -------
    ndarray of bool

    References
    ----------
    [Practice]

    Examples
    --------
    >>> crossed_over(np.array([8.0, 8.0]), np.array([-6.0, -1.0]), np.ones(2), np.ones(2))
    array([ True, False])
    """
    return (
        (reference * latest < 0)
        & beyond_own_error(reference, sem_reference)
        & beyond_own_error(latest, sem_latest)
    )


def call_asymmetry(
    reference: Floats, latest: Floats, sem_reference: Floats, sem_latest: Floats, mdc: Floats
) -> tuple[Codes, Codes]:
    """Verdict on an asymmetry: did its size change by more than the MDC?

    A size is folded at zero, so that error alone makes a small one look larger. Being larger
    than the reference both along the direction that it now has and after turning the
    reference over (R - L > reference and R - L > -reference) is the same as having grown in
    size, and asking both of the same MDC keeps the chance of a false call within that of one.

    Parameters
    ----------
    reference, latest, sem_reference, sem_latest, mdc : ndarray of float, shape (rows,)
        Asymmetries (signed right minus left), their SEM, and the MDC of the change.

    Returns
    -------
    call, reason : ndarray of int8, shape (rows,)
        Worsened: the size grew by more than the MDC. Improved: it shrank by more, and did
        not cross over. Cannot say (`crossed_over`): it crossed over without growing beyond
        the MDC, or it swung past zero by more than the MDC while its size stayed within it.

    References
    ----------
    [Jacobson1991], [Practice]

    Examples
    --------
    >>> call, _ = call_asymmetry(np.array([9.0, 9.0, 0.5, 1.7]), np.array([4.0, -7.0, -5.0, -1.8]),
    ...     np.ones(4), np.ones(4), np.full(4, 2.77))
    >>> call
    array([0, 3, 1, 3], dtype=int8)
    """
    grown = np.abs(latest) - np.abs(reference)
    crossed = crossed_over(reference, latest, sem_reference, sem_latest)
    swung = crossed | (np.abs(latest - reference) > mdc)
    call = np.select(
        [grown > mdc, (grown < -mdc) & ~crossed, swung],
        [WORSENED, IMPROVED, CANNOT_SAY],
        UNCHANGED,
    ).astype(np.int8)
    return call, np.where(call == CANNOT_SAY, CROSSED, NOTHING).astype(np.int8)


def worse_side(
    reference: Floats,
    directed: Flags,
    better: Codes,
    left_outside: Floats,
    right_outside: Floats,
) -> Codes:
    """Which side was the worse one at the reference.

    Parameters
    ----------
    reference : ndarray of float, shape (rows,)
        Asymmetry at the reference, signed right minus left.
    directed : ndarray of bool, shape (rows,)
        True where that asymmetry was beyond its own error.
    better : ndarray of int8, shape (rows,)
        Codes of `Better`.
    left_outside, right_outside : ndarray of float, shape (rows,)
        Distance of each side's reference to the target range; used where a range is better.

    Returns
    -------
    ndarray of int8, shape (rows,)
        1 right, -1 left, 0 where no side is known to be the worse.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> worse_side(np.array([5.0, 5.0]), np.array([True, True]), np.array([0, 1], np.int8),
    ...     np.zeros(2), np.zeros(2))
    array([-1,  1], dtype=int8)
    """
    sign = np.sign(reference)
    outside = np.sign(np.where(better == RANGE, right_outside - left_outside, 0.0))
    worse = np.select([better == HIGHER, better == LOWER], [-sign, sign], outside)
    return np.where(directed, worse, 0).astype(np.int8)


def which_side_moved(
    worse: Codes, left_call: Codes, right_call: Codes, left_known: Flags, right_known: Flags
) -> Codes:
    """Which side an asymmetry's change came from, each side against its own MDC.

    Parameters
    ----------
    worse : ndarray of int8, shape (rows,)
        As from `worse_side`.
    left_call, right_call : ndarray of int8, shape (rows,)
        Verdict on each side by `call_side`.
    left_known, right_known : ndarray of bool, shape (rows,)
        True where the error allows to say whether that side moved.

    Returns
    -------
    ndarray of int8, shape (rows,)
        Codes of `SideMoved`: neither, both (each beyond its MDC), worse side gained (and the
        better one did not move), better side fell (and the worse one did not move); -1 for
        every other way of moving, and where it cannot be told.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> which_side_moved(np.array([-1, -1], np.int8), np.array([0, 2], np.int8),
    ...     np.array([2, 1], np.int8), np.array([True] * 2), np.array([True] * 2))
    array([0, 1], dtype=int8)
    """
    left, right = left_call != UNCHANGED, right_call != UNCHANGED
    worse_call = np.where(worse > 0, right_call, left_call)
    better_call = np.where(worse > 0, left_call, right_call)
    told = left_known & right_known
    ranked = told & (worse != 0)
    return np.select(
        [
            told & left & right,
            told & ~left & ~right,
            ranked & (worse_call == IMPROVED),
            ranked & (better_call == WORSENED),
        ],
        [
            code_of(moved)
            for moved in (
                SideMoved.BOTH,
                SideMoved.NEITHER,
                SideMoved.WORSE_SIDE_GAINED,
                SideMoved.BETTER_SIDE_FELL,
            )
        ],
        NOTHING,
    ).astype(np.int8)
