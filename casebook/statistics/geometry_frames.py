"""Marked frames: points with their errors, upright and to scale."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from casebook.domain.marking import (
    PLUMB,
    FrameNote,
    Landmark,
    MarkedPoint,
    Marks,
    MarkSettings,
    MarkView,
)
from casebook.domain.sides import Side
from casebook.statistics.geometry import Number, Point, lean_deg, upright
from casebook.statistics.geometry_spread import (
    nominal,
    repeated_sd,
    std_dev,
    widened_sd,
    with_error,
)

# Below this lean a plumb line is not worth a word. Common practice, no source.
LEVEL_ENOUGH_DEG = 0.5
# A line between points nearer to each other than this many marking errors has no direction
# that the first-order propagation could tell an error of. Common practice, no source.
FEWEST_ERRORS_APART = 5.0

Key = tuple[Landmark, Side]


@dataclass(frozen=True, slots=True, kw_only=True)
class FramesOfView:
    """The marked frames of one view.

    Parameters
    ----------
    frames : dict of int to dict
        Points by landmark and side: upright, y upwards, in pixels.
    px_per_cm : number, with or without an error, or None
    ahead : int
        From the side: 1 where the runner runs to the right of the picture, -1 to the left, 0
        where no foot tells it. From behind always 0.
    point_sd : float
        Error of one marking along each axis; 0 where it is not known.
    """

    view: MarkView
    frames: dict[int, dict[Key, Point]]
    px_per_cm: Number | None
    ahead: int
    point_sd: float
    notes: tuple[FrameNote, ...] = ()
    confused: frozenset[int] = field(default=frozenset())


def point_error_px(points: Iterable[MarkedPoint], given: float | None) -> float | None:
    """Standard deviation of one marking of a point, along each axis.

    Parameters
    ----------
    points : iterable of MarkedPoint
    given : float or None
        What the user said; it goes before what the repeats tell.

    Returns
    -------
    float or None
        In pixels; pooled over x and y of what was marked more than once, and widened for how
        few markings that were. None where nothing was given and nothing repeated.

    References
    ----------
    [Bland1995], [Student1908]

    Examples
    --------
    >>> point_error_px((), 2.0), point_error_px((), None)
    (2.0, None)
    """
    if given is not None:
        return given
    sd, degrees = repeated_sd(
        ((point.view, point.frame, point.landmark, point.side, axis), number)
        for point in points
        for axis, number in (("x", point.x_px), ("y", point.y_px))
    )
    return widened_sd(sd, degrees) if degrees else None


def frames_of_view(
    marks: Marks, view: MarkView, settings: MarkSettings, point_sd: float | None
) -> FramesOfView:
    """The frames of a view with everything that its points share.

    Parameters
    ----------
    marks : Marks
    view : MarkView
    settings : MarkSettings
    point_sd : float or None
        `point_error_px`. A point that was marked k times stands at the mean, with
        point_sd / sqrt(k).

    Returns
    -------
    FramesOfView
        Turned so that the view's plumb line stands upright; the errors of plumb line and scale
        are one and the same in every frame.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> frames_of_view(Marks(), MarkView.SIDE, MarkSettings(), 1.0).frames
    {}
    """
    raw: dict[int, dict[Key, Point]] = {}
    for (frame, key), marked in _grouped(marks.points, view).items():
        raw.setdefault(frame, {})[key] = _mean_point(marked, point_sd or 0.0)
    tilt, notes = _tilt(raw, view, settings.tilt_sd_deg)
    frames = {
        frame: {
            key: upright(point, tilt) if tilt is not None else point
            for key, point in points.items()
            if key[0] not in PLUMB
        }
        for frame, points in raw.items()
    }
    scale, scale_notes = _scale(marks.px_per_cm.get(view, ()), view, settings.px_per_cm_sd)
    ahead, facing_notes, facing_wrong = _facing(frames, view)
    wrong_notes, wrong = _impossible(frames, view)
    return FramesOfView(
        view=view,
        frames=frames,
        px_per_cm=scale,
        ahead=ahead,
        point_sd=point_sd or 0.0,
        notes=(
            *notes,
            *(scale_notes if frames else ()),
            *facing_notes,
            *_mirror_untold(marks.points, view),
            *wrong_notes,
        ),
        confused=facing_wrong | wrong,
    )


def _grouped(
    points: Sequence[MarkedPoint], view: MarkView
) -> dict[tuple[int, Key], list[MarkedPoint]]:
    found: dict[tuple[int, Key], list[MarkedPoint]] = {}
    for point in points:
        if point.view is view:
            found.setdefault((point.frame, (point.landmark, point.side)), []).append(point)
    return found


def _mean_point(marked: Sequence[MarkedPoint], sd: float) -> Point:
    k = len(marked)
    return Point(
        with_error(sum(point.x_px for point in marked) / k, sd / math.sqrt(k)),
        with_error(-sum(point.y_px for point in marked) / k, sd / math.sqrt(k)),
    )


def distance_px(one: Point, other: Point) -> float:
    """Distance of two points.

    Parameters
    ----------
    one, other : Point

    Returns
    -------
    float
        In pixels, without its error.

    References
    ----------
    None: arithmetic.

    Examples
    --------
    >>> distance_px(Point(0.0, 0.0), Point(3.0, 4.0))
    5.0
    """
    return math.hypot(nominal(other.x) - nominal(one.x), nominal(other.y) - nominal(one.y))


def _tilt(
    raw: Mapping[int, Mapping[Key, Point]], view: MarkView, sd: float | None
) -> tuple[Number | None, list[FrameNote]]:
    low, high = (Landmark.PLUMB_LOW, Side.NONE), (Landmark.PLUMB_HIGH, Side.NONE)
    leans: dict[int, Number] = {}
    notes: list[FrameNote] = []
    for frame, points in sorted(raw.items()):
        if (low in points) != (high in points):
            notes.append(_note("plumb_incomplete", view, frame, "the plumb line has one end only."))
        elif low in points and distance_px(points[low], points[high]) == 0.0:
            notes.append(
                _note("coincident", view, frame, "both ends of the plumb line stand in one place.")
            )
        elif low in points:
            leans[frame] = lean_deg(points[low], points[high])
    if not leans:
        taken = "no plumb line was marked, so the camera is taken as level"
        told = (
            f"{taken}, give or take {sd:g} degrees in all frames alike."
            if sd
            else f"{taken}; if it leans, every angle to the vertical is wrong by as much."
        )
        notes.append(FrameNote(code="level_assumed", view=view, message=told))
        return (with_error(0.0, sd) if sd else None), notes if raw else []
    for frame, lean in leans.items():
        degrees, error = nominal(lean), std_dev(lean)
        if abs(degrees) > max(LEVEL_ENOUGH_DEG, 2.0 * error):
            notes.append(
                _note(
                    "not_level",
                    view,
                    frame,
                    f"the camera is not level: the plumb line leans {abs(degrees):.1f} degrees to "
                    f"the {'right' if degrees > 0 else 'left'}"
                    f"{f' (SD {error:.1f})' if error else ''}. Angles and distances are taken "
                    "against it.",
                    withheld=False,
                )
            )
    return sum(leans.values()) / len(leans), notes


def _scale(
    readings: Sequence[float], view: MarkView, sd: float | None
) -> tuple[Number | None, list[FrameNote]]:
    if not readings:
        return None, []
    n = len(readings)
    mean = sum(readings) / n
    if sd is not None:
        return with_error(mean, sd / math.sqrt(n)), []
    if n > 1:
        spread, degrees = repeated_sd(("scale", reading) for reading in readings)
        error = widened_sd(spread, degrees) / math.sqrt(n)
        told = (
            f"the scale is the mean of {n} readings, {mean:.3g} pixels a cm, SD "
            f"{error:.2g} allowing for how few they are; all frames share this error."
        )
        return with_error(mean, error), [FrameNote(code="scale_repeated", view=view, message=told)]
    told = (
        f"the scale of {mean:g} pixels a cm is taken as exact: no error of it was given, and it "
        "was read once only."
    )
    return mean, [FrameNote(code="scale_exact", view=view, message=told)]


def _facing(
    frames: Mapping[int, Mapping[Key, Point]], view: MarkView
) -> tuple[int, list[FrameNote], frozenset[int]]:
    if view is not MarkView.SIDE or not frames:
        return 0, [], frozenset()
    feet = [
        (frame, side, nominal(points[toe].x) - nominal(points[heel].x))
        for frame, points in frames.items()
        for side in (Side.LEFT, Side.RIGHT)
        if (heel := (Landmark.HEEL, side)) in points and (toe := (Landmark.TOE, side)) in points
    ]
    votes = sum((length > 0) - (length < 0) for _, _, length in feet)
    if votes == 0:
        told = (
            "which way the runner runs can't be told: mark heel and toe of a foot in one frame "
            "at least (and not as often one way as the other). No angle is read."
        )
        return 0, [FrameNote(code="facing", view=view, message=told, withheld=True)], frozenset()
    ahead = 1 if votes > 0 else -1
    odd = [(frame, side) for frame, side, length in feet if length * ahead < 0]
    notes = [
        _note(
            "facing_odd",
            view,
            frame,
            f"the toe of the {side} foot lies behind its heel, for the runner runs to the "
            f"{'right' if ahead > 0 else 'left'} of the picture: are heel and toe swapped? "
            "Nothing is read from this frame.",
        )
        for frame, side in odd
    ]
    return ahead, notes, frozenset(frame for frame, _ in odd)


# From behind these lie apart by so much that the right one never lies on the left.
_APART = (Landmark.PELVIS, Landmark.HIP)
# The lower of two on a standing leg or trunk, and what lies above it.
_ABOVE = (
    (Landmark.HEEL_LOW, Landmark.HEEL_HIGH),
    (Landmark.KNEE, Landmark.HIP),
    (Landmark.HIP, Landmark.SHOULDER),
)


def _impossible(
    frames: Mapping[int, Mapping[Key, Point]], view: MarkView
) -> tuple[list[FrameNote], frozenset[int]]:
    notes: list[FrameNote] = []
    for frame, points in sorted(frames.items()):
        notes.extend(_swapped(points, view, frame))
        for side in (Side.LEFT, Side.RIGHT):
            for low, high in _ABOVE:
                one, other = points.get((low, side)), points.get((high, side))
                if one and other and nominal(one.y) > nominal(other.y):
                    notes.append(
                        _note(
                            "upside_down",
                            view,
                            frame,
                            f"the {low.value} of the {side} side stands above its {high.value}: "
                            "are they swapped, or does y count upwards (pictures count it "
                            "downwards)? Nothing is read from this frame.",
                        )
                    )
    return notes, frozenset(note.frame for note in notes if note.frame is not None)


def _swapped(points: Mapping[Key, Point], view: MarkView, frame: int) -> Iterable[FrameNote]:
    if view is not MarkView.POSTERIOR:
        return
    for landmark in _APART:
        left, right = points.get((landmark, Side.LEFT)), points.get((landmark, Side.RIGHT))
        if left and right and nominal(right.x) <= nominal(left.x):
            yield _note(
                "left_right_confused",
                view,
                frame,
                f"the right {landmark.value} does not lie to the right of the left one: left and "
                "right are confused, or the picture is mirrored or was taken from the front. "
                "Nothing is read from this frame.",
            )


def _mirror_untold(points: Sequence[MarkedPoint], view: MarkView) -> Iterable[FrameNote]:
    """By file: a mirrored picture with one leg alone turns every sign and looks like any other."""
    if view is not MarkView.POSTERIOR:
        return
    sides: dict[str, dict[tuple[int, Landmark], set[Side]]] = {}
    for point in points:
        if point.view is view and point.landmark not in PLUMB:
            of_file = sides.setdefault(point.file, {})
            of_file.setdefault((point.frame, point.landmark), set()).add(point.side)
    for file, found in sides.items():
        if any(landmark in _APART and len(both) > 1 for (_, landmark), both in found.items()):
            continue
        yield FrameNote(
            code="mirror_untold",
            view=view,
            message=f"{f'{file}: ' if len(sides) > 1 else ''}the picture is taken as not mirrored, "
            "left being the runner's left; nothing in the marks can tell. If it is, all that is "
            "read from it has the wrong sign: mark both hips or both pelvis points in one frame, "
            "and it is found.",
        )


def _note(
    code: str, view: MarkView, frame: int, message: str, *, withheld: bool = True
) -> FrameNote:
    return FrameNote(code=code, view=view, frame=frame, message=message, withheld=withheld)
