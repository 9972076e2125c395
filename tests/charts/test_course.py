"""The course charts: what they say, that they are valid, and that they can be drawn."""

from __future__ import annotations

import re
import struct
from dataclasses import replace
from datetime import date
from typing import Any

import altair as alt
import pandas as pd
import pytest
import vl_convert

from casebook.charts.course import Smooth, asymmetry_course, side_course
from casebook.charts.palette import DAY, NIGHT, Palette
from casebook.charts.time_axis import Bar, Mark, TimeAxis
from casebook.charts.time_layers import LANE

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


def test_no_band_is_drawn_over_a_later_visit_whose_mdc_is_not_known() -> None:
    course = a_course(sided=False)
    course.loc[course["visited_on"] == pd.Timestamp(DAYS[2]), "mdc95"] = NAN
    spec = side_course(course, AXIS, unit="", palette=DAY)
    rows = rows_of(layers_of(spec, "area")[0])
    known = [row for row in rows if row["low"] is not None]
    # Half-way between the second and the third visit: 14 days after 9 February.
    assert max(row["visited_on"] for row in known) == "2026-02-23T00:00:00"
    assert {row["run"] for row in known}.isdisjoint(
        {row["run"] for row in rows if row["low"] is None}
    )


def test_a_baseline_visit_takes_the_reach_of_the_next_change_and_none_from_an_unknown_one() -> None:
    course = a_course(sided=False)
    course.loc[course["visited_on"] == pd.Timestamp(DAYS[1]), "mdc95"] = NAN
    rows = rows_of(layers_of(side_course(course, AXIS, unit="", palette=DAY), "area")[0])
    first = [row for row in rows if row["visited_on"] < f"{DAYS[1]}T00:00:00"]
    assert {row["low"] for row in first} == {None}


def test_a_reach_that_is_a_lower_bound_is_drawn_apart_and_paler() -> None:
    course = a_course(sided=False)
    course.loc[course["visited_on"] == pd.Timestamp(DAYS[2]), "lower_bound"] = True
    layer = layers_of(side_course(course, AXIS, unit="", palette=DAY), "area")[0]
    runs = {(row["run"], row["bound"]) for row in rows_of(layer)}
    assert runs == {(0, False), (1, True)}
    opacity = layer["encoding"]["opacity"]
    assert opacity["condition"][0]["value"] < opacity["value"]


SMOOTH = Smooth(days=DAYS, level=(4.0, 4.5, 5.0), low=(3.0, 3.5, 0.5), high=(5.0, 5.5, 12.0))


def test_a_smoothed_course_stands_for_the_line_with_its_band_within_the_axis() -> None:
    spec = side_course(a_course(), AXIS, unit="°", palette=DAY, smooth={"right": SMOOTH})
    (band,) = layers_of(spec, "area")
    assert [(row["low"], row["high"]) for row in rows_of(band)] == [
        (3.0, 5.0),
        (3.5, 5.5),
        (0.5, 12.0),
    ]
    assert {row["Side"] for row in rows_of(band)} == {"Right"}
    assert rows_of(band)[0]["Band"] == "3.0° to 5.0°"
    low, high = points_of(spec)["encoding"]["y"]["scale"]["domain"]
    assert low < 0.5
    assert high > 12.0


def test_each_panel_draws_its_own_smoothed_course_and_without_one_the_line_stays() -> None:
    below = asymmetry_course(a_course(), AXIS, unit="°", palette=DAY, smooth={"right": SMOOTH})
    assert {row["low"] for row in rows_of(layers_of(below, "area")[0])} == {-0.5}
    both = {"right": SMOOTH, "asymmetry": SMOOTH}
    below = asymmetry_course(a_course(), AXIS, unit="°", palette=DAY, smooth=both)
    assert len(rows_of(layers_of(below, "area")[0])) == 3
    assert vl_convert.vegalite_to_svg({**below, "width": 500})


ABUTTING = replace(
    AXIS,
    bars=(
        Bar(title="Easier dose", start=date(2026, 2, 10), end=None),
        Bar(title="Hip strength", start=date(2026, 1, 14), end=date(2026, 2, 10)),
    ),
)


def test_every_programme_starts_and_ends_visibly_in_both_panels() -> None:
    for draw in (side_course, asymmetry_course):
        spec = draw(a_course(), ABUTTING, unit="°", palette=DAY)
        edges = [rule for rule in layers_of(spec, "rule") if "start" in rows_of(rule)[0]]
        assert len({tuple(rule["mark"]["strokeDash"]) for rule in edges}) == len(edges) == 2
        for rule in edges:
            assert [(row["words"], row["visited_on"]) for row in rows_of(rule)] == [
                ("Hip strength starts", "2026-01-14T00:00:00"),
                ("Hip strength ends", "2026-02-10T00:00:00"),
                ("Easier dose starts", "2026-02-10T00:00:00"),
            ]
        (weeks,) = (layer for layer in layers_of(spec, "rect") if "words" not in rows_of(layer)[0])
        assert [(row["visited_on"], row["until"]) for row in rows_of(weeks)] == [
            ("2026-01-14T00:00:00", "2026-02-10T00:00:00"),
            ("2026-02-10T00:00:00", f"{AXIS.span[1]}T00:00:00"),
        ]


def test_the_phases_of_one_programme_are_named_in_both_panels() -> None:
    about = replace(AXIS, about=ABUTTING.bars[1], also=(date(2026, 6, 1),), marks=())
    assert about.span[1] > date(2026, 6, 1)
    for draw in (side_course, asymmetry_course):
        spec = draw(a_course(), about, unit="°", palette=DAY)
        named = layers_of(spec, "text")[-1]
        assert [(row["words"], row["visited_on"][:10]) for row in rows_of(named)] == [
            ("before", f"{about.span[0]}"),
            ("during", "2026-01-14"),
            ("after", "2026-02-10"),
        ]
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500, "autosize": "pad"})
    assert ">after<" in picture
    # Of what still runs there is no after, and without a programme to be about no phase at all.
    running = replace(AXIS, about=AXIS.bars[0])
    assert [row["words"] for row in running.name_rows()] == ["before", "during"]
    assert AXIS.name_rows() == []


@pytest.mark.parametrize("width", [270, 900])
def test_programmes_that_abut_are_named_with_their_days_on_lanes_of_their_own(width: int) -> None:
    spec = side_course(a_course(), ABUTTING, unit="°", palette=DAY)
    picture = vl_convert.vegalite_to_svg({**spec, "width": width, "autosize": "pad"})
    first = _place(picture, ": start 14 Jan 26, end 10 Feb 26")
    second = _place(picture, ": start 10 Feb 26, still running")
    assert second[1] - first[1] == LANE
    for across, _ in (first, second):
        assert 0 <= across < width
    plain = side_course(a_course(), replace(AXIS, bars=()), unit="°", palette=DAY)
    assert spec["height"] > plain["height"] + 2 * LANE
    # The lanes come on top: what is measured keeps its room, and no value is named beside them.
    low, high = points_of(spec)["encoding"]["y"]["scale"]["domain"]
    low_plain, high_plain = points_of(plain)["encoding"]["y"]["scale"]["domain"]
    assert high == high_plain
    assert (high - low) / spec["height"] == pytest.approx(
        (high_plain - low_plain) / plain["height"]
    )


def test_a_long_title_gives_way_to_its_days_where_there_is_little_room() -> None:
    axis = replace(AXIS, bars=(replace(AXIS.bars[0], title="Two hundred and fourteen steps"),))
    spec = side_course(a_course(), axis, unit="°", palette=DAY) | {"autosize": "pad"}
    narrow = vl_convert.vegalite_to_svg({**spec, "width": 270})
    assert "steps: start" not in narrow
    assert ": start 14 Jan 26, still running" in narrow
    assert "Two hundred and fourteen steps: start 14 Jan 26" in vl_convert.vegalite_to_svg(
        {**spec, "width": 900}
    )


def test_two_complaints_in_the_same_weeks_have_a_row_each() -> None:
    axis = replace(AXIS, marks=(*AXIS.marks, Mark(words="right calf", day=date(2026, 2, 21))))
    spec = side_course(a_course(), axis, unit="°", palette=DAY)
    picture = vl_convert.vegalite_to_svg({**spec, "width": 270, "autosize": "pad"})
    assert _place(picture, "right calf")[1] - _place(picture, "left knee")[1] >= 12


def _place(picture: str, words: str) -> tuple[float, float]:
    """Where a text that ends in these words begins, in pixels across and down."""
    found = re.search(rf"translate\(([-\d.]+),([-\d.]+)\)[^>]*>[^<]*{re.escape(words)}<", picture)
    assert found is not None, words
    return float(found[1]), float(found[2])


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


def test_a_programme_outside_of_the_time_shown_is_named_and_a_complaint_left_out() -> None:
    axis = TimeAxis(
        visits=DAYS,
        bars=(Bar(title="Long ago", start=date(2024, 1, 1), end=date(2024, 6, 1)),),
        marks=(Mark(words="old knee", day=date(2020, 1, 1)),),
    )
    assert axis.phase_rows() == axis.edge_rows() == axis.mark_rows() == []
    assert [row["shown"] for row in axis.bar_rows()] == [False]
    picture = drawn(side_course(a_course(), axis, unit="°", palette=DAY))
    assert "Long ago: start 1 Jan 24, end 1 Jun 24" in picture
    assert "old knee" not in picture


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
    for spec in (
        side_course(a_course(), AXIS, unit="°", palette=palette),
        asymmetry_course(a_course(), AXIS, unit="°", palette=palette),
        side_course(a_course(sided=False), AXIS, unit="", palette=palette),
    ):
        # Vega-Lite's own schema, as Altair brings it; no width is part of it.
        if width == 300:
            alt.LayerChart.from_dict(spec)
        png = vl_convert.vegalite_to_png({**spec, "width": width})
        drawn_width = struct.unpack(">I", png[16:20])[0]
        assert abs(drawn_width - width) < 80


def drawn(spec: dict[str, Any]) -> str:
    return str(vl_convert.vegalite_to_svg({**spec, "width": 500}))
