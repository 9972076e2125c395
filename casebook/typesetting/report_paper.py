"""A report as a PDF, and its plots as pictures that stay sharp."""

from __future__ import annotations

from typing import Any

from casebook.domain.reports import Plot, Report, ReportPart, Table, numbered
from casebook.typesetting.compiling import broken, compiled, worded_part
from casebook.typesetting.plots import placed_plot


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
        return {"kind": "table", "title": part.title, "note": part.note, "grid": grid}
    return worded_part(part)
