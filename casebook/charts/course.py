"""The course of one metric over a runner's visits: its sides, and below it their asymmetry."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from casebook.charts.drawing import (
    ASYMMETRY_HEIGHT,
    BANDS,
    POINTS,
    SIDE_HEIGHT,
    SIDE_WORDS,
    SMOOTH,
    ZERO,
    Limits,
    Spec,
    asymmetry_drawing,
    filled,
    side_drawing,
)
from casebook.charts.palette import Palette
from casebook.charts.time_axis import Row, Rows, TimeAxis, chart_day, local
from casebook.charts.time_layers import BARS, EDGES, LANE, MARKS, NAMES, PHASES
from casebook.domain.verdicts import Call
from casebook.domain.wording import CALLS, number_words

ASYMMETRY = "asymmetry"
# Of the height of what is drawn, so that no point lies on an edge and a flag has room.
ROOM = 0.14


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """A smoothed course with its band, one element a visit, in the unit of what is drawn."""

    days: Sequence[date]
    level: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


def side_course(
    course: pd.DataFrame,
    axis: TimeAxis,
    *,
    unit: str,
    palette: Palette,
    smooth: Mapping[str, Smooth] | None = None,
) -> Spec:
    """Left and right by visit, with the baseline's band, programmes and complaints.

    Parameters
    ----------
    course : DataFrame
        One metric, one row a visit and side: `what` ('left', 'right', 'none', 'asymmetry';
        the last is left out), `visited_on` (datetime64), `value` (in the metric's unit), `n`
        (trials), `reference` (bool; part of the baseline, drawn hollow), `baseline` and
        `mdc95` (in the metric's unit, NaN where there is none: at a visit the band reaches
        that far from the baseline), `lower_bound` (bool: that is too short a reach),
        `verdict` (code, '' where there is none), `flagged` (bool).
    axis : TimeAxis
    unit : str
        In words, for the axis title and the tooltip.
    palette : Palette
    smooth : mapping of str to Smooth, or None
        By `what`. Where it has a side, that course is drawn instead of a line from visit to
        visit, and the baseline's band by its edges alone.

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    kinds = set(course["what"])
    sides = course[course["what"] != ASYMMETRY]
    points, bands = _points(sides, unit), _bands(sides, axis)
    smoothed = _smooth_rows(smooth or {}, set(SIDE_WORDS), unit)
    low, high = _extent(points, [*bands, *smoothed])
    drawing = side_drawing(
        tuple(words for side, words in SIDE_WORDS.items() if side in kinds),
        palette,
        flags=ASYMMETRY not in kinds,
        smooth=bool(smoothed),
    )
    rows = {POINTS: points, BANDS: bands, SMOOTH: smoothed, MARKS: axis.mark_rows()}
    limits = _limits(axis, low, high, unit, height=SIDE_HEIGHT)
    return filled(drawing, rows | _programme_rows(axis), limits)


def asymmetry_course(
    course: pd.DataFrame,
    axis: TimeAxis,
    *,
    unit: str,
    palette: Palette,
    smooth: Mapping[str, Smooth] | None = None,
) -> Spec:
    """Right minus left by visit, with the baseline's band; flagged visits are ringed.

    Parameters
    ----------
    course : DataFrame
        One metric; columns as for `side_course`, of which the rows 'asymmetry' are drawn.
    axis : TimeAxis
    unit : str
        In words, of the asymmetry's form.
    palette : Palette
    smooth : mapping of str to Smooth, or None
        As for `side_course`; its 'asymmetry' is drawn.

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows = course[course["what"] == ASYMMETRY]
    points, bands = _points(rows, unit), _bands(rows, axis)
    smoothed = _smooth_rows(smooth or {}, {ASYMMETRY}, unit)
    low, high = _extent(points, [*bands, *smoothed], more=(0.0,))
    title = f"right − left, {unit}" if unit else "right − left"
    return filled(
        asymmetry_drawing(palette, smooth=bool(smoothed)),
        {
            POINTS: points,
            BANDS: bands,
            ZERO: [{"value": 0.0}],
            SMOOTH: smoothed,
        }
        | _programme_rows(axis),
        _limits(axis, low, high, title, height=ASYMMETRY_HEIGHT),
    )


def _programme_rows(axis: TimeAxis) -> dict[str, Rows]:
    return {
        BARS: axis.bar_rows(),
        EDGES: axis.edge_rows(),
        PHASES: axis.phase_rows(),
        NAMES: axis.name_rows(),
    }


def _points(rows: pd.DataFrame, unit: str) -> Rows:
    columns = ("what", "visited_on", "value", "n", "reference", "verdict", "flagged")
    return [
        {
            "Side": SIDE_WORDS.get(what, ""),
            "visited_on": local(visited_on.date()),
            "value": float(value),
            "n": int(n),
            "reference": bool(reference),
            "flagged": bool(flagged),
            "Value": number_words(value, unit),
            "Meaning": _meaning(verdict, reference=bool(reference)),
        }
        for what, visited_on, value, n, reference, verdict, flagged in zip(
            *(rows[column] for column in columns), strict=True
        )
        if math.isfinite(value)
    ]


def _meaning(verdict: str, *, reference: bool) -> str:
    if reference:
        return "part of the baseline"
    return CALLS[Call(verdict)] if verdict else ""


def _smooth_rows(smooth: Mapping[str, Smooth], kinds: set[str], unit: str) -> Rows:
    return [
        {
            "Side": SIDE_WORDS.get(what, ""),
            "visited_on": local(day),
            "value": level,
            "low": low,
            "high": high,
            "Smoothed": number_words(level, unit),
            "Band": f"{number_words(low, unit)} to {number_words(high, unit)}",
        }
        for what, one in smooth.items()
        if what in kinds
        for day, level, low, high in zip(one.days, one.level, one.low, one.high, strict=True)
    ]


def _bands(rows: pd.DataFrame, axis: TimeAxis) -> Rows:
    """Baseline and reach around every visit, half-way to the next; nothing where it is unknown."""
    bands: Rows = []
    for what in dict.fromkeys(rows["what"]):
        side = rows[(rows["what"] == what) & rows["baseline"].notna()]
        if side.empty:
            continue
        days = [day.date() for day in side["visited_on"]]
        edges = [axis.span[0], *map(_half_way, days[:-1], days[1:]), axis.span[1]]
        reaches = _reaches(side)
        run = 0
        for place, reach in enumerate(reaches):
            # What follows on the same kind of reach is drawn in one piece with it.
            if place and _kind(reach) != _kind(reaches[place - 1]):
                run += 1
            bands += [
                _band_row(what, day, float(side["baseline"].iloc[0]), reach, run)
                for day in edges[place : place + 2]
            ]
    return bands


def _band_row(what: str, day: date, baseline: float, reach: tuple[float, bool], run: int) -> Row:
    mdc, bound = reach
    known = math.isfinite(mdc)
    return {
        "Side": SIDE_WORDS.get(what, ""),
        "visited_on": local(day),
        "value": baseline,
        "low": baseline - mdc if known else None,
        "high": baseline + mdc if known else None,
        "bound": bound,
        "run": run,
    }


def _kind(reach: tuple[float, bool]) -> tuple[bool, bool]:
    return math.isfinite(reach[0]), reach[1]


def _half_way(first: date, second: date) -> date:
    return first + (second - first) / 2


def _reaches(side: pd.DataFrame) -> list[tuple[float, bool]]:
    """MDC of each visit and whether it is a lower bound.

    At a visit of the baseline there is no change and so no MDC: it takes that of the next
    visit that has a change, else of the one before.
    """
    own = list(zip(side["mdc95"].astype(float), side["lower_bound"].astype(bool), strict=True))
    changes = [place for place, is_part in enumerate(side["reference"]) if not is_part]
    if not changes:
        return [(math.nan, False)] * len(own)
    return [
        own[min(changes, key=lambda other: (other < place, abs(other - place)))]
        for place in range(len(own))
    ]


def _extent(points: Rows, bands: Rows, *, more: Iterable[float] = ()) -> tuple[float, float]:
    found = [point["value"] for point in points]
    found += [band[key] for band in bands for key in ("low", "value", "high")]
    known = [number for number in (*found, *more) if number is not None]
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    room = (high - low) * ROOM or abs(high) * 0.1 or 1.0
    return low - room, high + room


def _limits(axis: TimeAxis, low: float, high: float, title: str, *, height: float) -> Limits:
    """Limits with room at the foot for the programmes' lanes, which the panel is taller by."""
    first, last = axis.span
    lanes = LANE * len(axis.bars) + (LANE / 2 if axis.bars else 0)
    return Limits(
        low=low - (high - low) * lanes / height,
        high=high,
        title=title,
        first=chart_day(first),
        last=chart_day(last),
        ticks=tuple(chart_day(day) for day in axis.visits),
        height=height + lanes,
        lanes=lanes,
    )
