"""A summary as a PDF, and its charts as pictures that stay sharp."""

from __future__ import annotations

from typing import Any

from casebook.domain.summaries import Drawing, Part, Summary
from casebook.typesetting.compiling import breakable, broken, compiled, pages_of, worded_part
from casebook.typesetting.scales import placed

# Size in points, and whether the charts begin a page of their own, in the order in which they
# are tried: one page if that can be read with ease, else the words on one and the charts on
# another, else as it comes.
LAYOUTS = (
    (11.0, False),
    (10.5, False),
    (10.0, False),
    (11.0, True),
    (10.5, True),
    (10.0, True),
)
SMALLEST = 9.5
MOST_PAGES = 2


def summary_pdf(summary: Summary) -> bytes:
    """The summary as a PDF of A4 pages, its charts drawn as lines.

    Letters beyond Latin, Greek and Cyrillic are taken from the fonts of this machine, where it
    has them.
    """
    content = {
        "title": breakable(summary.title),
        "made": breakable(summary.made),
        "foot": breakable(summary.foot),
        "sections": [
            {"heading": one.heading, "parts": [_part(part) for part in one.parts]}
            for one in summary.sections
        ],
    }
    for size, split in LAYOUTS:
        made = _paper(content, size, split=split)
        if pages_of(made) <= 1 + split:
            return made
    for size in (LAYOUTS[0][0], LAYOUTS[-1][0]):
        made = _paper(content, size, split=False)
        if pages_of(made) <= MOST_PAGES:
            return made
    return _paper(content, SMALLEST, split=False)


def _paper(content: dict[str, Any], size: float, *, split: bool) -> bytes:
    given = content | {"size": size, "split": split}
    return compiled("summary.typ", given, format="pdf", pdf_standards=["ua-1"])


def chart_svg(drawing: Drawing) -> bytes:
    """One drawing as SVG, exactly as it stands in the PDF; its letters are drawn as shapes."""
    return compiled("one_chart.typ", broken(placed(drawing)), format="svg")


def _part(part: Part) -> dict[str, Any]:
    if isinstance(part, Drawing):
        found: dict[str, Any] = {"kind": "drawing", **placed(part)}
    else:
        found = worded_part(part)
    marked: dict[str, Any] = broken(found)
    return marked
