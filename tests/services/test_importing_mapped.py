"""Spreadsheets as clinics keep them, taken in by a mapping: what is stored, told and refused."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from casebook.domain.sides import Side
from casebook.intake.mapping import (
    COUNT,
    NOTHING,
    READING,
    ColumnUse,
    Dates,
    FileMapping,
    RowIs,
    SheetMapping,
    SummaryRows,
    WordUse,
)
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit
from casebook.services.registering import list_runners
from tests.intake.workbooks import by_hand, saved

KNEE = "knee_flexion_midstance"
DAY = date(2026, 3, 2)


def use(header: str, holds: str = READING, **more: Any) -> ColumnUse:
    return ColumnUse(header=header, holds=holds, **more)


def knee(header: str, side: str = "", **more: Any) -> ColumnUse:
    return use(header, metric=KNEE, side=side, **more)


RUNNER_AND_DAY = (use("Athlete", "runner"), use("Date", "visit_date"))


def mapped(columns: Sequence[ColumnUse], **more: Any) -> SheetMapping:
    return SheetMapping(columns=(*RUNNER_AND_DAY, *columns), **({"dates": Dates.YEAR_FIRST} | more))


def imported(
    casebook: Casebook, path: Path, *sheets: SheetMapping, dry_run: bool = False
) -> ImportReport:
    mappings = {path: FileMapping(sheets=sheets)}
    return import_files(casebook, [path], mappings=mappings, dry_run=dry_run)


def trials(casebook: Casebook, code: str, side: Side, metric: str = KNEE) -> tuple[float, ...]:
    stored = find_visit(casebook, code, DAY)
    assert stored is not None
    (value,) = (v for v in stored.visit.values if (v.metric, v.side) == (metric, side))
    return tuple(value.trials)


def codes_of(report: ImportReport) -> list[str]:
    return [problem.code for problem in report.problems]


def test_a_row_for_each_visit_below_titles_is_stored_trial_by_trial(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = saved(
        tmp_path / "v.xlsx",
        {
            "Spring": [
                ["Running lab"],
                [],
                ["KF R 1", "Date", "KF L 2", "Shoes", "KF L 1", "Athlete", "Cad", "private"],
                [41.5, DAY, 39.5, "own", 38, "R-1", 172, "x"],
                [],
                ["n/a", DAY, 38, "own", 37, "R-2", 168, "y"],
            ]
        },
    )
    report = imported(
        sqlite_casebook,
        path,
        mapped(
            [
                knee("KF L 1", "left", trial=1),
                knee("KF L 2", "left", trial=2),
                knee("KF R 1", "right", trial=1),
                use("Cad", metric="cadence", side="none"),
                use("shoes", "footwear"),
                use("private", NOTHING),
            ],
            header_row=9,
        ),
    )
    assert report.problems == ()
    assert trials(sqlite_casebook, "R-1", Side.LEFT) == (38.0, 39.5)
    assert trials(sqlite_casebook, "R-1", Side.RIGHT) == (41.5,)
    assert trials(sqlite_casebook, "R-2", Side.NONE, "cadence") == (168.0,)
    stored = find_visit(sqlite_casebook, "R-2", DAY)
    assert stored is not None
    assert stored.visit.conditions.footwear == "own"
    assert [value.side for value in stored.visit.values if value.metric == KNEE] == [Side.LEFT]


def test_a_row_for_each_side_gives_both_sides_and_takes_a_number_without_sides_once(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "s.csv"
    path.write_text(
        "Athlete;Date;Leg;Try;Knee;Lunge;Cad\n"
        "R-1;02.03.2026;L;Trial 1;38,5;10;172\n"
        ";;L;Trial 2;39,5;11;172\n"
        ";;R;Trial 1;41,0°;;172\n"
    )
    mapping = mapped(
        [
            use("Leg", "side"),
            use("Try", "trial"),
            knee("Knee"),
            use("Lunge", metric="lunge_distance", unit="cm"),
            use("Cad", metric="cadence", side="none", trial=1),
        ],
        row_is=RowIs.SIDE,
        dates=Dates.DAY_FIRST,
        fill_down=("runner", "visit_date"),
    )
    report = imported(sqlite_casebook, path, mapping)
    assert report.problems == ()
    assert "taken_from_above" in {warning.code for warning in report.warnings}
    assert trials(sqlite_casebook, "R-1", Side.LEFT) == (38.5, 39.5)
    assert trials(sqlite_casebook, "R-1", Side.RIGHT) == (41.0,)
    assert trials(sqlite_casebook, "R-1", Side.LEFT, "lunge_distance") == (10.0, 11.0)
    assert trials(sqlite_casebook, "R-1", Side.NONE, "cadence") == (172.0,)
    path.write_text(path.read_text().replace("41,0°;;172", "41,0;;175"))
    report = imported(sqlite_casebook, path, mapping, dry_run=True)
    assert not report.ok


@pytest.mark.parametrize("several", [False, True], ids=["one value", "trials in columns"])
def test_a_row_for_each_value_takes_metric_side_and_unit_from_its_words(
    sqlite_casebook: Casebook, tmp_path: Path, several: bool
) -> None:
    path = tmp_path / "t.csv"
    head = "Athlete,Date,Test,Leg,V1,V2\n" if several else "Athlete,Date,Test,Leg,V1\n"
    rows = ("Knee bend,L,38,39", "Lunge (in),R,4,5", "Cadence,,172,173", "Blood,,1,2")
    path.write_text(
        head
        + "".join(f"R-1,2026-03-02,{row if several else row.rpartition(',')[0]}\n" for row in rows)
    )
    values = (
        (use("V1", "value", trial=1), use("V2", "value", trial=2))
        if several
        else (use("V1", "value"),)
    )
    report = imported(
        sqlite_casebook,
        path,
        mapped(
            [use("Test", "metric"), use("Leg", "side"), *values],
            row_is=RowIs.VALUE,
            words=(
                WordUse(word="knee bend", metric=KNEE),
                WordUse(word="Lunge (in)", metric="lunge_distance", unit="in"),
                WordUse(word="Cadence", metric="cadence"),
                WordUse(word="Blood", metric=NOTHING),
            ),
        ),
    )
    assert report.problems == ()
    assert "metric_left_out" in {warning.code for warning in report.warnings}
    second = 1 if several else 0
    assert trials(sqlite_casebook, "R-1", Side.LEFT) == (38.0, 39.0)[: 1 + second]
    assert trials(sqlite_casebook, "R-1", Side.RIGHT, "lunge_distance") == pytest.approx(
        (4 * 2.54, 5 * 2.54)[: 1 + second]
    )
    assert trials(sqlite_casebook, "R-1", Side.NONE, "cadence") == (172.0, 173.0)[: 1 + second]


def test_a_mean_with_its_number_of_trials_is_stored_as_that(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "n.csv"
    path.write_text("Athlete,Date,KF,n\nR-1,2026-03-02,38.5,7\n")
    report = imported(
        sqlite_casebook, path, mapped([knee("KF", "left"), knee("n", "left") if 0 else use(
            "n", COUNT, metric=KNEE, side="left")])
    )  # fmt: skip
    assert report.problems == ()
    stored = find_visit(sqlite_casebook, "R-1", DAY)
    assert stored is not None
    assert [(v.mean, v.n_trials) for v in stored.visit.values] == [(38.5, 7)]


SUMMARY = "Athlete,Date,KF\nR-1,2026-03-02,38\n,2026-03-02,\nMean,,38\n,,2\nR-2,2026-03-02,39\n"


@pytest.mark.parametrize("fill_down", [(), ("runner", "visit_date")])
def test_a_summary_row_is_refused_and_never_made_a_runner(
    sqlite_casebook: Casebook, tmp_path: Path, fill_down: tuple[str, ...]
) -> None:
    path = tmp_path / "m.csv"
    path.write_text(SUMMARY)
    report = imported(sqlite_casebook, path, mapped([knee("KF", "left")], fill_down=fill_down))
    assert ("summary_row", 4, "Mean") in {(p.code, p.row, p.value) for p in report.problems}
    # Nor does the row below it become the runner's above.
    assert 5 in {p.row for p in report.problems}
    assert list_runners(sqlite_casebook) == ()


def test_a_summary_row_is_left_out_when_somebody_says_so_and_that_is_told(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "m.csv"
    path.write_text("Athlete,Date,KF\nR-1,2026-03-02,38\nMean (SD),,38\nn = 1,,\n")
    report = imported(
        sqlite_casebook, path, mapped([knee("KF", "left")], summary_rows=SummaryRows.LEAVE_OUT)
    )
    assert report.problems == ()
    (told,) = (w for w in report.warnings if w.code == "summary_rows_left_out")
    assert "rows 3, 4" in told.message
    assert [runner.code for runner in list_runners(sqlite_casebook)] == ["R-1"]


def test_a_file_with_its_own_headers_makes_no_runner_of_a_summary_either(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "own.csv"
    path.write_text(f"runner,visit_date,{KNEE}_left\nR-1,2026-03-02,38\nMean,2026-03-02,38\n")
    assert codes_of(import_files(sqlite_casebook, [path])) == ["summary_row"]


def test_dates_that_could_be_read_in_two_ways_are_never_guessed(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "d.csv"
    path.write_text("Athlete,Date,KF\nR-1,03/02/2026,38\nR-2,2-Mar-26,39\nR-3,32/02/2026,40\n")
    columns = [knee("KF", "left")]
    report = imported(sqlite_casebook, path, mapped(columns, dates=Dates.UNDECIDED))
    assert codes_of(report) == ["mapping_undecided"]
    report = imported(sqlite_casebook, path, mapped(columns))
    assert [(p.code, p.row, p.column) for p in report.problems] == [
        ("date_form", 2, "Date"),
        ("date_form", 4, "Date"),
    ]
    path.write_text(path.read_text().replace("R-3,32/02/2026,40\n", ""))
    report = imported(sqlite_casebook, path, mapped(columns, dates=Dates.MONTH_FIRST))
    assert report.problems == ()
    assert {w.code for w in report.warnings} == {"short_year"}
    assert trials(sqlite_casebook, "R-2", Side.LEFT) == (39.0,)


def test_every_refusal_names_the_cell_by_the_header_of_the_file(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text("Athlete,Date,KF left,Leg\nR-1,2026-03-02,abc,x\n,2026-03-02,38,x\n")
    report = imported(sqlite_casebook, path, mapped([knee("KF left", "left"), use("Leg", NOTHING)]))
    assert [(p.file, p.row, p.column, p.code) for p in report.problems] == [
        ("bad.csv", 2, "KF left", "not_a_number"),
        ("bad.csv", 3, "Athlete", "runner_blank"),
    ]
    assert list_runners(sqlite_casebook) == ()


def test_a_column_that_the_mapping_forgets_and_a_mapping_of_another_file_are_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "f.csv"
    path.write_text("Athlete,Date,KF,New\nR-1,2026-03-02,38,5\n")
    report = imported(sqlite_casebook, path, mapped([knee("KF", "left")]))
    assert [(p.code, p.column) for p in report.problems] == [("column_not_mapped", "New")]
    report = imported(sqlite_casebook, path, mapped([knee("Hip", "left")]))
    assert codes_of(report) == ["mapping_does_not_fit"]
    assert "'Hip'" in report.problems[0].message


def test_each_sheet_has_its_own_mapping_or_is_left_out_or_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = saved(
        tmp_path / "several.xlsx",
        {
            "R-1": [["Date", "KF"], [DAY, 38]],
            "R-2": [["Date", "KF"], [DAY, 39]],
            "Legend": [["KF", "knee flexion"]],
        },
    )
    columns = (use("Date", "visit_date"), knee("KF", "left"))
    sheets = [
        SheetMapping(sheet=code, columns=columns, dates=Dates.YEAR_FIRST, fixed=(("runner", code),))
        for code in ("R-1", "R-2")
    ]
    report = imported(sqlite_casebook, path, *sheets)
    assert [(p.code, p.file) for p in report.problems] == [
        ("sheet_not_mapped", "several.xlsx, sheet Legend")
    ]
    report = imported(
        sqlite_casebook, path, *sheets, SheetMapping(sheet="Legend", row_is=RowIs.NOTHING)
    )
    assert report.problems == ()
    assert [file.file for file in report.files] == [
        "several.xlsx, sheet R-1",
        "several.xlsx, sheet R-2",
    ]
    assert trials(sqlite_casebook, "R-2", Side.LEFT) == (39.0,)


def test_a_workbook_with_the_known_headers_needs_no_mapping(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = saved(
        tmp_path / "known.xlsx",
        {
            "Runners": [["runner", "sex"], ["R-1", "female"]],
            "Visits": [["runner", "visit_date", f"{KNEE}_left"], ["R-1", DAY, 38.5]],
        },
    )
    report = import_files(sqlite_casebook, [path])
    assert report.problems == ()
    assert [file.table for file in report.files] == ["runners", "visits_wide"]
    assert trials(sqlite_casebook, "R-1", Side.LEFT) == (38.5,)


def test_a_formula_s_stored_result_is_taken_and_told_and_one_without_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    text = '<c t="inlineStr"><is><t>{}</t></is></c>'
    head = "".join(text.format(word) for word in ("Athlete", "Date", "KF"))
    row = "".join(text.format(word) for word in ("R-1", "2026-03-02"))
    for result, code in (("<v>38</v>", None), ("", "formula_without_result")):
        path = by_hand(
            tmp_path / "f.xlsx",
            f'<row r="1">{head}</row><row r="2">{row}<c><f>19*2</f>{result}</c></row>',
        )
        report = imported(sqlite_casebook, path, mapped([knee("KF", "left")]))
        if code is None:
            assert report.problems == ()
            assert [w.code for w in report.warnings] == ["formula_result_taken"]
            assert "C2" in report.warnings[0].message
        else:
            assert (codes_of(report), "C2" in report.problems[0].message) == ([code], True)


def test_a_speed_in_another_unit_is_converted_for_the_visit(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "speed.csv"
    path.write_text("Athlete,Date,KF,Speed\nR-1,2026-03-02,38,3\n")
    report = imported(
        sqlite_casebook, path, mapped([knee("KF", "left"), use("Speed", "speed_km_h", unit="m/s")])
    )
    assert report.problems == ()
    stored = find_visit(sqlite_casebook, "R-1", DAY)
    assert stored is not None
    assert stored.visit.conditions.speed_km_h == pytest.approx(10.8)
