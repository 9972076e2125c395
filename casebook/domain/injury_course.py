"""The course of a complaint: time lost, what came again, and the way back to running.

Time loss and subsequent injuries follow the consensus statement on recording injury and
illness in sport (Bahr et al. 2020, Br J Sports Med 54:372-389). Its scope, and that recovery
means being fully available for training and competition, were read in quotations of it; the
bins, the counting of days and the names of subsequent injuries are from memory. What makes a
complaint a running-related injury follows Yamato et al. (2015, J Orthop Sports Phys Ther
45:375-380), read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.errors import refuse
from casebook.domain.injuries import Course, Injury
from casebook.domain.sides import InjurySide

LONGEST_LIMITED_DAYS = 7
MOST_SESSIONS_MISSED = 3


class TimeLossBin(StrEnum):
    """How much time a complaint took from full running."""

    NONE = "none"
    DAYS_1_TO_7 = "days_1_to_7"
    DAYS_8_TO_28 = "days_8_to_28"
    OVER_28_DAYS = "over_28_days"


TIME_LOSS_WORDS = {
    TimeLossBin.NONE: "no day lost",
    TimeLossBin.DAYS_1_TO_7: "1 to 7 days lost",
    TimeLossBin.DAYS_8_TO_28: "8 to 28 days lost",
    TimeLossBin.OVER_28_DAYS: "more than 28 days lost",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLoss:
    """Days lost to one complaint.

    Parameters
    ----------
    days : int
        From the day after the onset to the day before full return; the onset is day 0.
    bin : TimeLossBin
        While it lasts, the lowest one that it can still end in.
    still_out : bool
        True while no full return is on record; `days` is then a count up to the day asked for,
        and an upper bound, since a return may have gone unrecorded.
    """

    days: int
    bin: TimeLossBin
    still_out: bool

    @property
    def words(self) -> str:
        """In words: '12 days lost (8 to 28)'."""
        count = f"{self.days} day{'' if self.days == 1 else 's'} lost"
        if self.still_out:
            return f"up to {count} so far (no day of full return is on record)"
        return count if self.bin is TimeLossBin.NONE else f"{count} ({_band(self.bin)})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """A complaint with the day on which the runner was fully able to run and race again.

    Parameters
    ----------
    injury : Injury
        Its `returned_on` is the day of the first run, which is no full return yet.
    fully_back_on : date or None
        First day of full training; that of the onset where no running was lost at all. None
        where it has not come yet, or was not recorded.
    """

    injury: Injury
    fully_back_on: date | None = None

    def __post_init__(self) -> None:
        if self.fully_back_on is None:
            return
        for name, day in (("onset", self.injury.onset_on), ("first run", self.injury.returned_on)):
            if day is not None and self.fully_back_on < day:
                raise refuse(
                    "fully_back_too_early",
                    f"fully back on {self.fully_back_on} lies before the {name} on {day}; "
                    "correct one of them.",
                    column="fully_back_on",
                    value=self.fully_back_on,
                )


def time_loss(complaint: Complaint, *, as_of: date) -> TimeLoss | None:
    """Days that a complaint took from full running.

    Parameters
    ----------
    complaint : Complaint
    as_of : date
        Up to which days are counted while the runner is not fully back.

    Returns
    -------
    TimeLoss or None
        A full return on the day of the onset or the day after counts as no day lost. None
        for a complaint that is resolved without a day on record, and for a day before its
        onset.
    """
    injury, back = complaint.injury, complaint.fully_back_on
    if as_of < injury.onset_on or (back is None and injury.course is Course.RESOLVED):
        return None
    # A return that lies after the day asked for had not happened yet then.
    if back is None or back > as_of:
        days, out = (as_of - injury.onset_on).days, True
    else:
        days, out = max(0, (back - injury.onset_on).days - 1), False
    return TimeLoss(days=days, bin=time_loss_bin(days), still_out=out)


def time_loss_bin(days: int) -> TimeLossBin:
    """The consensus bin of a number of days lost.

    Examples
    --------
    >>> [str(time_loss_bin(days)) for days in (0, 1, 7, 8, 28, 29)]
    ['none', 'days_1_to_7', 'days_1_to_7', 'days_8_to_28', 'days_8_to_28', 'over_28_days']
    """
    if days <= 0:
        return TimeLossBin.NONE
    if days <= 7:
        return TimeLossBin.DAYS_1_TO_7
    return TimeLossBin.DAYS_8_TO_28 if days <= 28 else TimeLossBin.OVER_28_DAYS


class Subsequent(StrEnum):
    """What a complaint is to those that the same runner had before."""

    INDEX = "index"
    RECURRENCE = "recurrence"
    EXACERBATION = "exacerbation"
    UNCLEAR = "unclear"
    LOCAL = "local"
    NEW = "new"


SUBSEQUENT_WORDS = {
    Subsequent.INDEX: "first complaint on record",
    Subsequent.RECURRENCE: "recurrence: same place and kind, after full recovery",
    Subsequent.EXACERBATION: "flare-up: same place and kind, before full recovery",
    Subsequent.UNCLEAR: "same place and kind; the day of full recovery was not recorded",
    Subsequent.LOCAL: "same place, another kind",
    Subsequent.NEW: "new: another place",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Succession:
    """How a complaint follows earlier ones.

    Parameters
    ----------
    of : Complaint or None
        The latest earlier complaint that it is related to; None for a first or new one.
    days_after_recovery : int or None
        From that one's full return to this onset; only for a recurrence.
    """

    kind: Subsequent
    of: Complaint | None = None
    days_after_recovery: int | None = None


def succession(injury: Injury, others: Sequence[Complaint]) -> Succession:
    """Whether a complaint is a recurrence, a flare-up, or a new one.

    Parameters
    ----------
    injury : Injury
    others : sequence of Complaint
        Of the same runner; those that began on the same day or later are not looked at, and
        those of another runner neither.

    Returns
    -------
    Succession
        By place (region and side) and kind of the tissue. 'Both sides' is the same place as
        either side. Unclear where an earlier one alike is resolved without a day on record.
    """
    earlier = sorted(
        (
            one
            for one in others
            if one.injury.runner == injury.runner and one.injury.onset_on < injury.onset_on
        ),
        key=lambda one: one.injury.onset_on,
        reverse=True,
    )
    if not earlier:
        return Succession(kind=Subsequent.INDEX)
    here = [one for one in earlier if _same_place(one.injury, injury)]
    if not here:
        return Succession(kind=Subsequent.NEW)
    latest = next((one for one in here if one.injury.pathology is injury.pathology), None)
    if latest is None:
        return Succession(kind=Subsequent.LOCAL, of=here[0])
    back = latest.fully_back_on
    if back is None and latest.injury.course is Course.RESOLVED:
        return Succession(kind=Subsequent.UNCLEAR, of=latest)
    if back is None or back > injury.onset_on:
        return Succession(kind=Subsequent.EXACERBATION, of=latest)
    return Succession(
        kind=Subsequent.RECURRENCE, of=latest, days_after_recovery=(injury.onset_on - back).days
    )


def is_running_injury(*, days_limited: int, sessions_missed_in_row: int, consulted: bool) -> bool:
    """Whether pain of the leg or foot that came from running counts as a running-related injury.

    Parameters
    ----------
    days_limited : int
        Days on which it restricted or stopped running.
    sessions_missed_in_row : int
        Planned sessions in a row that were restricted or missed.
    consulted : bool
        Whether a health professional was seen about it.

    Examples
    --------
    >>> is_running_injury(days_limited=6, sessions_missed_in_row=2, consulted=False)
    False
    >>> is_running_injury(days_limited=5, sessions_missed_in_row=3, consulted=False)
    True
    """
    return (
        days_limited >= LONGEST_LIMITED_DAYS
        or sessions_missed_in_row >= MOST_SESSIONS_MISSED
        or consulted
    )


def _band(kind: TimeLossBin) -> str:
    return TIME_LOSS_WORDS[kind].removesuffix(" days lost").removesuffix(" lost")


def _same_place(one: Injury, other: Injury) -> bool:
    if one.region is not other.region:
        return False
    sides = {one.side, other.side}
    return len(sides) == 1 or (
        InjurySide.BOTH in sides and bool(sides & {InjurySide.LEFT, InjurySide.RIGHT})
    )
