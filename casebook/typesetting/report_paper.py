"""A report as a PDF, and its plots as pictures that stay sharp."""

from __future__ import annotations

import re
from typing import Any

from casebook.domain.reports import Plot, Report, ReportPart, Table, numbered
from casebook.domain.summaries import Grid
from casebook.typesetting.compiling import broken, compiled, worded_part
from casebook.typesetting.plots import placed_plot

# Letters, of columns of numbers and of any column, and between two of them.
WIDEST = 26
NARROWEST = 6
GAP = 2
# Letters that a page of A4 holds beside one another in a table's size of print, and how much wider
# a bold one is. Measured on the report's own font.
PAGE = 120
# A line may end at a blank that is no fast one, and behind a hyphen.
UNBROKEN = re.compile("[ -]")
BOLD = 1.1


def report_pdf(report: Report) -> bytes:
    """The report as a PDF of A4 pages, plots drawn as lines; the same report, the same bytes."""
    content = {
        "title": report.title,
        "made": report.made,
        "foot": report.foot,
        "chapters": [
            {"heading": one.heading, "parts": [_part(part) for part in one.parts]}
            for one in numbered(report)
        ],
    }
    return compiled("report.typ", broken(content), format="pdf", pdf_standards=["ua-1"])


def plot_svg(plot: Plot) -> bytes:
    """One plot as SVG, exactly as it stands in the PDF; its letters are drawn as shapes."""
    return compiled("one_plot.typ", broken(placed_plot(plot)), format="svg")


def _part(part: ReportPart) -> dict[str, Any]:
    if isinstance(part, Plot):
        return {"kind": "plot", **placed_plot(part)}
    if isinstance(part, Table):
        grid = worded_part(part.grid)
        return {
            "kind": "table",
            "title": part.title,
            "note": part.note,
            "grid": grid,
            "widths": column_widths(part.grid),
        }
    return worded_part(part)


def column_widths(grid: Grid) -> list[float]:
    """How wide each column is beside the others, in letters.

    Columns of numbers want the widest of theirs in one line, up to a limit, and those of words
    what they say in about two lines. Where the page does not hold that, each keeps what its
    longest word takes, so that none runs into the next, and they share the rest.
    """
    wanted: list[float] = []
    least: list[float] = []
    for at, name in enumerate(grid.columns):
        cells = [row[at] for row in grid.rows]
        longest = max((len(cell) for cell in cells), default=0)
        room = min(longest, WIDEST) if at in grid.numbers else (longest + 1) // 2
        words: list[float] = [len(word) for text in cells for word in UNBROKEN.split(text)]
        words += [BOLD * len(word) for word in UNBROKEN.split(name)]
        least.append(max(*words, NARROWEST) + GAP)
        wanted.append(max(room + GAP, least[-1]))
    more, spare = sum(wanted) - sum(least), max(0.0, PAGE - sum(least))
    if sum(wanted) <= PAGE or more <= 0:
        return wanted
    return [low + (want - low) * spare / more for want, low in zip(wanted, least, strict=True)]
