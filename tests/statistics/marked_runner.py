"""A runner of exact angles, filmed by a camera that may lean, and marked without error."""

from __future__ import annotations

import math
from collections.abc import Iterable

from casebook.domain.marking import Landmark, MarkedEvent, MarkedPoint, Marks, MarkView, Moment
from casebook.domain.sides import Side

L, S, P = Landmark, MarkView.SIDE, MarkView.POSTERIOR
Places = dict[tuple[Landmark, Side], tuple[float, float]]
STEP = 42  # frames from contact to contact
CONTACT = 30  # frames of contact
RATE = 120.0
SCALE = 4.0


def along(start: tuple[float, float], length: float, lean: float) -> tuple[float, float]:
    """The upper end of a segment that leans to the right of the picture by `lean` degrees."""
    angle = math.radians(lean)
    return start[0] + length * math.sin(angle), start[1] + length * math.cos(angle)


def leg_from_the_side(
    side: Side, *, ahead: int, foot: float, shank: float, thigh: float, trunk: float, lean: float
) -> Places:
    """Segments by their lean forward (the foot by its toes-up angle), in cm."""
    heel = (0.0, 0.0)
    toe = (26.0 * ahead * math.cos(math.radians(foot)), 26.0 * math.sin(math.radians(foot)))
    ankle = (4.0 * ahead, 9.0)
    knee = along(ankle, 41.0, ahead * shank)
    hip = along(knee, 40.0, ahead * thigh)
    return {
        (L.HEEL, side): heel,
        (L.TOE, side): toe,
        (L.ANKLE, side): ankle,
        (L.KNEE, side): knee,
        (L.HIP, side): hip,
        (L.SHOULDER, side): along(hip, 48.0, ahead * trunk),
        (L.PELVIS, Side.NONE): (heel[0] - ahead * 12.0, 95.0),
        (L.EAR, Side.NONE): along(ankle, 160.0, ahead * lean),
    }


def from_behind(
    side: Side, *, inversion: float, leg_in: float, thigh_in: float, drop: float, lean: float
) -> Places:
    """A stance leg and the pelvis and trunk above it, in cm; angles by the catalogue's signs."""
    out, other = (1, Side.LEFT) if side is Side.RIGHT else (-1, Side.RIGHT)
    heel = (out * 4.0, 2.0)
    ankle = (out * 4.0, 11.0)
    knee = along(ankle, 41.0, -out * leg_in)
    hip = along(knee, 40.0, out * thigh_in)
    own = (hip[0] - out * 3.0, hip[1] + 9.0)
    fall = math.radians(drop)
    swing = (own[0] - out * 22.0 * math.cos(fall), own[1] - 22.0 * math.sin(fall))
    middle = ((own[0] + swing[0]) / 2, (own[1] + swing[1]) / 2)
    return {
        (L.HEEL_LOW, side): heel,
        (L.HEEL_HIGH, side): along(heel, 7.0, out * inversion),
        (L.ANKLE, side): ankle,
        (L.KNEE, side): knee,
        (L.HIP, side): hip,
        (L.PELVIS, side): own,
        (L.PELVIS, other): swing,
        (L.NECK, Side.NONE): along(middle, 50.0, out * lean),
    }


def plumb() -> Places:
    return {(L.PLUMB_LOW, Side.NONE): (-60.0, 0.0), (L.PLUMB_HIGH, Side.NONE): (-60.0, 150.0)}


def filmed(
    view: MarkView, frame: int, places: Places, *, lean: float = 0.0, repeat: int = 1
) -> list[MarkedPoint]:
    """Those places as marked; a plumb line leans to the right by `lean` degrees."""
    angle = math.radians(lean)
    cos, sin = math.cos(angle), math.sin(angle)
    return [
        MarkedPoint(
            view=view,
            frame=frame,
            landmark=landmark,
            side=side,
            x_px=960.0 + SCALE * (x * cos + y * sin),
            y_px=900.0 - SCALE * (y * cos - x * sin),
            repeat=repeat,
        )
        for (landmark, side), (x, y) in places.items()
    ]


def event(
    frame: int, moment: Moment, side: Side, view: MarkView = S, repeat: int = 1
) -> MarkedEvent:
    return MarkedEvent(view=view, frame=frame, moment=moment, side=side, repeat=repeat)


def steps(n: int, *, view: MarkView = S, first: Side = Side.RIGHT) -> list[MarkedEvent]:
    """Contacts and toe-offs of n stances of alternating feet."""
    found = []
    for k in range(n):
        side = first if k % 2 == 0 else (Side.LEFT if first is Side.RIGHT else Side.RIGHT)
        found += [
            event(10 + k * STEP, Moment.CONTACT, side, view),
            event(10 + k * STEP + CONTACT, Moment.TOE_OFF, side, view),
        ]
    return found


def marks(points: Iterable[MarkedPoint] = (), events: Iterable[MarkedEvent] = ()) -> Marks:
    return Marks(
        points=tuple(points),
        events=tuple(events),
        px_per_cm={S: (SCALE,), P: (SCALE,)},
        frames_per_s={S: RATE, P: RATE},
    )
