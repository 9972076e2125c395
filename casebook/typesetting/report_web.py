"""A report as HTML: a page to print that needs nothing but itself, or a sheet within a page."""

from __future__ import annotations

from html import escape

from casebook.domain.reports import Plot, Report, ReportPart, Table, numbered
from casebook.typesetting.report_paper import plot_svg
from casebook.typesetting.web import picture, sheet, whole_page, worded


def report_page(report: Report) -> str:
    """The report as a whole HTML page without any outside part, to be kept or printed."""
    return whole_page(report.title, report_sheet(report))


def report_sheet(report: Report) -> str:
    """The report as one element with its style, to stand within another page."""
    chapters = [(one.heading, tuple(_part(part) for part in one.parts)) for one in numbered(report)]
    return sheet(report.title, report.made, chapters, broad=True)


def _part(part: ReportPart) -> str:
    if isinstance(part, Table):
        return _titled(part.title, worded(part.grid), part.note)
    if isinstance(part, Plot):
        shown = picture(plot_svg(part), f"{part.title}. {part.told}")
        return _titled(part.title, shown, part.note)
    return worded(part)


def _titled(title: str, shown: str, note: str) -> str:
    below = f'<p class="note">{escape(note)}</p>' if note else ""
    return f'<p class="title">{escape(title)}</p>\n{shown}{below}'
