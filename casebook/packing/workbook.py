"""Tables as one workbook (.xlsx): a sheet a table, and a first sheet that explains the fields.

The workbook around the rows (its parts, headings, widths, properties) is made by xlsxwriter,
whose one row at a time would take minutes for millions of rows. The rows themselves are put
into its sheets as SpreadsheetML (ISO/IEC 29500-1, 18.3) from blocks of columns: text is always
an inline string, which no spreadsheet computes, and a number its shortest decimal form.
"""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Final
from xml.sax.saxutils import escape

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_range

from casebook.domain.packages import Package, Table
from casebook.packing.wording import allowed_words

# An Excel sheet has 1,048,576 rows, its heading among them.
ROWS_A_SHEET: Final = 1_048_575
# A sheet stays below 2 GiB of XML, so that the zip needs no form that old readers do not know.
CELLS_A_SHEET: Final = 24_000_000
ROWS_A_BLOCK: Final = 32_768
ABOUT: Final = "about the fields"
# Not when, but always the same: the first day that a zip can tell.
DAY: Final = (1980, 1, 1, 0, 0, 0)
CREATED: Final = datetime(1980, 1, 1)  # noqa: DTZ001 - the library takes it as it is
END_OF_ROWS: Final = b"</sheetData>"
# Deflating is most of the time; more than this makes the file hardly smaller.
EFFORT: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """Some rows of a table on one sheet."""

    name: str
    table: Table
    first: int
    rows: int


def write_workbook(
    path: Path,
    package: Package,
    tables: Mapping[str, Path],
    *,
    rows_a_sheet: int = ROWS_A_SHEET,
) -> int:
    """Write a workbook from tables that stand as Parquet; returns how many rows it has.

    Parameters
    ----------
    path : Path
    package : Package
        The tables' order is the sheets'.
    tables : mapping of str to Path
        The Parquet file of each table.
    rows_a_sheet : int
        A table longer than this goes on in further sheets, "values 2" and so on.
    """
    sheets = [
        sheet
        for table in package.tables
        for sheet in _sheets(table, pq.read_metadata(tables[table.name]).num_rows, rows_a_sheet)
    ]
    with (
        zipfile.ZipFile(io.BytesIO(_shell(package, sheets))) as shell,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=EFFORT) as out,
    ):
        # xlsxwriter names its parts by the sheets' order; the first explains.
        of_part = {f"xl/worksheets/sheet{at}.xml": one for at, one in enumerate(sheets, start=2)}
        for entry in shell.infolist():
            part = zipfile.ZipInfo(entry.filename, date_time=DAY)
            part.compress_type = zipfile.ZIP_DEFLATED
            part.create_system = 3  # the same on every system
            content, sheet = shell.read(entry), of_part.get(entry.filename)
            with out.open(part, "w") as to:
                if sheet is None:
                    to.write(content)
                else:
                    head, end, tail = content.partition(END_OF_ROWS)
                    to.write(head.replace(*_dimension(sheet)))
                    _write_rows(to, sheet, tables[sheet.table.name])
                    to.write(end + tail)
    return sum(sheet.rows for sheet in sheets)


def _sheets(table: Table, rows: int, rows_a_sheet: int) -> list[_Sheet]:
    most = min(rows_a_sheet, CELLS_A_SHEET // len(table.fields))
    return [
        _Sheet(
            name=table.name if at == 0 else f"{table.name} {at + 1}",
            table=table,
            first=at * most,
            rows=min(most, rows - at * most),
        )
        for at in range(max(1, math.ceil(rows / most)))
    ]


def _shell(package: Package, sheets: list[_Sheet]) -> bytes:
    """The workbook without the tables' rows."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(
        out,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False},
    ) as book:
        book.set_properties({"title": package.title, "author": "casebook", "created": CREATED})
        bold, wrapped = (
            book.add_format({"bold": True}),
            book.add_format({"text_wrap": True, "valign": "top"}),
        )
        about = book.add_worksheet(ABOUT)
        rows = [("Table", "Field", "Type", "Unit", "Values", "What it says")]
        for table in package.tables:
            rows.append((table.name, "", "", "", "", table.words))
            rows.extend(
                (
                    table.name,
                    field.name,
                    field.type.value,
                    field.unit,
                    allowed_words(field),
                    field.words,
                )
                for field in table.fields
            )
        for column, width in enumerate((18, 22, 9, 12, 40, 90)):
            about.set_column(column, column, width, wrapped)
        for at, row in enumerate(rows):
            for column, text in enumerate(row):
                about.write_string(at, column, text, bold if at == 0 else wrapped)
        about.freeze_panes(1, 0)
        for sheet in sheets:
            page = book.add_worksheet(sheet.name)
            page.freeze_panes(1, 0)
            for column, name in enumerate(sheet.table.names):
                page.set_column(column, column, max(10, len(name) + 2))
                page.write_string(0, column, name, bold)
    return out.getvalue()


def _dimension(sheet: _Sheet) -> tuple[bytes, bytes]:
    """What the shell says of a sheet's extent, and what is so."""
    last = len(sheet.table.fields) - 1
    was, now = (xl_range(0, 0, rows, last).encode() for rows in (0, sheet.rows))
    return b'<dimension ref="' + was + b'"/>', b'<dimension ref="' + now + b'"/>'


def _write_rows(to: IO[bytes], sheet: _Sheet, parquet: Path) -> None:
    row = 2
    for block in _blocks(parquet, sheet):
        to.write(_xml(block, row))
        row += block.num_rows


def _blocks(parquet: Path, sheet: _Sheet) -> Iterator[pa.Table]:
    """The rows of a sheet; row groups before and after it are not read."""
    first, last = sheet.first, sheet.first + sheet.rows
    with pq.ParquetFile(parquet) as opened:
        at = 0
        for group in range(opened.num_row_groups):
            rows = opened.metadata.row_group(group).num_rows
            if at < last and at + rows > first:
                read = opened.read_row_group(group)
                start, stop = max(first - at, 0), min(last - at, rows)
                for begin in range(start, stop, ROWS_A_BLOCK):
                    yield read.slice(begin, min(ROWS_A_BLOCK, stop - begin)).combine_chunks()
            at += rows


def _xml(block: pa.Table, first_row: int) -> memoryview:
    """Rows as SpreadsheetML; a missing value has no cell."""
    numbers = pc.cast(pa.array(range(first_row, first_row + block.num_rows)), pa.string())
    cells = [
        _cells(block.column(at), xl_col_to_name(at), numbers) for at in range(block.num_columns)
    ]
    rows = pc.binary_join_element_wise(
        '<row r="', numbers, '">', *cells, "</row>", "",
        null_handling="replace", null_replacement="",
    )  # fmt: skip
    return memoryview(rows.buffers()[2])


def _cells(column: pa.ChunkedArray, letters: str, numbers: pa.Array) -> pa.Array:
    values = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if pa.types.is_string(values.type):
        coded = values.dictionary_encode()
        safe = pa.array([escape(text) for text in coded.dictionary.to_pylist()], pa.string())
        texts, kind, before, after = (
            safe.take(coded.indices),
            ' t="inlineStr"',
            "<is><t>",
            "</t></is>",
        )
    elif pa.types.is_boolean(values.type):
        texts, kind, before, after = (
            pc.cast(pc.cast(values, pa.int8()), pa.string()),
            ' t="b"',
            "<v>",
            "</v>",
        )
    else:
        texts, kind, before, after = pc.cast(values, pa.string()), "", "<v>", "</v>"
    return pc.binary_join_element_wise(
        f'<c r="{letters}', numbers, f'"{kind}>{before}', texts, f"{after}</c>", ""
    )
