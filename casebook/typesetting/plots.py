"""Where the parts of a report's plot lie, as shares of its width and height."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from casebook.domain.reports import Drawn, Plot, Series
from casebook.typesetting.scales import ticks

ROOM = 0.06
# Least distance of two names at the end of their lines, as a share of the height.
NAME_HEIGHT = 0.07
# Two marks beside dots that lie nearer than this, across and up, would lie on one another.
MARK_WIDTH, MARK_HEIGHT = 0.16, 0.055
# The same in a list, as a share of one of its lines.
LISTED_APART = 0.6
# Bands lie behind, points on top.
ORDER = (Drawn.BAND, Drawn.LINE, Drawn.STAIR, Drawn.REACH, Drawn.DOTS)


def placed_plot(plot: Plot) -> dict[str, Any]:
    """A plot as the template takes it: everything placed between 0 and 1, y upwards.

    Raises
    ------
    ValueError
        For a plot without any point.
    """
    across = _Axis(plot.x_range or _span(_widths(plot.series), room=0.03))
    up = _Axis(plot.y_range or _span(_heights(plot.series), room=ROOM))
    x_ticks = plot.x_words or tuple(ticks(across.low, across.high))
    y_ticks = plot.y_words or tuple(ticks(up.low, up.high))
    return {
        "title": plot.title,
        "told": plot.told,
        "note": plot.note,
        "x_title": plot.x_title,
        "y_title": plot.y_title,
        "x_ticks": [[across.at(value), words] for value, words in x_ticks],
        "y_ticks": [[up.at(value), words] for value, words in y_ticks],
        "lines": len(plot.y_words),
        "below": [
            [name, [[across.at(value), words] for value, words in cells]]
            for name, cells in plot.below
        ],
        "series": [
            _series(one, across, up)
            for one in sorted(plot.series, key=lambda one: (ORDER.index(one.drawn), not one.faint))
        ],
        "marks": _marks(plot.series, across, up),
        "names": _names(plot.series, across, up, LISTED_APART / max(1, len(plot.y_words))),
    }


class _Axis:
    def __init__(self, ends: tuple[float, float]) -> None:
        self.low, self.high = ends

    def at(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


def _series(one: Series, across: _Axis, up: _Axis) -> dict[str, Any]:
    points = [[across.at(x), up.at(y)] for x, y in zip(one.x, one.y, strict=True)]
    if one.high:
        axis = across if one.drawn is Drawn.REACH else up
        for point, high in zip(points, one.high, strict=True):
            point.append(axis.at(high))
    return {"drawn": one.drawn.value, "look": one.look, "faint": one.faint, "points": points}


def _names(series: Sequence[Series], across: _Axis, up: _Axis, apart: float) -> list[list[Any]]:
    """Names beside the last points, moved apart upwards where they would lie on one another."""
    named = sorted((one for one in series if one.name), key=lambda one: one.y[-1])
    found: list[list[Any]] = []
    for one in named:
        height = up.at(one.y[-1])
        if found:
            height = max(height, found[-1][2] + min(NAME_HEIGHT, apart))
        end = 1.0 if one.drawn is Drawn.DOTS else across.at(one.x[-1])
        found.append([one.name, end, height, one.look])
    return found


def _marks(series: Sequence[Series], across: _Axis, up: _Axis) -> list[list[Any]]:
    """What stands beside each dot, moved apart upwards where two would lie on one another."""
    dots = sorted(
        (up.at(y), across.at(x), mark, one.look)
        for one in series
        for x, y, mark in zip(one.x, one.y, one.marks, strict=False)
    )
    found: list[list[Any]] = []
    for height, place, mark, look in dots:
        near = [other[2] for other in found if abs(other[1] - place) < MARK_WIDTH]
        free = max((other + MARK_HEIGHT for other in near), default=height)
        found.append([mark, place, max(height, free), look])
    return found


def _numbers(series: Sequence[Series], name: str) -> list[float]:
    return [number for one in series for number in getattr(one, name)]


def _widths(series: Sequence[Series]) -> list[float]:
    reaches = [one for one in series if one.drawn is Drawn.REACH]
    return _numbers(series, "x") + _numbers(reaches, "high")


def _heights(series: Sequence[Series]) -> list[float]:
    upright = [one for one in series if one.drawn is not Drawn.REACH]
    return _numbers(series, "y") + _numbers(upright, "high")


def _span(numbers: list[float], *, room: float) -> tuple[float, float]:
    if not numbers:
        raise ValueError("a plot without any point")
    low, high = min(numbers), max(numbers)
    more = (high - low) * room or abs(high) * 0.1 or 1.0
    return low - more, high + more
