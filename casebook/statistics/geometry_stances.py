"""From the frames of contact and toe-off to stances, times and lengths of steps."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from casebook.domain.marking import FrameNote, MarkedEvent, MarkView, Moment
from casebook.domain.sides import Side
from casebook.statistics.geometry import Number
from casebook.statistics.geometry_spread import (
    nominal,
    repeated_sd,
    rounded_to_frame,
    widened_sd,
    with_error,
)

OTHER = {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT}
WORDS = {
    Moment.CONTACT: "contact",
    Moment.MID_STANCE: "mid-stance",
    Moment.HEEL_RISE: "heel rise",
    Moment.TOE_OFF: "toe-off",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Instant:
    """A moment: the frame in which its points stand, and when it was, in frames."""

    frame: int
    at: Number


@dataclass(slots=True, kw_only=True)
class Stance:
    """One foot on the ground, from its contact on."""

    view: MarkView
    side: Side
    contact: Instant
    mid_stance: Instant | None = None
    heel_rise: Instant | None = None
    toe_off: Instant | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One trial of a metric; `value` a number with an error, in the metric's unit."""

    metric: str
    side: Side
    view: MarkView
    frame: int
    value: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Stances:
    """Stances of a view in the order of their contacts.

    Parameters
    ----------
    both : bool
        Whether contacts of both feet were marked.
    """

    stances: tuple[Stance, ...]
    both: bool
    notes: tuple[FrameNote, ...] = ()


@dataclass(slots=True)
class _Told:
    view: MarkView
    notes: list[FrameNote] = field(default_factory=list)

    def add(self, code: str, frame: int, message: str, *, withheld: bool = True) -> None:
        self.notes.append(
            FrameNote(code=code, message=message, view=self.view, frame=frame, withheld=withheld)
        )


def event_error_frames(events: Iterable[MarkedEvent], given: float | None) -> float:
    """Standard deviation of the frame that a person chooses for a moment.

    Parameters
    ----------
    events : iterable of MarkedEvent
        The k-th marking of a moment belongs to the k-th of every other repeat, in the order of
        their frames.
    given : float or None
        What the user said; it goes before what the repeats tell.

    Returns
    -------
    float
        In frames, beside the rounding to a whole frame; widened for few repeats, 0 where
        nothing was given and nothing repeated.

    References
    ----------
    [Bland1995], [Student1908]

    Examples
    --------
    >>> event_error_frames((), None), event_error_frames((), 0.7)
    (0.0, 0.7)
    """
    if given is not None:
        return given
    sd, degrees = repeated_sd(
        ((view, side, moment, place), float(event.frame))
        for (view, side, moment), repeats in _by_kind(events).items()
        for listed in repeats.values()
        for place, event in enumerate(listed)
    )
    return widened_sd(sd, degrees) if degrees else 0.0


def stances_of(events: Sequence[MarkedEvent], event_sd: float) -> dict[MarkView, Stances]:
    """Stances of each view, and what in its moments can not be.

    Parameters
    ----------
    events : sequence of MarkedEvent
    event_sd : float, >= 0
        `event_error_frames`.

    Returns
    -------
    dict of MarkView to Stances
        A moment has the error sqrt(1/12 + event_sd2 / markings), in frames: it lay anywhere in
        the frame interval. The first part may be the same in every moment of a kind
        (`rounded_to_frame`), the second is each moment's own.

    References
    ----------
    [Bennett1948]

    Examples
    --------
    >>> from casebook.domain.marking import MarkedEvent, Moment
    >>> marked = [MarkedEvent(view=MarkView.SIDE, frame=frame, moment=moment, side=Side.LEFT)
    ...     for frame, moment in ((10, Moment.CONTACT), (40, Moment.TOE_OFF))]
    >>> stances_of(marked, 0.0)[MarkView.SIDE].stances[0].toe_off.frame
    40
    """
    found: dict[MarkView, Stances] = {}
    for view in MarkView:
        here = [event for event in events if event.view is view]
        if not here:
            continue
        told = _Told(view)
        instants = _instants(here, event_sd, told)
        stances = sorted(
            (one for side in OTHER for one in _of_side(view, side, instants, told)),
            key=lambda stance: stance.contact.frame,
        )
        both = {stance.side for stance in stances} == set(OTHER)
        _check_order(stances, both, told)
        found[view] = Stances(stances=tuple(stances), both=both, notes=tuple(told.notes))
    return found


_Kind = tuple[MarkView, Side, Moment]


def _by_kind(events: Iterable[MarkedEvent]) -> dict[_Kind, dict[int, list[MarkedEvent]]]:
    found: dict[_Kind, dict[int, list[MarkedEvent]]] = {}
    for event in sorted(events, key=lambda one: one.frame):
        kind = (event.view, event.side, event.moment)
        found.setdefault(kind, {}).setdefault(event.repeat, []).append(event)
    # A repeat with another number of moments can't be laid beside the first.
    return {
        kind: {
            number: listed
            for number, listed in sorted(repeats.items())
            if len(listed) == len(repeats[min(repeats)])
        }
        for kind, repeats in found.items()
    }


def _instants(
    events: Sequence[MarkedEvent], event_sd: float, told: _Told
) -> dict[tuple[Side, Moment], list[Instant]]:
    found: dict[tuple[Side, Moment], list[Instant]] = {}
    used = 0
    for (_, side, moment), repeats in _by_kind(events).items():
        used += sum(map(len, repeats.values()))
        for markings in zip(*repeats.values(), strict=True):
            k = len(markings)
            mean = sum(event.frame for event in markings) / k
            chosen = with_error(mean, event_sd / math.sqrt(k))
            rounding = rounded_to_frame(f"{told.view} {side} {moment}")
            found.setdefault((side, moment), []).append(
                Instant(frame=markings[0].frame, at=chosen + rounding)
            )
    if used < len(events):
        told.add(
            "repeats_differ",
            min(event.frame for event in events),
            f"{len(events) - used} repeated markings of moments are left out: a repeat has to "
            "mark as many moments of a side as the first time did.",
            withheld=False,
        )
    return found


def _of_side(
    view: MarkView,
    side: Side,
    instants: Mapping[tuple[Side, Moment], list[Instant]],
    told: _Told,
) -> list[Stance]:
    contacts = instants.get((side, Moment.CONTACT), [])
    stances = [Stance(view=view, side=side, contact=contact) for contact in contacts]
    for moment in (Moment.TOE_OFF, Moment.MID_STANCE, Moment.HEEL_RISE):
        for instant in instants.get((side, moment), []):
            _place(moment, instant, stances, (side, told))
    return stances


def _place(
    moment: Moment, instant: Instant, stances: Sequence[Stance], about: tuple[Side, _Told]
) -> None:
    side, told = about
    name = moment.value
    before = [one for one in stances if one.contact.frame <= instant.frame]
    if not before:
        later = f" (its contact stands in frame {stances[0].contact.frame})" if stances else ""
        told.add(
            f"{name}_before_contact",
            instant.frame,
            f"{WORDS[moment]} of the {side} foot comes before any contact of that foot{later}; "
            "it is not used. Are the two frames swapped, or left and right?",
        )
        return
    stance = before[-1]
    if instant.frame == stance.contact.frame and moment is not Moment.MID_STANCE:
        told.add(
            f"{name}_at_contact",
            instant.frame,
            f"contact and {WORDS[moment]} of the {side} foot stand in one frame; it is not used.",
        )
    elif getattr(stance, name) is not None:
        told.add(
            f"{name}_twice",
            instant.frame,
            f"a second {WORDS[moment]} of the {side} foot without a contact in between (the "
            f"first stands in frame {getattr(stance, name).frame}); it is not used.",
        )
    elif (
        moment is not Moment.TOE_OFF
        and stance.toe_off is not None
        and instant.frame >= stance.toe_off.frame
    ):
        told.add(
            f"{name}_after_toe_off",
            instant.frame,
            f"{WORDS[moment]} of the {side} foot does not lie between its contact (frame "
            f"{stance.contact.frame}) and its toe-off (frame {stance.toe_off.frame}); it is not "
            "used.",
        )
    else:
        setattr(stance, name, instant)


def lies_after(first: Instant, last: Instant) -> bool:
    """Whether the mean of all markings is in order, as the first marking is.

    Parameters
    ----------
    first, last : Instant

    Returns
    -------
    bool

    References
    ----------
    None: a comparison.

    Examples
    --------
    >>> lies_after(Instant(frame=3, at=3.0), Instant(frame=4, at=2.5))
    False
    """
    return nominal(last.at) > nominal(first.at)


def _drop_what_repeats_put_before_contact(stances: Sequence[Stance], told: _Told) -> None:
    for stance in stances:
        for moment in (Moment.HEEL_RISE, Moment.TOE_OFF):
            instant: Instant | None = getattr(stance, moment.value)
            if instant is not None and not lies_after(stance.contact, instant):
                setattr(stance, moment.value, None)
                told.add(
                    f"{moment.value}_before_contact",
                    instant.frame,
                    f"taking the repeats together, {WORDS[moment]} of the {stance.side} foot does "
                    "not lie after its contact; it is not used.",
                )


def _check_order(stances: Sequence[Stance], both: bool, told: _Told) -> None:
    _drop_what_repeats_put_before_contact(stances, told)
    for stance, after in pairwise(stances):
        if not lies_after(stance.contact, after.contact):
            told.add(
                "contacts_together",
                after.contact.frame,
                f"the contact of the {after.side} foot does not lie after that of the "
                f"{stance.side} foot (frame {stance.contact.frame}): no step is read.",
            )
        elif both and stance.side is after.side:
            told.add(
                "same_foot_twice",
                after.contact.frame,
                f"the {after.side} foot lands twice running (before in frame "
                f"{stance.contact.frame}): a contact of the {OTHER[after.side]} foot is missing, "
                "or left and right are confused. No step or stride is read across it.",
            )
        elif stance.side is not after.side and (
            stance.toe_off is not None and stance.toe_off.frame > after.contact.frame
        ):
            told.add(
                "both_feet_down",
                after.contact.frame,
                f"the {after.side} foot lands before the {stance.side} foot is off (frame "
                f"{stance.toe_off.frame}): no flight. Walking, or left and right confused?",
            )
    for stance in stances:
        if stance.toe_off is None:
            told.add(
                "no_toe_off",
                stance.contact.frame,
                f"no toe-off of the {stance.side} foot follows its contact: no contact time.",
                withheld=False,
            )
