"""A runner's whole record as files: a page to read, a table each as CSV, and what they are."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from html import escape
from typing import Final

from casebook.domain.whole_record import WholeRecord
from casebook.intake.formulas import harmless
from casebook.intake.record_tables import Cell, Table

# Stands in the CSV only: the page shows every trial beside its value.
TRIALS: Final = "trials"
PAGE: Final = "record.html"
README: Final = "README.txt"
CAUTION: Final = (
    "This holds everything that is kept on one person, the name and date of birth among it where "
    "they are stored. Hand it to that person only, and keep no copy longer than you need it."
)
# More columns than these are read down, not across.
MOST_ACROSS: Final = 7

STYLE: Final = """
:root { color-scheme: light dark; }
body { font: 1rem/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 60rem;
  padding: 0 1rem; }
h2 { margin-top: 2.5rem; }
.across { overflow-x: auto; }
table { border-collapse: collapse; }
th, td { border-bottom: 1px solid #8888; padding: .3rem .7rem .3rem 0; text-align: left;
  vertical-align: top; }
.across table { min-width: 40rem; }
td:first-child { white-space: nowrap; }
td.number { font-variant-numeric: tabular-nums; text-align: right; }
dl { border-top: 1px solid #8888; display: grid; gap: .1rem 1rem;
  grid-template-columns: minmax(8rem, 14rem) 1fr; padding-top: .6rem; }
dt { opacity: .75; }
dd { margin: 0; overflow-wrap: anywhere; white-space: pre-wrap; }
.caution { border: 2px solid; padding: .6rem 1rem; }
@media (max-width: 30rem) { dl { grid-template-columns: 1fr; } dd { margin-bottom: .5rem; } }
@media print { body { margin: 0; max-width: none; } h2 { break-after: avoid; }
  tr, dl { break-inside: avoid; } }
"""


def record_files(record: WholeRecord, tables: Iterable[Table]) -> dict[str, bytes]:
    """Name and content of each file."""
    listed = tuple(tables)
    files = {README: _readme(record, listed), PAGE: _page(record, listed)}
    return {name: text.encode() for name, text in files.items()} | {
        f"{table.name}.csv": _csv(table) for table in listed
    }


def _csv(table: Table) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(table.columns)
    writer.writerows([_harmless(cell) for cell in row] for row in table.rows)
    # With the mark by which spreadsheets tell UTF-8.
    return out.getvalue().encode("utf-8-sig")


def _harmless(cell: Cell) -> Cell:
    return harmless(cell) if isinstance(cell, str) else cell


def _said(record: WholeRecord) -> str:
    clinic = f" at {record.clinic}" if record.clinic else ""
    return (
        f"Everything held on runner {record.code}{clinic}, as it stood on "
        f"{record.written_at:%Y-%m-%d at %H:%M} UTC."
    )


def _readme(record: WholeRecord, tables: tuple[Table, ...]) -> str:
    lines = [
        _said(record),
        "",
        CAUTION,
        "",
        f"{PAGE}: all of it, to be read in a browser or printed.",
        "The other files are the same as tables (CSV, UTF-8): open them in any spreadsheet.",
        "A text that a spreadsheet would take for a formula has a ' before it. An empty cell is",
        "what is not known; nothing that is missing is written as 0. Left and right are always",
        "those of the runner; an asymmetry is the right side minus the left.",
        "",
        *(f"{table.name}.csv: {table.title}. {table.explanation}" for table in tables),
    ]
    return "\r\n".join(lines) + "\r\n"


def _page(record: WholeRecord, tables: tuple[Table, ...]) -> str:
    title = f"Record of {record.code}"
    parts = "".join(
        f'<li><a href="#{escape(table.name)}">{escape(table.title)}</a></li>'
        for table in tables
        if table.name != TRIALS
    )
    body = "".join(_section(table) for table in tables if table.name != TRIALS)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>"
        f"<h1>{escape(title)}</h1><p>{escape(_said(record))}</p>"
        f'<p class="caution">{escape(CAUTION)}</p>'
        "<p>Left and right are always those of the runner. What is not known is left out; "
        "nothing that is missing is written as 0. The numbers support a clinician's judgement; "
        "they are no diagnosis.</p>"
        f"<ul>{parts}</ul>"
        f"{body}</body></html>\n"
    )


def _section(table: Table) -> str:
    filled = [
        place
        for place in range(len(table.columns))
        if any(row[place] is not None for row in table.rows)
    ]
    if table.name == "values":
        # The key and the single columns stand in the CSV; the page is read.
        filled = [place for place in filled if table.columns[place] != "key"]
    narrow = len(filled) <= MOST_ACROSS or table.name == "values"
    rows = _across(table, filled) if narrow else _down(table, filled)
    return (
        f'<section id="{escape(table.name)}"><h2>{escape(table.title)}</h2>'
        f"<p>{escape(table.explanation)}</p>{rows}</section>"
    )


def _across(table: Table, places: list[int]) -> str:
    head = "".join(f'<th scope="col">{escape(table.columns[place])}</th>' for place in places)
    body = "".join(
        "<tr>" + "".join(_td(row[place]) for place in places) + "</tr>" for row in table.rows
    )
    return (
        f'<div class="across"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _td(cell: Cell) -> str:
    kind = ' class="number"' if isinstance(cell, int | float) else ""
    return f"<td{kind}>{escape(_words(cell))}</td>"


def _down(table: Table, places: list[int]) -> str:
    return "".join(
        "<dl>"
        + "".join(
            f"<dt>{escape(table.columns[place])}</dt><dd>{escape(_words(row[place]))}</dd>"
            for place in places
            if row[place] is not None
        )
        + "</dl>"
        for row in table.rows
    )


def _words(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:.5g}".replace("-", "−") if isinstance(cell, float) else str(cell)
