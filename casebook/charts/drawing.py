"""The drawings behind the courses, made by Altair once for each kind and then only filled.

Altair checks every part of a chart against its grammar, which takes longer than all else on a
runner's page. What differs from metric to metric (rows, limits, a unit) is filled in later, so
that the checking is done once for a kind of chart and not for every chart.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import altair as alt

from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.charts.time_layers import (
    mark_layers,
    name_layers,
    phase_layers,
    programme_layers,
)

Spec = dict[str, Any]

SIDE_HEIGHT = 220
ASYMMETRY_HEIGHT = 140
# Both panels reserve the same room for their labels, so that the visits stand in line.
AXIS_ROOM = 46
SIDE_WORDS = {"left": "Left", "right": "Right", "none": "Whole body"}
SHAPES = {"Left": "triangle-left", "Right": "triangle-right", "Whole body": "circle"}
DASHES = {"Left": [1, 0], "Right": [6, 3], "Whole body": [1, 0]}
POINTS, BANDS, ZERO, SMOOTH = "points", "bands", "zero", "smooth"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a course's axes show.

    Parameters
    ----------
    low, high : float
        Ends of the value axis.
    title : str
        Of the value axis.
    first, last : dict
        Ends of the time axis.
    ticks : tuple of dict
        Days to be named along it.
    height : float
        Pixels of the panel, lanes and all.
    lanes : float
        Pixels of it at the foot that programmes take.
    """

    low: float
    high: float
    title: str
    first: Mapping[str, int]
    last: Mapping[str, int]
    ticks: tuple[Mapping[str, int], ...]
    height: float
    lanes: float


def filled(drawing: str, rows: Mapping[str, Rows], limits: Limits) -> Spec:
    """A drawing with its rows and limits, as a Vega-Lite specification.

    Layers without rows are left out, so that no empty band or ring is drawn.
    """
    spec: Spec = json.loads(drawing)
    spec["height"] = limits.height
    for layer in spec["layer"]:
        if layer["data"]["name"] == POINTS:
            _limit(layer["encoding"], limits)
    return with_rows(spec, rows)


def with_rows(spec: Spec, rows: Mapping[str, Rows]) -> Spec:
    """A specification whose layers hold the rows that they name; those without any are left out.

    Altair would gather the rows of all layers elsewhere; so they stand where they are drawn.
    """
    named = [(layer, layer["data"]["name"]) for layer in spec["layer"]]
    held = [{**layer, "data": {"values": rows[name]}} for layer, name in named if rows.get(name)]
    return {**spec, "layer": held}


def _limit(encoding: Spec, limits: Limits) -> None:
    x, y = encoding["x"], encoding["y"]
    x["scale"]["domain"] = [limits.first, limits.last]
    x["axis"]["values"] = list(limits.ticks)
    y["scale"]["domain"] = [limits.low, limits.high]
    # No value is named beside the programmes' lanes, where none is drawn.
    foot = limits.low + (limits.high - limits.low) * limits.lanes / limits.height
    beside = f"datum.value < {foot:.12g}"
    y["axis"]["labelExpr"] = f"{beside} ? '' : datum.label"
    for part in ("gridOpacity", "tickOpacity"):
        y["axis"][part] = {"condition": {"test": beside, "value": 0}, "value": 1}
    y["title"] = limits.title or None


@lru_cache(maxsize=32)
def side_drawing(
    sides: tuple[str, ...], palette: Palette, *, flags: bool, smooth: bool = False
) -> str:
    """Sides by visit, with their bands, programmes and complaints; JSON to be filled.

    Parameters
    ----------
    sides : tuple of str
        Words of the sides that are drawn.
    palette : Palette
    flags : bool
        Whether flagged visits are ringed here, which they are where there is no asymmetry.
    smooth : bool
        Whether the smoothed course is drawn, instead of a line from visit to visit.
    """
    colours = {"Left": palette.left, "Right": palette.right, "Whole body": palette.neutral}
    legend = alt.Legend(title=None) if len(sides) > 1 else None

    def scale(choices: Mapping[str, Any]) -> alt.Scale:
        return alt.Scale(domain=list(sides), range=[choices[side] for side in sides])

    colour = alt.Color("Side:N", scale=scale(colours), legend=legend)
    fill = alt.Fill("Side:N", scale=scale(colours), legend=legend)
    base = _points(zero=False)
    dash = alt.StrokeDash("Side:N", scale=scale(DASHES), legend=legend)
    line = base.mark_line(strokeWidth=2).encode(color=colour, strokeDash=dash)
    point = base.mark_point(size=110, strokeWidth=2, opacity=1).encode(
        color=colour,
        shape=alt.Shape("Side:N", scale=scale(SHAPES), legend=legend),
        fill=alt.when("datum.reference").then(alt.value(palette.background)).otherwise(fill),
        tooltip=_tooltip(sided=True),
    )
    layers = [*phase_layers(palette), *mark_layers(palette)]
    layers += _band_layers(colour, fill, edges=smooth)
    layers += _smooth_layers(colour, fill, dash) if smooth else [line]
    layers += [point, *(_flag_layers(base, palette) if flags else ())]
    layers += [*programme_layers(palette, dated=True), *name_layers(palette)]
    return _drawn(layers, SIDE_HEIGHT, palette)


@lru_cache(maxsize=4)
def asymmetry_drawing(palette: Palette, *, smooth: bool = False) -> str:
    """Right minus left by visit, with its band and rings around flagged visits.

    Parameters
    ----------
    palette : Palette
    smooth : bool
        Whether the smoothed course is drawn, instead of a line from visit to visit.
    """
    colour = alt.value(palette.neutral)
    base = _points(zero=True)
    line = base.mark_line(strokeWidth=2).encode(color=colour)
    point = base.mark_point(size=80, strokeWidth=2, shape="diamond", opacity=1).encode(
        color=colour,
        fill=alt.when("datum.reference").then(alt.value(palette.background)).otherwise(colour),
        tooltip=_tooltip(sided=False),
    )
    zero = (
        alt.Chart(alt.NamedData(ZERO))
        .mark_rule(strokeWidth=1, color=palette.muted)
        .encode(y="value:Q")
    )
    layers = [*phase_layers(palette), zero, *_band_layers(colour, colour, edges=smooth)]
    layers += _smooth_layers(colour, colour, alt.value([1, 0])) if smooth else [line]
    layers += [point, *_flag_layers(base, palette), *programme_layers(palette, dated=False)]
    layers += name_layers(palette)
    return _drawn(layers, ASYMMETRY_HEIGHT, palette)


def _drawn(layers: list[alt.Chart], height: int, palette: Palette) -> str:
    chart = styled(alt.layer(*layers).properties(height=height), palette)
    return json.dumps(chart.to_dict())


def _points(*, zero: bool) -> alt.Chart:
    return alt.Chart(alt.NamedData(POINTS)).encode(
        x=alt.X(
            "visited_on:T",
            title=None,
            scale=alt.Scale(nice=False),
            axis=alt.Axis(
                format="%-d %b %y",
                labelOverlap="greedy",
                labelSeparation=8,
                labelFlush=True,
                grid=False,
            ),
        ),
        y=alt.Y(
            "value:Q",
            title=None,
            scale=alt.Scale(nice=False, zero=zero),
            axis=alt.Axis(
                minExtent=AXIS_ROOM,
                maxExtent=AXIS_ROOM,
                tickCount=5,
                domain=False,
                titlePadding=4,
            ),
        ),
    )


def _tooltip(*, sided: bool) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("visited_on:T", title="Visit", format="%-d %B %Y"),
        *([alt.Tooltip("Side:N", title="Side")] if sided else []),
        alt.Tooltip("Value:N", title="Mean" if sided else "Right minus left"),
        alt.Tooltip("n:N", title="Trials"),
        alt.Tooltip("Meaning:N", title="Against baseline"),
    ]


def _flag_layers(base: alt.Chart, palette: Palette) -> list[alt.Chart]:
    flagged = base.transform_filter("datum.flagged")
    ring = flagged.mark_point(
        size=420, shape="circle", strokeWidth=2.5, color=palette.attention, filled=False, opacity=1
    ).encode(tooltip=_tooltip(sided=False))
    word = flagged.mark_text(
        text="flag", dy=-19, fontWeight=600, fontSize=12, color=palette.attention
    )
    return [ring, word]


def _band_layers(colour: Any, fill: Any, *, edges: bool) -> list[alt.Chart]:
    """The baseline and the reach of error around it; only its edges where more is drawn."""
    base = alt.Chart(alt.NamedData(BANDS)).encode(x="visited_on:T", color=colour)
    known = base.transform_filter("isValid(datum.low)").encode(detail=["Side:N", "run:N"])
    paler = alt.when("datum.bound").then(alt.value(0.06)).otherwise(alt.value(0.14))
    if edges:
        faint = known.mark_line(strokeWidth=1, opacity=0.45)
        reach = [faint.encode(y="low:Q"), faint.encode(y="high:Q")]
    else:
        reach = [
            known.mark_area(strokeWidth=0, line=False).encode(
                y="low:Q", y2="high:Q", fill=fill, opacity=paler
            )
        ]
    middle = base.mark_line(strokeWidth=1, strokeDash=[2, 3], opacity=0.8).encode(y="value:Q")
    return [*reach, middle]


def _smooth_layers(colour: Any, fill: Any, dash: Any) -> list[alt.Chart]:
    base = alt.Chart(alt.NamedData(SMOOTH)).encode(
        x="visited_on:T",
        color=colour,
        tooltip=[
            alt.Tooltip("visited_on:T", title="Visit", format="%-d %B %Y"),
            alt.Tooltip("Smoothed:N"),
            alt.Tooltip("Band:N", title="95 % band"),
        ],
    )
    band = base.mark_area(opacity=0.16, strokeWidth=0, line=False).encode(
        y="low:Q", y2="high:Q", fill=fill
    )
    return [band, base.mark_line(strokeWidth=2.5).encode(y="value:Q", strokeDash=dash)]
