"""A workbook's zip archive looked through before anything of it is unpacked into memory.

A workbook is a zip of XML parts, and a small one can hold a very large or a very wide table.
Here the declared sizes are held against limits first; then every part is run through once, a
piece at a time, so that its true size, its checksum, its widest row and its formulas are known
before a parser that builds trees gets to see it.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from casebook.domain.errors import InputRefused, refuse

MEGABYTE = 1024 * 1024
MOST_PARTS = 5_000
LARGEST_UNPACKED = 300 * MEGABYTE
# Texts are kept in memory as a whole, and styles become a tree of objects.
LARGEST_OF_PART = {"xl/sharedStrings.xml": 64 * MEGABYTE, "xl/styles.xml": 8 * MEGABYTE}
LARGEST_SHEET = 200 * MEGABYTE
LARGEST_OTHER = 16 * MEGABYTE
# A row of a workbook has 16,384 cells at most, each with a few tags of its own.
MOST_TAGS_OF_ROW = 150_000
LARGEST_ROW = 16 * MEGABYTE
MOST_FORMULAS = 200_000
PIECE = MEGABYTE
ROW_END = re.compile(rb"</(?:\w+:)?row>|<(?:\w+:)?row(?:\s[^<>]*)?/>")
FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
LONGEST_TOKEN = 256
SAVE_AGAIN = "Open it in a spreadsheet program and save it again as a workbook (.xlsx) or as CSV."


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What was found on the way through.

    Parameters
    ----------
    formulas : dict of str to int
        For each sheet part the number of cells with a formula.
    """

    formulas: dict[str, int] = field(default_factory=dict)


def look_through(path: Path) -> Looked:
    """Hold a workbook's archive against its limits.

    Raises
    ------
    InputRefused
        When it is no sound archive or no workbook, is locked by a password, or would become
        larger than can be held in memory.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            _check_declared(archive, path.stat().st_size)
            return Looked(
                formulas={
                    part.filename: _run_through(archive, part)
                    for part in archive.infolist()
                    if _is_read(part.filename)
                }
            )
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, ValueError) as error:
        raise damaged() from error
    except OSError as error:
        raise refuse(
            "file_unreadable", f"the file cannot be read ({error.strerror or 'input error'})."
        ) from error


def damaged() -> InputRefused:
    """Refusal of a workbook that breaks off or contradicts itself."""
    return refuse(
        "workbook_damaged",
        f"the workbook is damaged or was cut short; nothing of it was taken. {SAVE_AGAIN}",
    )


def _is_read(name: str) -> bool:
    return name.endswith((".xml", ".rels"))


def _check_declared(archive: zipfile.ZipFile, size: int) -> None:
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if len(parts) > MOST_PARTS or len(names) != len(parts):
        raise damaged()
    if any(part.flag_bits & 1 for part in parts):
        raise refuse(
            "workbook_locked",
            "the workbook is locked by a password; save it without one.",
        )
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise refuse(
            "no_workbook",
            "the file is a zip archive and no workbook (.xlsx); name the table within it. "
            "A table of another office program is saved as .xlsx or as CSV first.",
        )
    if any(name.startswith("xl/") and name.endswith(".bin") and "worksheets" in name
           and "/printerSettings" not in name for name in names):  # fmt: skip
        raise refuse("binary_workbook", f"the workbook is of the binary kind (.xlsb). {SAVE_AGAIN}")
    # Parts that lie over one another unpack to far more than the file could hold.
    if sum(part.compress_size for part in parts) > size:
        raise damaged()
    read = [part for part in parts if _is_read(part.filename)]
    for part in read:
        if part.file_size > _limit(part.filename):
            raise _too_large(part.filename, part.file_size)
    whole = sum(part.file_size for part in read)
    if whole > LARGEST_UNPACKED:
        raise _too_large("", whole)


def _limit(name: str) -> int:
    if name.startswith("xl/worksheets/"):
        return LARGEST_SHEET
    return LARGEST_OF_PART.get(name, LARGEST_OTHER)


def _too_large(name: str, size: int) -> InputRefused:
    what = f"its part {name}" if name else "it"
    most = _limit(name) if name else LARGEST_UNPACKED
    return refuse(
        "workbook_too_large",
        f"unpacked, {what} would take {size // MEGABYTE:,} MB; at most {most // MEGABYTE} are "
        "taken. Save the sheet as CSV, or split it by runner.",
        value=name,
    )


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    with archive.open(part) as stream:
        # Reading stops at the declared size and the checksum must then be right.
        while piece := stream.read(PIECE):
            yield piece


def _run_through(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> int:
    """Read a part once; how many formulas it has."""
    is_sheet = part.filename.startswith("xl/worksheets/") and part.filename.endswith(".xml")
    walk = _Walk()
    first = True
    size = 0
    for piece in _pieces(archive, part):
        size += len(piece)
        if size > _limit(part.filename):
            raise _too_large(part.filename, size)
        if first:
            _check_start(piece)
            first = False
        if b"<!DOCTYPE" in piece or b"<!ENTITY" in piece:
            raise damaged()
        if is_sheet:
            walk.take(piece)
    if size != part.file_size:
        raise damaged()
    return walk.formulas


def _check_start(piece: bytes) -> None:
    # In another encoding the marks that are looked for here would read otherwise.
    start = piece.removeprefix(b"\xef\xbb\xbf").lstrip()
    declared = re.match(rb"<\?xml[^>]*?encoding\s*=\s*[\"']([^\"']*)", start)
    if not start.startswith(b"<") or (
        declared and declared[1].lower() not in {b"utf-8", b"utf8", b"us-ascii", b"ascii"}
    ):
        raise damaged()


@dataclass(slots=True)
class _Walk:
    # Counts over the pieces of a sheet; a mark may be cut by the end of a piece.
    formulas: int = 0
    tags: int = 0
    length: int = 0
    rest: bytes = b""

    def take(self, piece: bytes) -> None:
        text = self.rest + piece
        cut = text.rfind(b"<")
        # What stands behind the last '<' may be half a tag: it waits for the next piece.
        cut = len(text) if cut < 0 or len(text) - cut > LONGEST_TOKEN else cut
        text, self.rest = text[:cut], text[cut:]
        start = 0
        for end in ROW_END.finditer(text):
            self._count(text, start, end.end())
            self.tags = self.length = 0
            start = end.end()
        self._count(text, start, len(text))
        self.formulas += len(FORMULA.findall(text))
        if self.formulas > MOST_FORMULAS:
            raise refuse(
                "too_many_formulas",
                f"a sheet has more than {MOST_FORMULAS:,} formulas; copy the table and paste it "
                "as values, then save that.",
            )

    def _count(self, text: bytes, start: int, end: int) -> None:
        self.tags += text.count(b"<", start, end)
        self.length += end - start
        if self.tags > MOST_TAGS_OF_ROW or self.length > LARGEST_ROW:
            raise refuse(
                "row_too_wide",
                "a row of a sheet has more cells or longer texts than a workbook can have "
                "(16,384 columns); is it a table? Save the part that matters as a sheet of its "
                "own.",
            )
