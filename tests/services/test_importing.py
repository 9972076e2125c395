"""What an import stores, on both databases: all of it, once, and never over something else."""

from __future__ import annotations

import math
import statistics
from datetime import date
from pathlib import Path

import pytest

from casebook.domain.errors import NotFound
from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, Value, Visit, VisitKind, value_of_trials
from casebook.services.cataloguing import list_figures
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.registering import (
    find_identity,
    get_runner,
    list_consents,
    list_injuries,
    list_runners,
    list_users,
    register_user,
)
from casebook.services.reviewing import review_runner

HEADER = "runner,visit_date,metric,side,trial,value"
KNEE = "knee_flexion_midstance"
DAY = date(2026, 3, 2)


def imported(
    casebook: Casebook, folder: Path, *tables: str, by: str = "", **options: bool
) -> ImportReport:
    paths = []
    for number, table in enumerate(tables):
        path = folder / f"table{number}.csv"
        path.write_text(table, encoding="utf-8")
        paths.append(path)
    return import_files(casebook, paths, by=by, **options)


def visit_of(casebook: Casebook, code: str = "A", day: date = DAY, session: int = 1) -> Visit:
    stored = find_visit(casebook, code, day, session)
    assert stored is not None
    return stored.visit


def value_of(visit: Visit, metric: str, side: Side) -> Value:
    return next(one for one in visit.values if (one.metric, one.side) == (metric, side))


def test_a_tidy_table_is_stored_with_every_trial_its_mean_and_its_spread(
    casebook: Casebook, tmp_path: Path
) -> None:
    trials = (41.5, 43.25, 40.0)
    rows = "".join(f"A,2026-03-02,{KNEE},L,{i},{x}\n" for i, x in enumerate(trials, start=1))
    report = imported(casebook, tmp_path, f"{HEADER}\n{rows}", by="TERN")
    assert (report.read, report.added, report.unchanged, report.refused) == (3, 3, 0, 0)
    assert report.new_runners == ("A",)
    stored = find_visit(casebook, "A", DAY)
    assert stored is not None
    assert stored.recorded_by == "TERN"
    value = value_of(stored.visit, KNEE, Side.LEFT)
    assert value.trials == trials
    assert value.n_trials == 3
    # The same formulas as the standard library's, up to the order of summation.
    assert value.mean == pytest.approx(statistics.fmean(trials), rel=1e-14)
    assert value.sd == pytest.approx(statistics.stdev(trials), rel=1e-12)


def test_importing_the_same_file_again_changes_nothing_and_says_so(
    casebook: Casebook, tmp_path: Path
) -> None:
    table = (
        f"{HEADER},n_trials,missing_reason,speed_km_h,kind\n"
        f"A,2026-03-02,{KNEE},left,1,41.5,,,10,baseline\n"
        f"A,2026-03-02,{KNEE},right,,40.25,7,,10,baseline\n"
        f"A,2026-03-02,lunge_distance,left,,,,painful,10,baseline\n"
        f"A,2026-03-02,lunge_distance,right,,8.5,,,10,baseline\n"
        f"A,2026-03-02,cadence,none,1,n/a,,,10,baseline\n"
    )
    first = imported(casebook, tmp_path, table)
    assert (first.read, first.added, first.files[0].blank) == (4, 4, 1)
    before = find_visit(casebook, "A", DAY)
    again = imported(casebook, tmp_path, table)
    assert (again.read, again.added, again.unchanged) == (4, 0, 4)
    assert again.new_runners == ()
    assert find_visit(casebook, "A", DAY) == before


def test_a_dry_run_says_what_would_be_stored_and_stores_nothing(
    casebook: Casebook, tmp_path: Path
) -> None:
    table = f"{HEADER}\nA,2026-03-02,cadence,none,1,170\n"
    report = imported(casebook, tmp_path, table, dry_run=True)
    assert (report.read, report.added, report.dry_run) == (1, 1, True)
    assert report.new_runners == ("A",)
    assert list_runners(casebook) == ()
    assert imported(casebook, tmp_path, table).added == 1


def test_one_bad_file_keeps_every_other_file_of_the_run_out(
    casebook: Casebook, tmp_path: Path
) -> None:
    good = f"{HEADER}\nA,2026-03-02,cadence,none,1,170\n"
    report = imported(casebook, tmp_path, "runner\nB\n", good, "user,role\nX,boss\n")
    assert (report.added, report.unchanged, report.refused) == (0, 0, 1)
    assert list_runners(casebook) == ()
    assert list_users(casebook) == ()


def test_another_number_for_a_stored_trial_is_a_conflict_showing_both(
    casebook: Casebook, tmp_path: Path
) -> None:
    imported(casebook, tmp_path, f"{HEADER}\nA,2026-03-02,cadence,none,1,170\n")
    report = imported(
        casebook,
        tmp_path,
        f"{HEADER}\nA,2026-03-02,cadence,none,1,171\nA,2026-03-02,step_width,none,1,4\n",
    )
    assert [(p.code, p.row, p.column, p.value) for p in report.problems] == [
        ("conflict", 2, "value", "171")
    ]
    assert "stored as 170" in report.problems[0].message
    assert "given as 171" in report.problems[0].message
    assert [value.metric for value in visit_of(casebook).values] == ["cadence"]


@pytest.mark.parametrize(
    ("stored", "given"),
    [
        ("1,170,,", ",170,7,"),
        (",170,7,", "1,170,,"),
        (",170,7,", ",170,6,"),
        (",170,7,", ",171,7,"),
        ("1,170,,", ",,,painful"),
        (",,,painful", "1,170,,"),
        (",,,painful", ",,,not_done"),
    ],
)
def test_what_is_stored_in_one_way_is_not_overwritten_in_another(
    sqlite_casebook: Casebook, tmp_path: Path, stored: str, given: str
) -> None:
    header = f"{HEADER},n_trials,missing_reason\nA,2026-03-02,cadence,none,"
    assert imported(sqlite_casebook, tmp_path, header + stored).added == 1
    before = find_visit(sqlite_casebook, "A", DAY)
    report = imported(sqlite_casebook, tmp_path, header + given)
    assert [p.code for p in report.problems] == ["conflict"]
    assert find_visit(sqlite_casebook, "A", DAY) == before


def test_a_mean_that_agrees_with_the_stored_trials_is_unchanged(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    trials = "".join(f"A,2026-03-02,cadence,none,{i},{x}\n" for i, x in ((1, 168), (2, 172)))
    imported(sqlite_casebook, tmp_path, f"{HEADER}\n{trials}")
    mean = f"{HEADER},n_trials\nA,2026-03-02,cadence,none,,170,2\n"
    report = imported(sqlite_casebook, tmp_path, mean)
    assert (report.added, report.unchanged, report.problems) == (0, 1, ())


def test_a_further_trial_of_a_stored_value_is_added_and_the_mean_made_anew(
    casebook: Casebook, tmp_path: Path
) -> None:
    imported(casebook, tmp_path, f"{HEADER}\nA,2026-03-02,cadence,none,1,168\n")
    before = find_visit(casebook, "A", DAY)
    report = imported(
        casebook,
        tmp_path,
        f"{HEADER}\nA,2026-03-02,cadence,none,1,168\nA,2026-03-02,cadence,none,2,172\n",
        by="GULL",
    )
    assert (report.added, report.unchanged) == (1, 1)
    after = find_visit(casebook, "A", DAY)
    assert before is not None
    assert after is not None
    value = value_of(after.visit, "cadence", Side.NONE)
    assert (value.trials, value.n_trials, value.mean) == ((168.0, 172.0), 2, 170.0)
    assert value.sd == pytest.approx(math.sqrt(8.0), rel=1e-12)
    assert (after.revision, after.last_saved_by) == (before.revision + 1, "GULL")


def test_an_import_adds_to_a_visit_that_was_logged_by_hand(
    casebook: Casebook, tmp_path: Path
) -> None:
    imported(casebook, tmp_path, "runner\nA\n")
    record_visit(
        casebook,
        Visit(
            runner="A",
            visited_on=DAY,
            kind=VisitKind.REVIEW,
            values=(value_of_trials("cadence", Side.NONE, [170.0]),),
        ),
        by="TERN",
    )
    report = imported(
        casebook,
        tmp_path,
        f"{HEADER},speed_km_h\nA,2026-03-02,cadence,none,1,170,10\n"
        "A,2026-03-02,step_width,none,1,4,10\n",
    )
    assert (report.added, report.unchanged) == (1, 1)
    visit = visit_of(casebook)
    assert visit.kind is VisitKind.REVIEW
    assert visit.conditions.speed_km_h == 10.0
    assert {value.metric for value in visit.values} == {"cadence", "step_width"}


def test_blank_conditions_keep_what_is_stored_and_other_ones_are_conflicts(
    casebook: Casebook, tmp_path: Path
) -> None:
    header = f"{HEADER},speed_km_h,surface,kind\nA,2026-03-02,cadence,none,1,170,"
    imported(casebook, tmp_path, header + "10,treadmill,discharge")
    assert imported(casebook, tmp_path, header + ",,").unchanged == 1
    report = imported(casebook, tmp_path, header + "11,track,review")
    assert [(p.code, p.column, p.value) for p in report.problems] == [
        ("conflict", "kind", "review"),
        ("conflict", "speed_km_h", "11.0"),
        ("conflict", "surface", "track"),
    ]
    visit = visit_of(casebook)
    assert (visit.kind, visit.conditions.speed_km_h) == (VisitKind.DISCHARGE, 10.0)


def test_without_a_kind_the_first_visit_is_the_baseline_and_later_ones_are_reviews(
    casebook: Casebook, tmp_path: Path
) -> None:
    rows = "".join(f"A,{day},cadence,none,1,170\n" for day in ("2026-03-02", "2026-02-02"))
    imported(casebook, tmp_path, f"{HEADER}\n{rows}")
    imported(casebook, tmp_path, f"{HEADER}\nA,2026-04-02,cadence,none,1,170\n")
    assert [
        (one.visit.visited_on.month, one.visit.kind.value) for one in list_visits(casebook, "A")
    ] == [
        (2, "baseline"),
        (3, "review"),
        (4, "review"),
    ]


def test_two_sessions_of_one_day_are_two_visits_under_their_own_conditions(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    rows = "A,2026-03-02,cadence,none,1,170,1,10\nA,2026-03-02,cadence,none,1,174,2,12\n"
    imported(sqlite_casebook, tmp_path, f"{HEADER},session,speed_km_h\n{rows}")
    speeds = [visit_of(sqlite_casebook, session=n).conditions.speed_km_h for n in (1, 2)]
    assert speeds == [10.0, 12.0]


def test_a_unit_of_the_table_is_converted_to_the_metric_s_own(
    casebook: Casebook, tmp_path: Path
) -> None:
    # 1 in = 2.54 cm and 1 lbf = 4.4482216152605 N exactly (international yard and pound, 1959).
    rows = (
        "A,2026-03-02,lunge_distance,left,1,4,in\n"
        "A,2026-03-02,lunge_distance,right,1,9,\n"
        "A,2026-03-02,hip_abductor_strength,left,1,50,lbf\n"
    )
    imported(casebook, tmp_path, f"{HEADER},unit\n{rows}")
    visit = visit_of(casebook)
    assert value_of(visit, "lunge_distance", Side.LEFT).mean == pytest.approx(10.16, rel=1e-12)
    assert value_of(visit, "lunge_distance", Side.RIGHT).mean == 9.0
    strength = value_of(visit, "hip_abductor_strength", Side.LEFT)
    assert strength.mean == pytest.approx(222.411080763025, rel=1e-12)


def test_a_wide_table_takes_trials_in_a_cell_in_columns_as_a_mean_and_as_a_reason(
    casebook: Casebook, tmp_path: Path
) -> None:
    table = (
        f"runner;visit_date;speed_km_h;{KNEE}_left;{KNEE}_right;lunge_distance_left [in];"
        "lunge_distance_right_1;lunge_distance_right_2;cadence;cadence_n;step_width_missing;"
        "heel_raise_count_left;_own;note\n"
        "A;2026-03-02;10,5;4,1 4,4 3,9;;4;8;9;170,5;7;not visible;painful;x;seen outdoors\n"
    )
    report = imported(casebook, tmp_path, table)
    assert (report.read, report.added, report.files[0].table) == (9, 9, "visits_wide")
    assert report.files[0].blank == 1
    visit = visit_of(casebook)
    assert visit.note == "seen outdoors"
    assert visit.conditions.speed_km_h == 10.5
    assert value_of(visit, KNEE, Side.LEFT).trials == (4.1, 4.4, 3.9)
    assert value_of(visit, "lunge_distance", Side.LEFT).mean == pytest.approx(10.16, rel=1e-12)
    assert value_of(visit, "lunge_distance", Side.RIGHT).trials == (8.0, 9.0)
    cadence = value_of(visit, "cadence", Side.NONE)
    assert (cadence.mean, cadence.n_trials, cadence.trials) == (170.5, 7, ())
    assert value_of(visit, "step_width", Side.NONE).missing_reason is MissingReason.NOT_VISIBLE
    raises = value_of(visit, "heel_raise_count", Side.LEFT)
    assert raises.missing_reason is MissingReason.PAINFUL
    assert (KNEE, Side.RIGHT) not in {(value.metric, value.side) for value in visit.values}
    assert imported(casebook, tmp_path, table).unchanged == 9


def test_trials_that_are_missing_beside_others_leave_the_others_and_are_told(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    header = f"{HEADER},missing_reason\n"
    rows = (
        "A,2026-03-02,cadence,none,1,170,\nA,2026-03-02,cadence,none,2,,not_visible\n"
        "A,2026-03-02,step_width,none,1,,painful\nA,2026-03-02,step_width,none,2,,painful\n"
    )
    report = imported(sqlite_casebook, tmp_path, header + rows)
    assert [(w.code, w.row) for w in report.warnings] == [("trial_missing", 3)]
    visit = visit_of(sqlite_casebook)
    assert value_of(visit, "cadence", Side.NONE).trials == (170.0,)
    assert value_of(visit, "step_width", Side.NONE).missing_reason is MissingReason.PAINFUL
    again = imported(sqlite_casebook, tmp_path, header + rows)
    assert (again.added, again.unchanged) == (0, again.read)


@pytest.mark.parametrize("code", ['O\'Hara "Speedy"', "läufer-ß-№1", "🏃‍♀️7", "R;1,2"])
def test_a_runner_code_with_quotes_letters_of_any_language_or_emoji_is_kept(
    casebook: Casebook, tmp_path: Path, code: str
) -> None:
    quoted = '"' + code.replace('"', '""') + '"'
    table = f"{HEADER}\n{quoted},2026-03-02,cadence,none,1,170\n"
    assert imported(casebook, tmp_path, table).new_runners == (code,)
    assert visit_of(casebook, code).values[0].mean == 170.0


def test_day_first_dates_are_taken_when_declared(casebook: Casebook, tmp_path: Path) -> None:
    table = f"{HEADER}\nA,02.03.2026,cadence,none,1,170\n"
    imported(casebook, tmp_path, table, day_first=True)
    assert visit_of(casebook).visited_on == DAY


def test_all_tables_of_a_case_are_imported_together_in_any_order_and_only_once(
    casebook: Casebook, tmp_path: Path
) -> None:
    tables = (
        "runner,programme,week_start,sessions_planned,sessions_done,pain_during\n"
        "A,Calf first,2026-01-05,3,2,1.5\n",
        "runner,programme,metric,what,direction,amount,due_on\n"
        "A,Calf first,lunge_distance,asymmetry,towards_zero,2,2026-03-01\n",
        "runner,programme,position,aim,exercise,sets,repetitions\n"
        "A,Calf first,1,strength,heel raise,3,12\n",
        "runner,title,started_on,kind,injury_onset_on\nA,Calf first,2026-01-02,injury,2025-12-01\n",
        f"{HEADER}\nA,2026-03-02,cadence,none,1,170\n",
        "runner,region,pathology,side,onset_on\nA,lower_leg,tendinopathy,L,2025-12-01\n",
        "runner,purpose,given_on\nA,audit,2026-01-02\n",
        "user,display_name,role,active\nTERN,Invented Tern,lead,yes\nGULL,,,no\n",
        "runner,sex,birth_date,family_name,height_cm\nA,female,1990-05-06,NA,170\n",
        "metric,origin,between_sd,within_sd,source\ncadence,own,1,2,invented study\n",
    )
    first = imported(casebook, tmp_path, *tables)
    assert (first.read, first.added, first.problems, first.new_runners) == (11, 11, (), ())
    again = imported(casebook, tmp_path, *reversed(tables))
    assert (again.read, again.added, again.unchanged, again.warnings) == (11, 0, 11, ())
    runner = get_runner(casebook, "A")
    assert (runner.birth_year, runner.height_cm) == (1990, 170.0)
    identity = find_identity(casebook, "A")
    assert identity is not None
    assert (identity.family_name, identity.birth_date) == ("NA", date(1990, 5, 6))
    assert list_injuries(casebook, "A")[0].side == "left"
    assert list_consents(casebook, "A")[0].withdrawn_on is None
    assert [(user.code, user.role, user.active) for user in list_users(casebook)] == [
        ("GULL", "clinician", False),
        ("TERN", "lead", True),
    ]
    assert [one.source for one in list_figures(casebook, "cadence")] == ["invented study"]
    review = review_runner(casebook, "A")
    (programme,) = review.programmes
    assert programme.blocks[0].exercise == "heel raise"
    assert programme.targets[0].amount == 2.0
    assert programme.adherence[0].sessions_done == 2
    assert check_casebook(casebook).ok


def test_a_record_fills_what_was_left_open_and_never_changes_what_was_not(
    casebook: Casebook, tmp_path: Path
) -> None:
    imported(casebook, tmp_path, "runner,sex,discipline\nA,female,\n")
    filled = imported(casebook, tmp_path, "runner,sex,discipline,given_name\nA,,800 m,Ida\n")
    assert (filled.added, filled.unchanged) == (1, 0)
    report = imported(casebook, tmp_path, "runner,sex,given_name\nA,male,Eva\n")
    assert [(p.code, p.column, p.value) for p in report.problems] == [
        ("conflict", "sex", "male"),
        ("conflict", "given_name", ""),
    ]
    assert not any("Ida" in p.message or "Eva" in p.message for p in report.problems)
    runner = get_runner(casebook, "A")
    assert (runner.sex, runner.discipline) == ("female", "800 m")


def test_an_imported_error_figure_retires_the_one_in_force_and_says_so(
    casebook: Casebook, tmp_path: Path
) -> None:
    header = "metric,origin,sem,sem_trials,source\ncadence,own,"
    imported(casebook, tmp_path, header + "2,5,first study")
    report = imported(casebook, tmp_path, header + "1.5,5,second study")
    assert [(w.code, w.row) for w in report.warnings] == [("figure_replaced", 2)]
    kept = list_figures(casebook, "cadence", include_retired=True)
    assert [(one.source, one.retired_at is None) for one in kept] == [
        ("first study", False),
        ("second study", True),
    ]


def test_a_grade_step_is_imported_for_a_grade_and_refused_for_anything_else(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    header = "metric,origin,grade_step,source\n"
    imported(sqlite_casebook, tmp_path, header + "first_ray_mobility,own,1,own regrading\n")
    (figure,) = list_figures(sqlite_casebook, "first_ray_mobility")
    assert (figure.grade_step, figure.source) == (1, "own regrading")
    report = imported(sqlite_casebook, tmp_path, header + "cadence,own,1,own regrading\n")
    assert [(p.code, p.row, p.column) for p in report.problems] == [
        ("error_figure_grade", 2, "grade_step")
    ]
    assert list_figures(sqlite_casebook, "cadence") == ()


def test_progress_is_told_up_to_the_whole(sqlite_casebook: Casebook, tmp_path: Path) -> None:
    rows = "".join(f"A,2026-03-02,cadence,none,{i},170\n" for i in range(1, 401))
    path = tmp_path / "many.csv"
    path.write_text(f"{HEADER}\n{rows}")
    told: list[tuple[int, int, str]] = []
    import_files(sqlite_casebook, [path], progress=lambda *given: told.append(given))
    assert told[0][2] == "Reading many.csv"
    assert told[-1][0] == told[-1][1] > 0


def test_the_report_as_an_object_keeps_the_contract_s_keys(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\nA,2026-03-02,cadence,none,1,x\n")
    told = report.to_json()
    assert {"read", "added", "unchanged", "refused", "problems"} <= set(told)
    (problem,) = told["problems"]
    assert set(problem) == {"file", "row", "column", "value", "code", "message"}
    assert (problem["file"], problem["row"], problem["value"]) == ("table0.csv", 2, "x")


def test_a_table_with_a_header_and_no_rows_is_asked_about(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    report = imported(sqlite_casebook, tmp_path, f"{HEADER}\n")
    assert (report.read, report.ok, [w.code for w in report.warnings]) == (0, True, ["no_rows"])


def test_an_import_by_nobody_who_is_known_is_refused(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    register_user(sqlite_casebook, User(code="TERN"))
    rows = f"{HEADER}\nA,2026-03-02,cadence,none,1,170\n"
    with pytest.raises(NotFound, match=r"There is no user 'TREN'.*Users: TERN"):
        imported(sqlite_casebook, tmp_path, rows, by="TREN")
    assert list_runners(sqlite_casebook) == ()
