"""Clinicians' shares by the number of their runners, within what chance alone would do."""

from __future__ import annotations

import altair as alt

from casebook.charts.drawing import POINTS, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Row, Rows
from casebook.domain.audit_outcomes import Funnel, FunnelPoint

HEIGHT = 320
LIMITS, OVERALL = "limits", "overall"
# Distances of the axis' numbers in percent, how many fit, and the room below 0, of the height.
STEPS, MOST_STEPS, FOOT = (1, 2, 5, 10, 20), 8, 0.14
INNER, OUTER = "95 % limits", "99.8 % limits"
WITHIN, BEYOND, FAR = "within the limits", "beyond 95 %", "beyond 99.8 %"
SHAPES = {WITHIN: "circle", BEYOND: "triangle-up", FAR: "diamond"}


def funnel_plot(funnel: Funnel, *, label: str, palette: Palette) -> Spec:
    """Share improved beyond error against the number of runners, with exact limits.

    Parameters
    ----------
    funnel : Funnel
    label : str
        What improved, for those to whom the chart is read out.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    largest = funnel.limits[-1].total
    smallest = funnel.limits[0].total
    highest = [limit.high_998 for limit in funnel.limits]
    top = 100 * max(*highest, *(point.share for point in funnel.points))
    x = alt.X(
        "total:Q",
        title="runners with a verdict",
        scale=alt.Scale(domain=[smallest, largest], nice=False),
        axis=alt.Axis(grid=False, tickMinStep=1, format="d"),
    )
    high = top * 1.08
    step = next(one for one in STEPS if high / one <= MOST_STEPS)
    y = alt.Y(
        "share:Q",
        title="improved beyond error, %",
        # Room below for the names of those of whom nobody improved.
        scale=alt.Scale(domain=[-FOOT * high, high], nice=False),
        axis=alt.Axis(values=list(range(0, min(int(high), 100) + 1, step))),
    )
    lines = alt.Chart(alt.NamedData(LIMITS)).encode(
        x=x,
        y=y,
        detail="line:N",
        strokeDash=alt.StrokeDash(
            "limit:N",
            scale=alt.Scale(domain=[INNER, OUTER], range=[[2, 3], [7, 4]]),
            legend=alt.Legend(title=None, direction="vertical"),
        ),
    )
    overall = (
        alt.Chart(alt.NamedData(OVERALL)).mark_rule(color=palette.accent, strokeWidth=2).encode(y=y)
    )
    word = (
        alt.Chart(alt.NamedData(OVERALL))
        .mark_text(align="right", dy=-8, dx=-4, fontSize=12, color=palette.text)
        .encode(x=alt.value(alt.expr("width")), y=y, text="words:N")
    )
    rows = [_point(point, funnel.overall, at % 2) for at, point in enumerate(funnel.points)]
    kinds = [kind for kind in SHAPES if any(row["kind"] == kind for row in rows)]
    legend = alt.Legend(title=None, direction="vertical")
    colours = [palette.neutral if kind == WITHIN else palette.attention for kind in kinds]
    points = alt.Chart(alt.NamedData(POINTS)).encode(
        x=x,
        y=y,
        tooltip=[
            alt.Tooltip("name:N", title="Clinician"),
            alt.Tooltip("Improved:N"),
            alt.Tooltip("kind:N", title="Against chance"),
        ],
    )
    marks = points.mark_point(size=120, filled=True, opacity=1).encode(
        shape=alt.Shape(
            "kind:N",
            scale=alt.Scale(domain=kinds, range=[SHAPES[kind] for kind in kinds]),
            legend=legend,
        ),
        color=alt.Color("kind:N", scale=alt.Scale(domain=kinds, range=colours), legend=legend),
    )
    # Away from the common share, whose line would run through them, and from the next name.
    names = [
        points.transform_filter(f"datum.above == {str(above).lower()} && datum.place == {place}")
        .mark_text(dy=away, fontSize=12, color=palette.text)
        .encode(text="name:N")
        for above, place, away in (
            (True, 0, -14),
            (True, 1, -27),
            (False, 0, 15),
            (False, 1, 28),
        )
    ]
    drawn = alt.layer(
        lines.mark_line(strokeWidth=1.5, color=palette.muted), overall, word, marks, *names
    )
    return with_rows(
        styled(drawn.properties(height=HEIGHT, description=label), palette).to_dict(),
        {
            LIMITS: _limits(funnel),
            OVERALL: [
                {
                    "share": 100 * funnel.overall,
                    "words": f"all shown: {100 * funnel.overall:.0f} %",
                }
            ],
            POINTS: rows,
        },
    )


def _limits(funnel: Funnel) -> Rows:
    return [
        {"total": limit.total, "share": 100 * share, "limit": name, "line": f"{name} {end}"}
        for limit in funnel.limits
        for name, end, share in (
            (INNER, "low", limit.low_95),
            (INNER, "high", limit.high_95),
            (OUTER, "low", limit.low_998),
            (OUTER, "high", limit.high_998),
        )
    ]


def _point(point: FunnelPoint, overall: float, place: int) -> Row:
    return {
        "name": point.name,
        "total": point.total,
        "share": 100 * point.share,
        "above": point.share > overall,
        "place": place,
        "Improved": f"{point.count} of {point.total} ({100 * point.share:.0f} %)",
        "kind": FAR if point.beyond_998 else BEYOND if point.beyond_95 else WITHIN,
    }
