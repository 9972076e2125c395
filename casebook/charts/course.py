"""The course of one metric over a runner's visits: its sides, and below it their asymmetry."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from casebook.charts.drawing import (
    BANDS,
    BARS,
    MARKS,
    POINTS,
    SIDE_HEIGHT,
    SIDE_WORDS,
    STRIP,
    ZERO,
    Limits,
    Spec,
    asymmetry_drawing,
    filled,
    side_drawing,
)
from casebook.charts.palette import Palette
from casebook.charts.time_axis import Rows, TimeAxis, chart_day, local
from casebook.domain.verdicts import Call
from casebook.domain.wording import CALLS, number_words

ASYMMETRY = "asymmetry"
# Of the height of what is drawn, so that no point lies on an edge and a flag has room.
ROOM = 0.14


def side_course(course: pd.DataFrame, axis: TimeAxis, *, unit: str, palette: Palette) -> Spec:
    """Left and right by visit, with the baseline's band, programmes and complaints.

    Parameters
    ----------
    course : DataFrame
        One metric, one row a visit and side: `what` ('left', 'right', 'none', 'asymmetry';
        the last is left out), `visited_on` (datetime64), `value` (in the metric's unit), `n`
        (trials), `reference` (bool; part of the baseline, drawn hollow), `baseline` and
        `mdc95` (in the metric's unit, NaN where there is none: at a visit the band reaches
        that far from the baseline), `verdict` (code, '' where there is none), `flagged`
        (bool).
    axis : TimeAxis
    unit : str
        In words, for the axis title and the tooltip.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    kinds = set(course["what"])
    sides = course[course["what"] != ASYMMETRY]
    points, bands, bars = _points(sides, unit), _bands(sides, axis), axis.bar_rows()
    low, high = _extent(points, bands)
    floor = low - (high - low) * STRIP * 1.5 / SIDE_HEIGHT if bars else low
    drawing = side_drawing(
        tuple(words for side, words in SIDE_WORDS.items() if side in kinds),
        palette,
        flags=ASYMMETRY not in kinds,
    )
    rows = {POINTS: points, BANDS: bands, BARS: bars, MARKS: axis.mark_rows()}
    return filled(drawing, rows, _limits(axis, floor, high, unit))


def asymmetry_course(course: pd.DataFrame, axis: TimeAxis, *, unit: str, palette: Palette) -> Spec:
    """Right minus left by visit, with the baseline's band; flagged visits are ringed.

    Parameters
    ----------
    course : DataFrame
        One metric; columns as for `side_course`, of which the rows 'asymmetry' are drawn.
    axis : TimeAxis
    unit : str
        In words, of the asymmetry's form.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows = course[course["what"] == ASYMMETRY]
    points, bands = _points(rows, unit), _bands(rows, axis)
    low, high = _extent(points, bands, more=(0.0,))
    title = f"right − left, {unit}" if unit else "right − left"
    return filled(
        asymmetry_drawing(palette),
        {POINTS: points, BANDS: bands, ZERO: [{"value": 0.0}]},
        _limits(axis, low, high, title),
    )


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


def _bands(rows: pd.DataFrame, axis: TimeAxis) -> Rows:
    """Baseline and reach at every visit, and at both ends of the time shown."""
    first, last = axis.span
    bands: Rows = []
    for what in dict.fromkeys(rows["what"]):
        side = rows[(rows["what"] == what) & rows["baseline"].notna()]
        if side.empty:
            continue
        # At a visit of the baseline there is no change and so no MDC: the band runs on.
        reach = side["mdc95"].bfill().ffill().tolist()
        days = [first, *(day.date() for day in side["visited_on"]), last]
        baseline = float(side["baseline"].iloc[0])
        for day, mdc in zip(days, [reach[0], *reach, reach[-1]], strict=True):
            known = math.isfinite(mdc)
            bands.append(
                {
                    "Side": SIDE_WORDS.get(what, ""),
                    "visited_on": local(day),
                    "value": baseline,
                    "low": baseline - mdc if known else None,
                    "high": baseline + mdc if known else None,
                }
            )
    return bands


def _extent(points: Rows, bands: Rows, *, more: Iterable[float] = ()) -> tuple[float, float]:
    found = [point["value"] for point in points]
    found += [band[key] for band in bands for key in ("low", "value", "high")]
    known = [number for number in (*found, *more) if number is not None]
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    room = (high - low) * ROOM or abs(high) * 0.1 or 1.0
    return low - room, high + room


def _limits(axis: TimeAxis, low: float, high: float, title: str) -> Limits:
    first, last = axis.span
    return Limits(
        low=low,
        high=high,
        title=title,
        first=chart_day(first),
        last=chart_day(last),
        ticks=tuple(chart_day(day) for day in axis.visits),
    )
