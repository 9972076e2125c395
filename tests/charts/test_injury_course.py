"""The time line of a runner: bars that say no more than is on record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
import vl_convert

from casebook.charts.injury_course import PAIN_SHAPES, pain_course, time_line_chart
from casebook.charts.palette import DAY, NIGHT, Palette
from casebook.domain.time_line import Event, EventKind

TODAY = date(2026, 6, 1)
LASTS = Event(on=date(2026, 1, 12), kind=EventKind.ONSET, words="left knee")
UNKNOWN = replace(LASTS, until=date(2026, 2, 1), end_known=False)


def spans_of(spec: dict[str, Any]) -> list[tuple[str, str]]:
    (bars,) = (layer for layer in spec["layer"] if layer["mark"]["type"] == "bar")
    return [(row["until"], row["Ended"]) for row in bars["data"]["values"]]


@pytest.mark.parametrize("palette", [DAY, NIGHT])
def test_a_bar_whose_end_is_not_on_record_ends_where_it_is_last_known_in_a_question_mark(
    palette: Palette,
) -> None:
    spec = time_line_chart([UNKNOWN, LASTS], until=TODAY, palette=palette)
    assert spans_of(spec) == [
        ("2026-02-01T00:00:00", "not on record"),
        ("2026-06-01T00:00:00", "still going on"),
    ]
    picture = vl_convert.vegalite_to_svg({**spec, "width": 300, "autosize": "pad"})
    assert picture.count(">?<") == 1


def test_what_ended_or_still_lasts_has_no_question_mark() -> None:
    ended = replace(LASTS, until=date(2026, 3, 2))
    spec = time_line_chart([ended], until=TODAY, palette=DAY)
    assert spans_of(spec) == [("2026-03-02T00:00:00", "2 March 2026")]
    assert ">?<" not in vl_convert.vegalite_to_svg({**spec, "width": 300, "autosize": "pad"})


@pytest.mark.parametrize(("limit", "lines"), [(5.0, 1), (None, 0)])
def test_the_limit_of_pain_is_drawn_only_where_there_is_one(
    limit: float | None, lines: int
) -> None:
    spec = pain_course([(TODAY, 3.0, "on the day of a visit")], limit=limit, palette=DAY)
    assert sum(layer["mark"]["type"] == "rule" for layer in spec["layer"]) == lines
    assert vl_convert.vegalite_to_svg({**spec, "width": 300, "autosize": "pad"})


def test_pain_has_a_shape_for_each_time_it_was_felt_and_no_line_over_weeks_without_entries() -> (
    None
):
    days = [TODAY, TODAY + timedelta(weeks=6), TODAY + timedelta(weeks=13)]
    points = [(day, 2.0, what) for day in days for what in PAIN_SHAPES]
    spec = pain_course(points, limit=None, palette=DAY)
    (line,) = (layer for layer in spec["layer"] if layer["mark"]["type"] == "line")
    assert [row["stretch"] for row in line["data"]["values"] if row["When"] == "at rest"] == [
        0,
        0,
        1,
    ]
    picture = vl_convert.vegalite_to_svg({**spec, "width": 300, "autosize": "pad"})
    assert picture.count('"line mark"') == 2 * len(PAIN_SHAPES)
    assert len(set(PAIN_SHAPES.values())) == len(PAIN_SHAPES)
