"""Points that were marked on still frames, moments of the stride, and what came of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from casebook.domain.sides import Side


class MarkView(StrEnum):
    """From where the camera looked; each view counts its frames by itself."""

    POSTERIOR = "posterior"
    SIDE = "side"


class Landmark(StrEnum):
    """What was marked, in plain words (see `LANDMARK_WORDS`)."""

    HEEL_LOW = "heel_low"
    HEEL_HIGH = "heel_high"
    HEEL = "heel"
    TOE = "toe"
    ANKLE = "ankle"
    KNEE = "knee"
    HIP = "hip"
    PELVIS = "pelvis"
    SHOULDER = "shoulder"
    NECK = "neck"
    EAR = "ear"
    PLUMB_LOW = "plumb_low"
    PLUMB_HIGH = "plumb_high"


class Moment(StrEnum):
    """A moment of the stride, on the side of the foot on the ground."""

    CONTACT = "contact"
    MID_STANCE = "mid_stance"
    HEEL_RISE = "heel_rise"
    TOE_OFF = "toe_off"


LANDMARK_WORDS: dict[Landmark, str] = {
    Landmark.HEEL_LOW: "lower point of the line through the middle of the heel, from behind",
    Landmark.HEEL_HIGH: "upper point of that line",
    Landmark.HEEL: "heel, lowest point of the sole at its back, from the side",
    Landmark.TOE: "tip of the sole, from the side",
    Landmark.ANKLE: "ankle (from behind its middle, from the side the outer ankle)",
    Landmark.KNEE: "knee (from behind its middle, from the side its outer joint line)",
    Landmark.HIP: "hip joint (from the side the greater trochanter)",
    Landmark.PELVIS: (
        "pelvis: from behind the bony point at its back on either side, from the side its middle"
    ),
    Landmark.SHOULDER: "shoulder, from the side",
    Landmark.NECK: "lowest point of the neck, from behind",
    Landmark.EAR: "ear, from the side",
    Landmark.PLUMB_LOW: "lower point of a plumb line or an upright edge",
    Landmark.PLUMB_HIGH: "upper point of it",
}
PLUMB = frozenset({Landmark.PLUMB_LOW, Landmark.PLUMB_HIGH})
# Landmarks of a view, each with whether it has a side.
LANDMARKS_OF: dict[MarkView, dict[Landmark, bool]] = {
    MarkView.POSTERIOR: {
        Landmark.HEEL_LOW: True,
        Landmark.HEEL_HIGH: True,
        Landmark.ANKLE: True,
        Landmark.KNEE: True,
        Landmark.HIP: True,
        Landmark.PELVIS: True,
        Landmark.NECK: False,
        Landmark.PLUMB_LOW: False,
        Landmark.PLUMB_HIGH: False,
    },
    MarkView.SIDE: {
        Landmark.HEEL: True,
        Landmark.TOE: True,
        Landmark.ANKLE: True,
        Landmark.KNEE: True,
        Landmark.HIP: True,
        Landmark.SHOULDER: True,
        Landmark.PELVIS: False,
        Landmark.EAR: False,
        Landmark.PLUMB_LOW: False,
        Landmark.PLUMB_HIGH: False,
    },
}
# Metrics in whose sides one and the same error appears with opposite signs, so that the error
# of right minus left is larger than that of two independent sides: a contact ends one side's
# step and begins the other's, and a camera that leans leans outwards for one side only.
SHARED_CONTACTS = frozenset({"step_time", "step_length"})
SHARED_TILT = frozenset(
    {
        "foot_inversion_at_contact",
        "lower_leg_angle_posterior",
        "knee_travel_to_midline",
        "contralateral_pelvic_drop",
        "trunk_side_lean",
    }
)
OPPOSED_SIDES = SHARED_CONTACTS | SHARED_TILT


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedPoint:
    """One marking of one landmark.

    Parameters
    ----------
    side : Side
        Of the runner's body, not of the picture; NONE for what has none.
    x_px, y_px : float
        In pixels, x to the right and y downwards, as pictures count.
    repeat : int
        1 for the first marking of the frame, 2 for the second, ...
    row, file
        Where it stood.
    """

    view: MarkView
    frame: int
    landmark: Landmark
    side: Side
    x_px: float
    y_px: float
    repeat: int = 1
    row: int = 0
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedEvent:
    """The frame at which a moment was seen: contact the first frame with the foot on the
    ground, toe-off the first without, heel rise the first with the heel off the ground.
    """

    view: MarkView
    frame: int
    moment: Moment
    side: Side
    repeat: int = 1
    row: int = 0
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Everything that was marked.

    Parameters
    ----------
    px_per_cm : dict of MarkView to tuple of float
        Every different reading of the scale of a view.
    frames_per_s : dict of MarkView to float
    notes : tuple of str
        What was understood, in words.
    """

    points: tuple[MarkedPoint, ...] = ()
    events: tuple[MarkedEvent, ...] = ()
    px_per_cm: dict[MarkView, tuple[float, ...]] = field(default_factory=dict)
    frames_per_s: dict[MarkView, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkSettings:
    """How well was marked, and what the pictures do not show; None where it was not said.

    Parameters
    ----------
    point_sd_px : float or None
        Standard deviation of one marking of a point, along each axis, in pixels. None: from
        points that were marked more than once, and unknown where there are none.
    event_sd_frames : float or None
        Standard deviation of the frame that is chosen for a moment, beside the rounding to a
        whole frame. None: from moments that were marked more than once, else 0.
    tilt_sd_deg : float or None
        Standard deviation of the camera's lean where no plumb line was marked.
    px_per_cm_sd : float or None
        Standard deviation of the scale, in pixels a centimetre.
    speed_km_h, speed_sd_km_h : float or None
        Running speed, for lengths of steps.
    frames_per_s : float or None
        For views whose rows do not say it.
    last_frame : int or None
        Number of the clip's last frame.
    """

    point_sd_px: float | None = None
    event_sd_frames: float | None = None
    tilt_sd_deg: float | None = None
    px_per_cm_sd: float | None = None
    speed_km_h: float | None = None
    speed_sd_km_h: float | None = None
    frames_per_s: float | None = None
    last_frame: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameNote:
    """Something to be told of a frame; `withheld` where no metric was read because of it.

    `frame` is None where it concerns a whole view, `view` None where it concerns all of it.
    """

    code: str
    message: str
    view: MarkView | None = None
    frame: int | None = None
    withheld: bool = False

    def __str__(self) -> str:
        place = [f"{VIEW_WORDS[self.view]}"] if self.view is not None else []
        if self.frame is not None:
            place.append(f"frame {self.frame}")
        where = ", ".join(place)
        return f"{where}: {self.message}" if where else self.message


MOST_FRAMES_NAMED = 8
VIEW_WORDS = {MarkView.POSTERIOR: "from behind", MarkView.SIDE: "from the side"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedTrial:
    """One trial of a metric; `sd` its marking error, in the metric's unit, None if unknown."""

    frame: int
    value: float
    sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedValue:
    """What came of the marks for a metric and side, in the metric's own unit.

    Parameters
    ----------
    own_sd : float or None
        Error of a single trial that every trial has anew (root mean square).
    shared_sd : float or None
        Error that all trials have alike (scale, camera, speed, and the rounding of moments to
        whole frames, which they may have): more trials do not shrink it.
    mean_sd : float or None
        Error of the mean, with everything that the trials have in common.
    marking_sd : float or None
        What is stored: at least the error of a single trial, and so large that divided by
        sqrt(n) it is at least `mean_sd`.
    """

    metric: str
    side: Side
    view: MarkView
    trials: tuple[MarkedTrial, ...]
    mean: float
    own_sd: float | None
    shared_sd: float | None
    mean_sd: float | None
    marking_sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedAsymmetry:
    """Right minus left of a metric's means, with its own error.

    Parameters
    ----------
    sd : float or None
        Error of the difference, with what both sides share.
    sd_if_independent : float or None
        What it would be if the sides shared nothing.
    """

    metric: str
    value: float
    sd: float | None
    sd_if_independent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Everything that was computed from marks.

    Parameters
    ----------
    point_sd_px, event_sd_frames : float or None
        Errors that were used, widened where they were estimated.
    notes : tuple of FrameNote
        Problems of frames and what was taken for granted.
    """

    values: tuple[MarkedValue, ...]
    asymmetries: tuple[MarkedAsymmetry, ...]
    notes: tuple[FrameNote, ...]
    point_sd_px: float | None
    event_sd_frames: float


def note_lines(notes: Sequence[FrameNote]) -> tuple[tuple[str, bool], ...]:
    """Notes as sentences, what is said of several frames once, and whether it withholds values.

    Parameters
    ----------
    notes : sequence of FrameNote

    Returns
    -------
    tuple of (str, bool)
        Those that withhold a value come first.
    """
    kinds: dict[tuple[str, MarkView | None, str], list[FrameNote]] = {}
    for note in notes:
        # A lean differs by a tenth from frame to frame: the first tells it for all.
        said = "" if note.code == "not_level" else note.message
        kinds.setdefault((note.code, note.view, said), []).append(note)
    lines = [(_line(found), found[0].withheld) for found in kinds.values()]
    return tuple(sorted(lines, key=lambda line: not line[1]))


def _line(notes: Sequence[FrameNote]) -> str:
    first = notes[0]
    frames = sorted({note.frame for note in notes if note.frame is not None})
    if len(frames) < 2:
        return str(first)
    named = ", ".join(map(str, frames[:MOST_FRAMES_NAMED]))
    more = len(frames) - MOST_FRAMES_NAMED
    view = f"{VIEW_WORDS[first.view]}, " if first.view is not None else ""
    return f"{view}frames {named}{f' and {more} more' if more > 0 else ''}: {first.message}"
