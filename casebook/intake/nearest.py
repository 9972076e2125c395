"""The known name that somebody probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(name: str, known: Iterable[str], *, most: int = 3) -> tuple[str, ...]:
    """Known names like the one given, nearest first.

    Parameters
    ----------
    name : str
        As given; compared without regard to case.
    known : iterable of str
    most : int
        Longest answer.

    Examples
    --------
    >>> nearest("knee_flexion_midstanse", ["knee_flexion_midstance", "cadence"])
    ('knee_flexion_midstance',)
    """
    by_fold = {candidate.casefold(): candidate for candidate in known}
    found = difflib.get_close_matches(name.casefold(), by_fold, n=most, cutoff=0.6)
    return tuple(by_fold[fold] for fold in found)


def hint(name: str, known: Iterable[str]) -> str:
    """A sentence with the nearest known names, or nothing.

    Examples
    --------
    >>> hint("cadense", ["cadence"])
    ' Did you mean cadence?'
    """
    found = nearest(name, known)
    return f" Did you mean {' or '.join(found)}?" if found else ""
