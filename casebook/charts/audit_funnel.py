"""Clinicians' shares by the number of their runners, within what chance alone would do."""

from __future__ import annotations

import altair as alt

from casebook.charts.drawing import POINTS, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.audit_outcomes import Funnel, FunnelPoint

HEIGHT = 320
LIMITS, OVERALL, ENDS = "limits", "overall", "ends"
INNER, OUTER = "95 % limits", "99.8 % limits"
WITHIN, BEYOND, FAR = "within the limits", "rarer than 95 %", "rarer than 99.8 %"


def funnel_plot(funnel: Funnel, *, label: str, palette: Palette) -> Spec:
    """Share improved beyond error against the number of runners, with exact limits.

    Parameters
    ----------
    funnel : Funnel
    label : str
        What improved, for the axis.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    largest = funnel.limits[-1].total
    smallest = funnel.limits[0].total
    top = max(
        [100 * limit.high_998 for limit in funnel.limits]
        + [100 * point.share for point in funnel.points]
    )
    x = alt.X(
        "total:Q",
        title="runners with a verdict",
        scale=alt.Scale(domain=[smallest, largest], nice=False),
        axis=alt.Axis(grid=False, tickMinStep=1, format="d"),
    )
    scale = alt.Scale(domain=[0, min(100.0, top * 1.08)], nice=False)
    y = alt.Y("share:Q", title=f"improved beyond error, % ({label})", scale=scale)
    lines = alt.Chart(alt.NamedData(LIMITS)).encode(
        x=x,
        y=y,
        detail="line:N",
        strokeDash=alt.StrokeDash(
            "limit:N",
            scale=alt.Scale(domain=[INNER, OUTER], range=[[2, 3], [7, 4]]),
            legend=alt.Legend(title=None),
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
    kinds = [WITHIN, BEYOND, FAR]
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
            scale=alt.Scale(domain=kinds, range=["circle", "triangle-up", "diamond"]),
            legend=alt.Legend(title=None),
        ),
        color=alt.Color(
            "kind:N",
            scale=alt.Scale(
                domain=kinds, range=[palette.neutral, palette.attention, palette.attention]
            ),
            legend=alt.Legend(title=None),
        ),
    )
    names = points.mark_text(dy=-13, fontSize=12, color=palette.text).encode(text="name:N")
    drawn = alt.layer(
        lines.mark_line(strokeWidth=1.5, color=palette.muted), overall, word, marks, names
    )
    return with_rows(
        styled(drawn.properties(height=HEIGHT), palette).to_dict(),
        {
            LIMITS: _limits(funnel),
            OVERALL: [
                {
                    "share": 100 * funnel.overall,
                    "words": f"all shown: {100 * funnel.overall:.0f} %",
                }
            ],
            POINTS: [_point(point) for point in funnel.points],
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


def _point(point: FunnelPoint) -> dict[str, object]:
    return {
        "name": point.name,
        "total": point.total,
        "share": 100 * point.share,
        "Improved": f"{point.count} of {point.total} ({100 * point.share:.0f} %)",
        "kind": FAR if point.beyond_998 else BEYOND if point.beyond_95 else WITHIN,
    }
