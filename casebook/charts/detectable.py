"""The change that can be seen against the trials taken, for 1, 2 and 3 visits in each phase."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from casebook.charts.drawing import POINTS, Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.wording import number_words

HEIGHT = 320
WISH = "wish"
DASHES = ([1, 0], [7, 4], [2, 3])
SHAPES = ("circle", "square", "triangle-up")


def visits_words(visits: int) -> str:
    """What a line stands for."""
    return f"{visits} visit{'' if visits == 1 else 's'} before, {visits} after"


def detectable_curve(
    points: Sequence[tuple[int, int, float]],
    *,
    change: float | None,
    unit: str,
    palette: Palette,
) -> Spec:
    """Detectable change against trials a visit.

    Parameters
    ----------
    points : sequence of (int, int, float)
        Visits in each phase, trials at each visit, and the change that is seen.
    change : float or None
        The change wished for, drawn as a level line.
    unit : str
        In words.
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    names = [visits_words(visits) for visits in sorted({visits for visits, _, _ in points})]
    rows: Rows = [
        {
            "Visits": visits_words(visits),
            "trials": trials,
            "value": detectable,
            "Change": number_words(detectable, unit),
        }
        for visits, trials, detectable in points
    ]
    most = max(trials for _, trials, _ in points)
    highest = max([*(row[2] for row in points), *([change] if change is not None else [])])
    # Not the colours of left and right, which mean sides everywhere else.
    colours = [palette.accent, palette.attention, palette.neutral]
    # The lines' dashes, drawn around the legend's shapes, would spoil them: no stroke there.
    legend = alt.Legend(
        title=None, orient="top", direction="vertical", labelLimit=300, symbolStrokeWidth=0
    )
    base = alt.Chart(alt.NamedData(POINTS)).encode(
        x=alt.X(
            "trials:Q",
            title="trials a visit",
            scale=alt.Scale(domain=[0.5, most + 0.5], nice=False),
            axis=alt.Axis(tickMinStep=1, format="d", grid=False),
        ),
        y=alt.Y(
            "value:Q",
            title=f"change that is seen{f', {unit}' if unit else ''}",
            scale=alt.Scale(domain=[0, highest * 1.08], nice=False),
        ),
        color=alt.Color("Visits:N", scale=alt.Scale(domain=names, range=colours), legend=legend),
        tooltip=["Visits:N", alt.Tooltip("trials:Q", title="Trials a visit"), "Change:N"],
    )
    line = base.mark_line(strokeWidth=2).encode(
        strokeDash=alt.StrokeDash(
            "Visits:N", scale=alt.Scale(domain=names, range=list(DASHES)), legend=legend
        )
    )
    dots = base.mark_point(filled=True, size=55, opacity=1).encode(
        shape=alt.Shape(
            "Visits:N", scale=alt.Scale(domain=names, range=list(SHAPES)), legend=legend
        )
    )
    layers = [line, dots, *_wish_layers(palette)]
    wished: Rows = (
        []
        if change is None
        else [{"value": change, "words": f"wished: {number_words(change, unit)}"}]
    )
    chart = styled(alt.layer(*layers).properties(height=HEIGHT), palette)
    return with_rows(chart.to_dict(), {POINTS: rows, WISH: wished})


def _wish_layers(palette: Palette) -> list[alt.Chart]:
    wish = alt.Chart(alt.NamedData(WISH))
    rule = wish.mark_rule(color=palette.text, strokeWidth=1.5, strokeDash=[4, 3])
    word = wish.mark_text(align="right", dy=-8, dx=-6, fontSize=12, color=palette.text)
    return [
        rule.encode(y="value:Q"),
        word.encode(y="value:Q", x=alt.value(alt.expr("width")), text="words:N"),
    ]
