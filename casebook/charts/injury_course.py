"""A runner's time line in lanes, the course of pain, and running by the week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import altair as alt

from casebook.charts.drawing import AXIS_ROOM, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows, chart_day, local
from casebook.domain.running_load import LoadWeek
from casebook.domain.time_line import Event, EventKind

LANES: Mapping[EventKind, str] = {
    EventKind.ONSET: "Complaints",
    EventKind.FIRST_RUN: "Complaints",
    EventKind.FULLY_BACK: "Complaints",
    EventKind.CAUTION: "Cautions",
    EventKind.PAIN: "Cautions",
    EventKind.VISIT: "Visits",
    EventKind.HYPOTHESIS: "Hypotheses",
    EventKind.PROGRAMME_START: "Programmes",
    EventKind.PROGRAMME_END: "Programmes",
    EventKind.TARGET_DUE: "Programmes",
    EventKind.LONG_RUN: "Running",
}
LASTING = {EventKind.ONSET, EventKind.PROGRAMME_START, EventKind.PAIN}
LANE_HEIGHT, PAIN_HEIGHT, LOAD_HEIGHT = 30, 160, 150
PAIN_SHAPES = {
    "on the day of a visit": "circle",
    "while running": "diamond",
    "at rest": "cross",
    "in sessions": "square",
    "next morning": "triangle-up",
}
# Pain comes and goes: over longer than this a line would tell of what nobody asked about.
LONGEST_GAP = timedelta(weeks=6)
MONTHLY = timedelta(days=100)
EVENTS, SPANS, OPEN_ENDS, POINTS, WEEKS, LONGEST = (
    "events",
    "spans",
    "open_ends",
    "points",
    "weeks",
    "longest",
)


def time_line_chart(events: Sequence[Event], *, until: date, palette: Palette) -> Spec:
    """Every event in its lane; complaints and programmes as bars for as long as they last.

    What has ended on a day that is not on record ends where it is last known to have lasted, in
    a question mark.

    Parameters
    ----------
    events : sequence of Event
        At least one.
    until : date
        Up to which a bar without an end is drawn.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows: Rows = [
        {
            "on": local(event.on),
            "until": local(event.until or max(until, event.on)),
            "Ended": _end_words(event),
            "open_end": not event.end_known,
            "Lane": LANES[event.kind],
            "Event": event.words,
            "lasting": event.kind in LASTING,
            "warning": event.kind in {EventKind.ONSET, EventKind.CAUTION, EventKind.PAIN},
        }
        for event in events
    ]
    used = {row["Lane"] for row in rows}
    lanes = [lane for lane in dict.fromkeys(LANES.values()) if lane in used]
    first = min(event.on for event in events)
    last = max(until, *(event.until or event.on for event in events))
    room = max(timedelta(days=4), (last - first) * 0.03)
    base = alt.Chart(alt.NamedData(EVENTS)).encode(
        x=_time(first - room, last + room, "on"),
        y=alt.Y("Lane:N", title=None, sort=lanes, scale=alt.Scale(domain=lanes)),
        tooltip=[alt.Tooltip("on:T", title="On", format="%-d %B %Y"), alt.Tooltip("Event:N")],
    )
    colour: Any = alt.when("datum.warning").then(alt.value(palette.attention))
    bar = (
        alt.Chart(alt.NamedData(SPANS))
        .mark_bar(height=10, opacity=0.45, cornerRadius=3)
        .encode(
            x=_time(first - room, last + room, "on"),
            x2="until:T",
            y=alt.Y("Lane:N", title=None, sort=lanes, scale=alt.Scale(domain=lanes)),
            color=colour.otherwise(alt.value(palette.accent)),
            tooltip=[
                alt.Tooltip("on:T", title="From", format="%-d %B %Y"),
                alt.Tooltip("Ended:N", title="Until"),
                alt.Tooltip("Event:N"),
            ],
        )
    )
    dot = base.mark_point(size=80, filled=True, opacity=1).encode(
        color=colour.otherwise(alt.value(palette.text)),
        shape=alt.when("datum.warning").then(alt.value("diamond")).otherwise(alt.value("circle")),
    )
    open_end = (
        alt.Chart(alt.NamedData(OPEN_ENDS))
        .mark_text(text="?", dx=10, fontSize=14, fontWeight=600, color=palette.attention)
        .encode(
            x=_time(first - room, last + room, "until"),
            y=alt.Y("Lane:N", title=None, sort=lanes, scale=alt.Scale(domain=lanes)),
            tooltip=[alt.Tooltip("Ended:N", title="Until"), alt.Tooltip("Event:N")],
        )
    )
    layers = alt.layer(bar, dot, open_end).properties(height=LANE_HEIGHT * len(lanes))
    spans = [row for row in rows if row["lasting"]]
    held = {SPANS: spans, EVENTS: rows, OPEN_ENDS: [row for row in rows if row["open_end"]]}
    return with_rows(styled(layers, palette).to_dict(), held)


def _end_words(event: Event) -> str:
    if not event.end_known:
        return "not on record"
    return f"{event.until.day} {event.until:%B %Y}" if event.until else "still going on"


def pain_course(
    points: Sequence[tuple[date, float, str]], *, limit: float | None, palette: Palette
) -> Spec:
    """Pain, 0 to 10, by day and by when it was felt, with the usual limit.

    Points further apart than `LONGEST_GAP` are not joined.

    Parameters
    ----------
    points : sequence of (date, float, str)
        Day, pain, and one of the words of `PAIN_SHAPES`; at least one.
    limit : float or None
        Drawn as a broken line; None where there is none, as with a bone stress injury.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows = _stretches(points)
    # Two beside one another: in a row of five the last would be cut off on a narrow page.
    legend = alt.Legend(title=None, orient="top", columns=2)
    kinds = [kind for kind in PAIN_SHAPES if kind in {row["When"] for row in rows}]
    days = [on for on, _, _ in points]
    first, last = min(days) - timedelta(days=4), max(days) + timedelta(days=4)
    y = alt.Y(
        "pain:Q",
        title="pain, 0 to 10",
        scale=alt.Scale(domain=[0, 10], nice=False),
        axis=alt.Axis(minExtent=AXIS_ROOM, maxExtent=AXIS_ROOM, tickCount=5, domain=False),
    )
    colours = {
        "on the day of a visit": palette.muted,
        "while running": palette.text,
        "at rest": palette.neutral,
        "in sessions": palette.accent,
        "next morning": palette.attention,
    }
    base = alt.Chart(alt.NamedData(POINTS)).encode(
        x=_time(first, last, "on"),
        y=y,
        color=alt.Color(
            "When:N",
            scale=alt.Scale(domain=kinds, range=[colours[kind] for kind in kinds]),
            legend=legend,
        ),
        tooltip=[
            alt.Tooltip("on:T", title="On", format="%-d %B %Y"),
            alt.Tooltip("When:N", title="Felt"),
            alt.Tooltip("pain:Q", title="Pain"),
        ],
    )
    line = base.mark_line(strokeWidth=1.5, opacity=0.7).encode(detail="stretch:N")
    dot = base.mark_point(size=70, filled=True, opacity=1).encode(
        shape=alt.Shape(
            "When:N",
            scale=alt.Scale(domain=kinds, range=[PAIN_SHAPES[kind] for kind in kinds]),
            legend=legend,
        )
    )
    rule = (
        alt.Chart(alt.NamedData("limit"))
        .mark_rule(strokeDash=[5, 4], color=palette.attention, strokeWidth=1)
        .encode(y="pain:Q")
    )
    chart = styled(alt.layer(rule, line, dot).properties(height=PAIN_HEIGHT), palette)
    return with_rows(
        chart.to_dict(), {POINTS: rows, "limit": [{"pain": limit}] if limit is not None else []}
    )


def _stretches(points: Sequence[tuple[date, float, str]]) -> Rows:
    """Rows in the order of time; a long gap begins a new stretch of its kind of pain."""
    rows: Rows = []
    latest: dict[str, tuple[date, int]] = {}
    for on, pain, what in sorted(points, key=lambda point: point[0]):
        before, stretch = latest.get(what, (on, 0))
        stretch += on - before > LONGEST_GAP
        latest[what] = on, stretch
        rows.append({"on": local(on), "pain": pain, "When": what, "stretch": stretch})
    return rows


def running_weeks(weeks: Sequence[LoadWeek], *, palette: Palette) -> Spec:
    """Kilometres a week as bars, and the longest run of each week as a point.

    Parameters
    ----------
    weeks : sequence of LoadWeek
        At least one; weeks whose distance is not known in full have no bar.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows: Rows = [
        {
            "on": local(week.week_start),
            "until": local(week.week_start + timedelta(days=6)),
            "middle": local(week.week_start + timedelta(days=3)),
            "km": week.distance_km,
            "longest": week.longest_km,
            "Week": f"{week.week_start.day} {week.week_start:%b %Y}",
            "Distance": _number(week.distance_km, "km"),
            "Longest": _number(week.longest_km, "km"),
            "Load": _number(week.load, ""),
            "Runs": week.runs,
        }
        for week in weeks
    ]
    first = min(week.week_start for week in weeks) - timedelta(days=1)
    last = max(week.week_start for week in weeks) + timedelta(days=8)

    def y(field: str) -> alt.Y:
        return alt.Y(
            f"{field}:Q",
            title="km",
            scale=alt.Scale(zero=True),
            axis=alt.Axis(minExtent=AXIS_ROOM, maxExtent=AXIS_ROOM, tickCount=4, domain=False),
        )

    tooltip = [
        alt.Tooltip("Week:N", title="Week of"),
        alt.Tooltip("Runs:Q"),
        alt.Tooltip("Distance:N"),
        alt.Tooltip("Longest:N", title="Longest run"),
        alt.Tooltip("Load:N", title="Load (minutes × effort)"),
    ]
    x = _time(first, last, "on")
    bar = (
        alt.Chart(alt.NamedData(WEEKS))
        .mark_rect(color=palette.accent, opacity=0.75)
        .encode(x=x, x2="until:T", y=y("km"), y2=alt.datum(0), tooltip=tooltip)
    )
    dot = (
        alt.Chart(alt.NamedData(LONGEST))
        .mark_point(size=60, shape="diamond", filled=True, opacity=1, color=palette.text)
        .encode(x=_time(first, last, "middle"), y=y("longest"), tooltip=tooltip)
    )
    chart = styled(alt.layer(bar, dot).properties(height=LOAD_HEIGHT), palette)
    known = [row for row in rows if row["km"] is not None]
    longest = [row for row in rows if row["longest"] is not None]
    return with_rows(chart.to_dict(), {WEEKS: known, LONGEST: longest})


def _number(number: float | None, unit: str) -> str:
    return "not known" if number is None else f"{number:g} {unit}".strip()


def _time(first: date, last: date, field: str) -> alt.X:
    return alt.X(
        f"{field}:T",
        title=None,
        scale=alt.Scale(domain=[chart_day(first), chart_day(last)], nice=False),
        axis=alt.Axis(
            format="%-d %b %y",
            # Whole months, each second or third of them where there is no room for all: labels
            # at uneven distances read as a time that runs unevenly.
            tickCount=alt.TimeIntervalStep(interval="month", step=1)
            if last - first > MONTHLY
            else alt.Undefined,
            labelOverlap="parity",
            labelSeparation=8,
            labelFlush=True,
            labelBound=True,
            grid=False,
        ),
    )
