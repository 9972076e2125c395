"""What only the user can decide is asked, shown side by side, and done as they decided."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import select

from casebook.domain.decisions import Asks, Choice, Decision, Decisions, Question
from casebook.domain.errors import InputRefused
from casebook.domain.history import Act, Subject
from casebook.domain.people import User
from casebook.domain.verdicts import FlagKind
from casebook.intake.decisions_file import read_decisions, write_decisions
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import find_visit, list_visits
from casebook.services.registering import get_runner, list_runners, register_user
from casebook.services.undoing_imports import undo_import
from casebook.storage import cases, history
from casebook.storage.session import reading, writing
from casebook.storage.tables import MetricRow, UserRow
from tests.services.test_undoing_imports import everything, written

VISITS = (
    "runner,visit_date,speed_km_h,metric,side,trial,value,n_trials,missing_reason\n"
    "A-1,2026-03-02,10,test_bend,left,1,40,,\nA-1,2026-03-02,10,test_bend,left,2,41,,\n"
    "A-1,2026-03-02,10,test_bend,right,,40.25,5,\n"
    "A-1,2026-03-02,10,test_quality,left,1,1,,\nA-1,2026-03-02,10,test_quality,right,,,,painful\n"
    "A-1,2026-03-02,10,test_steps,none,1,170,,\n"
)
OTHER = (
    "runner,visit_date,speed_km_h,metric,side,trial,value,n_trials,missing_reason\n"
    "A-1,2026-03-02,12,test_bend,left,2,44,,\nA-1,2026-03-02,12,test_bend,left,3,45,,\n"
    "A-1,2026-03-02,12,test_bend,right,1,39,,\n"
    "A-1,2026-03-02,12,test_quality,left,1,2,,\nA-1,2026-03-02,12,test_quality,right,1,0,,\n"
    "A-1,2026-03-02,12,test_steps,none,1,170,,\nA-1,2026-03-02,12,test_strength,left,1,300,,\n"
)
PEOPLE = "runner,birth_date,given_name,family_name,discipline\nA-1,1990-02-03,Zoë,Aubert,10 km\n"


def counted(report: ImportReport) -> bool:
    """Whether all that was read is accounted for."""
    return report.read == report.added + report.unchanged + report.refused + report.left_out


def all_of(questions: tuple[Question, ...], choice: Choice, reason: str = "") -> Decisions:
    decision = Decision(choice=choice, reason=reason)
    return Decisions(by_key={one.key: decision for one in questions})


def trials(casebook: Casebook, metric: str, side: str) -> tuple[float, ...] | float | str | None:
    stored = find_visit(casebook, "A-1", date(2026, 3, 2))
    assert stored is not None
    for value in stored.visit.values:
        if (value.metric, value.side.value) == (metric, side):
            return value.trials or value.mean or value.missing_reason
    return None


@pytest.fixture
def stored(clinic: Casebook, tmp_path: Path) -> Casebook:
    assert import_files(clinic, written(tmp_path, visits_csv=VISITS, runners_csv=PEOPLE)).ok
    return clinic


def test_what_differs_from_the_stored_is_asked_side_by_side_in_plain_words(
    stored: Casebook, tmp_path: Path
) -> None:
    paths = written(tmp_path, other_csv=OTHER)
    before = everything(stored)
    report = import_files(stored, paths)
    assert not report.ok
    assert everything(stored) == before
    shown = [(one.title, *(part.what for part in one.shown)) for one in report.questions]
    visit = "Runner A-1, visit on 2026-03-02"
    assert shown == [
        (f"{visit}: running speed", "10 km/h", "12 km/h"),
        (
            f"{visit}: Strength in a test, left",
            "40°, 41°",
            "trial 2: 44°, trial 3: 45°",
            "40°, 44°, 45°",
        ),
        (f"{visit}: Strength in a test, right", "40.25° (a mean of 5)", "39°"),
        (f"{visit}: Strength in a test, left", "1 (fair)", "2 (poor)"),
        (f"{visit}: Strength in a test, right", "missing: painful", "0 (good)"),
    ]
    assert {part.where for part in report.questions[1].shown} == {
        "stored",
        "row 2 of other.csv",
        "would become, with the trials that stay",
    }
    assert {one.code for one in report.problems} == {"conflict"}


def test_keeping_the_stored_leaves_the_files_numbers_out(stored: Casebook, tmp_path: Path) -> None:
    paths = written(tmp_path, other_csv=OTHER)
    asked = import_files(stored, paths)
    report = import_files(stored, paths, decisions=all_of(asked.questions, Choice.KEEP))
    assert report.ok
    assert (report.read, report.added, report.unchanged, report.left_out) == (7, 1, 1, 5)
    assert counted(report)
    assert trials(stored, "test_bend", "left") == (40.0, 41.0)
    assert trials(stored, "test_bend", "right") == 40.25
    assert trials(stored, "test_quality", "right") == "painful"
    assert trials(stored, "test_strength", "left") == (300.0,)
    assert check_casebook(stored).ok


def test_taking_the_files_amends_with_the_reason_and_can_be_undone(
    stored: Casebook, tmp_path: Path
) -> None:
    paths = written(tmp_path, other_csv=OTHER)
    before = everything(stored)
    asked = import_files(stored, paths)
    with pytest.raises(InputRefused, match="say why"):
        all_of(asked.questions, Choice.TAKE)
    decisions = all_of(asked.questions, Choice.TAKE, "read again from the film")
    report = import_files(stored, paths, decisions=decisions, by="AB")
    assert (report.read, report.added, report.unchanged, report.left_out) == (7, 6, 1, 0)
    assert counted(report)
    assert trials(stored, "test_bend", "left") == (40.0, 44.0, 45.0)
    assert trials(stored, "test_bend", "right") == (39.0,)
    assert trials(stored, "test_quality", "left") == (2.0,)
    assert trials(stored, "test_quality", "right") == (0.0,)
    kept = find_visit(stored, "A-1", date(2026, 3, 2))
    assert kept is not None
    assert kept.visit.conditions.speed_km_h == 12.0
    assert report.run_id is not None
    with reading(stored.engine) as unit:
        [entry] = history.entries_of_import(unit, report.run_id)
    assert (entry.act, entry.subject, entry.reason, entry.by) == (
        Act.AMENDED,
        Subject.VISIT,
        "read again from the film",
        "AB",
    )
    assert entry.fields["speed_km_h"] == (10.0, 12.0)
    assert entry.fields["value:test_quality:right"] == ({"missing": "painful"}, {"trials": [0.0]})
    assert entry.fields["value:test_bend:right"] == ({"mean": 40.25, "n": 5}, {"trials": [39.0]})
    assert entry.fields["value:test_bend:left"] == (
        {"trials": [40.0, 41.0]},
        {"trials": [40.0, 44.0, 45.0]},
    )
    assert check_casebook(stored).ok
    undo_import(stored, report.run_id, reason="the film was another's")
    after = everything(stored)
    assert {**after, "value": [row[1:] for row in after["value"]]} == {
        **before,
        "value": [row[1:] for row in before["value"]],
    }
    assert check_casebook(stored).ok


def test_a_visit_that_is_left_out_is_left_out_whole(stored: Casebook, tmp_path: Path) -> None:
    more = OTHER + "A-2,2026-03-02,12,test_steps,none,1,171,,\n"
    paths = written(tmp_path, other_csv=more)
    before = everything(stored)
    asked = import_files(stored, paths)
    first = Decisions(by_key={asked.questions[0].key: Decision(choice=Choice.LEAVE_OUT)})
    report = import_files(stored, paths, decisions=first)
    assert (report.ok, report.added, report.left_out) == (True, 1, 7)
    assert counted(report)
    assert set(before["trial"]) < set(everything(stored)["trial"])
    assert len(list_visits(stored, "A-1")) == 1


def test_a_decision_on_what_has_changed_since_is_asked_anew(
    stored: Casebook, tmp_path: Path
) -> None:
    asked = import_files(stored, written(tmp_path, other_csv=OTHER))
    decisions = all_of(asked.questions, Choice.TAKE, "read again")
    changed = written(tmp_path, other_csv=OTHER.replace(",39,,", ",38,,"))
    report = import_files(stored, changed, decisions=decisions)
    assert [one.about[-2:] for one in report.questions] == [("test_bend", "right")]
    one_for_all = Decisions(for_all={Asks.VALUE: Decision(choice=Choice.KEEP)})
    left = import_files(stored, changed, decisions=one_for_all)
    assert {one.kind for one in left.questions} == {Asks.CONDITION}


@pytest.mark.parametrize(
    ("choice", "kept", "left_out"),
    [(Choice.FIRST, (40.0,), 1), (Choice.LAST, (44.0,), 1), (Choice.LEAVE_OUT, None, 2)],
)
def test_what_stands_twice_in_the_files_is_taken_as_decided(
    sqlite_clinic: Casebook,
    tmp_path: Path,
    choice: Choice,
    kept: tuple[float, ...] | None,
    left_out: int,
) -> None:
    header = "runner,visit_date,metric,side,trial,value\n"
    paths = written(
        tmp_path,
        one_csv=f"{header}A-1,2026-03-02,test_bend,left,1,40\n"
        "A-1,2026-03-02,test_steps,none,1,170\n",
        two_csv=f"{header}A-1,2026-03-02,test_bend,left,1,44\n",
    )
    asked = import_files(sqlite_clinic, paths)
    assert [[part.where for part in one.shown] for one in asked.questions] == [
        ["row 2 of one.csv", "row 2 of two.csv"]
    ]
    report = import_files(sqlite_clinic, paths, decisions=all_of(asked.questions, choice))
    assert (report.ok, report.left_out) == (True, left_out)
    assert counted(report)
    assert trials(sqlite_clinic, "test_bend", "left") == kept


def test_two_ways_two_conditions_and_two_records_are_settled_too(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    paths = written(
        tmp_path,
        visits_csv="runner,visit_date,surface,metric,side,trial,value,n_trials\n"
        "A-1,2026-03-02,track,test_bend,left,,40,5\nA-1,2026-03-02,road,test_bend,left,1,44,\n"
        "A-1,2026-03-02,road,test_bend,left,2,45,\n",
        runners_csv="runner,sex\nA-1,female\nA-1,male\n",
    )
    asked = import_files(sqlite_clinic, paths)
    assert {one.kind for one in asked.questions} == {
        Asks.TWO_WAYS,
        Asks.CONDITION_TWICE,
        Asks.RECORD_TWICE,
    }
    report = import_files(sqlite_clinic, paths, decisions=all_of(asked.questions, Choice.LAST))
    assert (report.ok, report.left_out) == (True, 2)
    assert counted(report)
    assert trials(sqlite_clinic, "test_bend", "left") == (44.0, 45.0)
    kept = find_visit(sqlite_clinic, "A-1", date(2026, 3, 2))
    assert kept is not None
    assert kept.visit.conditions.surface == "road"
    assert get_runner(sqlite_clinic, "A-1").sex == "male"


def test_a_runner_who_may_be_another_is_shown_beside_them_and_never_merged_in_silence(
    stored: Casebook, tmp_path: Path
) -> None:
    people = "runner,birth_date,given_name,family_name\nN-7,1990-02-03,Zoe,Auber\n"
    visits = (
        "runner,visit_date,metric,side,trial,value\nN-7,2026-04-02,test_steps,none,1,172\n"
        "a 1,2026-04-03,test_steps,none,1,173\nB-2,2026-04-03,test_steps,none,1,174\n"
    )
    paths = written(tmp_path, people_csv=people, april_csv=visits)
    asked = import_files(stored, paths)
    assert [one.about for one in asked.questions] == [("N-7", "A-1"), ("a 1", "A-1")]
    names = [part.what for part in asked.questions[0].shown]
    assert names == [
        "code N-7, Zoe Auber, born 1990-02-03",
        "code A-1, Zoë Aubert, born 1990-02-03",
    ]
    assert "Zoe" not in repr(asked)
    assert [runner.code for runner in list_runners(stored)] == ["A-1", "T-001"]
    another = import_files(
        stored, paths, dry_run=True, decisions=all_of(asked.questions, Choice.ANOTHER)
    )
    assert (another.ok, another.left_out) == (True, 0)
    without = import_files(
        stored, paths, dry_run=True, decisions=all_of(asked.questions, Choice.LEAVE_OUT)
    )
    assert (without.ok, without.new_runners, without.left_out) == (True, ("B-2",), 3)
    assert counted(without)
    # The same one: then the names that differ are asked about, and the stored ones can stay.
    same = all_of(asked.questions, Choice.SAME)
    again = import_files(stored, paths, decisions=same)
    assert {one.kind for one in again.questions} == {Asks.RECORD}
    both = Decisions(
        by_key={**same.by_key, **all_of(again.questions, Choice.KEEP).by_key},
    )
    report = import_files(stored, paths, decisions=both)
    assert report.ok
    assert counted(report)
    assert [runner.code for runner in list_runners(stored)] == ["A-1", "B-2", "T-001"]
    assert [one.visit.visited_on.month for one in list_visits(stored, "A-1")] == [3, 4, 4]
    assert check_casebook(stored).ok


def test_questions_are_written_to_a_file_and_the_answers_read_from_it(
    stored: Casebook, tmp_path: Path
) -> None:
    paths = written(tmp_path, other_csv=OTHER)
    asked = import_files(stored, paths)
    file = tmp_path / "decisions.toml"
    write_decisions(file, asked.questions)
    assert file.stat().st_mode & 0o077 == 0
    text = file.read_text()
    assert "running speed" in text
    assert not read_decisions(file)
    file.write_text(
        text.replace('choice = ""', 'choice = "take"').replace('reason = ""', 'reason = "seen"')
    )
    report = import_files(stored, paths, decisions=read_decisions(file))
    assert (report.ok, report.added) == (True, 6)
    for wrong in ('choice = "perhaps"', "choice = 3", "choice"):
        file.write_text(text.replace('choice = ""', wrong, 1))
        with pytest.raises(InputRefused, match="decisions cannot be taken"):
            read_decisions(file)
    file.write_text(text.replace('value = ""', 'value = "same"'))
    with pytest.raises(InputRefused, match="cannot be decided for all"):
        read_decisions(file)


def test_a_flag_that_rested_on_what_gave_way_is_open_again_until_the_import_is_undone(
    stored: Casebook, tmp_path: Path
) -> None:
    register_user(stored, User(code="AB"))
    visit = find_visit(stored, "A-1", date(2026, 3, 2))
    assert visit is not None
    with writing(stored.engine) as unit:
        metric_id = unit.scalars(select(MetricRow.id).where(MetricRow.key == "test_bend")).one()
        told = cases.add_acknowledgement(
            unit,
            (visit.visit_id, metric_id, FlagKind.DRIFT),
            reason="new shoes",
            user_id=unit.scalars(select(UserRow.id)).one(),
            at=visit.recorded_at,
        )
        history.append(unit, [told], by="AB", at=visit.recorded_at)
        unit.commit()

    def seen() -> int:
        with reading(stored.engine) as unit:
            return len(cases.acknowledgements(unit))

    paths = written(tmp_path, other_csv=OTHER)
    asked = import_files(stored, paths, by="AB").questions
    report = import_files(stored, paths, by="AB", decisions=all_of(asked, Choice.TAKE, "reread"))
    assert (report.ok, seen()) == (True, 0)
    assert check_casebook(stored).ok
    assert report.run_id is not None
    undo_import(stored, report.run_id, reason="the first was right", by="AB")
    assert seen() == 1
    assert check_casebook(stored).ok
