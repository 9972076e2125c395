"""Workbooks of the tests' own: well made by openpyxl, and part by part where no program would."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from openpyxl import Workbook

TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.worksheet+xml"/></Types>'
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
    'relationships/{kind}" Target="{target}"/></Relationships>'
)
BOOK = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    '<sheets><sheet name="One" sheetId="1" r:id="r1"/></sheets></workbook>'
)
SHEET = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
)
SHEET_END = "</sheetData></worksheet>"


def saved(path: Path, sheets: dict[str, Sequence[Sequence[Any]]], **options: Any) -> Path:
    """A workbook with these rows on these sheets."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    for name, value in options.items():
        setattr(book, name, value)
    book.save(path)
    return path


def by_hand(path: Path, rows: str, **parts: str | bytes) -> Path:
    """A workbook of one sheet whose rows are this XML, as a program gone wrong may write it."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("[Content_Types].xml", TYPES)
        archive.writestr(
            "_rels/.rels", RELATIONS.format(kind="officeDocument", target="xl/workbook.xml")
        )
        archive.writestr("xl/workbook.xml", BOOK)
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            RELATIONS.format(kind="worksheet", target="worksheets/sheet1.xml"),
        )
        archive.writestr("xl/worksheets/sheet1.xml", SHEET + rows + SHEET_END)
        for name, text in parts.items():
            archive.writestr(name, text)
    return path
