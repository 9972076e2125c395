"""The course charts: what they say, that they are valid, and that they can be drawn."""

from __future__ import annotations

import struct
from datetime import date
from typing import Any

import altair as alt
import pandas as pd
import pytest
import vl_convert

from casebook.charts.course import asymmetry_course, side_course
from casebook.charts.palette import DAY, NIGHT, Palette
from casebook.charts.time_axis import Bar, Mark, TimeAxis

DAYS = (date(2026, 1, 12), date(2026, 2, 9), date(2026, 3, 9))
AXIS = TimeAxis(
    visits=DAYS,
    bars=(Bar(title="Hip strength", start=date(2026, 1, 14), end=None),),
    marks=(Mark(words="left knee", day=date(2026, 2, 20)),),
)
NAN = float("nan")


def a_course(*, sided: bool = True, flagged: bool = True) -> pd.DataFrame:
    levels = (
        {"left": (4.0, 4.2, 4.1), "right": (5.0, 5.1, 9.0), "asymmetry": (1.0, 0.9, 4.9)}
        if sided
        else {"none": (172.0, 173.0, 180.0)}
    )
    return pd.DataFrame(
        [
            {
                "metric": "pelvic_drop",
                "what": what,
                "visited_on": pd.Timestamp(day),
                "session": 1,
                "value": value,
                "n": 7,
                "reference": place == 0,
                "baseline": values[0],
                "mdc95": NAN if place == 0 else 1.5,
                "verdict": ("", "unchanged", "worsened")[place],
                "lower_bound": False,
                "flagged": flagged and place == 2,
            }
            for what, values in levels.items()
            for place, (day, value) in enumerate(zip(DAYS, values, strict=True))
        ]
    )


def layers_of(spec: dict[str, Any], mark: str) -> list[dict[str, Any]]:
    return [layer for layer in spec["layer"] if layer["mark"]["type"] == mark]


def rows_of(layer: dict[str, Any]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = layer["data"]["values"]
    return rows


def points_of(spec: dict[str, Any]) -> dict[str, Any]:
    return next(layer for layer in layers_of(spec, "point") if "Value" in rows_of(layer)[0])


def test_sides_differ_by_colour_shape_and_dash() -> None:
    spec = side_course(a_course(), AXIS, unit="°", palette=DAY)
    encoding = points_of(spec)["encoding"]
    for channel in ("color", "shape"):
        scale = encoding[channel]["scale"]
        assert scale["domain"] == ["Left", "Right"]
        assert len(set(scale["range"])) == 2
    line = next(layer for layer in layers_of(spec, "line") if "strokeDash" in layer["encoding"])
    dashes = line["encoding"]["strokeDash"]["scale"]["range"]
    assert dashes[0] != dashes[1]


def test_every_visit_and_side_is_a_point_with_its_numbers_in_words() -> None:
    spec = side_course(a_course(), AXIS, unit="°", palette=DAY)
    rows = rows_of(points_of(spec))
    assert len(rows) == 6
    assert rows[-1] == {
        "Side": "Right",
        "visited_on": "2026-03-09T00:00:00",
        "value": 9.0,
        "n": 7,
        "reference": False,
        "flagged": True,
        "Value": "9.0°",
        "Meaning": "worsened beyond error",
    }


def test_the_band_reaches_one_mdc_to_either_side_of_the_baseline_over_the_whole_time() -> None:
    spec = asymmetry_course(a_course(), AXIS, unit="°", palette=DAY)
    rows = rows_of(layers_of(spec, "area")[0])
    assert {(row["low"], row["high"]) for row in rows} == {(1.0 - 1.5, 1.0 + 1.5)}
    first, last = AXIS.span
    assert rows[0]["visited_on"] == f"{first}T00:00:00"
    assert rows[-1]["visited_on"] == f"{last}T00:00:00"


def test_without_an_error_figure_there_is_a_baseline_and_no_band() -> None:
    course = a_course().assign(mdc95=NAN)
    spec = asymmetry_course(course, AXIS, unit="°", palette=DAY)
    assert {row["low"] for row in rows_of(layers_of(spec, "area")[0])} == {None}
    assert vl_convert.vegalite_to_svg({**spec, "width": 500})


def test_a_flagged_visit_is_ringed_on_the_asymmetry_and_not_on_the_sides() -> None:
    course = a_course()
    assert "flag" in drawn(asymmetry_course(course, AXIS, unit="°", palette=DAY))
    assert ">flag<" not in drawn(side_course(course, AXIS, unit="°", palette=DAY))


def test_a_flagged_visit_of_a_metric_without_sides_is_ringed_on_its_own_course() -> None:
    course = a_course(sided=False)
    assert ">flag<" in drawn(side_course(course, AXIS, unit="steps/min", palette=DAY))
    assert ">flag<" not in drawn(
        side_course(a_course(sided=False, flagged=False), AXIS, unit="steps/min", palette=DAY)
    )


def test_programmes_and_complaints_are_named_along_the_time() -> None:
    picture = drawn(side_course(a_course(), AXIS, unit="°", palette=DAY))
    assert "Hip strength" in picture
    assert "left knee" in picture
    assert "9 Mar 26" in picture


def test_what_lies_outside_of_the_time_shown_is_left_out() -> None:
    axis = TimeAxis(
        visits=DAYS,
        bars=(Bar(title="Long ago", start=date(2024, 1, 1), end=date(2024, 6, 1)),),
        marks=(Mark(words="old knee", day=date(2020, 1, 1)),),
    )
    assert axis.bar_rows() == []
    assert axis.mark_rows() == []
    picture = drawn(side_course(a_course(), axis, unit="°", palette=DAY))
    assert "Long ago" not in picture


def test_the_time_shown_holds_every_visit_and_a_single_one_too() -> None:
    first, last = AXIS.span
    assert first < DAYS[0] < DAYS[-1] < last
    alone = TimeAxis(visits=(DAYS[0],))
    assert alone.span[0] < DAYS[0] < alone.span[1]


def test_a_value_that_is_not_known_is_no_point() -> None:
    course = a_course()
    course.loc[course["visited_on"] == pd.Timestamp(DAYS[1]), "value"] = NAN
    spec = side_course(course, AXIS, unit="°", palette=DAY)
    assert len(rows_of(points_of(spec))) == 4


def test_every_point_and_band_lies_within_the_value_axis() -> None:
    spec = side_course(a_course(), AXIS, unit="°", palette=DAY)
    low, high = points_of(spec)["encoding"]["y"]["scale"]["domain"]
    band = rows_of(layers_of(spec, "area")[0])
    shown = [row["value"] for row in rows_of(points_of(spec))]
    shown += [row[end] for row in band for end in ("low", "high")]
    assert low < min(shown)
    assert max(shown) < high


@pytest.mark.parametrize("palette", [DAY, NIGHT])
@pytest.mark.parametrize("width", [300, 900])
def test_a_filled_chart_keeps_the_grammar_and_can_be_drawn(palette: Palette, width: int) -> None:
    # Vega-Lite's own schema, as Altair brings it.
    for spec in (
        side_course(a_course(), AXIS, unit="°", palette=palette),
        asymmetry_course(a_course(), AXIS, unit="°", palette=palette),
        side_course(a_course(sided=False), AXIS, unit="", palette=palette),
    ):
        alt.LayerChart.from_dict(spec)
        png = vl_convert.vegalite_to_png({**spec, "width": width})
        drawn_width = struct.unpack(">I", png[16:20])[0]
        assert abs(drawn_width - width) < 80


def drawn(spec: dict[str, Any]) -> str:
    return str(vl_convert.vegalite_to_svg({**spec, "width": 500}))
