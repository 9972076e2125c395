"""Trials keep their numbers, and the error of marked points stays, whatever happens to a value."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from casebook.domain.decisions import Choice
from casebook.domain.sides import Side
from casebook.domain.visits import Value, value_of_trials
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import find_visit, record_visit
from casebook.services.undoing_entries import undo_entry
from casebook.services.undoing_imports import undo_import
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import BEND, a_visit
from tests.services.test_deciding import all_of
from tests.services.test_undoing_imports import written

DAY = date(2026, 3, 2)
HEAD = "runner,visit_date,metric,side,trial,value\n"


def table(*trials: tuple[int, float]) -> str:
    rows = [f"T-001,2026-03-02,test_bend,left,{number},{read:g}\n" for number, read in trials]
    return HEAD + "".join(rows)


def bend(casebook: Casebook) -> Value:
    stored = find_visit(casebook, "T-001", DAY)
    assert stored is not None
    (value,) = (one for one in stored.visit.values if one.metric == BEND)
    return value


def amend(casebook: Casebook, *trials: float) -> None:
    stored = find_visit(casebook, "T-001", DAY)
    assert stored is not None
    amend_visit(
        casebook,
        "T-001",
        DAY,
        1,
        VisitChange(values=[value_of_trials(BEND, Side.LEFT, trials)]),
        expected_revision=stored.revision,
        reason="typed wrong",
        by="kim",
    )


def take(casebook: Casebook, paths: list[Path]) -> int | None:
    report = import_files(casebook, paths)
    decisions = all_of(report.questions, Choice.TAKE, "typed wrong")
    return import_files(casebook, paths, decisions=decisions).run_id


def test_trials_with_a_gap_in_their_numbers_have_it_after_every_change_and_undoing(
    clinic: Casebook, tmp_path: Path
) -> None:
    first = written(tmp_path, first_csv=table((1, 30), (3, 32)))
    assert import_files(clinic, first).ok
    taken = take(clinic, written(tmp_path, other_csv=table((3, 39))))
    assert taken is not None
    assert bend(clinic).numbered == {1: 30.0, 3: 39.0}
    undo_import(clinic, taken, reason="wrong file", by="kim")
    assert bend(clinic).numbered == {1: 30.0, 3: 32.0}
    amend(clinic, 30.0, 33.0)
    assert bend(clinic).numbered == {1: 30.0, 3: 33.0}
    with reading(clinic.engine) as unit:
        last = history.last(unit)[0]
    undo_entry(clinic, last, reason="it was right", by="kim")
    report = import_files(clinic, first)
    assert (report.ok, report.added, report.unchanged) == (True, 0, 2)
    assert bend(clinic).numbered == {1: 30.0, 3: 32.0}
    # Typing the same again is no change, and so is no reason to ask for one.
    amend(clinic, 30.0, 32.0)
    with reading(clinic.engine) as unit:
        assert history.last(unit)[0] == last + 1
    assert check_casebook(clinic).ok


@pytest.fixture
def marked(clinic: Casebook) -> Casebook:
    value = replace(value_of_trials(BEND, Side.LEFT, [30.0, 31.0]), marking_sd=4.0)
    record_visit(clinic, a_visit(values=(value,)), by="kim")
    return clinic


def test_further_trials_make_the_error_of_marked_points_no_smaller(
    marked: Casebook, tmp_path: Path
) -> None:
    rows = written(tmp_path, more_csv=table(*((number, 30.0) for number in range(3, 9))))
    report = import_files(marked, rows)
    assert bend(marked).n_trials == 8
    assert bend(marked).marking_sd == 4.0 * math.sqrt(4)
    assert report.run_id is not None
    with reading(marked.engine) as unit:
        (told,) = history.entries_of_import(unit, report.run_id)
    was, now = told.fields["value:test_bend:left"]
    assert (was["marking_sd"], now["marking_sd"]) == (4.0, 8.0)
    assert check_casebook(marked).ok
    undo_import(marked, report.run_id, reason="wrong file", by="kim")
    assert bend(marked).marking_sd == 4.0


def test_the_error_of_marked_points_stays_while_one_of_them_does(
    marked: Casebook, tmp_path: Path
) -> None:
    take(marked, written(tmp_path, one_csv=table((2, 35))))
    assert (bend(marked).trials, bend(marked).marking_sd) == ((30.0, 35.0), 4.0)
    amend(marked, 30.0, 36.0)
    assert (bend(marked).trials, bend(marked).marking_sd) == ((30.0, 36.0), 4.0)
    amend(marked, *bend(marked).trials)
    take(marked, written(tmp_path, all_csv=table((1, 20), (2, 21))))
    assert (bend(marked).trials, bend(marked).marking_sd) == ((20.0, 21.0), None)
    assert check_casebook(marked).ok
