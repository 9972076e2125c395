"""What comes out of generalising and withholding, and the rule by which records are withheld."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from casebook.statistics.codes import Codes, Flags, Whole
from casebook.statistics.disclosure.classes import kinds_in_classes, kinds_of
from casebook.statistics.disclosure.hierarchies import WITHHELD, Hierarchy

# The code of a cell whose value is withheld with its record's other quasi-identifiers.
HIDDEN: Final = -1


class Why(StrEnum):
    """Why a record's quasi-identifiers are withheld, or are not."""

    PUBLISHED = "published"
    CLASS_TOO_SMALL = "class_too_small"
    CLASS_TOO_ALIKE = "class_too_alike"


WHYS: Final = tuple(Why)


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What every class of the published records must reach.

    Parameters
    ----------
    k : int, >= 1
        Records that look alike.
    diversity : int, >= 1
        Different sensitive values among them; 1 asks for nothing (distinct l-diversity).
    """

    k: int
    diversity: int = 1

    def __post_init__(self) -> None:
        if self.k < 1 or self.diversity < 1:
            raise ValueError(
                f"k {self.k} and diversity {self.diversity}; expected whole numbers from 1."
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Generalised:
    """Records made alike, with what that cost.

    Attributes
    ----------
    hierarchies : tuple of Hierarchy
    levels : tuple of int
        Chosen rung of each ladder; the same for all records.
    codes : ndarray of int, shape (records, quasi-identifiers)
        At the chosen level; `HIDDEN` (-1) in every cell of a record that is withheld or left out.
    withheld : ndarray of bool, shape (records,)
        All quasi-identifiers are withheld, the rest of the record stays. Those records look
        alike and are a class of their own that meets the demand, too.
    left_out : ndarray of bool, shape (records,)
        Must not be published at all: the records to withhold were too few or too alike to be a
        class among themselves, so that each would be known for one of them.
    why : ndarray of int8, shape (records,)
        Position in `WHYS`: why the record is withheld or left out.
    k : int
        Records in the smallest published class; 0 where nothing can be published.
    diversity : int or None
        Different sensitive values in the least diverse published class; None where no sensitive
        values were given, 0 where nothing can be published.
    loss : float, 0 to 1
        Mean over all cells, weighted as was asked; a cell of a withheld or left-out record
        counts 1.
    loss_of : tuple of float
        Of each quasi-identifier; `loss` is their weighted mean.
    nodes_seen, nodes : int
        Combinations of rungs that were worked out, and that there are. The others can lose no
        less, by a bound.
    """

    hierarchies: tuple[Hierarchy, ...]
    levels: tuple[int, ...]
    codes: Whole
    withheld: Flags
    left_out: Flags
    why: Codes
    k: int
    diversity: int | None
    loss: float
    loss_of: tuple[float, ...]
    nodes_seen: int
    nodes: int

    @property
    def changed(self) -> Flags:
        """Whether any cell of a record says less than was recorded; shape (records,)."""
        changed = self.withheld | self.left_out
        for place, (hierarchy, level) in enumerate(zip(self.hierarchies, self.levels, strict=True)):
            members = np.bincount(hierarchy.codes[level])
            changed = changed | (members[self.codes[:, place]] > 1)
        return changed

    def words(self, place: int) -> list[str]:
        """Words of the quasi-identifier at `place` for each record; "withheld" where hidden."""
        words = self.hierarchies[place].words[self.levels[place]]
        return [WITHHELD if code == HIDDEN else words[code] for code in self.codes[:, place]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fate:
    """What a choice of rungs means for distinct records that occur several times.

    Attributes
    ----------
    withheld : ndarray of bool, shape (distinct records,)
        Withheld or left out.
    small : ndarray of bool, shape (distinct records,)
        Because the class is too small; the other withheld ones are too alike.
    leave_out : bool
        Whether those withheld must be left out.
    """

    withheld: Flags
    small: Flags
    leave_out: bool


def fate_of(class_of: Whole, counts: Whole, sensitive: Whole, demand: Demand) -> Fate:
    """Which records must be withheld, and whether what is withheld may be published like that.

    Parameters
    ----------
    class_of : ndarray of int, shape (distinct records,)
        Class of each, from 0, after generalisation.
    counts : ndarray of int, shape (distinct records,), >= 1
        How often each occurs.
    sensitive : ndarray of int, shape (distinct records,)
        Below 0 where not recorded.
    demand : Demand

    Returns
    -------
    Fate
        A class that is too small and too alike counts as too small.

    References
    ----------
    [SweeneyAchieving2002], [Machanavajjhala2007]

    Examples
    --------
    >>> found = fate_of(np.array([0, 1]), np.array([5, 2]), np.array([0, 0]), Demand(k=3))
    >>> found.withheld, found.leave_out
    (array([False,  True]), True)
    """
    sizes = np.bincount(class_of, weights=counts)
    # A number without a record is no class, and fails nothing.
    small = (sizes < demand.k) & (sizes > 0)
    alike = np.zeros(len(sizes), dtype=np.bool_)
    if demand.diversity > 1:
        alike = ~small & (kinds_in_classes(class_of, len(sizes), sensitive) < demand.diversity)
    withheld = (small | alike)[class_of]
    own_size = int(counts[withheld].sum())
    return Fate(
        withheld=withheld,
        small=small[class_of],
        leave_out=0 < own_size < demand.k
        or (own_size > 0 and kinds_of(sensitive[withheld]) < demand.diversity > 1),
    )
