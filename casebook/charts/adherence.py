"""How well a programme was kept to: sessions done of those planned, week by week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import altair as alt

from casebook.charts.drawing import AXIS_ROOM, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows, chart_day, local
from casebook.domain.programmes import AdherenceWeek

HEIGHT = 110
WEEKS = "weeks"
PAIN = "pain"


def adherence_bars(
    weeks: Sequence[AdherenceWeek],
    *,
    palette: Palette,
    span: tuple[date, date] | None = None,
) -> Spec:
    """Sessions planned as outlines and done as bars; over each the worst pain of the week.

    Parameters
    ----------
    weeks : sequence of AdherenceWeek
        At least one.
    palette : Palette
    span : tuple of date or None
        First and last day shown, to stand under another chart; None takes the weeks' own.

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    a_week = timedelta(days=7)
    first, last = span or (
        min(week.week_start for week in weeks) - timedelta(days=1),
        max(week.week_start for week in weeks) + a_week + timedelta(days=1),
    )
    shown = {week.week_start for week in weeks if first <= week.week_start <= last}
    rows: Rows = [
        {
            "week_start": local(max(week.week_start, first)),
            "until": local(min(week.week_start + a_week - timedelta(days=1), last)),
            "planned": week.sessions_planned,
            "done": week.sessions_done,
            "Week": f"{week.week_start.day} {week.week_start:%b %Y}",
            "Sessions": f"{week.sessions_done} of {week.sessions_planned}",
            "During": _pain(week.pain_during),
            "Morning": _pain(week.pain_morning_after),
            "Comment": week.comment or "–",
            "worst": _worst(week),
            "top": max(week.sessions_planned, week.sessions_done),
        }
        for week in weeks
        if week.week_start + a_week > first and week.week_start < last
    ]
    tallest = max((row["top"] for row in rows), default=1)
    x = alt.X(
        "week_start:T",
        title=None,
        scale=alt.Scale(domain=[chart_day(first), chart_day(last)], nice=False),
        axis=alt.Axis(
            format="%-d %b %y",
            # The days on which its weeks begin, and not the calendar's.
            values=[
                alt.DateTime(year=one.year, month=one.month, date=one.day) for one in sorted(shown)
            ],
            labelOverlap="greedy",
            labelSeparation=8,
            labelFlush=True,
            labelBound=True,
            grid=False,
        ),
    )

    def y(field: str) -> alt.Y:
        return alt.Y(
            f"{field}:Q",
            title="sessions",
            scale=alt.Scale(domain=[0, max(1, tallest) * 1.3], nice=False),
            axis=alt.Axis(
                minExtent=AXIS_ROOM, maxExtent=AXIS_ROOM, tickMinStep=1, tickCount=3, domain=False
            ),
        )

    tooltip = [
        alt.Tooltip("Week:N", title="Week of"),
        alt.Tooltip("Sessions:N", title="Sessions done"),
        alt.Tooltip("During:N", title="Pain during"),
        alt.Tooltip("Morning:N", title="Pain the morning after"),
        alt.Tooltip("Comment:N"),
    ]
    base = alt.Chart(alt.NamedData(WEEKS)).encode(x=x, x2="until:T", tooltip=tooltip)
    planned = base.mark_rect(
        filled=False, stroke=palette.muted, strokeDash=[3, 2], strokeWidth=1
    ).encode(y=y("planned"), y2=alt.datum(0))
    done = base.mark_rect(color=palette.accent, opacity=0.85).encode(y=y("done"), y2=alt.datum(0))
    # No number runs into the next where the weeks stand close; the tooltip has it.
    room = "scale('x', toDate(datum.until)) - scale('x', toDate(datum.week_start)) > 9"
    word = (
        alt.Chart(alt.NamedData(PAIN))
        .mark_text(
            dy=-8,
            dx=3,
            align="left",
            fontSize=12,
            color=palette.attention,
            text=alt.expr(f"{room} ? datum.worst : ''"),
        )
        .encode(x=x, y=y("top"), tooltip=tooltip)
    )
    chart = styled(alt.layer(done, planned, word).properties(height=HEIGHT), palette)
    return with_rows(chart.to_dict(), {WEEKS: rows, PAIN: [row for row in rows if row["worst"]]})


def _worst(week: AdherenceWeek) -> str:
    known = [pain for pain in (week.pain_during, week.pain_morning_after) if pain is not None]
    return f"{max(known):g}" if known and max(known) > 0 else ""


def _pain(pain: float | None) -> str:
    return "not entered" if pain is None else f"{pain:g} of 10"
