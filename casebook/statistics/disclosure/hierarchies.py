"""Ladders of ever coarser words for one quasi-identifier, and what each rung loses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from casebook.statistics.codes import Floats, Whole

WITHHELD: Final = "withheld"
NOT_RECORDED: Final = "not_recorded"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hierarchy:
    """A ladder: level 0 says what was recorded, each level after it says less.

    Parameters
    ----------
    name : str
        Of the quasi-identifier.
    codes : ndarray of int, shape (levels, values)
        `codes[l, v]` is what value `v` of level 0 is called at level `l`; `codes[0, v]` is `v`.
    words : tuple of tuple of str
        `words[l][c]` is the word of code `c` at level `l`.

    Raises
    ------
    ValueError
        Where level 0 is not the values themselves, a code has no word, or a level tells apart
        what the level before it had merged.
    """

    name: str
    codes: Whole
    words: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        codes = self.codes
        if codes.ndim != 2 or codes.size == 0 or len(self.words) != len(codes):
            raise ValueError(
                f"Ladder {self.name!r}: codes of shape {codes.shape} for {len(self.words)} lists "
                "of words; expected one row of codes for each list, and at least one value."
            )
        if not np.array_equal(codes[0], np.arange(codes.shape[1])):
            raise ValueError(
                f"Ladder {self.name!r}: level 0 must be the values themselves, 0, 1, 2 and so on."
            )
        for level, (row, words) in enumerate(zip(codes, self.words, strict=True)):
            if set(row.tolist()) != set(range(len(words))) or len(set(words)) != len(words):
                raise ValueError(
                    f"Ladder {self.name!r}, level {level}: expected one word for each code, all "
                    f"different; got {len(words)} words for {len(set(row.tolist()))} codes."
                )
        for level in range(1, len(codes)):
            pairs = set(zip(codes[level - 1].tolist(), codes[level].tolist(), strict=True))
            if len(pairs) != len(self.words[level - 1]):
                raise ValueError(
                    f"Ladder {self.name!r}: level {level} tells apart what level {level - 1} had "
                    "merged; every level must be coarser than the one before."
                )

    @property
    def levels(self) -> int:
        """Number of rungs, the recorded values being the first."""
        return len(self.codes)

    @property
    def values(self) -> int:
        """Number of values at level 0."""
        return int(self.codes.shape[1])


def ladder(name: str, levels: Sequence[Sequence[str]]) -> Hierarchy:
    """Ladder from its words: the codes are numbered in the order in which the words come.

    Parameters
    ----------
    name : str
        Of the quasi-identifier.
    levels : sequence of sequence of str, shape (levels, values)
        `levels[l][v]` is the word of value `v` at level `l`.

    Returns
    -------
    Hierarchy

    Raises
    ------
    ValueError
        For levels of different lengths, and for what `Hierarchy` refuses.

    References
    ----------
    [SweeneyAchieving2002]

    Examples
    --------
    >>> region = ladder("region", [["foot", "ankle", "knee"], ["low", "low", "high"]])
    >>> region.codes.tolist(), region.words[1]
    ([[0, 1, 2], [0, 0, 1]], ('low', 'high'))
    """
    if len({len(level) for level in levels}) != 1:
        raise ValueError(
            f"Ladder {name!r}: its levels have {[len(level) for level in levels]} words; expected "
            "one word for each value at every level."
        )
    words = tuple(tuple(dict.fromkeys(level)) for level in levels)
    places = [{word: code for code, word in enumerate(row)} for row in words]
    codes = np.array(
        [[place[word] for word in level] for place, level in zip(places, levels, strict=True)],
        dtype=np.int64,
    ).reshape(len(levels), -1)
    return Hierarchy(name=name, codes=codes, words=words)


def encode(hierarchy: Hierarchy, words: Sequence[str]) -> Whole:
    """Codes of recorded words at level 0.

    Parameters
    ----------
    hierarchy : Hierarchy
    words : sequence of str, shape (records,)

    Returns
    -------
    ndarray of int, shape (records,)

    Raises
    ------
    ValueError
        For a word that the ladder does not know, so that nothing slips through unnamed.

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> encode(ladder("side", [["left", "right"], ["a side", "a side"]]), ["right", "left"])
    array([1, 0])
    """
    places = {word: code for code, word in enumerate(hierarchy.words[0])}
    for word in words:
        if word not in places:
            raise ValueError(
                f"{hierarchy.name}: {word!r} is not on its ladder; expected one of "
                f"{', '.join(hierarchy.words[0])}."
            )
    return np.array([places[word] for word in words], dtype=np.int64)


def cell_losses(hierarchy: Hierarchy) -> Floats:
    """How much a cell loses at each level: the share of the other values it no longer excludes.

    Parameters
    ----------
    hierarchy : Hierarchy

    Returns
    -------
    ndarray of float, shape (levels, values), 0 to 1
        (values merged into the word - 1) / (all values - 1): 0 where the word still says what
        was recorded, 1 where it says nothing. All 0 for a ladder of a single value.

    References
    ----------
    [Iyengar2002], [Xu2006]

    Examples
    --------
    >>> cell_losses(ladder("region", [["foot", "ankle", "knee"], ["low", "low", "high"]]))
    array([[0. , 0. , 0. ],
           [0.5, 0.5, 0. ]])
    """
    others = max(hierarchy.values - 1, 1)
    return np.array([(np.bincount(row)[row] - 1) / others for row in hierarchy.codes])
