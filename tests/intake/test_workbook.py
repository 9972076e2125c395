"""Workbooks as they are: dates, formulas and several sheets; and files that are none."""

from __future__ import annotations

import random
import subprocess
import sys
import zipfile
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from openpyxl.utils.datetime import MAC_EPOCH

from casebook.domain.errors import InputRefused
from casebook.intake import archive_guard
from casebook.intake.grids import cell_name, formula_problems, formulas_told, read_text_grid
from casebook.intake.workbook import is_workbook, read_workbook
from tests.intake.workbooks import SHEET, by_hand, saved


def refusal(path: Path) -> str:
    with pytest.raises(InputRefused) as refused:
        read_workbook(path)
    (problem,) = refused.value.problems
    assert len(problem.message) < 400
    return problem.code


def test_every_sheet_is_read_with_its_rows_where_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    path = saved(
        tmp_path / "two.xlsx",
        {
            "Visits": [["Clinic's own table"], [], ["Runner", "Knee"], ["R-1", 38.2], ["R-2", 40]],
            "Empty": [],
            "Notes": [["a"]],
        },
    )
    assert is_workbook(path)
    visits, notes = read_workbook(path)
    assert (visits.sheet, notes.sheet) == ("Visits", "Notes")
    assert visits.lines.tolist() == [1, 3, 4, 5]
    assert [visits.cells(row) for row in range(4)] == [
        ("Clinic's own table", ""),
        ("Runner", "Knee"),
        ("R-1", "38.2"),
        ("R-2", "40"),
    ]


def test_a_hidden_sheet_is_not_read(tmp_path: Path) -> None:
    path = saved(tmp_path / "hidden.xlsx", {"Seen": [["a"]], "Behind": [["b"]]})
    book = load_workbook(path)
    book["Behind"].sheet_state = "hidden"
    book.save(path)
    assert [grid.sheet for grid in read_workbook(path)] == ["Seen"]


@pytest.mark.parametrize("epoch", [None, MAC_EPOCH], ids=["1900", "1904"])
def test_dates_are_right_in_either_calendar(tmp_path: Path, epoch: datetime | None) -> None:
    rows = [[date(2026, 3, 2)], [datetime(2026, 3, 2, 10, 30)], [date(1999, 12, 31)]]
    options = {} if epoch is None else {"epoch": epoch}
    (grid,) = read_workbook(saved(tmp_path / "dates.xlsx", {"One": rows}, **options))
    assert [grid.cells(row)[0] for row in range(3)] == [
        "2026-03-02",
        "2026-03-02T10:30:00",
        "1999-12-31",
    ]


def test_numbers_are_as_a_spreadsheet_shows_them_and_never_look_like_thousands(
    tmp_path: Path,
) -> None:
    (grid,) = read_workbook(
        saved(tmp_path / "n.xlsx", {"One": [[0.1 + 0.2, 38.0, 1.234, -0.5, True, 1e-7]]})
    )
    assert grid.cells(0) == ("0.3", "38", "1.2340", "-0.5", "TRUE", "1e-07")


def test_a_formula_gives_its_stored_result_and_one_without_is_told_with_its_cell(
    tmp_path: Path,
) -> None:
    path = by_hand(
        tmp_path / "f.xlsx",
        '<row r="1"><c r="A1" t="inlineStr"><is><t>Knee</t></is></c></row>'
        '<row r="2"><c r="A2"><f>19*2</f><v>38</v></c><c r="B2"><f>19*2</f></c></row>',
    )
    (grid,) = read_workbook(path)
    assert grid.formulas == {(2, 0): True, (2, 1): False}
    assert grid.cells(1)[0] == "38"
    told = formulas_told(grid, {0, 1})
    assert told is not None
    assert "A2" in told.message
    (problem,) = formula_problems(grid, {0, 1})
    assert problem.code == "formula_without_result"
    assert "B2" in problem.message
    assert formula_problems(grid, {0}) == []


def test_a_table_of_text_keeps_its_titles_and_ragged_rows(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text('Our table, 2026\n\nRunner;Knee;Note\nR-1;4,1\nR-2;4,2;"a\nb"\nR-3;5\n')
    grid = read_text_grid(path)
    assert grid.delimiter == ";"
    assert grid.lines.tolist() == [1, 3, 4, 5, 7]
    assert grid.cells(3) == ("R-2", "4,2", "a\nb")


def test_cells_are_named_as_a_spreadsheet_names_them() -> None:
    assert [cell_name(1, n) for n in (0, 25, 26, 701, 702)] == ["A1", "Z1", "AA1", "ZZ1", "AAA1"]


# ------------------------------------------------------------------ files that are no good


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    rows = [["Runner", "Date", "Knee L"], *(["R", date(2026, 1, 2), n + 0.5] for n in range(40))]
    return saved(tmp_path_factory.mktemp("good") / "g.xlsx", {"One": rows}).read_bytes()


def read_or_refuse(path: Path) -> None:
    """Nothing but a refusal in words may come of a file."""
    with suppress(InputRefused):
        read_workbook(path)


@settings(max_examples=25)
@given(data=st.data())
def test_random_and_altered_bytes_are_read_or_refused_in_words(
    good: bytes, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    kind = data.draw(st.sampled_from(["random", "cut", "altered"]))
    made = random.Random(data.draw(st.integers(0, 2**32)))
    if kind == "random":
        content = b"PK\x03\x04" + made.randbytes(made.randrange(4_000))
    elif kind == "cut":
        content = good[: made.randrange(4, len(good))]
    else:
        altered = bytearray(good)
        for _ in range(made.randrange(1, 20)):
            altered[made.randrange(4, len(altered))] = made.randrange(256)
        content = bytes(altered)
    path = tmp_path_factory.mktemp("fuzz") / "f.xlsx"
    path.write_bytes(content)
    read_or_refuse(path)


@settings(max_examples=25)
@given(data=st.data())
def test_a_sound_archive_of_senseless_xml_is_read_or_refused_in_words(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    piece = st.sampled_from(
        [
            '<row r="1">', '<row r="99999999999">', "<row>", "</row>", '<c r="A1">', "<c>", "</c>",
            '<c r="ZZZZZZ1" t="s">', '<c r="A1" t="d">', '<c t="b">', '<c t="inlineStr">', "<v>",
            "</v>", "1", "1e999", "abc", "<is><t>x</t></is>", '<f t="shared" si="0">', "</f>",
            '<c r="" s="7">', "\x00", "&amp;", "&nope;", "<!-- -->", "</sheetData>",
            "<f>", '<row r="-5">', "9" * 5000, '<c r="XFD1048576">',
        ]
    )  # fmt: skip
    rows = "".join(data.draw(st.lists(piece, max_size=30)))
    path = tmp_path_factory.mktemp("fuzz") / "f.xlsx"
    by_hand(path, f"<row><c><v>1</v></c>{rows}" if data.draw(st.booleans()) else rows)
    read_or_refuse(path)


def test_a_truncated_workbook_is_damaged_and_a_zip_of_something_else_is_none(
    good: bytes, tmp_path: Path
) -> None:
    cut = tmp_path / "cut.xlsx"
    cut.write_bytes(good[: len(good) // 2])
    assert refusal(cut) == "workbook_damaged"
    other = tmp_path / "other.xlsx"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("table.csv", "a,b")
    assert refusal(other) == "no_workbook"


def test_a_document_type_with_entities_is_refused(tmp_path: Path) -> None:
    bomb = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "x">]><sst/>'
    assert refusal(by_hand(tmp_path / "e.xlsx", "", **{"xl/s.xml": bomb})) == "workbook_damaged"


def test_far_cells_are_refused_by_their_place(tmp_path: Path) -> None:
    assert refusal(by_hand(tmp_path / "far.xlsx", '<row r="1"><c r="ZZZ1"><v>1</v></c></row>')) == (
        "too_many_columns"
    )


BOMB = """
import resource, sys, time, zipfile
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (1_200_000_000, 1_200_000_000))
from casebook.domain.errors import InputRefused
from casebook.intake.workbook import read_workbook
import openpyxl
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
for path in sys.argv[1:]:
    began = time.monotonic()
    try:
        read_workbook(Path(path))
        code = "read"
    except InputRefused as refused:
        code = refused.problems[0].code
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    print(Path(path).stem, code, peak // 1024, f"{time.monotonic() - began:.1f}")
"""


def test_bombs_are_refused_within_bounded_memory_and_time(tmp_path: Path) -> None:
    paths = []
    # A part of one gigabyte of blanks, packed into one megabyte.
    paths.append(tmp_path / "declared.xlsx")
    with zipfile.ZipFile(paths[-1], "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(256):
                part.write(b" " * 1024 * 1024)
    # The same, and the archive lies about its size.
    paths.append(tmp_path / "lying.xlsx")
    true = (256 * 1024 * 1024).to_bytes(4, "little")
    content = paths[0].read_bytes()
    where = content.rfind(b"PK\x01\x02")
    lying = content[: where + 24] + (1000).to_bytes(4, "little") + content[where + 28 :]
    assert content[where + 24 : where + 28] == true
    paths[-1].write_bytes(lying)
    # A million columns in one row, and one row number that nobody can count to.
    paths.append(
        by_hand(tmp_path / "wide.xlsx", "<row>" + "<c><v>1</v></c>" * 1_000_000 + "</row>")
    )
    paths.append(by_hand(tmp_path / "tall.xlsx", '<row r="2000000000"><c><v>1</v></c></row>'))
    paths.append(
        by_hand(
            tmp_path / "long.xlsx",
            f'<row r="1"><c r="A1" t="inlineStr"><is><t>{"x" * 10_000_000}</t></is></c></row>',
        )
    )
    done = subprocess.run(
        [sys.executable, "-c", BOMB, *map(str, paths)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    said = {
        name: (code, int(peak), float(s))
        for name, code, peak, s in map(str.split, done.stdout.splitlines())
    }
    assert {name: code for name, (code, _, _) in said.items()} == {
        "declared": "workbook_too_large",
        "lying": "workbook_damaged",
        "wide": "row_too_wide",
        "tall": "empty_file",
        "long": "read",
    }
    assert max(peak for _, peak, _ in said.values()) < 150, done.stdout
    assert max(seconds for _, _, seconds in said.values()) < 10, done.stdout


def test_the_limits_are_below_what_a_workbook_may_be() -> None:
    # A full row of a workbook (16,384 cells of a number and a formula each) is not refused.
    walk = archive_guard._Walk()
    walk.take(("<row>" + "<c><v>1</v></c>" * 16_384 + "</row>").encode() + SHEET.encode())
    assert walk.tags < archive_guard.MOST_TAGS_OF_ROW
