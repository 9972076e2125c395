"""Angles and distances from marked frames, each in the moment that its metric asks for."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from casebook.domain.marking import FrameNote, Landmark, MarkView
from casebook.domain.sides import Side
from casebook.statistics.geometry import Number, Point, across_cm
from casebook.statistics.geometry_frames import (
    FEWEST_ERRORS_APART,
    FramesOfView,
    Key,
    distance_px,
)
from casebook.statistics.geometry_metrics import FOOT, PEAKS, READINGS, Reading, When, Whose
from casebook.statistics.geometry_spread import nominal
from casebook.statistics.geometry_stances import OTHER, Stance, Stances, Trial

# How far from its middle, as a share of the contact, a frame may lie to count as mid-stance.
# Common practice, no source.
MIDDLE_WITHIN = 0.1
FEWEST_FOR_A_PEAK = 3


def read_frames(frames: FramesOfView, stances: Stances) -> tuple[list[Trial], list[FrameNote]]:
    """Every angle and distance that the points of a view tell.

    Parameters
    ----------
    frames : FramesOfView
    stances : Stances
        Of the same view.

    Returns
    -------
    trials : list of Trial
        Angles in degrees, distances in cm, with the catalogue's signs.
    notes : list of FrameNote
        Of frames of which something could not be read, and why.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> empty = FramesOfView(view=MarkView.SIDE, frames={}, px_per_cm=None, ahead=1, point_sd=1.0)
    >>> read_frames(empty, Stances(stances=(), both=False))
    ([], [])
    """
    reader = _Reader(frames)
    for stance in stances.stances:
        reader.read(stance)
    if frames.view is MarkView.POSTERIOR:
        reader.read_step_widths(stances.stances)
    reader.tell(stances)
    return reader.trials, reader.notes


class _Reader:
    def __init__(self, frames: FramesOfView) -> None:
        self.frames = frames
        self.trials: list[Trial] = []
        self.notes: list[FrameNote] = []
        self.missing: list[tuple[str, int, list[str]]] = []
        self.unscaled: set[str] = set()
        self.crossed: set[int] = set()

    def note(self, code: str, frame: int | None, message: str, *, withheld: bool = True) -> None:
        one = FrameNote(
            code=code, view=self.frames.view, frame=frame, message=message, withheld=withheld
        )
        if one not in self.notes:
            self.notes.append(one)

    def read(self, stance: Stance) -> None:
        view = self.frames.view
        sign = (
            self.frames.ahead if view is MarkView.SIDE else (1 if stance.side is Side.RIGHT else -1)
        )
        if sign == 0:
            return
        self.crossed |= self._wrong_foot_in_front(stance, sign)
        for reading in READINGS:
            if reading.view is not view:
                continue
            found = [
                (frame, value)
                for frame in self._moments(reading.when, stance)
                if (value := self._value(reading, stance, frame, sign)) is not None
            ]
            if not found:
                continue
            frame, value = max(found, key=lambda pair: nominal(pair[1]))
            if reading.metric in PEAKS and len(found) < FEWEST_FOR_A_PEAK:
                self.note(
                    "few_for_a_peak",
                    frame,
                    f"{reading.metric}: the greatest of {len(found)} marked "
                    f"{'frame' if len(found) == 1 else 'frames'} of this stance; the true peak "
                    "may lie between them.",
                    withheld=False,
                )
            side = stance.side if reading.sided else Side.NONE
            self.trials.append(
                Trial(metric=reading.metric, side=side, view=view, frame=frame, value=value)
            )

    def _wrong_foot_in_front(self, stance: Stance, sign: int) -> set[int]:
        points = self.frames.frames.get(stance.contact.frame, {})
        own, other = (
            points.get((Landmark.ANKLE, stance.side)),
            points.get((Landmark.ANKLE, OTHER[stance.side])),
        )
        if self.frames.view is not MarkView.SIDE or own is None or other is None:
            return set()
        if sign * (nominal(own.x) - nominal(other.x)) >= 0:
            return set()
        self.note(
            "left_right_confused",
            stance.contact.frame,
            f"the {stance.side} foot lands, yet the {OTHER[stance.side]} ankle lies in front: "
            "left and right are confused, in the points or in the contact. Nothing is read from "
            "this frame.",
        )
        return {stance.contact.frame}

    def _moments(self, when: When, stance: Stance) -> Sequence[int]:
        marked = self.frames.frames
        if when == "contact":
            wanted = [stance.contact.frame]
        elif when == "toe_off":
            wanted = [stance.toe_off.frame] if stance.toe_off else []
        elif when == "heel_rise":
            wanted = [stance.heel_rise.frame] if stance.heel_rise else []
        elif when == "middle":
            wanted = self._middle(stance)
        else:
            end = stance.toe_off
            if when == "before_heel_rise" and stance.heel_rise is not None:
                end = stance.heel_rise
            wanted = (
                []
                if end is None
                else [one for one in marked if stance.contact.frame <= one < end.frame]
            )
        return [frame for frame in wanted if frame in marked]

    def _middle(self, stance: Stance) -> list[int]:
        if stance.mid_stance is not None:
            return [stance.mid_stance.frame]
        if stance.toe_off is None:
            return []
        start, length = stance.contact.frame, stance.toe_off.frame - stance.contact.frame
        off = {one: abs((one - start) / length - 0.5) for one in self.frames.frames}
        near = [one for one in off if off[one] <= MIDDLE_WITHIN]
        return [min(near, key=off.__getitem__)] if near else []

    def _value(self, reading: Reading, stance: Stance, frame: int, sign: int) -> Number | None:
        if frame in self.frames.confused or frame in self.crossed:
            return None
        points = self.frames.frames[frame]
        keys = [_key(part, stance.side) for part in reading.points]
        absent = [key for key in keys if key not in points]
        if absent:
            if len(absent) < len(keys):
                self.missing.append((reading.metric, frame, [_named(key) for key in absent]))
            return None
        if reading.scaled and self.frames.px_per_cm is None:
            self.unscaled.add(reading.metric)
            return None
        found = [points[key] for key in keys]
        for i, j in reading.lines:
            if self._too_near(found[i], found[j], (keys[i], keys[j]), frame):
                return None
        if reading.points == FOOT and self._flat_foot(found, frame, stance.side):
            return None
        return reading.formula(found, sign, self.frames.px_per_cm)

    def _too_near(self, one: Point, other: Point, keys: tuple[Key, Key], frame: int) -> bool:
        apart = distance_px(one, other)
        if apart > FEWEST_ERRORS_APART * self.frames.point_sd and apart > 0.0:
            return False
        self.note(
            "coincident",
            frame,
            f"{_named(keys[0])} and {_named(keys[1])} stand "
            + (
                "in one place"
                if apart == 0.0
                else f"{apart:.1f} pixels apart, less than {FEWEST_ERRORS_APART:g} marking errors"
            )
            + ": the line between them has no direction, and no angle is read from it.",
        )
        return True

    def _flat_foot(self, points: Sequence[Point], frame: int, side: Side) -> bool:
        heel, toe, ankle = points[:3]
        ax, ay = nominal(toe.x) - nominal(heel.x), nominal(toe.y) - nominal(heel.y)
        bx, by = nominal(ankle.x) - nominal(heel.x), nominal(ankle.y) - nominal(heel.y)
        off = abs(ax * by - ay * bx) / distance_px(heel, toe)
        if off > max(2.0 * self.frames.point_sd, 1e-9):
            return False
        self.note(
            "collinear",
            frame,
            f"heel, toe and ankle of the {side} side lie on one line, so that one of them is "
            "marked in the wrong place; no ankle angle is read.",
        )
        return True

    def read_step_widths(self, stances: Sequence[Stance]) -> None:
        """Heel to heel of two steps that follow each other."""
        for before, after in pairwise(stances):
            if before.side is after.side:
                continue
            found = {
                stance.side: self.frames.frames.get(stance.contact.frame, {}).get(
                    (Landmark.HEEL_LOW, stance.side)
                )
                for stance in (before, after)
                if stance.contact.frame not in self.frames.confused
            }
            left, right = found.get(Side.LEFT), found.get(Side.RIGHT)
            if left is None or right is None:
                continue
            if self.frames.px_per_cm is None:
                self.unscaled.add("step_width")
                continue
            self.trials.append(
                Trial(
                    metric="step_width",
                    side=Side.NONE,
                    view=MarkView.POSTERIOR,
                    frame=after.contact.frame,
                    value=across_cm(left, right, self.frames.px_per_cm),
                )
            )

    def tell(self, stances: Stances) -> None:
        """What was missing, and which frames no moment belongs to."""
        read = {trial.metric for trial in self.trials}
        used = {trial.frame for trial in self.trials}
        for metric, frame, absent in self.missing:
            # A clip in which a point is nowhere marked was never meant for its metrics.
            if metric in read or frame not in used:
                self.note(
                    "point_missing",
                    frame,
                    f"{metric} is not read: {' and '.join(absent)} not marked.",
                )
        for metric in sorted(self.unscaled):
            self.note(
                "no_scale",
                None,
                f"{metric} needs a scale: give px_per_cm, pixels a centimetre, in the plane of "
                "the runner.",
            )
        for frame in sorted(self.frames.frames):
            if not any(_within(frame, stance) for stance in stances.stances):
                self.note(
                    "outside_stances",
                    frame,
                    "no stance holds this frame (mark the contact and the toe-off around it); "
                    "nothing is read from it.",
                )


def _within(frame: int, stance: Stance) -> bool:
    if stance.toe_off is not None:
        return stance.contact.frame <= frame <= stance.toe_off.frame
    moments = (stance.contact, stance.mid_stance, stance.heel_rise)
    return any(one is not None and one.frame == frame for one in moments)


def _key(part: tuple[Landmark, Whose], side: Side) -> Key:
    landmark, whose = part
    return landmark, {"own": side, "other": OTHER[side], "none": Side.NONE}[whose]


def _named(key: Key) -> str:
    landmark, side = key
    return landmark.value if side is Side.NONE else f"{side} {landmark.value}"
