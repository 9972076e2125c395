"""The course that a growth model predicts, over what was measured of single runners."""

from __future__ import annotations

import altair as alt

from casebook.charts.drawing import ZERO, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.audit_growth import CohortGrowth
from casebook.domain.audit_outcomes import On
from casebook.domain.wording import number_words

HEIGHT = 340
RAW, COURSES, START = "raw", "courses", "start"
GROUPS = {
    "": "predicted mean",
    "injury": "mean, programme for injury",
    "performance": "mean, for performance",
}
DASHES = ([1, 0], [8, 4])
# Of the height of what is drawn, so that nothing lies on an edge.
ROOM = 0.05
AXIS = {
    On.ASYMMETRY: "asymmetry, in its baseline direction",
    On.WORSE_SIDE: "side that was worse",
    On.OTHER_SIDE: "other side",
}


def growth_courses(growth: CohortGrowth, *, palette: Palette) -> Spec:
    """Predicted mean courses with their 95 % bands over the single runners' own.

    Parameters
    ----------
    growth : CohortGrowth
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    groups = list(dict.fromkeys(course.group for course in growth.courses))
    names = [GROUPS[group] for group in groups]
    colours = [palette.accent, palette.attention][: len(names)]
    low, high = _span(growth)
    weeks = [week for course in growth.courses for week in course.weeks]
    legend = alt.Legend(title=None, labelLimit=260, direction="vertical", symbolType="stroke")
    in_unit = f", {growth.unit}" if growth.unit else ""
    x = alt.X(
        "week:Q",
        title="weeks since the programme's start",
        scale=alt.Scale(domain=[min(weeks), max(weeks)], nice=False),
        axis=alt.Axis(grid=False),
    )
    y = alt.Y(
        "value:Q",
        title=f"{AXIS.get(growth.on, growth.label)}{in_unit}",
        scale=alt.Scale(domain=[low, high], nice=False, zero=False),
    )
    colour = alt.Color("Course:N", scale=alt.Scale(domain=names, range=colours), legend=legend)
    raw = (
        alt.Chart(alt.NamedData(RAW))
        .mark_line(strokeWidth=1, opacity=0.5, clip=True, color=palette.muted)
        .encode(x=x, y=y, detail="runner:N")
    )
    base = alt.Chart(alt.NamedData(COURSES)).encode(
        x=x,
        detail="piece:N",
        tooltip=[
            alt.Tooltip("Course:N"),
            alt.Tooltip("week:Q", title="Week", format=".0f"),
            alt.Tooltip("Mean:N"),
            alt.Tooltip("Band:N", title="95 % band"),
        ],
    )
    band = base.mark_area(opacity=0.28, line=False, clip=True).encode(
        y=alt.Y("low:Q"), y2="high:Q", color=colour
    )
    line = base.mark_line(strokeWidth=3.5, clip=True).encode(
        y=y,
        color=colour,
        strokeDash=alt.StrokeDash(
            "Course:N",
            scale=alt.Scale(domain=names, range=list(DASHES[: len(names)])),
            legend=legend,
        ),
    )
    zero = (
        alt.Chart(alt.NamedData(ZERO))
        .mark_rule(color=palette.muted, strokeWidth=1)
        .encode(y="value:Q")
    )
    start = alt.Chart(alt.NamedData(START)).encode(x="week:Q")
    rule = start.mark_rule(color=palette.text, strokeWidth=1, strokeDash=[4, 3])
    word = start.mark_text(align="left", dx=5, dy=8, fontSize=12, color=palette.text).encode(
        y=alt.value(0), text="words:N"
    )
    chart = styled(alt.layer(raw, zero, rule, band, line, word).properties(height=HEIGHT), palette)
    shown_zero = growth.on is On.ASYMMETRY or low < 0 < high
    return with_rows(
        chart.to_dict(),
        {
            RAW: _raw(growth),
            ZERO: [{"value": 0.0}] if shown_zero else [],
            START: [{"week": 0.0, "words": "start"}] if min(weeks) <= 0 <= max(weeks) else [],
            COURSES: _courses(growth),
        },
    )


def _raw(growth: CohortGrowth) -> Rows:
    return [
        {"runner": number, "week": week, "value": value}
        for number, course in enumerate(growth.raw)
        for week, value in zip(course.weeks, course.values, strict=True)
    ]


def _courses(growth: CohortGrowth) -> Rows:
    return [
        {
            "piece": piece,
            "Course": GROUPS[course.group],
            "week": week,
            "value": mean,
            "low": low,
            "high": high,
            "Mean": number_words(mean, growth.unit),
            "Band": f"{number_words(low, growth.unit)} to {number_words(high, growth.unit)}",
        }
        for piece, course in enumerate(growth.courses)
        for week, mean, low, high in zip(
            course.weeks, course.mean, course.low, course.high, strict=True
        )
    ]


def _span(growth: CohortGrowth) -> tuple[float, float]:
    weeks = [week for course in growth.courses for week in course.weeks]
    numbers = [
        value
        for course in growth.raw
        for week, value in zip(course.weeks, course.values, strict=True)
        if min(weeks) <= week <= max(weeks)
    ]
    numbers += [end for course in growth.courses for end in (*course.low, *course.high)]
    if growth.on is On.ASYMMETRY:
        numbers.append(0.0)
    low, high = min(numbers), max(numbers)
    room = (high - low) * ROOM or abs(high) * 0.1 or 1.0
    return low - room, high + room
