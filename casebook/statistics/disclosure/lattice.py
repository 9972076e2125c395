"""The least coarse way to make records alike: the whole lattice of rungs is searched.

A node is one rung of each ladder, the same for all records. A coarser node merges classes and
never splits one, so a class that is large and diverse enough stays so: what a node withholds,
every finer node withholds, too. That gives a lower bound on the loss of the nodes not yet worked
out, and those whose bound exceeds the best loss found need not be. The node with the least bound
comes next, but nodes halfway between it and the top before it: each may rule out many at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from casebook.statistics.codes import Flags, Floats, Whole
from casebook.statistics.disclosure.classes import class_of_each, kinds_in_classes
from casebook.statistics.disclosure.generalised import (
    HIDDEN,
    WHYS,
    Demand,
    Fate,
    Generalised,
    Why,
    fate_of,
)
from casebook.statistics.disclosure.hierarchies import Hierarchy, cell_losses

LARGEST_LATTICE: Final = 20_000
# Classes are counted in a table up to this many places, and by hashing beyond.
_LARGEST_TABLE: Final = 100_000
# Losses closer than this are the same: sums of the same terms in another order.
_SAME: Final = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Problem:
    """The records, each distinct one once.

    Attributes
    ----------
    columns : tuple of ndarray of int, shape (levels, distinct)
        Of each ladder, the codes of the distinct records at every level.
    counts, sensitive : ndarray of int, shape (distinct,)
    distinct_of : ndarray of int, shape (records,)
        Which distinct one each record is.
    losses : tuple of ndarray of float, shape (levels, values)
    weights : tuple of float
        Of each ladder, their mean 1.
    """

    columns: tuple[Whole, ...]
    counts: Whole
    sensitive: Whole
    distinct_of: Whole
    hierarchies: tuple[Hierarchy, ...]
    losses: tuple[Floats, ...]
    weights: tuple[float, ...]
    demand: Demand

    def at(self, levels: Sequence[int]) -> Whole:
        """Codes of the distinct records at some levels."""
        return np.stack(
            [column[level] for column, level in zip(self.columns, levels, strict=True)], axis=1
        )

    def fate(self, levels: Sequence[int]) -> Fate:
        sizes = [
            len(hierarchy.words[level])
            for hierarchy, level in zip(self.hierarchies, levels, strict=True)
        ]
        if math.prod(sizes) > _LARGEST_TABLE:
            class_of = class_of_each(self.at(levels))[0]
        else:  # the numbers need not follow one another
            class_of = np.zeros(len(self.counts), dtype=np.int64)
            for column, level, size in zip(self.columns, levels, sizes, strict=True):
                class_of = class_of * size + column[level]
        return fate_of(class_of, self.counts, self.sensitive, self.demand)

    def saved(self, withheld: Flags) -> list[Floats]:
        """Of each ladder, per level: its cells' weighted loss when `withheld` ones count 1."""
        kept = np.where(withheld, 0.0, self.counts)
        hidden = float(self.counts[withheld].sum())
        return [
            weight
            * (hidden + losses @ np.bincount(column[0], weights=kept, minlength=losses.shape[1]))
            for weight, losses, column in zip(self.weights, self.losses, self.columns, strict=True)
        ]


def generalise(
    codes: Whole,
    hierarchies: Sequence[Hierarchy],
    *,
    k: int,
    sensitive: Whole | None = None,
    diversity: int = 1,
    weights: Sequence[float] | None = None,
) -> Generalised:
    """Make every published record look like at least k - 1 others, losing as little as possible.

    Parameters
    ----------
    codes : ndarray of int, shape (records, quasi-identifiers)
        At level 0 of each ladder.
    hierarchies : sequence of Hierarchy
        One for each quasi-identifier.
    k : int, >= 1
        Records of smaller classes are withheld (all their quasi-identifiers); withheld records
        that are fewer than k, or too alike, are left out.
    sensitive : ndarray of int, shape (records,), or None
        What nobody should learn by knowing who is in a class; below 0 where not recorded.
    diversity : int, >= 1
        Different sensitive values that every published class must hold.
    weights : sequence of float, > 0, or None
        How much the loss of each quasi-identifier counts; only their ratios matter. None for all
        alike.

    Returns
    -------
    Generalised
        With the smallest loss of all nodes of the lattice; among equal ones that which leaves
        out the fewest, then withholds the fewest records, then the first by its levels.

    Raises
    ------
    ValueError
        For codes that are not on the ladders, a diversity without sensitive values, weights that
        are not one above 0 for each ladder, or a lattice of more than `LARGEST_LATTICE` nodes.

    References
    ----------
    [Samarati2001], [SweeneyAchieving2002], [Machanavajjhala2007], [Iyengar2002], [Xu2006]

    Examples
    --------
    >>> from casebook.statistics.disclosure.hierarchies import ladder
    >>> region = ladder("region", [["foot", "ankle", "knee"], ["low", "low", "high"], ["any"] * 3])
    >>> found = generalise(np.array([[0], [1], [0], [1], [2], [2], [2]]), [region], k=3)
    >>> found.levels, found.words(0)[:2], found.k, round(found.loss, 3)
    ((1,), ['low', 'low'], 3, 0.286)
    """
    problem = _problem(codes, hierarchies, (k, diversity), sensitive, weights)
    shape = tuple(hierarchy.levels for hierarchy in problem.hierarchies)
    if math.prod(shape) > LARGEST_LATTICE:
        raise ValueError(
            f"The ladders allow {math.prod(shape)} combinations; expected at most "
            f"{LARGEST_LATTICE}: take fewer or shorter ladders."
        )
    levels, seen = _search(problem, shape)
    return replace(
        _worked_out(problem, levels, sensitive is not None), nodes_seen=seen, nodes=math.prod(shape)
    )


def generalised_at(
    codes: Whole,
    hierarchies: Sequence[Hierarchy],
    levels: Sequence[int],
    *,
    k: int,
    sensitive: Whole | None = None,
    diversity: int = 1,
    weights: Sequence[float] | None = None,
) -> Generalised:
    """The same at given rungs, such as those of an earlier export.

    Parameters
    ----------
    codes, hierarchies, k, sensitive, diversity, weights
        As for `generalise`.
    levels : sequence of int
        Rung of each ladder.

    Returns
    -------
    Generalised
        `nodes_seen` and `nodes` are 1.

    Raises
    ------
    ValueError
        As for `generalise`, and for a level that a ladder does not have.

    References
    ----------
    [SweeneyAchieving2002], [Machanavajjhala2007], [Iyengar2002]

    Examples
    --------
    >>> from casebook.statistics.disclosure.hierarchies import ladder
    >>> side = ladder("side", [["left", "right"], ["any", "any"]])
    >>> found = generalised_at(np.array([[0], [0], [0], [1], [1]]), [side], [0], k=3)
    >>> found.left_out.tolist(), found.k, found.loss
    ([False, False, False, True, True], 3, 0.4)
    """
    problem = _problem(codes, hierarchies, (k, diversity), sensitive, weights)
    ladders = problem.hierarchies
    if len(levels) != len(ladders) or not all(
        0 <= level < ladder.levels for level, ladder in zip(levels, ladders, strict=True)
    ):
        raise ValueError(
            f"Levels {tuple(levels)}; expected one for each ladder, below "
            f"{tuple(ladder.levels for ladder in ladders)}."
        )
    return _worked_out(problem, tuple(levels), sensitive is not None)


def _problem(
    codes: Whole,
    hierarchies: Sequence[Hierarchy],
    asked: tuple[int, int],
    sensitive: Whole | None,
    weights: Sequence[float] | None,
) -> _Problem:
    ladders = tuple(hierarchies)
    k, diversity = asked
    demand = Demand(k=k, diversity=diversity)
    if codes.ndim != 2 or codes.shape[1] != len(ladders) or not ladders:
        raise ValueError(
            f"Codes of shape {codes.shape}; expected a column for each of the {len(ladders)} "
            "ladders, and at least one."
        )
    if diversity > 1 and sensitive is None:
        raise ValueError(f"Diversity {diversity} asks for sensitive values, and none were given.")
    values = np.full(len(codes), -1) if sensitive is None else np.asarray(sensitive)
    if len(values) != len(codes):
        raise ValueError(f"{len(values)} sensitive values for {len(codes)} records.")
    for ladder, column in zip(ladders, codes.T, strict=True):
        if ((column < 0) | (column >= ladder.values)).any():
            raise ValueError(
                f"{ladder.name}: a code is not on its ladder; expected 0 to {ladder.values - 1}."
            )
    whole = np.column_stack([codes, values])
    distinct_of, counts = class_of_each(whole)
    first = np.zeros(len(counts), dtype=np.int64)
    first[distinct_of[::-1]] = np.arange(len(codes))[::-1]
    return _Problem(
        columns=tuple(
            ladder.codes[:, column[first]] for ladder, column in zip(ladders, codes.T, strict=True)
        ),
        counts=counts,
        sensitive=values[first],
        distinct_of=distinct_of,
        hierarchies=ladders,
        losses=tuple(cell_losses(ladder) for ladder in ladders),
        weights=_clean_weights(weights, len(ladders)),
        demand=demand,
    )


def _clean_weights(weights: Sequence[float] | None, ladders: int) -> tuple[float, ...]:
    """Weights whose mean is 1, so that the loss stays between 0 and 1."""
    given = np.ones(ladders) if weights is None else np.asarray(weights, dtype=np.float64)
    if given.shape != (ladders,) or not (np.isfinite(given) & (given > 0)).all():
        raise ValueError(
            f"Weights {given.tolist()}; expected a finite one above 0 for each of {ladders} "
            "ladders."
        )
    return tuple((given / given.mean()).tolist())


def _search(problem: _Problem, shape: tuple[int, ...]) -> tuple[tuple[int, ...], int]:
    """Levels of the best node, and how many were worked out."""
    nodes = np.indices(shape).reshape(len(shape), -1)
    cells = max(int(problem.counts.sum()), 1) * len(shape)
    bounds = _losses(problem.saved(np.zeros(len(problem.counts), dtype=np.bool_)), nodes, cells)
    done = np.zeros(shape, dtype=np.bool_)
    best: tuple[float, int, int, tuple[int, ...]] = (math.inf, 0, 0, ())
    while True:
        promising = int(np.argmin(bounds))
        if not bounds[promising] <= best[0] + _SAME:
            return best[3], int(done.sum())
        levels = _to_work_out(nodes[:, promising], done)
        done[levels] = True
        node = int(np.ravel_multi_index(levels, shape))
        fate = problem.fate(levels)
        saved = problem.saved(fate.withheld)
        loss = float(_losses(saved, nodes[:, [node]], cells)[0])
        hidden = int(problem.counts[fate.withheld].sum())
        this = (loss, hidden if fate.leave_out else 0, hidden, levels)
        if loss < best[0] - _SAME or (loss <= best[0] + _SAME and this[1:] < best[1:]):
            best = this
        finer = np.flatnonzero((nodes <= nodes[:, [node]]).all(axis=0) & np.isfinite(bounds))
        bounds[finer] = np.maximum(bounds[finer], _losses(saved, nodes[:, finer], cells))
        bounds[node] = math.inf


def _to_work_out(promising: Whole, done: Flags) -> tuple[int, ...]:
    """The promising node itself, or a coarser one halfway up that may rule out it and others."""
    above = np.array(done.shape) - 1
    while True:
        between = (promising + above + 1) // 2
        if (between == above).all():
            between = promising
        levels = tuple(between.tolist())
        if not done[levels]:
            return levels
        above = between


def _losses(saved: list[Floats], nodes: Whole, cells: int) -> Floats:
    """Mean loss of a cell at each node, from every ladder's loss at each level."""
    total = sum((of[level] for of, level in zip(saved, nodes, strict=True)), np.zeros(1))
    return np.asarray(total / cells, dtype=np.float64)


def _worked_out(problem: _Problem, levels: tuple[int, ...], told_sensitive: bool) -> Generalised:
    fate = problem.fate(levels)
    records = max(int(problem.counts.sum()), 1)
    loss_of = tuple(
        float(of[level]) / (records * weight)
        for of, level, weight in zip(
            problem.saved(fate.withheld), levels, problem.weights, strict=True
        )
    )
    hidden = fate.withheld[problem.distinct_of]
    left_out = hidden & fate.leave_out
    codes = np.where(hidden[:, None], HIDDEN, problem.at(levels)[problem.distinct_of])
    class_of, sizes = class_of_each(codes[~left_out])
    kinds = kinds_in_classes(
        class_of, len(sizes), problem.sensitive[problem.distinct_of][~left_out]
    )
    small = fate.small[problem.distinct_of]
    why = np.where(small, WHYS.index(Why.CLASS_TOO_SMALL), WHYS.index(Why.CLASS_TOO_ALIKE))
    return Generalised(
        hierarchies=problem.hierarchies,
        levels=levels,
        codes=codes,
        withheld=hidden & ~left_out,
        left_out=left_out,
        why=np.where(hidden, why, WHYS.index(Why.PUBLISHED)).astype(np.int8),
        k=int(sizes.min()) if len(sizes) else 0,
        diversity=(int(kinds.min()) if len(kinds) else 0) if told_sensitive else None,
        loss=float(np.average(loss_of, weights=problem.weights)),
        loss_of=loss_of,
        nodes_seen=1,
        nodes=1,
    )
