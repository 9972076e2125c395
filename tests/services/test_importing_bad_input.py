"""Every bad input of a visit table is refused in its place, and nothing of the run is stored."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.domain.errors import Problem
from casebook.domain.fitting import reading_problem
from casebook.services.cataloguing import list_metrics
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook
from casebook.services.registering import list_runners

HEADER = "runner,visit_date,metric,side,trial,value"
GOOD = "A,2026-03-02,knee_flexion_midstance,left,1,41.5"


def imported(casebook: Casebook, folder: Path, *tables: str, **options: bool) -> ImportReport:
    paths = []
    for number, table in enumerate(tables):
        path = folder / f"table{number}.csv"
        path.write_text(table, encoding="utf-8")
        paths.append(path)
    return import_files(casebook, paths, **options)


def places(problems: tuple[Problem, ...]) -> list[tuple[str, int | None, str, str]]:
    return [(one.code, one.row, one.column, one.value) for one in problems]


TIDY = [
    ("A,2026-03-02,knee_flexion,left,1,41", "unknown_metric", "metric", "knee_flexion"),
    ("A,2026-03-02,knee_flexion_midstance,links,1,41", "side_unknown", "side", "links"),
    ("A,2026-03-02,knee_flexion_midstance,lft,1,41", "side_unknown", "side", "lft"),
    ("A,2026-03-02,knee_flexion_midstance,none,1,41", "side_missing", "side", "none"),
    ("A,2026-03-02,cadence,left,1,170", "side_not_expected", "side", "left"),
    ("A,2999-01-01,cadence,none,1,170", "date_in_future", "visit_date", "2999-01-01"),
    ("A,02/03/2026,cadence,none,1,170", "date_form", "visit_date", "02/03/2026"),
    ("A,2026-02-30,cadence,none,1,170", "no_such_day", "visit_date", "2026-02-30"),
    (",2026-03-02,cadence,none,1,170", "runner_blank", "runner", ""),
    ("A,,cadence,none,1,170", "visit_date_blank", "visit_date", ""),
    ("A,2026-03-02,cadence,none,1,NaN", "not_a_number", "value", "NaN"),
    ("A,2026-03-02,cadence,none,1,inf", "not_a_number", "value", "inf"),
    ("A,2026-03-02,cadence,none,1,1e9", "value_too_large", "value", "1e9"),
    ('A,2026-03-02,cadence,none,1,"1,234.5"', "thousands_separator", "value", "1,234.5"),
    ('A,2026-03-02,cadence,none,1,"1,234"', "ambiguous_number", "value", "1,234"),
    ("A,2026-03-02,hip_abductor_strength,left,1,-250", "impossible_reading", "value", "-250"),
    ("A,2026-03-02,arm_swing_crossing,left,1,9", "impossible_reading", "value", "9"),
    ("A,2026-03-02,arm_swing_crossing,left,1,1.5", "impossible_reading", "value", "1.5"),
    ("A,2026-03-02,heel_raise_count,left,1,12.5", "impossible_reading", "value", "12.5"),
    ("A,2026-03-02,cadence,none,0,170", "trial_not_taken", "trial", "0"),
    ("A,2026-03-02,cadence,none,1.5,170", "trial_not_taken", "trial", "1.5"),
    ("A,2026-03-02,cadence,none,501,170", "trial_not_taken", "trial", "501"),
    ("x" * 65 + ",2026-03-02,cadence,none,1,170", "code_too_long", "runner", "x" * 65),
]


@pytest.mark.parametrize(("row", "code", "column", "value"), TIDY, ids=[one[1] for one in TIDY])
def test_a_bad_cell_is_refused_with_its_row_column_and_value(
    sqlite_casebook: Casebook, tmp_path: Path, row: str, code: str, column: str, value: str
) -> None:
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\n{GOOD}\n{row}\n")
    assert places(report.problems) == [(code, 3, column, value)]
    assert report.problems[0].file == "table0.csv"
    assert (report.added, report.refused, report.ok) == (0, 1, False)
    assert list_runners(sqlite_casebook) == ()


MORE = [
    ("n_trials", "A,2026-03-02,cadence,none,2,170,7", "trial_and_n_trials", "n_trials", "7"),
    ("n_trials", "A,2026-03-02,cadence,none,,170,0", "n_trials_not_taken", "n_trials", "0"),
    (
        "missing_reason",
        "A,2026-03-02,cadence,none,1,,lazy",
        "missing_reason_unknown",
        "missing_reason",
        "lazy",
    ),
    (
        "missing_reason",
        "A,2026-03-02,cadence,none,1,170,painful",
        "value_and_reason",
        "value",
        "170",
    ),
    (
        "unit",
        "A,2026-03-02,lunge_distance,left,1,4,furlong-ish",
        "unit_unknown",
        "unit",
        "furlong-ish",
    ),
    ("unit", "A,2026-03-02,lunge_distance,left,1,4,kg", "unit_mismatch", "unit", "kg"),
    (
        "speed_km_h",
        "A,2026-03-02,cadence,none,1,170,99",
        "speed_km_h_out_of_range",
        "speed_km_h",
        "99",
    ),
    ("kind", "A,2026-03-02,cadence,none,1,170,revue", "kind_unknown", "kind", "revue"),
    ("session", "A,2026-03-02,cadence,none,1,170,0", "session_not_taken", "session", "0"),
    (
        "surface",
        f"A,2026-03-02,cadence,none,1,170,{'s' * 61}",
        "text_too_long",
        "surface",
        "s" * 61,
    ),
    (
        "next_due",
        "A,2026-03-02,cadence,none,1,170,2026-03-01",
        "due_before_visit",
        "next_due",
        "2026-03-01",
    ),
]


@pytest.mark.parametrize(
    ("extra", "row", "code", "column", "value"), MORE, ids=[one[2] for one in MORE]
)
def test_a_bad_optional_cell_is_refused_with_its_row_column_and_value(
    sqlite_casebook: Casebook,
    tmp_path: Path,
    extra: str,
    row: str,
    code: str,
    column: str,
    value: str,
) -> None:
    report = imported(sqlite_casebook, tmp_path, f"{HEADER},{extra}\n{GOOD},\n{row}\n")
    assert places(report.problems) == [(code, 3, column, value)]
    assert list_runners(sqlite_casebook) == ()


def test_every_bad_row_is_told_at_once_and_in_file_order(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    first = f"{HEADER}\n" + "\n".join(row for row, *_ in TIDY[:6])
    second = "runner,sex\nB,femail\n"
    report = imported(sqlite_casebook, tmp_path, first, second)
    assert [(one.file, one.row) for one in report.problems] == [
        *(("table0.csv", row) for row in range(2, 8)),
        ("table1.csv", 2),
    ]
    assert report.refused == 7
    assert "female" in report.problems[-1].message


def test_more_problems_than_can_be_read_are_counted(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    rows = "A,2026-03-02,cadence,none,1,x\n" * 10_050
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\n{rows}")
    assert len(report.problems) == 10_000
    assert report.more_problems == 50
    assert report.refused == 10_050
    assert report.problems[-1].row == 10_001


def test_the_same_trial_twice_is_refused_naming_both_rows(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\n{GOOD}\n{GOOD}\n")
    assert places(report.problems) == [("duplicate_row", 3, "value", "41.5")]
    assert "row 3" in report.problems[0].message
    assert "row 2" in report.problems[0].message


def test_the_same_trial_in_two_files_is_refused_naming_the_other_file(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    table = f"{HEADER}\n{GOOD}\n"
    report = imported(sqlite_casebook, tmp_path, table, table)
    assert places(report.problems) == [("duplicate_row", 2, "value", "41.5")]
    assert report.problems[0].file == "table1.csv"
    assert "row 2 of table0.csv" in report.problems[0].message


def test_a_mean_beside_trials_of_the_same_value_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    mean = "A,2026-03-02,knee_flexion_midstance,left,,40,7"
    report = imported(sqlite_casebook, tmp_path, f"{HEADER},n_trials\n{GOOD},\n{mean}\n")
    assert places(report.problems) == [("given_in_two_ways", 2, "value", "41.5")]
    assert "mean of 7" in report.problems[0].message


def test_two_speeds_of_one_visit_are_refused_naming_both_rows(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    other = "A,2026-03-02,cadence,none,1,170"
    report = imported(sqlite_casebook, tmp_path, f"{HEADER},speed_km_h\n{GOOD},10\n{other},11\n")
    assert places(report.problems) == [("conditions_differ", 3, "speed_km_h", "11.0")]
    assert "row 2" in report.problems[0].message
    assert "row 3" in report.problems[0].message


def test_a_visit_before_the_birth_is_refused_and_the_birth_date_not_told(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    runners = "runner,birth_date\nA,2026-03-03\n"
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\n{GOOD}\n", runners)
    assert places(report.problems) == [("date_before_birth", 2, "visit_date", "2026-03-02")]
    assert "2026-03-03" not in report.problems[0].message


def test_a_visit_before_a_stored_birth_year_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    assert imported(sqlite_casebook, tmp_path, "runner,birth_year\nA,2020\n").added == 1
    table = f"{HEADER}\nA,2019-12-31,cadence,none,1,170\n"
    assert places(imported(sqlite_casebook, tmp_path, table).problems) == [
        ("date_before_birth", 2, "visit_date", "2019-12-31")
    ]


def test_an_unknown_runner_is_refused_when_only_known_ones_are_wanted(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    imported(sqlite_casebook, tmp_path, "runner\nRUN-01\n")
    table = f"{HEADER}\nRUN-O1,2026-03-02,cadence,none,1,170\n"
    report = imported(sqlite_casebook, tmp_path, table, known_runners_only=True)
    assert places(report.problems) == [("unknown_runner", 2, "runner", "RUN-O1")]
    assert "RUN-01" in report.problems[0].message


def test_a_value_outside_the_plausible_range_is_taken_and_asked_about(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    table = f"{HEADER}\nA,2026-03-02,cadence,none,1,300\n"
    report = imported(sqlite_casebook, tmp_path, table)
    assert (report.added, report.problems) == (1, ())
    assert places(report.warnings) == [("outside_plausible_range", 2, "value", "300")]


def test_a_runner_code_that_differs_in_capitals_or_blanks_only_is_asked_about(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    imported(sqlite_casebook, tmp_path, "runner\nRun 01\n")
    table = f"{HEADER}\nrun01,2026-03-02,cadence,none,1,170\n"
    report = imported(sqlite_casebook, tmp_path, table)
    assert (report.added, report.new_runners) == (0, ())
    assert places(report.problems) == [("similar_runner", 2, "runner", "run01")]
    assert "may be 'Run 01'" in report.problems[0].message


WIDE = [
    ("knee_flexion_midstance_left", "4.1 x 3.9", "not_a_number", "knee_flexion_midstance_left"),
    ("hip_abductor_strength_left", "250 -1", "impossible_reading", "hip_abductor_strength_left"),
    ("lunge_distance_left [N]", "4", "unit_mismatch", "lunge_distance_left [N]"),
    ("cadence_n", "7", "n_trials_without_value", "cadence_n"),
    ("cadence_missing", "lazy", "missing_reason_unknown", "cadence_missing"),
    ("cadence_1", "170 171", "several_numbers", "cadence_1"),
]


@pytest.mark.parametrize(("name", "cell", "code", "column"), WIDE, ids=[one[2] for one in WIDE])
def test_a_bad_wide_cell_is_refused_with_its_row_and_column(
    sqlite_casebook: Casebook, tmp_path: Path, name: str, cell: str, code: str, column: str
) -> None:
    table = f"runner,visit_date,step_width,{name}\nA,2026-03-02,5,\nA,2026-04-02,5,{cell}\n"
    report = imported(sqlite_casebook, tmp_path, table)
    row = 1 if code == "unit_mismatch" else 3
    assert [(one.code, one.row, one.column) for one in report.problems] == [(code, row, column)]
    assert list_runners(sqlite_casebook) == ()


def test_a_wide_cell_with_another_number_of_trials_than_its_count_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    table = "runner,visit_date,cadence,cadence_n\nA,2026-03-02,170 171,3\n"
    assert places(imported(sqlite_casebook, tmp_path, table).problems) == [
        ("n_trials_differs", 2, "cadence", "170 171")
    ]


@pytest.mark.parametrize(
    ("table", "place"),
    [
        (
            "runner,region,pathology,side,onset_on\nA,shin,joint,left,2026-01-01\n",
            ("region_unknown", 2, "region", "shin"),
        ),
        (
            "runner,region,pathology,side,onset_on,returned_on\n"
            "A,knee,joint,left,2026-01-02,2026-01-01\n",
            ("return_before_onset", 2, "returned_on", "2026-01-01"),
        ),
        (
            "runner,title,started_on,ended_on\nA,Calf,2026-01-02,2026-01-01\n",
            ("end_before_start", 2, "ended_on", "2026-01-01"),
        ),
        (
            "runner,title,started_on,injury_onset_on\nA,Calf,2026-01-02,2025-01-01\n",
            ("unknown_injury", 2, "injury_onset_on", "2025-01-01"),
        ),
        (
            "runner,purpose,given_on,withdrawn_on\nA,audit,2026-01-02,2026-01-01\n",
            ("withdrawn_before_given", 2, "withdrawn_on", "2026-01-01"),
        ),
        (
            "runner,programme,week_start,sessions_planned,sessions_done\nA,Calf,2026-01-05,3,2\n",
            ("unknown_programme", 2, "programme", "Calf"),
        ),
        (
            "runner,purpose,given_on\nB,audit,2026-01-02\n",
            ("unknown_runner", 2, "runner", "B"),
        ),
        ("runner,sex\nA,male\nA,male\n", ("duplicate_row", 3, "runner", "A")),
        (
            "runner,birth_year,birth_date\nC,1990,1991-02-03\n",
            ("birth_year_differs", 2, "birth_year", "1990"),
        ),
        (
            "metric,origin,source\ncadence,own,ours\n",
            ("error_figure", 2, "sem", ""),
        ),
    ],
)
def test_a_bad_record_is_refused_in_its_place(
    sqlite_casebook: Casebook,
    tmp_path: Path,
    table: str,
    place: tuple[str, int, str, str],
) -> None:
    assert imported(sqlite_casebook, tmp_path, "runner\nA\n").added == 1
    report = imported(sqlite_casebook, tmp_path, table)
    assert places(report.problems) == [place]
    assert report.added == 0


def test_a_target_must_be_set_on_a_side_that_its_metric_has(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    report = imported(
        sqlite_casebook,
        tmp_path,
        "runner\nA\n",
        "runner,title,started_on\nA,Calf,2026-01-02\n",
        "runner,programme,metric,what,direction,amount,due_on\n"
        "A,Calf,cadence,left,up,5,2026-03-01\n"
        "A,Calf,hip_abductor_strength,none,up,5,2026-03-01\n"
        "A,Calf,hip_abductor_strength,left,up,0,2026-03-01\n",
    )
    assert places(report.problems) == [
        ("what_not_taken", 2, "what", "left"),
        ("what_not_taken", 3, "what", "none"),
        ("amount_out_of_range", 4, "amount", "0.0"),
    ]


def test_a_programme_of_which_there_are_two_must_be_told_by_its_start(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    programmes = "runner,title,started_on\nA,Calf,2025-01-02\nA,Calf,2026-01-02\n"
    assert imported(sqlite_casebook, tmp_path, "runner\nA\n", programmes).added == 3
    weeks = "runner,programme,week_start,sessions_planned,sessions_done\nA,Calf,2026-01-05,3,2\n"
    report = imported(sqlite_casebook, tmp_path, weeks)
    assert places(report.problems) == [("programme_ambiguous", 2, "programme", "Calf")]
    told = (
        "runner,programme,programme_started_on,week_start,sessions_planned,sessions_done\n"
        "A,Calf,2026-01-02,2026-01-05,3,2\n"
    )
    assert imported(sqlite_casebook, tmp_path, told).added == 1


def test_whole_columns_are_held_to_the_very_rules_of_single_readings(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    numbers = (-30.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 12.0, 12.5, 400.0)
    expected, rows = [], []
    for metric in list_metrics(sqlite_casebook):
        side = "left" if metric.sided else "none"
        for trial, number in enumerate(numbers, start=1):
            rows.append(f"A,2026-03-02,{metric.key},{side},{trial},{number:g}")
            if reading_problem(metric, number) is not None:
                expected.append(len(rows) + 1)
    report = imported(sqlite_casebook, tmp_path, "\n".join([HEADER, *rows]))
    assert [one.row for one in report.problems] == expected
    assert {one.code for one in report.problems} == {"impossible_reading"}
