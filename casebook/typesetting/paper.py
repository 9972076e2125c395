"""A summary as a PDF, and its charts as pictures that stay sharp, by the library typst.

No browser and no network: the fonts come with the library and are put into the file. The file
holds no date, author or place of its making, and the same summary gives the same bytes.
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any, cast

import typst
from pypdf import PdfReader

from casebook.domain.summaries import Drawing, Facts, Grid, Part, Points, Summary, Text
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
# A word of more signs has no place to break at, and would run out of its column.
LONGEST_WORD = 22
_LONG_WORD = re.compile(rf"\S{{{LONGEST_WORD + 1},}}")
BREAK = "\u200b"
# Letters and signs that the library's own fonts hold: Latin, Greek, Cyrillic, punctuation, signs.
_OWN_FONTS = re.compile(r"[\u0000-\u058f\u1e00-\u23ff\u25a0-\u25ff]*\Z")


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


def pages_of(pdf: bytes) -> int:
    """How many pages a PDF has."""
    return len(PdfReader(BytesIO(pdf)).pages)


def _paper(content: dict[str, Any], size: float, *, split: bool) -> bytes:
    given = content | {"size": size, "split": split}
    return _compiled("summary.typ", given, format="pdf", pdf_standards=["ua-1"])


def chart_svg(drawing: Drawing) -> bytes:
    """One drawing as SVG, exactly as it stands in the PDF; its letters are drawn as shapes."""
    return _compiled("one_chart.typ", _broken(placed(drawing)), format="svg")


def _part(part: Part) -> dict[str, Any]:
    if isinstance(part, Text):
        found: dict[str, Any] = {"kind": "text", "words": part.words, "strong": part.strong}
    elif isinstance(part, Points):
        found = {"kind": "points", "items": list(part.items)}
    elif isinstance(part, Facts):
        found = {"kind": "facts", "rows": [list(row) for row in part.rows]}
    elif isinstance(part, Grid):
        found = {
            "kind": "grid",
            "columns": list(part.columns),
            "rows": [list(row) for row in part.rows],
            "numbers": sorted(part.numbers),
        }
    else:
        found = {"kind": "drawing", **placed(part)}
    broken: dict[str, Any] = _broken(found)
    return broken


def _broken(thing: Any) -> Any:
    if isinstance(thing, str):
        return breakable(thing)
    if isinstance(thing, dict):
        return {key: _broken(value) for key, value in thing.items()}
    return [_broken(one) for one in thing] if isinstance(thing, list) else thing


def breakable(text: str) -> str:
    """A text in which a very long word may be broken, by an invisible sign.

    Examples
    --------
    >>> breakable("short words"), len(breakable("x" * 50)) - 50
    ('short words', 2)
    """
    return _LONG_WORD.sub(
        lambda found: BREAK.join(
            found[0][at : at + LONGEST_WORD] for at in range(0, len(found[0]), LONGEST_WORD)
        ),
        text,
    )


@cache
def _template(name: str) -> bytes:
    return files("casebook.typesetting").joinpath(name).read_bytes()


@cache
def _fonts(*, of_machine: bool) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=of_machine, include_embedded_fonts=True)


def _compiled(name: str, content: dict[str, Any], **more: Any) -> bytes:
    given = json.dumps(content, ensure_ascii=False)
    parts = {"main.typ": _template(name), "chart.typ": _template("chart.typ")}
    # The library's types know one file only; it takes several by name as well.
    compiler = typst.Compiler(
        cast("bytes", parts),
        font_paths=_fonts(of_machine=_OWN_FONTS.match(given) is None),
        sys_inputs={"content": given},
    )
    found = compiler.compile(timestamp=0, **more)
    if not isinstance(found, bytes):
        raise TypeError(f"{name} became {type(found).__name__}, not one file")
    return found
