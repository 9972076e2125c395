"""Small whole-number codes that stand for the domain's words inside arrays.

A code is the position of the word in its enum; `NOTHING` (-1) stands for None. Conditions are
bits, so that several fit into one number.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from casebook.domain.metrics import Better, Condition, ErrorOrigin
from casebook.domain.verdicts import Call, FlagKind, Reason, SideMoved, What

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]
Masks = NDArray[np.uint8]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

NOTHING: Final = -1

WHATS: Final = tuple(What)
CALLS: Final = tuple(Call)
REASONS: Final = tuple(Reason)
MOVED: Final = tuple(SideMoved)
ORIGINS: Final = tuple(ErrorOrigin)
KINDS: Final = tuple(FlagKind)
BETTERS: Final = tuple(Better)
CONDITIONS: Final = tuple(Condition)


def code_of(member: StrEnum) -> int:
    """Code of a word: its position in its enum.

    Parameters
    ----------
    member : StrEnum

    Returns
    -------
    int

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> code_of(What.ASYMMETRY), code_of(Call.CANNOT_SAY)
    (3, 3)
    """
    return _places(type(member))[member]


@cache
def _places(words: type[StrEnum]) -> dict[StrEnum, int]:
    # Kept by enum: words of two enums may be the same text, and so the same key.
    return {member: place for place, member in enumerate(words)}


def mask_of(conditions: Iterable[Condition]) -> int:
    """Bit mask of some conditions: bit i is the i-th member of `Condition`.

    Parameters
    ----------
    conditions : iterable of Condition

    Returns
    -------
    int
        0 to 255.

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> mask_of([Condition.SPEED, Condition.PAIN])
    129
    """
    return sum(1 << code_of(condition) for condition in set(conditions))


def conditions_of(mask: int) -> tuple[Condition, ...]:
    """Conditions whose bits are set in a mask, in the order of the enum.

    Parameters
    ----------
    mask : int
        0 to 255.

    Returns
    -------
    tuple of Condition

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> [str(condition) for condition in conditions_of(129)]
    ['speed', 'pain']
    """
    return tuple(condition for bit, condition in enumerate(CONDITIONS) if mask >> bit & 1)
