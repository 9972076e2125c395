"""A file as a whole: its kind, its encoding, its rows and their lines."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused, Problem
from casebook.intake.reading import LARGEST_FILE, Sheet, read_sheet
from casebook.intake.recognising import Layout, MetricColumn, read_metric_column, recognise
from casebook.intake.rows import blocks
from casebook.intake.visit_rows import MOST_READINGS, Gathered, Readings

SIDED = {"lunge_distance": True, "knee_flexion_midstance": True, "cadence": False}


def sheet_of(tmp_path: Path, data: bytes | str) -> Sheet:
    path = tmp_path / "table.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_sheet(path, {"runner", "sex"})


def refused(tmp_path: Path, data: bytes | str) -> Problem:
    with pytest.raises(InputRefused) as refusal:
        sheet_of(tmp_path, data)
    return refusal.value.problems[0]


def cells(sheet: Sheet) -> list[list[str]]:
    return [[column.text(row) for column in sheet.columns] for row in range(len(sheet.lines))]


@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b" \r\n\n", b";;;\n;;\n"])
def test_an_empty_file_is_refused(tmp_path: Path, data: bytes) -> None:
    assert refused(tmp_path, data).code == "empty_file"


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"PK\x03\x04rest", "workbook"),
        (b"%PDF-1.7 rest", "PDF"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"SQLite format 3\x00", "SQLite"),
        (b"<!DOCTYPE html>", "web page"),
    ],
)
def test_a_file_of_another_kind_is_named(tmp_path: Path, data: bytes, word: str) -> None:
    problem = refused(tmp_path, data)
    assert problem.code == "other_kind_of_file"
    assert word in problem.message
    assert "CSV" in problem.message


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_named_with_or_without_its_mark(tmp_path: Path, encoding: str) -> None:
    problem = refused(tmp_path, "runner,sex\nA,female\n".encode(encoding))
    assert problem.code == "utf16"
    assert "UTF-8" in problem.message


def test_an_old_windows_encoding_is_refused_with_its_line_and_how_to_save(tmp_path: Path) -> None:
    problem = refused(tmp_path, "runner,sex\nA,female\nMüller,male\n".encode("cp1252"))
    assert (problem.code, problem.row) == ("not_utf8", 3)
    assert "Müller" in problem.value
    assert "Save it again as UTF-8" in problem.message


def test_a_nul_byte_is_refused_with_its_line(tmp_path: Path) -> None:
    problem = refused(tmp_path, b"runner,sex\nA,fem\x00ale\n" + b"B,male\n" * 40)
    assert (problem.code, problem.row) == ("nul_byte", 2)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as missing:
        read_sheet(tmp_path / "none.csv")
    with pytest.raises(InputRefused) as folder:
        read_sheet(tmp_path)
    assert missing.value.problems[0].code == "file_missing"
    assert folder.value.problems[0].code == "not_a_file"


def test_a_column_that_stands_twice_in_the_header_is_refused(tmp_path: Path) -> None:
    problem = refused(tmp_path, "runner,sex,Sex\nA,female,female\n")
    assert (problem.code, problem.column, problem.row) == ("column_twice", "Sex", 1)


def test_a_header_that_stands_again_in_the_body_is_refused_in_its_line(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, "runner,sex\nA,female\nrunner,sex\nB,male\n")
    assert [(p.code, p.row) for p in sheet.problems] == [("header_again", 3)]
    assert cells(sheet) == [["A", "female"], ["B", "male"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_delimiters_line_ends_and_the_spreadsheet_mark_make_no_difference(
    tmp_path: Path, delimiter: str, end: str, mark: bytes
) -> None:
    rows = ["runner,sex", "A,female", "B,male"]
    text = end.join(row.replace(",", delimiter) for row in rows) + end
    sheet = sheet_of(tmp_path, mark + text.encode())
    assert sheet.header == ("runner", "sex")
    assert cells(sheet) == [["A", "female"], ["B", "male"]]
    assert sheet.lines.tolist() == [2, 3]


def test_rows_keep_their_line_past_quoted_line_breaks_and_blank_lines(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, 'runner,sex\n"A\nB",female\n\n,\n"C ""x""",male\n')
    assert sheet.lines.tolist() == [2, 6]
    assert cells(sheet) == [["A\nB", "female"], ['C "x"', "male"]]


def test_rows_of_another_width_are_refused_in_their_lines_and_the_rest_is_read(
    tmp_path: Path,
) -> None:
    sheet = sheet_of(tmp_path, "runner,sex\nA,4,1\nB\nC,male\nD,male,\n")
    assert [(p.code, p.row) for p in sheet.problems] == [("ragged_row", 2), ("ragged_row", 3)]
    assert "quotation marks" in sheet.problems[0].message
    assert cells(sheet) == [["C", "male"], ["D", "male"]]


def test_a_quotation_that_never_ends_is_refused_where_it_begins(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, 'runner,sex\nA,male\n"B,female\nC,male\n')
    assert [(p.code, p.row) for p in sheet.problems] == [("broken_quotation", 3)]


@pytest.mark.parametrize("quote", ["", '"'])
def test_an_endless_line_is_refused(tmp_path: Path, quote: str) -> None:
    sheet = sheet_of(tmp_path, f"runner,sex\nA,male\n{quote}{'x' * 1_200_000}{quote},male\n")
    assert [(p.code, p.row) for p in sheet.problems] == [("line_too_long", 3)]


def test_a_library_that_lifts_the_limit_of_a_cell_does_not_lift_ours(tmp_path: Path) -> None:
    before = csv.field_size_limit(10**9)
    sheet = sheet_of(tmp_path, f'runner,sex\nA,male\n"{"x" * 200_000}",male\n')
    csv.field_size_limit(before)
    assert [(p.code, p.row) for p in sheet.problems] == [("line_too_long", 3)]


def test_an_endless_header_is_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "runner," + "x" * 200_000).code == "line_too_long"


@given(
    st.lists(
        st.lists(st.text("ab 4.", max_size=4), min_size=3, max_size=3), min_size=1, max_size=40
    )
)
def test_splitting_as_a_whole_and_the_csv_reader_cut_the_same_rows(rows: list[list[str]]) -> None:
    plain = "\n".join(",".join(row) for row in rows) + "\n"
    # Quotation marks around the first cell send the same rows by the other way.
    quoted = "\n".join(f'"{row[0]}",' + ",".join(row[1:]) for row in rows) + "\n"
    found = []
    for text in (plain, quoted):
        problems: list[Problem] = []
        parts = list(blocks(text, 2, ",", 3, problems))
        found.append(
            [
                (line, *row)
                for part in parts
                for line, row in zip(part.lines, zip(*part.columns, strict=True), strict=True)
            ]
        )
        assert problems == []
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("name", "metric", "side", "role", "trial", "unit"),
    [
        ("cadence", "cadence", "none", "cell", 0, ""),
        ("cadence_n", "cadence", "none", "n", 0, ""),
        ("lunge_distance_left", "lunge_distance", "left", "cell", 0, ""),
        ("Lunge distance R", "lunge_distance", "right", "cell", 0, ""),
        ("lunge_distance_left_2", "lunge_distance", "left", "trial", 2, ""),
        ("lunge_distance_left_n", "lunge_distance", "left", "n", 0, ""),
        ("lunge_distance_left_missing", "lunge_distance", "left", "missing", 0, ""),
        ("lunge_distance_left [in]", "lunge_distance", "left", "cell", 0, "in"),
    ],
)
def test_a_wide_column_is_read_by_its_name(
    name: str, metric: str, side: str, role: str, trial: int, unit: str
) -> None:
    assert read_metric_column(name, 5, SIDED) == MetricColumn(
        index=5, name=name, metric=metric, side=side, role=role, trial=trial, unit=unit
    )


@pytest.mark.parametrize(
    ("name", "right"),
    [
        ("left_knee_flexion_midstance", "knee_flexion_midstance_left"),
        ("knee_flexion_midstance_links", "knee_flexion_midstance_left"),
        ("knee_flexion_midstance_lft", "knee_flexion_midstance_left"),
        ("knee_flexion_midstanse_left", "knee_flexion_midstance_left"),
        ("cadense", "cadence"),
    ],
)
def test_a_misspelt_wide_column_is_told_its_right_name(name: str, right: str) -> None:
    problem = read_metric_column(name, 0, SIDED)
    assert isinstance(problem, Problem)
    assert (problem.code, problem.column) == ("unknown_column", name)
    assert right in problem.message


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("lunge_distance", "side_missing"),
        ("lunge_distance_none", "side_missing"),
        ("cadence_left", "side_not_expected"),
    ],
)
def test_a_wide_column_whose_side_does_not_fit_the_metric_is_refused(name: str, code: str) -> None:
    problem = read_metric_column(name, 0, SIDED)
    assert isinstance(problem, Problem)
    assert problem.code == code


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        ("runner,visit_date,metric,side,trial,value", "visits"),
        ("runner,visit_date,cadence", "visits_wide"),
        ("runner,sex", "runners"),
        ("runner", "runners"),
        ("runner,region,pathology,side,onset_on", "injuries"),
        ("runner,title,started_on", "programmes"),
        ("runner,programme,position,aim,exercise", "blocks"),
        ("runner,programme,metric,what,direction,amount,due_on", "targets"),
        ("runner,programme,week_start,sessions_planned,sessions_done", "adherence"),
        ("runner,purpose,given_on", "consents"),
        ("user,display_name,role", "users"),
        ("metric,origin,sem,sem_trials,source", "error_figures"),
    ],
)
def test_each_table_is_told_by_its_header(header: str, kind: str) -> None:
    layout = recognise(tuple(header.split(",")), SIDED)
    assert isinstance(layout, Layout)
    assert layout.table.kind == kind
    assert layout.problems == ()


def test_a_header_that_fits_no_table_is_refused_with_the_tables_there_are() -> None:
    problem = recognise(("apples", "pears"), SIDED)
    assert isinstance(problem, Problem)
    assert problem.code == "unknown_table"
    assert "adherence" in problem.message


def test_unknown_columns_are_told_the_nearest_name_and_own_columns_are_passed_over() -> None:
    layout = recognise(("runner", "sex", "hight_cm", "_mine", "note"), SIDED)
    assert isinstance(layout, Layout)
    assert [(p.code, p.column) for p in layout.problems] == [("unknown_column", "hight_cm")]
    assert "height_cm" in layout.problems[0].message


def test_a_missing_column_is_named() -> None:
    layout = recognise(("runner", "date", "metric", "side", "trial", "value"), SIDED)
    assert isinstance(layout, Layout)
    assert ("missing_column", "visit_date") in [(p.code, p.column) for p in layout.problems]


def test_a_file_beyond_what_can_be_held_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        # A file with a hole: as large as it says, and nothing on the disk.
        file.truncate(LARGEST_FILE + 1)
    with pytest.raises(InputRefused) as refusal:
        read_sheet(path)
    assert refusal.value.problems[0].code == "file_too_large"


def test_more_values_than_can_be_held_are_refused() -> None:
    whole = np.broadcast_to(np.int64(0), MOST_READINGS)
    real = np.broadcast_to(np.float64(0), MOST_READINGS)
    part = Readings(
        row=whole,
        column=whole,
        metric=whole,
        side=whole,
        trial=whole,
        n=whole,
        value=real,
        reason=whole,
    )
    gathered = Gathered()
    gathered.add_readings(part)
    with pytest.raises(InputRefused) as refusal:
        gathered.add_readings(part)
    assert refusal.value.problems[0].code == "too_many_values"
