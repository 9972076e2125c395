"""A summary as HTML: a page to print that needs nothing but itself, or a sheet within a page."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from html import escape
from itertools import takewhile

from casebook.domain.summaries import Drawing, Facts, Grid, Part, Points, Summary, Text
from casebook.typesetting.paper import chart_svg

# A sheet is white with dark letters by day and by night: it is what will lie on paper.
STYLE = """
.sheet { background: #fff; color: #26323a; max-width: 46rem; margin: 0 auto; padding: 1.6rem;
  font: 1rem/1.4 Georgia, 'Libertinus Serif', 'Times New Roman', serif; overflow-wrap: anywhere; }
.sheet h1 { font-size: 1.6em; margin: 0 0 .2rem; color: inherit; padding: 0;
  font-family: inherit; }
.sheet h2 { font-size: 1.15em; margin: 1em 0 .35em; padding: 0 0 .15rem; color: inherit;
  font-family: inherit; border-bottom: 1px solid #4d585d; break-after: avoid; }
.sheet :is(p, ul, dl, li, dt, dd) { font-size: inherit; line-height: inherit; }
.sheet p { margin: .3em 0; }
.sheet .made, .sheet dt { color: #4d585d; }
.sheet .title { font-weight: bold; font-size: .95em; margin-top: 1em; break-after: avoid-page; }
.sheet .note { color: #4d585d; font-size: .8em; margin-bottom: 1em; }
.sheet .strong { border: 1.5px solid #26323a; padding: .5rem .7rem; }
.sheet ul { margin: .3em 0; padding-left: 1.2rem; }
.sheet dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem .9rem;
  margin: 0; padding: 0; }
.sheet dt, .sheet dd { margin: 0; padding: 0; font-weight: inherit; }
.sheet.broad { max-width: 58rem; }
.sheet .wide { overflow-x: auto; }
.sheet table { border-collapse: collapse; font-size: .82em; width: 100%; min-width: 38rem;
  overflow-wrap: normal; }
.sheet table.few { min-width: 0; }
.sheet table tbody th { min-width: 7.5rem; }
.sheet th, .sheet td { text-align: left; vertical-align: top; padding: .2rem .4rem;
  border: 0 solid #aaa; border-bottom-width: 1px; color: inherit; }
.sheet .number { text-align: right; white-space: nowrap; }
.sheet th.number { white-space: normal; }
.sheet img { display: block; width: 100%; min-width: 34rem; max-width: 42rem; height: auto;
  margin: .5rem 0; }
.sheet .panels { display: flex; flex-wrap: wrap; gap: 0 1rem; break-inside: avoid-page; }
.sheet .panels img { flex: 0 1 20rem; width: auto; min-width: min(16rem, 100%); }
.sheet tr, .sheet img, .sheet li, .sheet .strong { break-inside: avoid-page; }
.sheet p, .sheet li { orphans: 2; widows: 2; }
.sheet p:has(+ ul) { break-after: avoid-page; }
@page { size: A4; margin: 15mm 18mm; }
@media print {
  .sheet, .sheet.broad { max-width: none; padding: 0; font-size: 9pt; line-height: 1.3; }
  .sheet table { min-width: 0; font-size: .9em; }
  .sheet table tbody th { min-width: 0; }
  .sheet img { min-width: 0; max-width: 30rem; }
  .sheet .panels img { min-width: 0; flex-basis: 15rem; }
  .sheet th, .sheet td { padding: .1em .4em; }
  .sheet .wide { overflow: visible; }
}
"""
STRONG = ' class="strong"'
NUMBER = ' class="number"'
BROAD = " broad"
# A table of at most so many columns needs no more room than a telephone has.
FEW = 3


def summary_page(summary: Summary) -> str:
    """The summary as a whole HTML page without any outside part, to be kept or printed."""
    return whole_page("Summary of a case", summary_sheet(summary))


def summary_sheet(summary: Summary) -> str:
    """The summary as one element with its style, to stand within another page."""
    sections = [(one.heading, tuple(_part(part) for part in one.parts)) for one in summary.sections]
    return sheet(summary.title, summary.made, sections)


def whole_page(title: str, body: str) -> str:
    """A sheet as a whole HTML page without any outside part."""
    return (
        '<!doctype html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n"
        "<style>body { margin: 0; background: #fff; }"
        f"</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def sheet(
    title: str, made: str, sections: Sequence[tuple[str, Sequence[str]]], *, broad: bool = False
) -> str:
    """A sheet of sections, each with its heading and its parts as HTML; broad for wide tables."""
    written = "\n".join(
        f"<section><h2>{escape(heading)}</h2>\n{''.join(parts)}</section>"
        for heading, parts in sections
    )
    kind = f"sheet{BROAD}" if broad else "sheet"
    return (
        f'<style>{STYLE}</style>\n<article class="{kind}">\n<h1>{escape(title)}</h1>\n'
        f'<p class="made">{escape(made)}</p>\n{written}\n</article>'
    )


def _part(part: Part) -> str:
    return drawn(part) if isinstance(part, Drawing) else worded(part)


def worded(part: Text | Points | Facts | Grid) -> str:
    """What stands in words, as HTML."""
    if isinstance(part, Text):
        return f"<p{STRONG if part.strong else ''}>{escape(part.words)}</p>"
    if isinstance(part, Points):
        return f"<ul>{''.join(f'<li>{escape(item)}</li>' for item in part.items)}</ul>"
    if isinstance(part, Facts):
        rows = "".join(
            f"<dt>{escape(what)}</dt><dd>{escape(said)}</dd>" for what, said in part.rows
        )
        return f"<dl>{rows}</dl>"
    return _table(part)


def _table(grid: Grid) -> str:
    head = "".join(
        f'<th scope="col"{NUMBER if at in grid.numbers else ""}>{escape(words)}</th>'
        for at, words in enumerate(grid.columns)
    )
    rows = []
    for at, row in enumerate(grid.rows):
        span = 1 + sum(1 for _ in takewhile(lambda other: other[0] == "", grid.rows[at + 1 :]))
        cells = [f'<th scope="rowgroup" rowspan="{span}">{escape(row[0])}</th>'] if row[0] else []
        cells += [
            f'<td class="number">{_number(words)}</td>'
            if place in grid.numbers
            else f"<td>{escape(words)}</td>"
            for place, words in enumerate(row[1:], 1)
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    few = ' class="few"' if len(grid.columns) <= FEW else ""
    return (
        f'<div class="wide"><table{few}><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _number(words: str) -> str:
    """A number with what is told of it in brackets below, so that neither is torn apart."""
    return escape(words).replace(" (", "<br>(")


def drawn(drawing: Drawing) -> str:
    """A drawing as pictures of its panels, the first of which says what all of them show.

    Side by side where there is room, else one below the other: a picture that ends at the edge
    of a telephone looks whole.
    """
    told = (f"{drawing.title}. {drawing.told}", *("" for _ in drawing.panels[1:]))
    shown = "".join(
        _image(chart_svg(replace(drawing, title="", panels=(panel,))), words)
        for panel, words in zip(drawing.panels, told, strict=True)
    )
    return f'<p class="title">{escape(drawing.title)}</p><div class="panels">{shown}</div>'


def picture(svg: bytes, told: str) -> str:
    """A picture within the page itself, with its words for who can't see it."""
    return f'<div class="wide">{_image(svg, told)}</div>'


def _image(svg: bytes, told: str) -> str:
    data = b64encode(svg).decode("ascii")
    return f'<img alt="{escape(told)}" src="data:image/svg+xml;base64,{data}">'
