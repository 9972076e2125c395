"""What a growth model leaves over: against its fitted values, and against normal errors."""

from __future__ import annotations

import altair as alt

from casebook.charts.drawing import POINTS, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.audit_growth import CohortGrowth
from casebook.domain.wording import number_words

HEIGHT = 260
RULES, PERFECT = "rules", "perfect"
# Residual SDs that the axis shows at least.
LEAST = 3.2


def residuals_by_fitted(growth: CohortGrowth, *, palette: Palette) -> Spec:
    """Standardised residuals over the fitted values: a bend or a fan says what is wrong.

    Parameters
    ----------
    growth : CohortGrowth
        With residuals.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    fitted = [point.fitted for point in growth.residuals]
    low, high = min(fitted), max(fitted)
    room = (high - low) * 0.03 or 1.0
    in_unit = f", {growth.unit}" if growth.unit else ""
    x = alt.X(
        "fitted:Q",
        title=f"fitted{in_unit}",
        scale=alt.Scale(domain=[low - room, high + room], nice=False, zero=False),
        axis=alt.Axis(grid=False, tickCount=5),
    )
    y = alt.Y("residual:Q", title="residual, SD", scale=_scale(growth))
    rules = alt.Chart(alt.NamedData(RULES)).encode(y=y)
    drawn = alt.layer(
        rules.mark_rule(color=palette.muted, strokeWidth=1).encode(
            strokeDash=alt.when("datum.residual == 0")
            .then(alt.value([1, 0]))
            .otherwise(alt.value([5, 4]))
        ),
        _points(palette).encode(x=x, y=y),
    )
    return with_rows(
        styled(drawn.properties(height=HEIGHT), palette).to_dict(),
        {
            RULES: [{"residual": at} for at in (-2.0, 0.0, 2.0)],
            POINTS: _rows(growth),
        },
    )


def residual_quantiles(growth: CohortGrowth, *, palette: Palette) -> Spec:
    """Residuals against where normal ones would lie: points near the line say that they are.

    Parameters
    ----------
    growth : CohortGrowth
        With residuals.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    x = alt.X(
        "expected:Q",
        title="normal quantile, SD",
        scale=_scale(growth),
        axis=alt.Axis(grid=False, tickCount=5),
    )
    y = alt.Y("residual:Q", title="residual, SD", scale=_scale(growth))
    perfect = (
        alt.Chart(alt.NamedData(PERFECT))
        .mark_line(color=palette.muted, strokeWidth=1.5, strokeDash=[5, 4])
        .encode(x=x, y=y)
    )
    drawn = alt.layer(perfect, _points(palette).encode(x=x, y=y))
    far = _far(growth)
    return with_rows(
        styled(drawn.properties(height=HEIGHT), palette).to_dict(),
        {
            PERFECT: [{"expected": end, "residual": end} for end in (-far, far)],
            POINTS: _rows(growth),
        },
    )


def _points(palette: Palette) -> alt.Chart:
    points: alt.Chart = alt.Chart(alt.NamedData(POINTS)).mark_point(
        size=28, filled=True, opacity=0.6, color=palette.neutral
    )
    return points.encode(tooltip=[alt.Tooltip("Fitted:N"), alt.Tooltip("Residual:N")])


def _rows(growth: CohortGrowth) -> Rows:
    return [
        {
            "fitted": point.fitted,
            "residual": point.residual,
            "expected": point.expected,
            "Fitted": number_words(point.fitted, growth.unit),
            "Residual": f"{number_words(point.residual, signed=True)} SD",
        }
        for point in growth.residuals
    ]


def _far(growth: CohortGrowth) -> float:
    return max(LEAST, *(1.05 * abs(point.residual) for point in growth.residuals))


def _scale(growth: CohortGrowth) -> alt.Scale:
    far = _far(growth)
    return alt.Scale(domain=[-far, far], nice=False)
