"""A report says in words everything that it holds, in the order in which it is read."""

from __future__ import annotations

from casebook.domain.reports import Chapter, Plot, Report, Table
from casebook.domain.summaries import Facts, Grid, Points, Text

PARTS = (
    Text(words="a text"),
    Points(items=("a point",)),
    Facts(rows=(("what", "said"),)),
    Table(title="a table", grid=Grid(columns=("a column",), rows=(("a cell",),)), note="its note"),
    Plot(title="a plot", x_title="", y_title="", series=(), told="what it shows", note="a source"),
)


def test_a_report_tells_all_its_words_in_order() -> None:
    chapter = Chapter(heading="a heading", parts=PARTS)
    report = Report(title="title", made="made", chapters=(chapter,), foot="foot")
    assert report.texts() == (
        *("title", "made", "1. a heading", "a text", "a point", "what", "said"),
        *("Table 1. a table", "a column", "a cell", "its note"),
        *("Figure 1. a plot", "what it shows", "a source"),
    )
