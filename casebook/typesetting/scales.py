"""Where the parts of a small chart lie, as shares of its width and height."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

from casebook.domain.summaries import Drawing, Panel, Phase

# Of the height of what is drawn, so that no mark lies on an edge.
ROOM = 0.12
# Of the time between the first and the last visit.
TIME_ROOM = 0.04
# Least distance of two names at the end of their lines, as a share of the height.
NAME_HEIGHT = 0.17
MOST_TICKS = 5


def placed(drawing: Drawing) -> dict[str, Any]:
    """A drawing as the template takes it: everything placed between 0 and 1, y upwards."""
    days = [day for panel in drawing.panels for line in panel.lines for day in line.days]
    first, last = min(days), max(days)
    return {
        "title": drawing.title,
        "told": drawing.told,
        "panels": [
            _panel(panel, first, last, _bars(drawing.phases, first, last))
            for panel in drawing.panels
        ],
    }


def _across(day: date, first: date, last: date) -> float:
    span = max((last - first).days, 1)
    return TIME_ROOM + (1 - 2 * TIME_ROOM) * (day - first).days / span


def _bars(phases: Sequence[Phase], first: date, last: date) -> list[list[float]]:
    """Start and end of each programme that touches the time shown, cut to it."""
    return [
        [
            max(_across(phase.started_on, first, last), 0.0),
            1.0 if phase.ended_on is None else min(_across(phase.ended_on, first, last), 1.0),
        ]
        for phase in phases
        if phase.started_on <= last and (phase.ended_on is None or phase.ended_on >= first)
    ]


def _panel(panel: Panel, first: date, last: date, bars: list[list[float]]) -> dict[str, Any]:
    low, high = _extent(panel)

    def up(value: float) -> float:
        return (value - low) / (high - low)

    return {
        "title": panel.title,
        "bars": bars,
        "band": None if panel.band is None else [up(panel.band[0]), up(panel.band[1])],
        "zero": up(0.0) if panel.zero else None,
        "ticks": [[up(tick), words] for tick, words in ticks(low, high)],
        "days": [
            [_across(day, first, last), f"{day.day} {day:%b %Y}"]
            for day in dict.fromkeys((first, last))
        ],
        "lines": [
            {
                "name": line.name,
                "at": place,
                "points": [
                    [_across(day, first, last), up(value), reference, unlike]
                    for day, value, reference, unlike in zip(
                        line.days, line.values, line.reference, line.unlike, strict=True
                    )
                ],
            }
            for line, place in zip(
                panel.lines, _apart([up(line.values[-1]) for line in panel.lines]), strict=True
            )
        ],
    }


def _extent(panel: Panel) -> tuple[float, float]:
    numbers = [value for line in panel.lines for value in line.values]
    numbers += panel.band or ()
    if panel.zero:
        numbers.append(0.0)
    low, high = min(numbers), max(numbers)
    room = (high - low) * ROOM or abs(high) * 0.1 or 1.0
    return low - room, high + room


def _apart(places: Sequence[float]) -> list[float]:
    """The names' heights, moved apart where they would lie on one another."""
    if len(places) != 2:
        return list(places)
    lower, upper = sorted(places)
    lacking = NAME_HEIGHT - (upper - lower)
    if lacking > 0:
        lower, upper = lower - lacking / 2, upper + lacking / 2
    return [lower, upper] if places[0] <= places[1] else [upper, lower]


def ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Round numbers between two ends, at most five, each with its words.

    Examples
    --------
    >>> [words for _, words in ticks(-4.2, 11.0)]
    ['0', '5', '10']
    >>> [words for _, words in ticks(-0.3, 0.25)]
    ['−0.2', '0', '0.2']
    """
    rough = (high - low) / (MOST_TICKS - 1)
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(many * size for many in (1, 2, 5, 10) if many * size >= rough)
    digits = max(0, -math.floor(math.log10(step)))
    return [
        (number * step, _words(number * step, digits))
        for number in range(math.ceil(low / step), math.floor(high / step) + 1)
    ]


def _words(number: float, digits: int) -> str:
    body = f"{abs(number):.{digits}f}"
    if float(body) == 0:
        return "0"
    return f"−{body}" if number < 0 else body
