"""Pages from a summary that needs no casebook: charts placed right, layouts tried in order."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader

from casebook.domain.summaries import (
    Drawing,
    Line,
    Panel,
    Phase,
    Points,
    Reader,
    Section,
    Summary,
    Text,
)
from casebook.typesetting.compiling import pages_of
from casebook.typesetting.paper import chart_svg, summary_pdf
from casebook.typesetting.scales import NAME_HEIGHT, placed

DAY = date(2026, 1, 12)


def a_line(name: str, *values: float, unlike: int | None = None) -> Line:
    return Line(
        name=name,
        days=tuple(DAY + timedelta(days=30 * number) for number in range(len(values))),
        values=values,
        reference=tuple(number == 0 for number in range(len(values))),
        unlike=tuple(number == unlike for number in range(len(values))),
    )


def a_drawing(*lines: Line, **panel: object) -> Drawing:
    shown = replace(Panel(title="Left and right (N)", lines=lines), **panel)  # type: ignore[arg-type]
    phase = Phase(title="Steady", started_on=DAY - timedelta(days=9), ended_on=None)
    return Drawing(title="Strength", panels=(shown,), phases=(phase,), told="told")


def a_summary(*parts: Text | Points | Drawing) -> Summary:
    return Summary(
        reader=Reader.RUNNER,
        title="Summary of T-1",
        made="made",
        sections=(
            Section(heading="Words", parts=tuple(p for p in parts if not isinstance(p, Drawing))),
            Section(heading="Charts", parts=tuple(p for p in parts if isinstance(p, Drawing))),
        ),
        foot="T-1",
    )


def test_everything_of_a_chart_lies_within_it() -> None:
    panel = placed(a_drawing(a_line("left", 10.0, 40.0), band=(-5.0, 25.0), zero=True))["panels"][0]
    heights = [point[1] for line in panel["lines"] for point in line["points"]]
    heights += [*panel["band"], panel["zero"], *(tick[0] for tick in panel["ticks"])]
    assert all(0.0 < height < 1.0 for height in heights)
    assert panel["bars"] == [[0.0, 1.0]]
    assert [words for _, words in panel["days"]] == ["12 Jan 2026", "11 Feb 2026"]


@pytest.mark.parametrize("ends", [(40.0, 40.0), (40.0, 41.0), (41.0, 40.0)])
def test_the_names_of_two_lines_that_end_together_do_not_lie_on_one_another(
    ends: tuple[float, float],
) -> None:
    drawing = a_drawing(a_line("left", 10.0, ends[0]), a_line("right", 90.0, ends[1]))
    left, right = (line["at"] for line in placed(drawing)["panels"][0]["lines"])
    assert abs(left - right) >= NAME_HEIGHT - 1e-9
    assert ends[0] == ends[1] or (left > right) == (ends[0] > ends[1])


def test_a_flat_course_and_one_of_a_single_day_are_drawn() -> None:
    assert chart_svg(a_drawing(a_line("", 3.0, 3.0))).startswith(b"<svg")
    assert chart_svg(a_drawing(a_line("", 0.0))).startswith(b"<svg")


def test_a_visit_under_other_conditions_is_a_cross_off_the_line() -> None:
    strokes = [
        chart_svg(a_drawing(a_line("left", 1.0, 4.0, 2.0, unlike=unlike))).count(b"<path")
        for unlike in (None, 1)
    ]
    # Two strokes of a cross for a circle, and one line over it instead of two to it.
    assert strokes[1] == strokes[0]
    words = placed(a_drawing(a_line("left", 1.0, 4.0, 2.0, unlike=1)))["panels"][0]["lines"][0]
    assert [point[3] for point in words["points"]] == [False, True, False]


def test_the_charts_go_to_a_page_of_their_own_rather_than_break_a_full_one() -> None:
    drawn = [a_drawing(a_line("left", 1.0, 2.0))] * 2
    short = summary_pdf(a_summary(Text(words="a few words"), *drawn))
    assert pages_of(short) == 1
    full = summary_pdf(a_summary(Points(items=("a line of words",) * 40), *drawn))
    pages = [page.extract_text() for page in PdfReader(BytesIO(full)).pages]
    assert len(pages) == 2
    assert pages[1].lstrip().startswith("Charts")
    assert "page 2 of 2" in pages[1]


def test_a_summary_that_is_too_long_for_two_pages_is_still_whole() -> None:
    items = tuple(f"sentence number {number} of many" for number in range(190))
    pages = PdfReader(BytesIO(summary_pdf(a_summary(Points(items=items))))).pages
    text = "".join(page.extract_text() for page in pages)
    assert len(pages) > 2
    assert "number 0 of" in text
    assert "number 189 of" in text
