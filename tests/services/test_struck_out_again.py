"""What was struck out by hand never comes back in silence when the same file is imported again."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from casebook.domain.decisions import Asks, Choice, Decision, Decisions
from casebook.domain.history import Act, Subject
from casebook.domain.sides import Side
from casebook.domain.visits import VisitKind, value_of_trials
from casebook.intake.decisions_file import read_decisions, write_decisions
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import find_visit, list_visits
from casebook.services.striking_out import strike_out_values, strike_out_visit
from casebook.services.undoing_imports import undo_import
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import BEND, STEPS
from tests.services.test_undoing_imports import written

DAY = date(2026, 3, 2)
FILE = (
    "runner,visit_date,metric,side,trial,value\n"
    "T-001,2026-03-02,test_steps,none,1,170\n"
    "T-001,2026-03-02,test_bend,left,1,40\n"
    "T-001,2026-03-02,test_bend,left,2,41\n"
    "T-001,2026-04-02,test_steps,none,1,172\n"
)


@pytest.fixture
def paths(clinic: Casebook, tmp_path: Path) -> list[Path]:
    paths = written(tmp_path, visits_csv=FILE)
    assert import_files(clinic, paths).added == 4
    return paths


def revision(casebook: Casebook) -> int:
    stored = find_visit(casebook, "T-001", DAY)
    assert stored is not None
    return stored.revision


def metrics(casebook: Casebook, day: date = DAY) -> dict[str, tuple[float, ...]] | None:
    stored = find_visit(casebook, "T-001", day)
    return None if stored is None else {one.metric: one.trials for one in stored.visit.values}


def strike_out_steps(casebook: Casebook) -> None:
    strike_out_values(
        casebook,
        "T-001",
        DAY,
        removed=[(STEPS, Side.NONE)],
        expected_revision=revision(casebook),
        reason="metronome was on",
        by="kim",
    )


def strike_out_whole(casebook: Casebook) -> None:
    strike_out_visit(
        casebook,
        "T-001",
        DAY,
        expected_revision=revision(casebook),
        reason="another runner",
        by="kim",
    )


def again(
    casebook: Casebook, paths: list[Path], choice: Choice | None = None, n: int = 1
) -> ImportReport:
    """Import once more; every question is answered alike."""
    report = import_files(casebook, paths)
    assert [one.kind for one in report.questions] == [Asks.STRUCK_OUT] * n
    assert not report.ok
    assert report.added == 0
    if choice is None:
        return report
    given = {one.key: Decision(choice=choice, reason="it was right") for one in report.questions}
    return import_files(casebook, paths, decisions=Decisions(by_key=given))


def test_a_value_that_was_struck_out_is_asked_about_and_kept_out_or_put_back(
    clinic: Casebook, paths: list[Path]
) -> None:
    strike_out_steps(clinic)
    report = again(clinic, paths)
    (question,) = report.questions
    assert question.choices == (Choice.KEEP, Choice.TAKE)
    assert question.shown[0].what.startswith("170 /min; struck out on ")
    assert question.shown[0].what.endswith('by kim: "metronome was on"')
    assert question.shown[1].what == "170 /min"
    report = again(clinic, paths, Choice.KEEP)
    assert (report.ok, report.added, report.left_out, report.unchanged) == (True, 0, 1, 3)
    assert metrics(clinic) == {BEND: (40.0, 41.0)}
    report = again(clinic, paths, Choice.TAKE)
    assert (report.ok, report.added, report.run_id) == (True, 1, 2)
    assert metrics(clinic) == {STEPS: (170.0,), BEND: (40.0, 41.0)}
    with reading(clinic.engine) as unit:
        (told,) = history.entries_of_import(unit, 2)
    assert (told.act, told.reason) == (Act.AMENDED, "it was right")
    # What a decision brought back is taken back with its import, and is asked about again.
    undo_import(clinic, 2, reason="wrong file", by="kim")
    again(clinic, paths)
    assert check_casebook(clinic).ok


def test_a_visit_that_was_struck_out_is_one_question_and_its_place_stays_empty(
    clinic: Casebook, paths: list[Path], tmp_path: Path
) -> None:
    strike_out_steps(clinic)
    strike_out_whole(clinic)
    file = tmp_path / "questions.toml"
    write_decisions(file, again(clinic, paths).questions)
    text = file.read_text()
    assert 'by kim: "another runner"' in text
    assert '"keep": keep it out' in text
    file.write_text(text.replace('choice = ""', 'choice = "keep"'))
    report = import_files(clinic, paths, decisions=read_decisions(file))
    assert (report.ok, report.added, report.left_out, report.unchanged) == (True, 0, 3, 1)
    assert [one.visit.visited_on for one in list_visits(clinic, "T-001")] == [date(2026, 4, 2)]
    # Put back whole: what was struck out of it before is a question of its own.
    all_back = Decisions(for_all={Asks.STRUCK_OUT: Decision(choice=Choice.TAKE, reason="right")})
    report = import_files(clinic, paths, decisions=all_back)
    assert (report.ok, report.added, metrics(clinic)) == (
        True,
        3,
        {STEPS: (170.0,), BEND: (40.0, 41.0)},
    )
    with reading(clinic.engine) as unit:
        told = [e for e in history.entries_of_import(unit, 2) if e.subject is Subject.VISIT]
    assert [(one.act, one.reason) for one in told] == [(Act.RECORDED, "right")]
    assert check_casebook(clinic).ok


def test_a_first_visit_that_stays_out_leaves_the_next_to_be_the_baseline(
    clinic: Casebook, tmp_path: Path
) -> None:
    one = written(tmp_path, one_csv="\n".join(FILE.splitlines()[:4]) + "\n")
    assert import_files(clinic, one).ok
    strike_out_whole(clinic)
    assert again(clinic, written(tmp_path, both_csv=FILE), Choice.KEEP).added == 1
    (visit,) = list_visits(clinic, "T-001")
    assert (visit.visit.visited_on, visit.visit.kind) == (date(2026, 4, 2), VisitKind.BASELINE)


def test_a_trial_that_was_taken_out_is_asked_about_by_its_number(
    clinic: Casebook, paths: list[Path]
) -> None:
    amend_visit(
        clinic,
        "T-001",
        DAY,
        1,
        VisitChange(values=[value_of_trials(BEND, Side.LEFT, [40.0])]),
        expected_revision=revision(clinic),
        reason="he tripped",
        by="kim",
    )
    (question,) = again(clinic, paths).questions
    assert question.title.endswith("trial 2")
    assert again(clinic, paths, Choice.KEEP).left_out == 1
    assert metrics(clinic) == {STEPS: (170.0,), BEND: (40.0,)}
    assert again(clinic, paths, Choice.TAKE).added == 1
    assert metrics(clinic) == {STEPS: (170.0,), BEND: (40.0, 41.0)}
    assert check_casebook(clinic).ok


def test_after_an_undone_import_the_same_file_is_imported_without_a_question(
    clinic: Casebook, paths: list[Path]
) -> None:
    undo_import(clinic, 1, reason="wrong file", by="kim")
    assert import_files(clinic, paths).added == 4
