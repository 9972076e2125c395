"""A template and its content to a file, by the library typst.

No browser and no network: the fonts come with the library and are put into the file. The file
holds no date, author or place of its making, and the same content gives the same bytes.
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

from casebook.domain.summaries import Facts, Grid, Points, Text

# A word of more signs has no place to break at, and would run out of its column.
LONGEST_WORD = 22
_LONG_WORD = re.compile(rf"\S{{{LONGEST_WORD + 1},}}")
BREAK = "\u200b"
# Letters and signs that the library's own fonts hold: Latin, Greek, Cyrillic, punctuation, signs.
_OWN_FONTS = re.compile(r"[\u0000-\u058f\u1e00-\u23ff\u25a0-\u25ff]*\Z")
# What the templates import from one another.
SHARED = ("chart.typ", "plot.typ", "parts.typ")


def worded_part(part: Text | Points | Facts | Grid) -> dict[str, Any]:
    """What stands in words, as the templates take it."""
    if isinstance(part, Text):
        return {"kind": "text", "words": part.words, "strong": part.strong}
    if isinstance(part, Points):
        return {"kind": "points", "items": list(part.items)}
    if isinstance(part, Facts):
        return {"kind": "facts", "rows": [list(row) for row in part.rows]}
    return {
        "kind": "grid",
        "columns": list(part.columns),
        "rows": [list(row) for row in part.rows],
        "numbers": sorted(part.numbers),
    }


def broken(thing: Any) -> Any:
    """A content whose very long words may be broken."""
    if isinstance(thing, str):
        return breakable(thing)
    if isinstance(thing, dict):
        return {key: broken(value) for key, value in thing.items()}
    return [broken(one) for one in thing] if isinstance(thing, list) else thing


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


def pages_of(pdf: bytes) -> int:
    """How many pages a PDF has."""
    return len(PdfReader(BytesIO(pdf)).pages)


def compiled(name: str, content: dict[str, Any], **more: Any) -> bytes:
    """The template of a name with its content, as one file.

    Letters beyond Latin, Greek and Cyrillic are taken from the fonts of this machine, where it
    has them.
    """
    given = json.dumps(content, ensure_ascii=False)
    parts = {"main.typ": _template(name)} | {shared: _template(shared) for shared in SHARED}
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


@cache
def _template(name: str) -> bytes:
    return files("casebook.typesetting").joinpath(name).read_bytes()


@cache
def _fonts(*, of_machine: bool) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=of_machine, include_embedded_fonts=True)
