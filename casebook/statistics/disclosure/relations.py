"""What somebody can work out about withheld counts from those that are shown.

Counts are bound by relations (the parts of a total less the total are 0), so those withheld can
be bounded by linear programming. For groups with a total and for a table with its margins, the
relations are those of a network, and the bounds are whole numbers by themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from casebook.statistics.codes import Flags, Floats, Whole

# Far below one person, far above what the solver leaves over.
_SLACK = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counts:
    """Counts with the relations that everybody knows to hold between them.

    Attributes
    ----------
    counts : ndarray of int, shape (cells,)
        Totals among them.
    relations : ndarray of float, shape (relations, cells)
        `relations @ counts` is 0.
    parts : ndarray of int, shape (cells,)
        How many cells a cell sums up; 1 for one that is no total.
    least : int
        What everybody knows of a withheld cell: 0, or 1 where cells of 0 are shown.
    """

    counts: Whole
    relations: Floats
    parts: Whole
    least: int


def bounds_of(cell: int, shown: Flags, of: Counts) -> tuple[float, float]:
    """Smallest and largest value that a cell can have, given all that is shown.

    Parameters
    ----------
    cell : int
        Position of the cell.
    shown : ndarray of bool, shape (cells,)
    of : Counts

    Returns
    -------
    low, high : float
        Whole numbers, or infinity where nothing bounds the cell from above.

    References
    ----------
    [FischettiSalazar2001]

    Examples
    --------
    >>> parts = Counts(counts=np.array([3, 20, 30, 53]), relations=np.array([[1.0, 1, 1, -1]]),
    ...                parts=np.array([1, 1, 1, 3]), least=1)
    >>> bounds_of(0, np.array([False, False, True, True]), parts)
    (1.0, 22.0)
    """
    if shown[cell]:
        return float(of.counts[cell]), float(of.counts[cell])
    wanted = np.zeros(len(of.counts))
    wanted[cell] = 1.0
    limits = [
        (count, count) if visible else (of.least, None)
        for count, visible in zip(of.counts.tolist(), shown.tolist(), strict=True)
    ]
    zeros = np.zeros(len(of.relations))
    low = linprog(wanted, A_eq=of.relations, b_eq=zeros, bounds=limits)
    high = linprog(-wanted, A_eq=of.relations, b_eq=zeros, bounds=limits)
    return (
        float(math.ceil(low.fun - _SLACK)),
        float(math.floor(-high.fun + _SLACK)) if high.status == 0 else math.inf,
    )


def also_withheld(cell: int, shown: Flags, of: Counts, width: int) -> Flags:
    """Cells to withhold so that a withheld cell can't be told to within less than a width.

    Parameters
    ----------
    cell : int
        A withheld one.
    shown : ndarray of bool, shape (cells,)
        Cells withheld already cost nothing.
    of : Counts
    width : int, >= 1

    Returns
    -------
    ndarray of bool, shape (cells,)
        The cheapest way found: two other tables are sought that agree with all that stays shown,
        one with a larger and one with a smaller cell, that change as little as possible, small
        counts before large ones and parts before totals.

    References
    ----------
    [FischettiSalazar2001], [Hundepool2012]

    Examples
    --------
    >>> parts = Counts(counts=np.array([3, 20, 30, 53]), relations=np.array([[1.0, 1, 1, -1]]),
    ...                parts=np.array([1, 1, 1, 3]), least=1)
    >>> also_withheld(0, np.array([False, True, True, True]), parts, 5)
    array([False,  True, False, False])
    """
    cells = len(of.counts)
    cost = np.where(shown, of.parts * (1.0 + of.counts / max(int(of.counts.max()), 1)), 0.0)
    # A cell of 0 that is shown on principle stays so.
    fixed = shown & (of.counts < of.least)
    falls = np.where(fixed, 0, np.maximum(of.counts - of.least, 0)).tolist()
    rises = [0 if stays else None for stays in fixed.tolist()]
    # For each of two tables: how much every cell rises, and how much it falls.
    limits = [(0, limit) for _ in range(2) for side in (rises, falls) for limit in side]
    change = np.hstack([of.relations, -of.relations])
    nothing = np.zeros_like(change)
    apart = np.zeros(4 * cells)
    apart[[cell, 3 * cells + cell]] = 1.0
    apart[[cells + cell, 2 * cells + cell]] = -1.0
    found = linprog(
        np.tile(cost, 4),
        A_eq=np.vstack([np.hstack([change, nothing]), np.hstack([nothing, change]), apart]),
        b_eq=[*np.zeros(2 * len(of.relations)), float(width)],
        bounds=limits,
    )
    moved: Flags = found.x.reshape(4, cells).max(axis=0) > _SLACK
    return moved & shown
