"""Stated sureness against what held: the reliability diagram."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from casebook.charts.drawing import Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.statistics.calibration import ReliabilityPoint

HEIGHT = 300
GROUPS, PERFECT = "groups", "perfect"


def reliability_diagram(points: Sequence[ReliabilityPoint], *, palette: Palette) -> Spec:
    """What was stated across, what held upwards, each group with its 95 % interval.

    Parameters
    ----------
    points : sequence of ReliabilityPoint
        At least one.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows: Rows = [
        {
            "stated": 100 * point.sureness,
            "held": 100 * point.held.share,
            "low": 100 * point.held.low,
            "high": 100 * point.held.high,
            "Group": f"{100 * point.low:.0f} to {100 * point.high:.0f} %",
            "Stated": f"{100 * point.sureness:.0f} %",
            "Held": f"{point.held.count} of {point.held.total} ({100 * point.held.share:.0f} %)",
            "Interval": f"{100 * point.held.low:.0f} to {100 * point.held.high:.0f} %",
            "count": f"{point.held.count} of {point.held.total}",
        }
        for point in points
    ]
    scale = alt.Scale(domain=[0, 100], nice=False)
    x = alt.X("stated:Q", title="stated sureness, %", scale=scale, axis=alt.Axis(tickCount=5))

    def y(field: str) -> alt.Y:
        return alt.Y(f"{field}:Q", title="held, %", scale=scale, axis=alt.Axis(tickCount=5))

    perfect = (
        alt.Chart(alt.NamedData(PERFECT))
        .mark_line(strokeDash=[5, 4], strokeWidth=1.5, color=palette.muted)
        .encode(x=x, y=y("held"))
    )
    base = alt.Chart(alt.NamedData(GROUPS)).encode(
        x=x,
        tooltip=[
            alt.Tooltip("Group:N", title="Sureness of"),
            alt.Tooltip("Stated:N", title="Stated on average"),
            alt.Tooltip("Held:N"),
            alt.Tooltip("Interval:N", title="95 % interval"),
        ],
    )
    reach = base.mark_rule(strokeWidth=2, color=palette.accent).encode(y=y("low"), y2="high:Q")
    dot = base.mark_point(size=110, filled=True, opacity=1, color=palette.accent).encode(
        y=y("held")
    )
    word = base.mark_text(align="left", dx=9, fontSize=12, color=palette.text).encode(
        y=y("held"), text="count:N"
    )
    chart = styled(alt.layer(perfect, reach, dot, word).properties(height=HEIGHT), palette)
    ends: Rows = [{"stated": 0, "held": 0}, {"stated": 100, "held": 100}]
    return with_rows(chart.to_dict(), {PERFECT: ends, GROUPS: rows})
