"""Which groups of a divided whole are not shown, so that none of the small ones can be worked out.

This is about sizes of groups that are described beside the whole that they divide. What is told
of the withheld ones together is the whole less what is shown, so they must be enough together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Withheld:
    """Which groups are not shown.

    Parameters
    ----------
    groups : tuple of bool
    whole_may_be_shown : bool
        False where the groups that could be withheld are not enough: with the whole beside the
        others, a small one could be worked out.
    """

    groups: tuple[bool, ...]
    whole_may_be_shown: bool

    @property
    def beside_the_whole(self) -> tuple[bool, ...]:
        """Which are not shown where the whole is: all, where they can't hide behind one another."""
        return self.groups if self.whole_may_be_shown else (True,) * len(self.groups)


def withheld_groups(
    sizes: Sequence[int],
    least: int,
    *,
    forced: Sequence[bool] = (),
    kept: Sequence[bool] = (),
) -> Withheld:
    """Withhold small groups, and as few others as it takes that none can be worked out.

    Parameters
    ----------
    sizes : sequence of int, >= 0
        Of the groups that divide the whole.
    least : int, >= 2
        Groups of 1 to below this are withheld; that a group is empty is told.
    forced : sequence of bool
        Groups that are withheld for another reason; none by default.
    kept : sequence of bool
        Groups that are not withheld for others' sake; none by default.

    Returns
    -------
    Withheld
        So many together that the size of each stays open by at least `least`, and what is
        known of all withheld ones is known of no fewer; the smallest shown ones are taken in
        addition. Where that can't be reached only what must be is withheld, and the whole may
        not be shown.

    References
    ----------
    [Hundepool2012]

    Examples
    --------
    >>> withheld_groups([3, 12, 20], 5)
    Withheld(groups=(True, True, False), whole_may_be_shown=True)
    >>> withheld_groups([3, 12], 5, kept=[False, True])
    Withheld(groups=(True, False), whole_may_be_shown=False)
    """
    must = [
        0 < size < least or other
        for size, other in zip(sizes, forced or [False] * len(sizes), strict=True)
    ]
    if not any(must):
        return Withheld(groups=tuple(must), whole_may_be_shown=True)
    taken = list(must)
    spare = sorted(
        (size, at)
        for at, (size, keep) in enumerate(zip(sizes, kept or [False] * len(sizes), strict=True))
        if size > 0 and not must[at] and not keep
    )
    for _, at in [(0, -1), *spare]:
        if at >= 0:
            taken[at] = True
        together = sum(size for size, hidden in zip(sizes, taken, strict=True) if hidden)
        # Each may be anything from 1 to what the others leave, being at least 1 themselves.
        if sum(taken) > 1 and together - sum(taken) >= least:
            return Withheld(groups=tuple(taken), whole_may_be_shown=True)
    return Withheld(groups=tuple(must), whole_may_be_shown=False)
