"""What stands in a package, read by readers that are not ours and judged by the open standard."""

from __future__ import annotations

import csv
import getpass
import hashlib
import json
import platform
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from frictionless import validate

from casebook.domain.packages import Field, FieldType, FileFormat, Package, Table
from casebook.packing import workbook
from casebook.packing.rows import schema_of
from casebook.packing.writing import PackageWriter, Packed
from tests.packing.packed import PACKAGE, frames, write

CSV_ONLY = frozenset({FileFormat.CSV})


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Packed:
    return write(tmp_path_factory.mktemp("packing") / "marked_folder")


def expected(table: Table) -> list[tuple[object, ...]]:
    """The frames' rows as plain values, None for missing."""
    frame = frames()[table.name][list(table.names)].astype(object)
    return list(frame.where(frame.notna(), None).itertuples(index=False, name=None))


def plain(frame: pd.DataFrame) -> list[tuple[object, ...]]:
    frame = frame.astype(object)
    return list(frame.where(frame.notna(), None).itertuples(index=False, name=None))


@pytest.mark.parametrize("table", PACKAGE.tables, ids=lambda table: table.name)
def test_every_format_read_by_its_own_reader_gives_the_rows_as_they_were(
    packed: Packed, table: Table
):
    rows = expected(table)
    of_csv = pd.read_csv(packed.folder / f"data/{table.name}.csv")
    of_parquet = pq.read_table(packed.folder / f"data/{table.name}.parquet")
    book = openpyxl.load_workbook(packed.folder / "tables.xlsx", read_only=True)
    heading, *of_sheet = book[table.name].iter_rows(values_only=True)
    book.close()
    assert tuple(of_csv.columns) == tuple(of_parquet.column_names) == heading == table.names
    assert plain(of_csv) == rows
    assert [tuple(row.values()) for row in of_parquet.to_pylist()] == rows
    assert of_sheet == rows


def test_the_comma_separated_files_follow_their_standard(packed: Packed):
    content = (packed.folder / "data/runners.csv").read_bytes()
    assert content == (
        b'runner,age_band,withheld\r\n"R0001","40, or more | ""old""",true\r\n"R00af",,\r\n'
    )
    with (packed.folder / "data/counts.csv").open(newline="") as opened:
        assert list(csv.reader(opened)) == [["n"]]


def test_parquet_tells_units_and_nothing_of_who_wrote_it(packed: Packed):
    read = pq.ParquetFile(packed.folder / "data/readings.parquet")
    schema = read.schema_arrow
    assert schema.field("contact").metadata == {b"description": b"Contact time.", b"unit": b"ms"}
    assert schema.metadata is None
    assert read.metadata.created_by == f"parquet-cpp-arrow version {pa.__version__}"
    assert not schema.field("visit").nullable


def test_the_package_is_valid_by_the_open_standard(packed: Packed):
    report = validate(str(packed.folder / "datapackage.json"))
    assert report.valid, report.flatten(["type", "message"])
    assert [task.name for task in report.tasks] == [table.name for table in PACKAGE.tables]
    described = json.loads((packed.folder / "datapackage.json").read_text("utf-8"))
    contact = described["resources"][2]["schema"]["fields"][2]
    assert (contact["unit"], contact["constraints"]) == ("ms", {"minimum": 0})


@pytest.mark.parametrize(
    ("file", "was", "now", "judged"),
    [
        ("runners", b"R00af", b"R0001", "primary-key"),
        ("readings", b"V0003", b"V0009", "foreign-key"),
        ("visits", b'V0001"\r\n', b'V0009"\r\n', "foreign-key"),
        ("visits", b'V0001"\r\n', b'V0001x"\r\n', "constraint-error"),
        ("visits", b",31,", b",31.5,", "type-error"),
        ("visits", b",31,", b",-31,", "constraint-error"),
        ("readings", b"left", b"lift", "constraint-error"),
        ("runners", b"R00af", b"Mary ", "constraint-error"),
        ("readings", b"250.1", b"250.2", "hash-count"),
    ],
)
def test_a_file_that_was_changed_is_no_longer_valid(
    packed: Packed, tmp_path: Path, file: str, was: bytes, now: bytes, judged: str
):
    folder = tmp_path / "data"
    folder.mkdir()
    for path in (packed.folder / "data").glob("*.csv"):
        content = path.read_bytes()
        assert path.stem != file or was in content
        (folder / path.name).write_bytes(
            content.replace(was, now, 1) if path.stem == file else content
        )
    described = (packed.folder / "datapackage.json").read_bytes()
    (tmp_path / "datapackage.json").write_bytes(described)
    report = validate(str(tmp_path / "datapackage.json"))
    assert judged in {kind for (kind,) in report.flatten(["type"])}


def test_the_manifest_holds_the_checksum_of_every_file(packed: Packed):
    told = json.loads((packed.folder / "manifest.json").read_text("utf-8"))
    found = sorted(
        path.relative_to(packed.folder).as_posix()
        for path in packed.folder.rglob("*")
        if path.is_file()
    )
    assert [file["path"] for file in told["files"]] == [
        name for name in found if name != "manifest.json"
    ]
    for file in told["files"]:
        content = (packed.folder / file["path"]).read_bytes()
        assert (file["bytes"], file["sha256"]) == (
            len(content), hashlib.sha256(content).hexdigest(),
        )  # fmt: skip
    rows = {file["path"]: file["rows"] for file in told["files"]}
    assert (rows["data/visits.csv"], rows["tables.xlsx"], rows["README.txt"]) == (3, 9, None)
    assert told["extra"] == {"settings": {"k": 5, "purpose": "audit"}}
    content = (packed.folder / "manifest.json").read_bytes()
    assert packed.manifest.sha256 == hashlib.sha256(content).hexdigest()


def test_the_dictionary_says_every_field_with_its_unit_and_values(packed: Packed):
    words = (packed.folder / "dictionary.md").read_text("utf-8")
    for table in PACKAGE.tables:
        assert f"## {table.name}\n\n{table.words}" in words
        assert all(f"| `{field.name}` |" in words for field in table.fields)
    assert "| `contact` | number | ms | at least 0 | yes | Contact time. |" in words
    assert '| `age_band` | string |  | 18 to 29; 30 to 39; 40, or more \\| "old" |' in words
    assert "`before` names a row of `visits` by `visit`." in words
    assert "Licence: For nobody but the tests." in words


def test_the_same_rows_give_the_same_bytes_wherever_and_however_they_are_given(
    packed: Packed, tmp_path: Path
):
    again = write(tmp_path / "elsewhere" / "under another name", rows_at_once=1)
    assert again.manifest.written() == packed.manifest.written()


def test_no_file_tells_who_wrote_it_where_or_when(packed: Packed):
    place = packed.folder.parts[1]
    told = {getpass.getuser(), platform.node(), str(Path.home()), "marked_folder", place, "2026"}
    telling = []
    for path in packed.folder.rglob("*"):
        if not path.is_file():
            continue
        parts = {path.name: path.read_bytes()}
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as opened:
                parts |= {entry.filename: opened.read(entry) for entry in opened.infolist()}
                assert {entry.date_time for entry in opened.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        telling += [
            (name, word)
            for name, content in parts.items()
            for word in told
            if len(word) > 2 and word.encode() in content
        ]
    assert telling == []


def test_formats_that_were_not_asked_for_are_not_there(tmp_path: Path):
    with_parquet = write(tmp_path / "a", formats=CSV_ONLY | {FileFormat.XLSX})
    assert not list(with_parquet.folder.rglob("*.parquet"))
    assert (with_parquet.folder / "tables.xlsx").is_file()
    csv_only = write(tmp_path / "b", formats=CSV_ONLY)
    assert {file.format for file in csv_only.manifest.files} == {"csv", "json", "md", "txt"}
    assert "Parquet" not in (csv_only.folder / "dictionary.md").read_text("utf-8")


def sheets_of(path: Path, rows: pa.Table, table: Table, **how: int) -> openpyxl.Workbook:
    """The workbook of one table alone."""
    parquet = path.with_suffix(".parquet")
    pq.write_table(rows, parquet, row_group_size=7)
    alone = Package(name="alone", title="Alone", words="One table.", tables=(table,))
    workbook.write_workbook(path, alone, {table.name: parquet}, **how)
    return openpyxl.load_workbook(path)


def test_a_table_longer_than_a_sheet_goes_on_in_numbered_sheets(tmp_path: Path):
    rows = pa.table({"n": pa.array(range(25), pa.int64())})
    book = sheets_of(tmp_path / "long.xlsx", rows, PACKAGE.table("counts"), rows_a_sheet=10)
    assert book.sheetnames == ["about the fields", "counts", "counts 2", "counts 3"]
    read = [[cell for (cell,) in book[name].values] for name in book.sheetnames[1:]]
    assert [column[0] for column in read] == ["n", "n", "n"]
    assert [value for column in read for value in column[1:]] == list(range(25))


def test_a_formula_that_came_past_every_guard_is_text_in_the_workbook(tmp_path: Path):
    """The guards refuse it before; the sheet does not rely on them."""
    table = PACKAGE.table("runners")
    texts = ["=1+1", "+1", "@SUM(A1)", "-1", '=HYPERLINK("a")', "<f>1</f>", "&amp;"]
    rows = pa.table(
        {"runner": texts, "age_band": texts, "withheld": [True] * len(texts)},
        schema=schema_of(table),
    )
    page = sheets_of(tmp_path / "live.xlsx", rows, table)["runners"]
    cells = [row[0] for row in page.iter_rows(min_row=2)]
    assert [cell.value for cell in cells] == texts
    assert {cell.data_type for cell in cells} <= {"s", "inlineStr"}
    with zipfile.ZipFile(tmp_path / "live.xlsx") as opened:
        assert b"<f>" not in opened.read("xl/worksheets/sheet2.xml")


def test_every_number_is_read_back_as_the_very_same(tmp_path: Path):
    """Drawn over all bit patterns of a double, and the whole numbers that a double holds."""
    drawn = np.random.default_rng(20261127)
    doubles = drawn.integers(-(2**63), 2**63, 3000, dtype=np.int64).view(np.float64)
    doubles = np.append(doubles[np.isfinite(doubles)], [5e-324, 1.7976931348623157e308, 0.1 + 0.2])
    wholes = drawn.integers(-(2**53), 2**53, doubles.size, endpoint=True)
    table = Table(
        name="numbers",
        words="Two numbers.",
        fields=(
            Field(name="whole", type=FieldType.INTEGER, words="A whole one.", required=True),
            Field(name="real", type=FieldType.NUMBER, words="Any."),
        ),
    )
    numbers = Package(name="numbers", title="Numbers", words="Drawn.", tables=(table,))
    frame = pd.DataFrame({"whole": wholes, "real": doubles})
    with PackageWriter(tmp_path / "out", numbers) as writer:
        writer.add("numbers", frame)
        folder = writer.finish().folder
    rows = list(zip(wholes.tolist(), doubles.tolist(), strict=True))
    assert plain(pd.read_csv(folder / "data/numbers.csv")) == rows
    parquet = pq.read_table(folder / "data/numbers.parquet")
    assert list(zip(*parquet.to_pydict().values(), strict=True)) == rows
    book = openpyxl.load_workbook(folder / "tables.xlsx", read_only=True)
    assert list(book["numbers"].values)[1:] == rows
    book.close()
