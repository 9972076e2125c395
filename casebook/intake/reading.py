"""A file of text read into coded columns, with the line that each row stands on.

Each column holds its distinct texts once and a code for every row, so that a long table takes
little memory and each distinct text is read into a value only once.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import InputRefused, Problem
from casebook.intake.rows import DELIMITERS, blocks, csv_reader

LARGEST_FILE = 150 * 1024 * 1024
LONGEST_HEADER = 100_000
BLANK = b"\xef\xbb\xbf \t\r\n"
SAVE_AS_UTF8 = (
    "Save it again as UTF-8 (in a spreadsheet: Save as, then the type 'CSV UTF-8'; in a text "
    "editor: Save as, then the encoding UTF-8)."
)
SAVE_AS_CSV = "Export the table as CSV (UTF-8) and import that."

# First bytes of kinds of file that are often mistaken for a table.
SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a spreadsheet workbook or a zip archive"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or office document"),
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"SQLite format 3", "an SQLite database"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"RIFF", "a picture, sound or film"),
    (b"{\\rtf", "a rich-text document"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML document"),
)


class _Codes(dict[str, int]):
    # Gives each new text the next number; looking up is all that callers do.
    def __missing__(self, text: str) -> int:
        number = len(self)
        self[text] = number
        return number


@dataclass(frozen=True, slots=True)
class CodedColumn:
    """One column: its distinct texts, and for each row the number of its text.

    Parameters
    ----------
    codes : array of int, shape (n_rows,)
    texts : list of str
    """

    codes: NDArray[np.int32]
    texts: list[str]

    def text(self, row: int) -> str:
        """The text of one row."""
        found: str = self.texts[self.codes[row]]
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table of text.

    Parameters
    ----------
    file : str
        Its name, for messages.
    header : tuple of str
        Column names as given, stripped.
    lines : array of int, shape (n_rows,)
        Line of the file on which each row starts; the header's is 1 as a rule.
    columns : list of CodedColumn
    problems : list of Problem
        Rows that could not be read and are not among the rows.
    """

    file: str
    delimiter: str
    header: tuple[str, ...]
    header_line: int
    lines: NDArray[np.int64]
    columns: list[CodedColumn]
    problems: list[Problem] = field(default_factory=list)


def read_sheet(path: Path, known_names: Iterable[str] = ()) -> Sheet:
    """Read a delimited file of text.

    Parameters
    ----------
    path : Path
    known_names : iterable of str
        Column names that help to tell the delimiter.

    Raises
    ------
    InputRefused
        When the file as a whole cannot be read: missing, empty, of another kind, in another
        encoding, with a broken quotation, without a header.
    """
    text = decoded(path)
    line, start, end, delimiter = _find_header(text, frozenset(known_names))
    header = _header(text[start:end], line, delimiter)
    _check_header(header)
    return _read_body(path.name, header, (line, text, end + 1), delimiter)


def decoded(path: Path) -> str:
    """The text of a file, with line ends of one kind.

    Raises
    ------
    InputRefused
        When it is missing, empty, too large, of another kind or in another encoding.
    """
    return _decode(_read_bytes(path))


def _whole_file(
    code: str, message: str, *, row: int | None = None, value: str = ""
) -> InputRefused:
    return InputRefused((Problem(code=code, message=message, row=row, value=value),))


def _read_bytes(path: Path) -> bytes:
    try:
        if not path.exists():
            raise _whole_file("file_missing", "there is no such file; check the path.")
        if not path.is_file():
            raise _whole_file("not_a_file", "this is no file (a folder?); name the files in it.")
        if path.stat().st_size > LARGEST_FILE:
            raise _whole_file(
                "file_too_large",
                f"the file has more than {LARGEST_FILE // 1024**2} MB; split it by runner and "
                "import the parts one after the other.",
            )
        return path.read_bytes()
    except OSError as error:
        raise _whole_file(
            "file_unreadable", f"the file cannot be read ({error.strerror})."
        ) from error


def _decode(data: bytes) -> str:
    if not data[:4096].strip(BLANK) and not data.strip(BLANK):
        raise _whole_file("empty_file", "the file is empty; expected a header and rows.")
    kind = next((kind for start, kind in SIGNATURES if data.startswith(start)), None)
    if kind:
        raise _whole_file("other_kind_of_file", f"the file is {kind}, not text. {SAVE_AS_CSV}")
    _refuse_utf16(data)
    zero = data.find(b"\x00")
    if zero >= 0:
        raise _whole_file(
            "nul_byte",
            "the file holds a NUL byte: it is no text, or it was damaged. " + SAVE_AS_CSV,
            row=data.count(b"\n", 0, zero) + 1,
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _not_utf8(data, error.start) from None
    # Line ends of every system become one, so that lines are counted alike.
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def _refuse_utf16(data: bytes) -> None:
    head = data[:2000]
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    # Without a mark: text of Latin letters has a zero in every second byte.
    unmarked = len(head) > 3 and max(head[0::2].count(0), head[1::2].count(0)) > 0.4 * (
        len(head) / 2
    )
    if marked or unmarked:
        raise _whole_file(
            "utf16", f"the file is in UTF-16 ('Unicode text'), not UTF-8. {SAVE_AS_UTF8}"
        )


def _not_utf8(data: bytes, position: int) -> InputRefused:
    line = data.count(b"\n", 0, position) + 1
    start = data.rfind(b"\n", 0, position) + 1
    around = data[max(start, position - 12) : position + 12].split(b"\n")[0]
    guess = around.decode("cp1252", errors="replace").strip()
    return _whole_file(
        "not_utf8",
        f"the file is not in UTF-8; it looks like an older Windows encoding (near '{guess}'). "
        f"{SAVE_AS_UTF8}",
        row=line,
        value=guess,
    )


def _find_header(text: str, known: frozenset[str]) -> tuple[int, int, int, str]:
    """Line number, start and end of the header, and the delimiter."""
    declared = ""
    line, start = 1, 0
    while start < len(text):
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        first = text[start:end]
        if line == 1 and first.startswith("sep=") and first[4:] in DELIMITERS:
            declared = first[4:]
        elif first.strip(" ,;\t"):
            if len(first) > LONGEST_HEADER:
                raise _whole_file(
                    "line_too_long",
                    f"the first line has {len(first)} characters; at most {LONGEST_HEADER}. "
                    "Is it a table with line breaks?",
                    row=line,
                )
            return line, start, end, declared or _delimiter(first, known)
        line, start = line + 1, end + 1
    raise _whole_file("empty_file", "the file is empty; expected a header and rows.")


def _header(first: str, line: int, delimiter: str) -> tuple[str, ...]:
    """Column names of the header."""
    try:
        cells = next(csv_reader([first], delimiter))
    except csv.Error as error:
        raise _whole_file(
            "header_unreadable",
            f"the header cannot be read ({error}); is a quotation mark missing, or is there a "
            "line break in a column name?",
            row=line,
            value=first[:60],
        ) from None
    return tuple(cell.strip() for cell in cells)


def _delimiter(first: str, known: frozenset[str]) -> str:
    def fit(delimiter: str) -> tuple[int, int]:
        names = [name.strip().strip('"').casefold() for name in first.split(delimiter)]
        return sum(name in known for name in names), len(names)

    return max(DELIMITERS, key=fit)


def _check_header(header: tuple[str, ...]) -> None:
    problems = header_problems(header, 1)
    if problems:
        raise InputRefused(tuple(problems))


def header_problems(header: tuple[str, ...], line: int) -> list[Problem]:
    """Column names that stand twice."""
    seen: dict[str, str] = {}
    problems = []
    for name in header:
        folded = name.casefold()
        if folded and folded in seen:
            problems.append(
                Problem(
                    code="column_twice",
                    message=f"the header has the column '{name}' twice; keep one of them.",
                    row=line,
                    column=name,
                    value=name,
                )
            )
        seen[folded] = name
    return problems


def _read_body(
    file: str, header: tuple[str, ...], body: tuple[int, str, int], delimiter: str
) -> Sheet:
    header_line, text, below = body
    codes = [_Codes() for _ in header]
    parts: list[list[NDArray[np.int32]]] = [[] for _ in header]
    lines: list[NDArray[np.int64]] = []
    problems: list[Problem] = []
    for block in blocks(text, header_line + 1, delimiter, len(header), problems, below):
        lines.append(np.array(block.lines, dtype=np.int64))
        for index, cells in enumerate(block.columns):
            coded = map(codes[index].__getitem__, cells)
            parts[index].append(np.fromiter(coded, dtype=np.int32, count=len(cells)))
    sheet = Sheet(
        file=file,
        delimiter=delimiter,
        header=header,
        header_line=header_line,
        lines=np.concatenate(lines) if lines else np.empty(0, np.int64),
        columns=[
            CodedColumn(np.concatenate(part) if part else np.empty(0, np.int32), list(texts))
            for part, texts in zip(parts, codes, strict=True)
        ],
        problems=problems,
    )
    return _without_blank_and_header_rows(sheet)


def _without_blank_and_header_rows(sheet: Sheet) -> Sheet:
    if not len(sheet.lines):
        return sheet
    blank = np.ones(len(sheet.lines), dtype=bool)
    again = np.ones(len(sheet.lines), dtype=bool)
    for name, column in zip(sheet.header, sheet.columns, strict=True):
        is_blank = np.array([not text.strip() for text in column.texts])
        is_name = np.array([text.strip() == name for text in column.texts])
        blank &= is_blank[column.codes]
        again &= is_name[column.codes]
        if not (blank.any() or again.any()):
            return sheet
    again &= ~blank
    problems = [
        Problem(
            code="header_again",
            message="the header stands here a second time (were two files put together?); "
            "remove this line.",
            row=int(line),
            value=sheet.delimiter.join(sheet.header)[:60],
        )
        for line in sheet.lines[again]
    ]
    keep = ~(blank | again)
    return Sheet(
        file=sheet.file,
        delimiter=sheet.delimiter,
        header=sheet.header,
        header_line=sheet.header_line,
        lines=sheet.lines[keep],
        columns=[CodedColumn(column.codes[keep], column.texts) for column in sheet.columns],
        problems=[*sheet.problems, *problems],
    )
