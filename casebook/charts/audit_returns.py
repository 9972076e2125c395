"""Share of runners not yet running again, day by day, with how many are still watched."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from casebook.charts.drawing import Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.audit_outcomes import ReturnToRunning

HEIGHT = 300
# Height of a line of numbers below the curves, as a share of the curves' own height.
LINE = 0.1
CURVES, NUMBERS, ZERO, HEAD = "curves", "numbers", "zero", "head"
GROUPS = {"": "all runners", "injury": "injury", "performance": "performance"}
DASHES = ([1, 0], [7, 4], [2, 3])


def return_curve(returns: Sequence[ReturnToRunning], *, palette: Palette) -> Spec:
    """Kaplan-Meier curves with their 95 % bands, and the numbers at risk below them.

    Parameters
    ----------
    returns : sequence of ReturnToRunning
        Those without steps are not drawn. Where kinds of programme are among them they are drawn
        and the whole is not.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    shown = [one for one in returns if one.steps]
    apart = [one for one in shown if one.group]
    drawn = apart if len(apart) > 1 else shown[:1]
    names = [GROUPS[one.group] for one in drawn]
    last = max(step.day for one in drawn for step in one.steps)
    foot = -LINE * (2 * len(drawn) + 0.3)
    legend = alt.Legend(title=None, symbolType="stroke") if len(drawn) > 1 else None
    colours = [palette.accent, palette.attention, palette.neutral]
    colour = alt.Color(
        "Runners:N", scale=alt.Scale(domain=names, range=colours[: len(names)]), legend=legend
    )
    dash = alt.StrokeDash(
        "Runners:N",
        scale=alt.Scale(domain=names, range=list(DASHES[: len(names)])),
        legend=legend,
    )
    x = alt.X(
        "day:Q",
        title="days since the complaint began",
        scale=alt.Scale(domain=[0, last * 1.02], nice=False),
        axis=alt.Axis(grid=False, tickCount=6),
    )
    y = alt.Y(
        "out:Q",
        title="not running yet, %",
        scale=alt.Scale(domain=[100 * foot, 100], nice=False),
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )
    base = alt.Chart(alt.NamedData(CURVES)).encode(
        x=x,
        color=colour,
        tooltip=[
            "Runners:N",
            alt.Tooltip("day:Q", title="Day", format=".0f"),
            alt.Tooltip("Share:N", title="Not running yet"),
            alt.Tooltip("Band:N", title="95 % interval"),
        ],
    )
    band = base.mark_area(interpolate="step-after", opacity=0.16, line=False).encode(
        y=alt.Y("low:Q"),
        y2="high:Q",
    )
    line = base.mark_line(interpolate="step-after", strokeWidth=2.5).encode(y=y, strokeDash=dash)
    zero = (
        alt.Chart(alt.NamedData(ZERO))
        .mark_rule(color=palette.muted, strokeWidth=1)
        .encode(y="out:Q")
    )
    chart = styled(
        alt.layer(band, line, zero, *_number_layers(x, palette)).properties(
            height=HEIGHT * (1 - foot)
        ),
        palette,
    )
    return with_rows(
        chart.to_dict(),
        {
            CURVES: [row for one in drawn for row in _curve(one)],
            ZERO: [{"out": 0.0}],
            NUMBERS: [row for place, one in enumerate(drawn) for row in _numbers(one, place, last)],
            HEAD: [
                {
                    "out": -100 * LINE * (2 * place + 0.6),
                    "words": f"at risk: {GROUPS[one.group]}",
                }
                for place, one in enumerate(drawn)
            ],
        },
    )


def _number_layers(x: alt.X, palette: Palette) -> list[alt.Chart]:
    """Numbers below the curves; the first stands at the edge and is written from it on."""
    numbers = alt.Chart(alt.NamedData(NUMBERS)).encode(x=x, y=alt.Y("out:Q"), text="words:N")
    head = alt.Chart(alt.NamedData(HEAD)).mark_text(
        fontSize=12, align="left", dx=4, color=palette.text
    )
    return [
        numbers.transform_filter("datum.day > 0").mark_text(fontSize=12, color=palette.text),
        numbers.transform_filter("datum.day == 0").mark_text(
            fontSize=12, color=palette.text, align="left", dx=4
        ),
        head.encode(x=alt.value(0), y=alt.Y("out:Q"), text="words:N"),
    ]


def _curve(one: ReturnToRunning) -> Rows:
    steps = [(one.begins, 1.0, 1.0, 1.0)]
    steps += [(step.day, step.still_out, step.low, step.high) for step in one.steps]
    return [
        {
            "Runners": GROUPS[one.group],
            "day": day,
            "out": 100 * out,
            "low": 100 * low,
            "high": 100 * high,
            "Share": f"{100 * out:.0f} %",
            "Band": f"{100 * low:.0f} to {100 * high:.0f} %",
        }
        for day, out, low, high in steps
    ]


def _numbers(one: ReturnToRunning, place: int, last: float) -> Rows:
    return [
        {
            "Runners": GROUPS[one.group],
            "day": day,
            "out": -100 * LINE * (2 * place + 1.4),
            "words": "few" if number is None else str(number),
        }
        for day, number in one.at_risk
        if day <= last
    ]
