"""Columns of the tables of marked points and of moments."""

from __future__ import annotations

from dataclasses import replace

from casebook.domain.marking import Landmark, MarkView, Moment
from casebook.domain.sides import Side
from casebook.intake.columns import Column, Type

_SIDES = (("l", "left"), ("r", "right"), ("none", "none"), ("midline", "none"), ("middle", "none"))
_VIEWS = (("behind", "posterior"), ("rear", "posterior"), ("lateral", "side"))
FRAME = Column(
    name="frame", type=Type.WHOLE, words="its number, from 0", required=True, low=0, high=1e7
)  # fmt: skip
SIDE = Column(
    name="side",
    type=Type.CHOICE,
    words="side of the runner's body; blank for what has none",
    allowed=tuple(Side),
    also=_SIDES,
)
REPEAT = Column(
    name="repeat",
    type=Type.WHOLE,
    words="1 for the first marking of a frame, 2 for the second, ...",
    low=1,
    high=100,
)
RATE = Column(
    name="frames_per_s", type=Type.NUMBER, words="frames a second", low=10, high=2000
)  # fmt: skip
VIEW = Column(
    name="view",
    type=Type.CHOICE,
    words="where the camera stood",
    allowed=tuple(MarkView),
    also=_VIEWS,
)
POINT_COLUMNS: tuple[Column, ...] = (
    FRAME,
    Column(
        name="landmark",
        type=Type.CHOICE,
        words="what was marked",
        required=True,
        allowed=tuple(Landmark),
    ),
    Column(name="x", type=Type.NUMBER, words="pixels rightward", required=True, low=-1e5, high=1e5),
    Column(name="y", type=Type.NUMBER, words="pixels downwards", required=True, low=-1e5, high=1e5),
    replace(VIEW, required=True),
    SIDE,
    REPEAT,
    Column(
        name="px_per_cm",
        type=Type.NUMBER,
        words="scale in the plane of the runner, pixels a centimetre; readings that differ are "
        "repeated readings",
        low=0.01,
        high=1e4,
    ),
    RATE,
)  # fmt: skip
EVENT_COLUMNS: tuple[Column, ...] = (
    FRAME,
    Column(
        name="event",
        type=Type.CHOICE,
        words="contact: first frame with the foot on the ground; toe_off: first without; "
        "heel_rise: first with the heel off it; mid_stance",
        required=True,
        allowed=tuple(Moment),
    ),
    Column(
        name="side",
        type=Type.CHOICE,
        words="foot that it is about",
        required=True,
        allowed=(Side.LEFT, Side.RIGHT),
        also=_SIDES[:2],
    ),
    VIEW,
    REPEAT,
    RATE,
)
