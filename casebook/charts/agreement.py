"""Two measurements of the same: their difference against their mean, bias and limits."""

from __future__ import annotations

from dataclasses import dataclass

import altair as alt

from casebook.charts.drawing import POINTS, ZERO, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.wording import number_words

HEIGHT = 300
LIMITS = "limits"
# Of the height and width of what is drawn, so that no point lies on an edge.
ROOM = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A horizontal line with its 95 % interval, in the unit of the difference."""

    name: str
    value: float
    low: float
    high: float


def agreement_plot(
    points: tuple[tuple[float, float], ...],
    limits: tuple[Limit, Limit, Limit],
    *,
    difference: str,
    unit: str,
    palette: Palette,
) -> Spec:
    """Bland-Altman plot.

    Parameters
    ----------
    points : tuple of (float, float)
        Mean and difference of each subject's two measurements.
    limits : tuple of Limit
        Lower limit of agreement, bias, upper limit of agreement.
    difference : str
        Which was taken from which ("2 - 1").
    unit : str
        In words.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    across = _span([mean for mean, _ in points])
    down = _span(
        [
            0.0,
            *(value for _, value in points),
            *(end for limit in limits for end in (limit.low, limit.high)),
        ]
    )
    in_unit = f", {unit}" if unit else ""
    x = alt.X("mean:Q", title=f"mean of the two{in_unit}", scale=_scale(across))
    y = alt.Y("value:Q", title=f"difference ({difference}){in_unit}", scale=_scale(down))
    rows: Rows = [
        {
            "mean": mean,
            "value": value,
            "Mean": number_words(mean, unit),
            "Difference": number_words(value, unit, signed=True),
        }
        for mean, value in points
    ]
    dots = (
        alt.Chart(alt.NamedData(POINTS))
        .mark_point(size=70, filled=True, opacity=0.8, color=palette.text)
        .encode(x=x, y=y, tooltip=["Mean:N", "Difference:N"])
    )
    zero = (
        alt.Chart(alt.NamedData(ZERO))
        .mark_rule(color=palette.muted, strokeWidth=1)
        .encode(y="value:Q")
    )
    chart = styled(
        alt.layer(zero, *_limit_layers(palette), dots).properties(height=HEIGHT), palette
    )
    return with_rows(
        chart.to_dict(),
        {POINTS: rows, ZERO: [{"value": 0.0}], LIMITS: _limit_rows(limits, unit)},
    )


def _limit_rows(limits: tuple[Limit, Limit, Limit], unit: str) -> Rows:
    middle = limits[1]
    return [
        {
            "value": limit.value,
            "low": limit.low,
            "high": limit.high,
            "bias": limit is middle,
            "words": f"{limit.name} {number_words(limit.value, unit, signed=True)}",
            "Interval": f"{number_words(limit.low, unit)} to {number_words(limit.high, unit)}",
        }
        for limit in limits
    ]


def _limit_layers(palette: Palette) -> list[alt.Chart]:
    base = alt.Chart(alt.NamedData(LIMITS)).encode(
        tooltip=[alt.Tooltip("words:N", title="Line"), alt.Tooltip("Interval:N", title="95 %")]
    )
    colour = alt.when("datum.bias").then(alt.value(palette.accent))
    shade = colour.otherwise(alt.value(palette.neutral))
    interval = base.mark_rect(opacity=0.16).encode(y="low:Q", y2="high:Q", color=shade)
    dash = alt.when("datum.bias").then(alt.value([1, 0])).otherwise(alt.value([6, 4]))
    rule = base.mark_rule(strokeWidth=2).encode(y="value:Q", color=shade, strokeDash=dash)
    word = base.mark_text(align="right", dy=-8, dx=-6, fontSize=12, color=palette.text).encode(
        x=alt.value(alt.expr("width")), y="value:Q", text="words:N"
    )
    return [interval, rule, word]


def _span(numbers: list[float]) -> tuple[float, float]:
    low, high = min(numbers), max(numbers)
    room = (high - low) * ROOM or abs(high) * 0.1 or 1.0
    return low - room, high + room


def _scale(span: tuple[float, float]) -> alt.Scale:
    return alt.Scale(domain=list(span), nice=False, zero=False)
