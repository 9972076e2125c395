"""Tables of counts in which small ones are withheld, and others so that these stay withheld.

A single withheld count is given back by its row's total. So further counts are withheld until
nobody who subtracts can tell a withheld count to within less than a width. That is audited for
every withheld cell of the table as it is published. What is not audited: other tables of the same
people; and somebody who knows which of the withheld counts are the small ones knows more.

To be proof against what two publications tell as well, round first (`rounding`), build the
totals from the rounded counts, and withhold by those.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from casebook.statistics.codes import Codes, Flags, Floats, Whole
from casebook.statistics.disclosure.relations import Counts, also_withheld, bounds_of
from casebook.statistics.disclosure.rounding import MINIMUM


class Cell(StrEnum):
    """Whether a count is shown, or why not."""

    SHOWN = "shown"
    SMALL = "small"
    SECONDARY = "secondary"


CELLS: Final = tuple(Cell)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Protected:
    """Counts with their totals, and which may be shown.

    Attributes
    ----------
    counts : ndarray of int, shape (groups + 1,) or (rows + 1, columns + 1)
        The totals last. Not to be published as they are.
    shown : ndarray of bool, same shape
    why : ndarray of int8, same shape
        Position in `CELLS`.
    low, high : ndarray of float, same shape
        What can be worked out about each count from those that are shown; infinity where it is
        not bounded, the count itself where it is shown.
    """

    counts: Whole
    shown: Flags
    why: Codes
    low: Floats
    high: Floats

    @property
    def published(self) -> Floats:
        """The counts, NaN where withheld."""
        return np.where(self.shown, self.counts, np.nan)


def protect_groups(
    counts: ArrayLike,
    *,
    minimum: int = MINIMUM,
    width: int | None = None,
    zeros_shown: bool = True,
) -> Protected:
    """Counts of disjoint groups with their total.

    Parameters
    ----------
    counts : array_like of int, >= 0, shape (groups,)
        Groups that make up the whole, such as improved, unchanged and worsened.
    minimum : int, >= 1
        Smaller counts are withheld.
    width : int or None
        Largest less smallest value that every withheld count must keep open; the minimum where
        None.
    zeros_shown : bool
        Whether a count of 0 is shown; then everybody knows that a withheld one is at least 1.

    Returns
    -------
    Protected
        Shape (groups + 1,), the total last. Where a share or a complement is published, it must
        be computed from shown counts only.

    Raises
    ------
    ValueError
        For counts that are negative or not whole or none, or a minimum or width below 1.

    References
    ----------
    [Cox1980], [Hundepool2012], [FischettiSalazar2001]

    Examples
    --------
    >>> protect_groups([3, 20, 30], minimum=5).published
    array([nan, nan, 30., 53.])
    """
    groups = _clean(counts, 1)
    relations = np.append(np.ones(len(groups)), -1.0)[None, :]
    return _protect(
        np.append(groups, groups.sum()),
        relations,
        np.append(np.ones(len(groups), dtype=np.int64), len(groups)),
        (minimum, minimum if width is None else width),
        zeros_shown=zeros_shown,
    )


def protect_table(
    counts: ArrayLike,
    *,
    minimum: int = MINIMUM,
    width: int | None = None,
    zeros_shown: bool = True,
) -> Protected:
    """Table of counts with the totals of its rows and columns and of all.

    Parameters
    ----------
    counts : array_like of int, >= 0, shape (rows, columns)
    minimum, width, zeros_shown
        As for `protect_groups`.

    Returns
    -------
    Protected
        Shape (rows + 1, columns + 1), the totals last.

    Raises
    ------
    ValueError
        As for `protect_groups`.

    References
    ----------
    [Cox1980], [Hundepool2012], [FischettiSalazar2001]

    Examples
    --------
    >>> protect_table([[12, 3], [20, 15]], minimum=5).published
    array([[nan, nan, 15.],
           [nan, nan, 35.],
           [32., 18., 50.]])
    """
    inner = _clean(counts, 2)
    whole = np.vstack([inner, inner.sum(axis=0)])
    whole = np.column_stack([whole, whole.sum(axis=1)])
    rows, columns = whole.shape
    relations = np.zeros((rows + columns, rows, columns))
    for row in range(rows):
        relations[row, row, :-1] = 1.0
        relations[row, row, -1] = -1.0
    for column in range(columns):
        relations[rows + column, :-1, column] = 1.0
        relations[rows + column, -1, column] = -1.0
    parts = np.ones(whole.shape, dtype=np.int64)
    parts[-1, :] *= rows - 1
    parts[:, -1] *= columns - 1
    return _protect(
        whole,
        relations.reshape(rows + columns, -1),
        parts.ravel(),
        (minimum, minimum if width is None else width),
        zeros_shown=zeros_shown,
    )


def _clean(counts: ArrayLike, dimensions: int) -> Whole:
    given = np.asarray(counts)
    whole = given.astype(np.int64)
    if whole.ndim != dimensions or whole.size == 0 or (whole < 0).any() or (whole != given).any():
        raise ValueError(
            f"Counts {given.tolist()}; expected whole numbers from 0 in {dimensions} dimension(s)."
        )
    return whole


def _protect(
    whole: Whole, relations: Floats, parts: Whole, asked: tuple[int, int], *, zeros_shown: bool
) -> Protected:
    minimum, width = asked
    if minimum < 1 or width < 1:
        raise ValueError(f"Minimum {minimum} and width {width}; expected whole numbers from 1.")
    of = Counts(
        counts=whole.ravel(), relations=relations, parts=parts, least=1 if zeros_shown else 0
    )
    small = (of.counts < minimum) & ((of.counts > 0) | (not zeros_shown))
    shown = _fewer_withheld(_withheld_with(small, of, width), small, of, width)
    bounds = np.array([bounds_of(cell, shown, of) for cell in range(len(shown))])
    why = np.where(small, CELLS.index(Cell.SMALL), CELLS.index(Cell.SECONDARY))
    return Protected(
        counts=whole,
        shown=shown.reshape(whole.shape),
        why=np.where(shown, CELLS.index(Cell.SHOWN), why).astype(np.int8).reshape(whole.shape),
        low=bounds[:, 0].reshape(whole.shape),
        high=bounds[:, 1].reshape(whole.shape),
    )


def _withheld_with(small: Flags, of: Counts, width: int) -> Flags:
    """What can be shown once every withheld cell is protected, those withheld for it included."""
    shown = ~small
    asking = np.flatnonzero(small).tolist()
    while asking:
        cell = asking.pop(0)
        more = also_withheld(cell, shown, of, width)
        shown = shown & ~more
        asking.extend(np.flatnonzero(more).tolist())
    return shown


def _fewer_withheld(shown: Flags, small: Flags, of: Counts, width: int) -> Flags:
    """Show again what need not be withheld, totals and large counts first."""
    secondary = np.flatnonzero(~shown & ~small)
    for cell in sorted(secondary.tolist(), key=lambda at: (-of.parts[at], -of.counts[at], at)):
        tried = shown.copy()
        tried[cell] = True
        if all(_open(other, tried, of, width) for other in np.flatnonzero(~tried).tolist()):
            shown = tried
    return shown


def _open(cell: int, shown: Flags, of: Counts, width: int) -> bool:
    low, high = bounds_of(cell, shown, of)
    return high - low >= width
