"""The charts of a repeatability study and of a plan: what they hold, valid, and drawable."""

from __future__ import annotations

from typing import Any

import altair as alt
import pytest
import vl_convert

from casebook.charts.agreement import Limit, agreement_plot
from casebook.charts.detectable import detectable_curve
from casebook.charts.palette import DAY, NIGHT, Palette

POINTS = ((10.0, 1.0), (12.0, -2.0), (15.0, 0.5))
LIMITS = (
    Limit(name="lower limit", value=-3.0, low=-4.0, high=-2.0),
    Limit(name="mean difference", value=-0.2, low=-1.0, high=0.6),
    Limit(name="upper limit", value=2.6, low=1.6, high=3.6),
)
CURVE = tuple(
    (visits, trials, 12.0 / visits**0.5 / trials) for visits in (1, 2, 3) for trials in (1, 2, 3)
)


def agreement(palette: Palette) -> dict[str, Any]:
    return agreement_plot(POINTS, LIMITS, difference="2 minus 1", unit="°", palette=palette)


def curve(palette: Palette, change: float | None = 5.0) -> dict[str, Any]:
    return detectable_curve(CURVE, change=change, unit="N", palette=palette)


@pytest.mark.parametrize("palette", [DAY, NIGHT])
def test_both_keep_the_grammar_and_can_be_drawn(palette: Palette) -> None:
    for spec in (agreement(palette), curve(palette), curve(palette, None)):
        alt.LayerChart.from_dict(spec)
        assert vl_convert.vegalite_to_svg({**spec, "width": 500})


def test_the_agreement_plot_names_bias_and_limits_and_holds_their_intervals() -> None:
    spec = agreement(DAY)
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500})
    for words in ("lower limit −3.0°", "mean difference −0.20°", "upper limit +2.6°"):
        assert words in picture
    band = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "rect")
    assert [(row["low"], row["high"]) for row in band["data"]["values"]] == [
        (-4.0, -2.0),
        (-1.0, 0.6),
        (1.6, 3.6),
    ]
    points = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")
    assert [(row["mean"], row["value"]) for row in points["data"]["values"]] == list(POINTS)
    low, high = points["encoding"]["y"]["scale"]["domain"]
    assert low < -4.0
    assert high > 3.6


def test_the_curve_has_a_line_a_number_of_visits_told_apart_without_colour() -> None:
    spec = curve(DAY)
    line = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "line")
    scale = line["encoding"]["strokeDash"]["scale"]
    assert scale["domain"][0] == "1 visit before, 1 after"
    assert len({tuple(dash) for dash in scale["range"]}) == 3
    # Dashes around the legend's shapes would make blots of them.
    assert line["encoding"]["strokeDash"]["legend"]["symbolStrokeWidth"] == 0
    assert "wished: 5.0 N" in vl_convert.vegalite_to_svg({**spec, "width": 500})


def test_a_wish_above_the_curve_lies_within_the_axis_and_none_draws_none() -> None:
    line = curve(DAY, 40.0)["layer"][0]
    assert line["encoding"]["y"]["scale"]["domain"][1] > 40.0
    assert "wished" not in vl_convert.vegalite_to_svg({**curve(DAY, None), "width": 500})
