"""What a reader of a repeatability study must be told, in words."""

from __future__ import annotations

import math
from collections.abc import Iterable

from casebook.statistics.repeatability.cells import CellTable, groups_connected
from casebook.statistics.repeatability.results import (
    BlandAltman,
    Components,
    GrowingError,
    Interval,
    Method,
    Nested,
)

# From here on an SEM's interval reaches less than about a third above the estimate: common
# practice, no source.
ENOUGH_FREEDOM = 30
TWO = 2


def warnings_about_design(
    table: CellTable, *, sessions: int, raters: int, trials_known: bool
) -> list[str]:
    """What the design of the study cannot tell.

    Parameters
    ----------
    table : CellTable
    sessions, raters : int
        How many of each.
    trials_known : bool
        Whether any session has several single trials.

    Returns
    -------
    list of str

    References
    ----------
    None: words.

    Examples
    --------
    >>> import numpy as np
    >>> one = np.ones((3, 1))
    >>> table = CellTable(mean=one, trials=one.astype(int), occasions=("1",),
    ...     row=np.arange(3), column=np.zeros(3, int))
    >>> len(warnings_about_design(table, sessions=1, raters=1, trials_known=False))
    1
    """
    found = []
    subjects, occasions = table.mean.shape
    if occasions < TWO:
        found.append(
            "Only one session: how far two sessions lie apart cannot be told, so there is no ICC, "
            "no SEM between sessions and no minimal detectable change. "
            + (
                "What is shown is the error of trials within the session, a lower bound."
                if trials_known
                else "Measure the same runners on a second day."
            )
        )
    elif sessions < TWO <= raters:
        found.append(
            "All of one session: the numbers are about raters (or readings of one recording), "
            "and leave out what another day adds."
        )
    if subjects < TWO:
        found.append(
            "Only one subject: whether others are measured as well cannot be told, and there is "
            "no ICC."
        )
    held = table.held
    if held.size and occasions >= TWO and groups_connected(held) > 1:
        found.append(
            "Some subjects share no session with the others, so that what sessions and subjects "
            "add cannot be told apart well. Are the sessions named alike for all (1, 2, ...)?"
        )
    return found


def warning_of_width(
    sem: Interval, freedom: float, subjects: int, *, counted: str = "subjects"
) -> list[str]:
    """A warning where there are too few subjects for a narrow interval.

    Parameters
    ----------
    sem : Interval
    freedom : float
        Degrees of freedom of the SEM.
    subjects : int
    counted : str
        What is counted as a subject.

    Returns
    -------
    list of str
        Empty with enough.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> warning_of_width(Interval(estimate=2.0, low=1.3, high=4.0), 7, 8)[0][:43]
    'Few subjects (8): the interval of the SEM r'
    """
    if not freedom < ENOUGH_FREEDOM or not sem.estimate > 0.0:
        return []
    low, high = sem.low / sem.estimate, sem.high / sem.estimate
    return [
        f"Few {counted} ({subjects}): the interval of the SEM runs from {low:.2f} to {high:.2f} "
        "times the estimate, and so does that of the minimal detectable change. Measure more "
        "runners, or in more sessions, before you rely on it."
    ]


def warnings_about_numbers(
    components: Components, *, method: Method, occasions: int, alike: bool
) -> list[str]:
    """What came out below zero or without any spread, and what was done about it.

    Parameters
    ----------
    components : Components
    method : Method
    occasions : int
    alike : bool
        Whether all readings are the same.

    Returns
    -------
    list of str

    References
    ----------
    None: words.

    Examples
    --------
    >>> found = Components(subject=2.0, occasion=0.0, error=1.0, negative=("occasion",))
    >>> warnings_about_numbers(found, method=Method.ANOVA, occasions=3, alike=False)[0][:40]
    'The variance between occasions came out '
    """
    if alike:
        return [
            "All readings are the same: there is no spread to analyse and no ICC. An instrument "
            "that always shows one number says nothing about its error; look at its resolution."
        ]
    found = []
    came_out = "below zero" if method is Method.ANOVA else "as zero"
    if "occasion" in components.negative:
        found.append(
            f"The variance between occasions came out {came_out} (the occasions differ no more "
            "than their error explains) and is taken as zero in the components and in the SEM for "
            "agreement, which then equals the one for consistency. The ICCs are computed from "
            "the mean squares as they stand, as published."
        )
    if "subject" in components.negative:
        found.append(
            f"The variance between subjects came out {came_out}: the subjects of this study differ "
            "no more than repeated measurements of one of them. An ICC near or below zero says "
            "that about this group, not about the size of the error; look at the SEM."
        )
    if components.error == 0.0:
        found.append(
            "The repeated readings agree without any error beyond a shift that all share. Readings "
            "that were copied look like this too; else the resolution is the limit."
        )
    if components.subject == 0.0 and "subject" not in components.negative:
        found.append("All subjects have the same mean; an ICC has no meaning in such a group.")
    if occasions == TWO:
        found.append(
            "Two occasions only: how far occasions shift in general rests on a single difference, "
            "which makes the upper ends of the SEM for agreement and of its minimal detectable "
            "change very high. The estimates themselves are not affected."
        )
    return found


def warnings_about_agreement(limits: BlandAltman | None, growing: GrowingError | None) -> list[str]:
    """A shift that is more than chance, and an error that grows with the mean.

    Parameters
    ----------
    limits : BlandAltman or None
    growing : GrowingError or None

    Returns
    -------
    list of str

    References
    ----------
    [Bland1996], [Bland1999]

    Examples
    --------
    >>> warnings_about_agreement(None, GrowingError(tau=0.6, p=0.01, n=12, grows=True))[0][:32]
    'The error grows with the mean (K'
    """
    found = []
    if limits is not None and limits.p < 0.05:
        found.append(
            f"The occasions differ systematically ({limits.difference}; "
            f"p = {limits.p:.2g}): practice, fatigue, or another set-up? The SEM for consistency "
            "leaves this shift out, the one for agreement counts it."
        )
    if growing is not None and growing.grows:
        found.append(
            f"The error grows with the mean (Kendall's tau {growing.tau:.2f}, "
            f"p = {growing.p:.2g}): one SEM is too large for low values and too small for high "
            "ones. For a quantity with a true zero take the coefficient of variation of the log "
            "scale instead."
        )
    return found


def warnings_about_parts(nested: Nested | None) -> list[str]:
    """A between-session part below zero.

    Parameters
    ----------
    nested : Nested or None

    Returns
    -------
    list of str

    References
    ----------
    None: words.

    Examples
    --------
    >>> warnings_about_parts(None)
    []
    """
    if nested is None or "session" not in nested.negative:
        return []
    return [
        "The between-session variance came out below zero: the sessions' means differ no more than "
        "their trials explain. It is taken as zero; its interval says how large it might still be."
    ]


def notes_about_method(
    *, method: Method | None, trials: tuple[int, int], averaged: bool, occasions: int
) -> list[str]:
    """How the numbers were got.

    Parameters
    ----------
    method : Method or None
    trials : (int, int)
        Fewest and most trials averaged in a cell.
    averaged : bool
        Whether the readings were means already.
    occasions : int

    Returns
    -------
    list of str

    References
    ----------
    None: words.

    Examples
    --------
    >>> notes_about_method(method=Method.ANOVA, trials=(1, 1), averaged=False, occasions=2)[0]
    'Variance components by analysis of variance: no cell is empty.'
    """
    found = []
    if method is Method.ANOVA:
        found.append("Variance components by analysis of variance: no cell is empty.")
    if method is Method.REML:
        found.append(
            "Some cells are empty: variance components by restricted maximum likelihood from all "
            "readings; the intervals are those of a full table of like size, and approximate."
        )
    least, most = trials
    if most > 1:
        number = str(most) if least == most else f"{least} to {most}"
        found.append(f"ICC, SEM and limits are those of a mean of {number} trials.")
    if least != most:
        found.append("Cells with different numbers of trials count alike.")
    if averaged:
        found.append(
            "The readings are means already: the part within sessions cannot be told from them."
        )
    if occasions > TWO:
        found.append(
            "Bland-Altman limits compare two occasions; with more of them see the SEM, which "
            "uses all."
        )
    return found


def warnings_about_grading(pairs: int, step: int) -> list[str]:
    """How sure the grade step is.

    Parameters
    ----------
    pairs : int
    step : int
        Smallest step that 95 % of pairs do not exceed.

    Returns
    -------
    list of str
        Empty with 59 pairs or more: so many without one beyond would show it at 95 %.

    References
    ----------
    [Hahn1991]

    Examples
    --------
    >>> warnings_about_grading(100, 1)
    []
    """
    if pairs >= math.log(0.05) / math.log(0.95):
        return []
    return [
        f"{pairs} pairs of grades are few for a step that 95 % do not exceed: with 59 pairs of "
        f"which none differs by more than {step}, that would be shown."
    ]


def unique(words: Iterable[str]) -> tuple[str, ...]:
    """Each sentence once, in order.

    Parameters
    ----------
    words : iterable of str

    Returns
    -------
    tuple of str

    References
    ----------
    None: words.

    Examples
    --------
    >>> unique(["b", "a", "b"])
    ('b', 'a')
    """
    return tuple(dict.fromkeys(words))
