"""Lines between points of a picture: their lean, their turn and their length across.

Points have x to the right and y UPWARDS, in pixels. Coordinates are plain numbers, or numbers
with an error (package `uncertainties`), which are carried through by first-order propagation
(delta method) with every correlation; the same formula serves both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from uncertainties import umath

# A number, or one with an error: the library brings no types.
Number = Any


@dataclass(frozen=True, slots=True)
class Point:
    """A point in a picture, y upwards, in pixels."""

    x: Number
    y: Number


def lean_deg(low: Point, high: Point) -> Number:
    """Lean of a line from the vertical.

    Parameters
    ----------
    low, high : Point
        The line runs from `low` to `high`.

    Returns
    -------
    float or number with an error
        In degrees, -180 to 180; positive where it leans to the right of the picture.

    References
    ----------
    [Winter2009]

    Examples
    --------
    >>> lean_deg(Point(0.0, 0.0), Point(3.0, 3.0))
    45.0
    """
    return umath.degrees(umath.atan2(high.x - low.x, high.y - low.y))


def turn_deg(first: tuple[Point, Point], second: tuple[Point, Point]) -> Number:
    """Turn from the direction of one segment to that of another.

    Parameters
    ----------
    first, second : pair of Point
        Each segment runs from its first point to its second.

    Returns
    -------
    float or number with an error
        In degrees, -180 to 180; positive where the second is turned anticlockwise.

    References
    ----------
    [Winter2009]

    Examples
    --------
    >>> right, up = Point(1.0, 0.0), Point(0.0, 1.0)
    >>> turn_deg((Point(0.0, 0.0), right), (Point(0.0, 0.0), up))
    90.0
    """
    ax, ay = first[1].x - first[0].x, first[1].y - first[0].y
    bx, by = second[1].x - second[0].x, second[1].y - second[0].y
    return umath.degrees(umath.atan2(ax * by - ay * bx, ax * bx + ay * by))


def middle(one: Point, other: Point) -> Point:
    """The point halfway between two.

    Parameters
    ----------
    one, other : Point

    Returns
    -------
    Point

    References
    ----------
    None: arithmetic.

    Examples
    --------
    >>> middle(Point(0.0, 0.0), Point(2.0, 4.0))
    Point(x=1.0, y=2.0)
    """
    return Point((one.x + other.x) / 2, (one.y + other.y) / 2)


def upright(point: Point, tilt_deg: Number) -> Point:
    """A point as a level camera would have seen it.

    Parameters
    ----------
    point : Point
    tilt_deg : float or number with an error
        Lean of a plumb line in the picture (`lean_deg`), in degrees.

    Returns
    -------
    Point
        Turned anticlockwise by `tilt_deg`, so that the plumb line stands upright.

    References
    ----------
    None: a rotation.

    Examples
    --------
    >>> turned = upright(Point(1.0, 1.0), 45.0)
    >>> round(turned.x, 9), round(turned.y, 4)
    (0.0, 1.4142)
    """
    angle = umath.radians(tilt_deg)
    cos, sin = umath.cos(angle), umath.sin(angle)
    return Point(point.x * cos - point.y * sin, point.x * sin + point.y * cos)


def across_cm(start: Point, end: Point, px_per_cm: Number, *, direction: int = 1) -> Number:
    """Horizontal distance between two points.

    Parameters
    ----------
    start, end : Point
    px_per_cm : float or number with an error
        Scale of the picture, pixels a centimetre.
    direction : int
        1 where the right of the picture counts as positive, else -1.

    Returns
    -------
    float or number with an error
        In centimetres.

    References
    ----------
    None: arithmetic.

    Examples
    --------
    >>> across_cm(Point(10.0, 0.0), Point(40.0, 7.0), 2.0)
    15.0
    """
    return direction * (end.x - start.x) / px_per_cm
