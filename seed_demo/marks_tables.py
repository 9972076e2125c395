"""Points and moments that somebody might have marked on two films of one invented runner.

The runner is built from angles in centimetres, filmed by two cameras (the one behind leans a
little), and marked with an error of a pixel and a half.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from seed_demo.cases import Cell, Table

FRAMES_PER_S: Final = 120
STANCES_A_SIDE: Final = 7
MARKING_PX: Final = 1.5
LEAN_DEG: Final = 1.4
BEHIND_PX_PER_CM: Final = (4.1, 4.07, 4.12)
SIDE_PX_PER_CM: Final = 5.2
SHARES: Final = (0.0, 0.3, 0.4, 0.5, 0.6)

Places = dict[tuple[str, str], tuple[float, float]]
PLUMB: Final[Places] = {("plumb_low", ""): (-60.0, 5.0), ("plumb_high", ""): (-60.0, 165.0)}


def _turned(length: float, degrees: float, *, down: bool = False) -> tuple[float, float]:
    angle = math.radians(degrees)
    return length * math.sin(angle), (-length if down else length) * math.cos(angle)


def _plus(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return one[0] + other[0], one[1] + other[1]


def _behind(side: str, share: float, whim: float) -> Places:
    """Seen from behind, in cm, x to the right and y up; `share` of the contact time."""
    out, other = (1, "left") if side == "right" else (-1, "right")
    weak = 2.5 if side == "right" else 0.0  # the invented runner's right hip gives way
    bend = math.sin(math.pi * share)
    heel = (out * 4.0, 2.0)
    ankle = _plus(heel, (0.0, 9.0))
    knee = _plus(ankle, _turned(41.0, -out * (4.0 + 3.0 * bend + whim)))
    hip = _plus(knee, _turned(40.0, out * (6.0 + 4.0 * bend + weak + whim)))
    pelvis = _plus(hip, (-out * 3.0, 9.0))
    drop = math.radians(1.0 + 4.0 * bend + weak + whim)
    swing = _plus(pelvis, (-out * 22.0 * math.cos(drop), -22.0 * math.sin(drop)))
    middle = ((pelvis[0] + swing[0]) / 2, (pelvis[1] + swing[1]) / 2)
    return {
        ("heel_low", side): heel,
        ("heel_high", side): _plus(heel, _turned(7.0, out * (5.0 - 11.0 * bend + whim))),
        ("ankle", side): ankle,
        ("knee", side): knee,
        ("hip", side): hip,
        ("pelvis", side): pelvis,
        ("pelvis", other): swing,
        ("neck", ""): _plus(middle, _turned(52.0, out * (2.0 + 2.0 * bend + weak / 2 + whim))),
    }


def _side(share: float, whim: float) -> Places:
    """The right leg from the right, in cm; the runner runs to the right of the picture."""
    bend = math.sin(math.pi * share)
    heel = (20.0 - 45.0 * share, 2.0 + 8.0 * max(0.0, share - 0.65))
    sole = 12.0 - 12.0 * min(1.0, share / 0.15) - 60.0 * max(0.0, share - 0.65)
    toe = _plus(heel, _turned(26.0, 90.0 - sole))
    ankle = _plus(heel, (4.0, 9.0))
    knee = _plus(ankle, _turned(41.0, -4.0 + 22.0 * min(share * 1.5, 1.0) + whim))
    hip = _plus(knee, _turned(40.0, -16.0 - 22.0 * bend + 34.0 * share + whim))
    shoulder = _plus(hip, _turned(48.0, 7.0 + whim))
    return {
        ("heel", "right"): heel,
        ("toe", "right"): toe,
        ("ankle", "right"): ankle,
        ("knee", "right"): knee,
        ("hip", "right"): hip,
        ("shoulder", "right"): shoulder,
        ("pelvis", ""): _plus(hip, (-1.0, 6.0)),
        ("ear", ""): _plus(shoulder, (4.0, 22.0)),
    }


def _contacts(draw: np.random.Generator) -> Iterator[tuple[str, int, int]]:
    """Side, contact and toe-off of each stance, in whole frames."""
    at = 14.3
    for step in range(2 * STANCES_A_SIDE + 1):
        side = "left" if step % 2 else "right"
        length = (31.5 if side == "right" else 29.0) + draw.normal(0.0, 0.8)
        yield side, math.ceil(at), math.ceil(at + length)
        at += 42.3 + draw.normal(0.0, 0.7)


def marked_events(seed: int) -> Table:
    """Contacts and toe-offs as seen from the side, and the right foot's heel rises."""
    rows: list[Sequence[Cell]] = []
    for side, contact, toe_off in _contacts(np.random.default_rng(seed)):
        heel_rise = contact + round(0.65 * (toe_off - contact))
        moments = [("contact", contact), ("toe_off", toe_off)]
        if side == "right":
            moments.insert(1, ("heel_rise", heel_rise))
        rows.extend(["side", frame, name, side] for name, frame in moments)
        rows.extend(
            ["posterior", frame, name, side] for name, frame in moments[:: len(moments) - 1]
        )
    rows.sort(key=lambda row: (str(row[0]), int(str(row[1]))))
    return ["view", "frame", "event", "side"], rows


def marked_points(seed: int) -> Table:
    """Points on the frames of two cameras; the first frame of each was marked three times."""
    draw = np.random.default_rng([seed, 1])
    rows: list[Sequence[Cell]] = []
    seen = {"posterior": 0, "side": 0}
    for side, contact, toe_off in _contacts(np.random.default_rng(seed)):
        whim = draw.normal(0.0, 0.6)
        for view in ("posterior", "side"):
            if view == "side" and side == "left":
                continue
            shares = (*SHARES, *((0.65, 1.0) if view == "side" else ()))
            for share in shares:
                places = _behind(side, share, whim) if view == "posterior" else _side(share, whim)
                frame = contact + round(share * (toe_off - contact))
                plumb = PLUMB if seen[view] < 2 else {}
                for repeat in range(1, 4 if seen[view] == 0 else 2):
                    rows.extend(_marked(view, frame, repeat, places | plumb, draw))
                seen[view] += 1
    return [
        "view", "frame", "landmark", "side", "repeat", "x", "y", "px_per_cm", "frames_per_s",
    ], rows  # fmt: skip


def _marked(
    view: str, frame: int, repeat: int, places: Places, draw: np.random.Generator
) -> Iterator[list[Cell]]:
    behind = view == "posterior"
    scale = BEHIND_PX_PER_CM[0] if behind else SIDE_PX_PER_CM
    lean = math.radians(LEAN_DEG if behind else 0.0)
    told = BEHIND_PX_PER_CM[repeat - 1] if behind else SIDE_PX_PER_CM
    for (landmark, side), (x, y) in places.items():
        turned = x * math.cos(lean) + y * math.sin(lean), y * math.cos(lean) - x * math.sin(lean)
        px, py = draw.normal(0.0, MARKING_PX, 2)
        yield [
            view, frame, landmark, side or None, repeat,
            round(960.0 + scale * turned[0] + px, 1), round(980.0 - scale * turned[1] + py, 1),
            told, FRAMES_PER_S,
        ]  # fmt: skip
