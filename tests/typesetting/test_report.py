"""A report that needs no casebook: numbered, drawn, and the same on paper and on a page."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from casebook.domain.reports import Chapter, Drawn, Plot, Report, Series, Table, numbered
from casebook.domain.summaries import Facts, Grid, Points, Text
from casebook.typesetting.plots import MARK_HEIGHT, NAME_HEIGHT, placed_plot
from casebook.typesetting.report_paper import PAGE, column_widths, plot_svg, report_pdf
from casebook.typesetting.report_web import report_page

HOSTILE = '#panic("typst") <script>alert(1)</script> $x$ *bold*'


def a_plot(*series: Series) -> Plot:
    return Plot(
        title="Runners not yet running",
        x_title="days",
        y_title="share",
        series=series,
        told="Half of them ran again by day 40.",
        below=(("at risk", ((0.0, "20"), (80.0, "5"))),),
        note="Kaplan and Meier 1958.",
    )


STAIR = Series(drawn=Drawn.STAIR, x=(0.0, 40.0, 80.0), y=(1.0, 0.5, 0.2), name="injury")


def a_report(*parts: Text | Points | Facts | Table | Plot) -> Report:
    grid = Grid(columns=("Step", "Runners"), rows=(("registered", "40"),), numbers=frozenset({1}))
    first = Chapter(
        heading="Who", parts=(Table(title="Flow", grid=grid, note="von Elm 2007"), *parts)
    )
    second = Chapter(
        heading="What",
        parts=(
            a_plot(STAIR),
            Points(items=("one", "two")),
            Facts(rows=(("as of", "today"),)),
            Table(title="Outcome", grid=grid),
            Text(words="To the end."),
        ),
    )
    return Report(title="Audit", made="made", foot="the clinic", chapters=(first, second))


def words_of(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_chapters_tables_and_figures_are_numbered_through() -> None:
    found = numbered(a_report())
    titles = [part.title for one in found for part in one.parts if isinstance(part, Table | Plot)]
    assert [one.heading for one in found] == ["1. Who", "2. What"]
    assert titles == ["Table 1. Flow", "Figure 1. Runners not yet running", "Table 2. Outcome"]


def test_file_and_page_say_every_word_of_the_report_and_markup_is_only_text() -> None:
    report = a_report(Text(words=HOSTILE, strong=True))
    pdf = report_pdf(report)
    read = words_of(" ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages))
    page = report_page(report)
    assert "<script>alert" not in page
    said = [words for words in report.texts() if words and "Half of them" not in words]
    assert len(said) > 15
    for words in said:
        assert words_of(words) in read
    assert "Half of them ran again by day 40." in page
    assert page.count("data:image/svg+xml") == 1


def test_the_same_report_gives_the_same_bytes() -> None:
    assert report_pdf(a_report()) == report_pdf(a_report())


def test_everything_of_a_plot_lies_within_it_and_names_stand_apart() -> None:
    band = Series(drawn=Drawn.BAND, x=(0.0, 80.0), y=(0.8, 0.1), high=(1.0, 0.4))
    other = Series(drawn=Drawn.LINE, x=(0.0, 80.0), y=(0.9, 0.21), look=1, name="performance")
    dots = Series(drawn=Drawn.DOTS, x=(10.0,), y=(0.3,), look=2, faint=True)
    placed = placed_plot(a_plot(STAIR, band, other, dots))
    numbers = [number for one in placed["series"] for point in one["points"] for number in point]
    assert all(0.0 <= number <= 1.0 for number in numbers)
    assert placed["series"][0]["drawn"] == "band"
    heights = [name[2] for name in placed["names"]]
    assert heights[1] - heights[0] >= NAME_HEIGHT - 1e-9
    assert plot_svg(a_plot(STAIR, band, other, dots)).startswith(b"<svg")


def test_marks_stand_beside_their_dots_apart_from_one_another() -> None:
    dots = Series(
        drawn=Drawn.DOTS, x=(10.0, 10.5, 70.0), y=(0.0, 0.0, 0.6), marks=("TERN", "EIDER", "3")
    )
    marks = placed_plot(replace(a_plot(dots), below=()))["marks"]
    places = {mark: (across, up) for mark, across, up, _ in marks}
    assert places["3"][1] > places["EIDER"][1] > places["TERN"][1]
    assert places["EIDER"][1] - places["TERN"][1] >= MARK_HEIGHT - 1e-9
    read = PdfReader(BytesIO(report_pdf(a_report(replace(a_plot(dots), below=())))))
    said = " ".join(page.extract_text() for page in read.pages)
    assert {"TERN", "EIDER"} <= set(said.split())


def test_a_list_has_a_line_for_each_name_and_level_strokes_within_it() -> None:
    reach = Series(drawn=Drawn.REACH, x=(10.0, 0.0), y=(1.0, 2.0), high=(90.0, 40.0))
    dots = Series(drawn=Drawn.DOTS, x=(50.0, 20.0), y=(1.0, 2.0), name="improved")
    lines = ((1.0, "Knee flexion"), (2.0, "Cadence"))
    placed = placed_plot(replace(a_plot(reach, dots), y_words=lines, below=()))
    assert [words for _, words in placed["y_ticks"]] == ["Knee flexion", "Cadence"]
    (left, _, right), *_ = placed["series"][0]["points"]
    assert 0.0 < left < right < 1.0
    assert placed["names"] == [["improved", 1.0, placed["series"][1]["points"][1][1], 0]]
    assert b"<svg" in plot_svg(replace(a_plot(reach, dots), y_words=lines, below=()))


def test_a_plot_without_a_point_is_a_mistake_of_the_program() -> None:
    with pytest.raises(ValueError, match="without any point"):
        placed_plot(a_plot())


def test_no_column_of_a_crowded_table_is_narrower_than_its_longest_word() -> None:
    columns = ("Metric", "Group", "Measured twice", *(f"Share {at}" for at in range(5)), "Mean")
    share = "8:\u00a0100\u00a0% (68\u00a0to\u00a0100)"
    row = ("dorsiflexion", "highest third", "withheld", *[share] * 5)
    grid = Grid(
        columns=columns,
        rows=((*row, "+57 (−1\u00a0to\u00a0+114)\u00a0N, n\u00a06"),),
        numbers=frozenset(range(2, len(columns))),
    )
    widths = column_widths(grid)
    letters = [PAGE * width / sum(widths) for width in widths]
    for at, wide in enumerate(letters):
        cells = (columns[at], grid.rows[0][at])
        assert wide > max(len(word) for cell in cells for word in cell.split(" "))
