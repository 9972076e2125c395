"""When a method has enough visits, and what is said when it has not."""

from __future__ import annotations

from dataclasses import dataclass

from casebook.domain.wording import NO_ERROR_FIGURE

LINE_NEEDS = 3
RANKS_NEED = 4
OVERLAP_NEEDS = 3
SEGMENTS_NEED = 4
SMOOTHING_NEEDS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFitted:
    """A method that was not used.

    Attributes
    ----------
    why : str
        In plain words, without a full stop ("needs 4 visits, has 3").
    """

    why: str


def lacking(has: int, needs: int) -> NotFitted | None:
    """What is lacking for a method that looks at the values alone.

    Parameters
    ----------
    has, needs : int
        Visits with a value.

    Returns
    -------
    NotFitted or None
        None where there are enough.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> lacking(3, 4)
    NotFitted(why='needs 4 visits, has 3')
    """
    return None if has >= needs else NotFitted(why=f"needs {needs} visits, has {has}")


def lacking_errors(
    known: int, has: int, needs: int, *, no_error: str = NO_ERROR_FIGURE
) -> NotFitted | None:
    """What is lacking for a method that needs the measurement error of its visits.

    Parameters
    ----------
    known : int
        Visits with a value whose error is known.
    has : int
        Visits with a value.
    needs : int
        Visits with both that the method needs.
    no_error : str
        Why no error is known at all, where none is.

    Returns
    -------
    NotFitted or None
        None where there are enough.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> lacking_errors(0, 5, 3)
    NotFitted(why='no error figure: measure your own')
    >>> lacking_errors(2, 5, 3)
    NotFitted(why='needs 3 visits with a known error, has 2')
    """
    if known >= needs:
        return None
    if has < needs:
        return lacking(has, needs)
    if known == 0:
        return NotFitted(why=no_error)
    return NotFitted(why=f"needs {needs} visits with a known error, has {known}")


def lacking_phases(before: int, after: int, needs: int) -> NotFitted | None:
    """What is lacking for a method that compares before and after the programme's start.

    Parameters
    ----------
    before, after : int
        Visits with a value up to and on the day of the start, and after it.
    needs : int
        Visits that the method needs in each phase.

    Returns
    -------
    NotFitted or None
        None where there are enough.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> lacking_phases(2, 5, 3).why
    "needs 3 visits before the programme's start and 3 after it, has 2 and 5"
    """
    if min(before, after) >= needs:
        return None
    return NotFitted(
        why=f"needs {needs} visits before the programme's start and {needs} after it, "
        f"has {before} and {after}"
    )
