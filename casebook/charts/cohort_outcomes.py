"""Shares of a cohort that improved and that worsened beyond error, each with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import altair as alt

from casebook.charts.drawing import Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.domain.audit import Part

ROW_HEIGHT = 60
IMPROVED, WORSENED = "improved", "worsened"
WORDS = {IMPROVED: "Improved beyond error", WORSENED: "Worsened beyond error"}
# From the middle of a row: its name at the top, so that no width is lost to names on a narrow
# screen, then improved, then worsened.
NAME_OFFSET = -20
OFFSETS = {IMPROVED: -1, WORSENED: 17}
SHAPES = {IMPROVED: "circle", WORSENED: "triangle-down"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where words stand: behind the interval, before it, or where neither has room, at its end."""

    where: str
    align: Literal["left", "right"]
    dx: int
    end: str


PLACES = (
    _Place(where="datum.high <= 62", align="left", dx=8, end="high"),
    _Place(where="datum.high > 62 && datum.low >= 25", align="right", dx=-8, end="low"),
    _Place(where="datum.high > 62 && datum.low < 25", align="left", dx=8, end="share"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRow:
    """One line of the chart: what it is, and both shares."""

    label: str
    improved: Part
    worsened: Part


def outcome_shares(rows: Sequence[OutcomeRow], *, palette: Palette) -> Spec:
    """Shares across, a row each; improved a dot above, worsened a triangle below.

    Parameters
    ----------
    rows : sequence of OutcomeRow
        At least one; what is withheld is left out.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    labels = [row.label for row in rows]
    data = {
        name: [
            _row(row.label, part, name)
            for row in rows
            for part in (row.improved if name == IMPROVED else row.worsened,)
            if part.share is not None
        ]
        for name in WORDS
    }
    colours = {IMPROVED: palette.accent, WORSENED: palette.attention}
    layers = [layer for name in WORDS for layer in _layers(name, labels, colours[name], palette)]
    height = ROW_HEIGHT * len(rows)
    chart = styled(alt.layer(*layers).properties(height=height), palette)
    return with_rows(chart.to_dict(), data)


def _layers(name: str, labels: list[str], colour: str, palette: Palette) -> list[alt.Chart]:
    across = alt.Scale(domain=[0, 100], nice=False)
    y = alt.Y(
        "label:N",
        sort=labels,
        title=None,
        scale=alt.Scale(domain=labels),
        axis=alt.Axis(
            labelLimit=330,
            labelAlign="left",
            labelPadding=0,
            labelOffset=NAME_OFFSET,
            labelFontWeight="bold",
            ticks=False,
            domain=False,
        ),
    )
    base = alt.Chart(alt.NamedData(name)).encode(
        y=y,
        yOffset=alt.value(ROW_HEIGHT / 2 + OFFSETS[name]),
        tooltip=[
            alt.Tooltip("label:N", title="Measure"),
            alt.Tooltip("what:N", title="Verdict"),
            alt.Tooltip("count:N", title="Runners"),
            alt.Tooltip("interval:N", title="95 % interval"),
        ],
    )
    reach = base.mark_rule(strokeWidth=2, color=colour, opacity=0.75).encode(
        x=alt.X(
            "low:Q",
            title="share of runners with a verdict, %",
            scale=across,
            axis=alt.Axis(tickCount=5),
        ),
        x2="high:Q",
    )
    dot = base.mark_point(size=90, filled=True, opacity=1, color=colour, shape=SHAPES[name]).encode(
        x=alt.X("share:Q", scale=across)
    )
    # Words stand on the side where there is room for them.
    words = [
        base.transform_filter(place.where)
        .mark_text(align=place.align, dx=place.dx, fontSize=11, color=palette.text)
        .encode(x=alt.X(f"{place.end}:Q", scale=across), text="short:N")
        for place in PLACES
    ]
    return [reach, dot, *words]


def _row(label: str, part: Part, name: str) -> dict[str, Any]:
    share, low, high = (100 * (one or 0.0) for one in (part.share, part.low, part.high))
    return {
        "label": label,
        "what": WORDS[name],
        "share": share,
        "low": low,
        "high": high,
        "count": f"{part.count} of {part.total}",
        "interval": f"{low:.0f} to {high:.0f} %",
        "short": f"{name} {part.count} of {part.total}",
    }
