"""Programmes are prescribed, changed and copied, and every version of them can be read."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.exercises import prescribed
from casebook.domain.history import Subject
from casebook.domain.prescriptions import Mode, Prescription, ProgrammeDetail, Tempo
from casebook.domain.programmes import (
    AdherenceWeek,
    Aim,
    Block,
    Programme,
    Target,
    TargetDirection,
    TargetOn,
)
from casebook.domain.reporting_items import Standard
from casebook.domain.sides import InjurySide
from casebook.services.adhering import next_week, record_week
from casebook.services.amending_records import amend_record
from casebook.services.exercising import (
    get_exercise,
    hide_exercise,
    import_exercises,
    list_exercises,
    load_starter_exercises,
    save_exercise,
)
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.prescribing import (
    change_prescription,
    copy_prescription,
    find_last_prescription,
    get_prescription,
    list_injuries_of,
    list_prescriptions,
    list_versions,
    prescribe,
    reporting_gaps,
)
from casebook.services.registering import record_injury
from casebook.services.undoing_entries import undo_entry
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import BEND, STRENGTH, an_injury

START = date(2026, 3, 2)


def a_prescription(casebook: Casebook, **changes: object) -> Prescription:
    block, detail = prescribed(list_exercises(casebook)[0], position=1, side=InjurySide.LEFT)
    detail = replace(detail, tempo=Tempo(lower_s=3, hold_s=0, lift_s=1), rest_s=60.0)
    programme = Programme(
        runner="T-001",
        title="Hip strength",
        started_on=START,
        rationale="weak on the left",
        blocks=(
            replace(block, sets=3, repetitions=8, sessions_per_week=3.0),
            Block(position=2, aim=Aim.LOAD, exercise="run less", side=InjurySide.NONE),
        ),
        targets=(
            Target(
                metric=STRENGTH,
                what=TargetOn.ASYMMETRY,
                direction=TargetDirection.TOWARDS_ZERO,
                amount=8.0,
                due_on=date(2026, 6, 1),
            ),
        ),
    )
    return Prescription(
        programme=replace(programme, **changes),  # type: ignore[arg-type]
        detail=ProgrammeDetail(provider="physiotherapist", mode=Mode.INDIVIDUAL),
        block_details=(detail,),
    )


def more_sets(prescription: Prescription, sets: int) -> Prescription:
    first, *rest = prescription.programme.blocks
    blocks = (replace(first, sets=sets), *rest)
    return replace(prescription, programme=replace(prescription.programme, blocks=blocks))


def test_a_programme_comes_back_as_it_was_prescribed_and_says_what_is_empty(
    clinic: Casebook,
) -> None:
    record_injury(clinic, an_injury())
    [(injury_id, _)] = list_injuries_of(clinic, "T-001")
    wanted = a_prescription(clinic)
    stored = prescribe(clinic, wanted, injury_id=injury_id, by="kim")
    assert stored.prescription == wanted
    assert stored.injury_id == injury_id
    assert list_prescriptions(clinic, "T-001") == (stored,)
    gaps = reporting_gaps(stored.prescription)
    empty = {(one.item.standard, one.item.number) for one in gaps.empty}
    assert (Standard.CERT, "2") not in empty
    assert (Standard.CERT, "12") in empty
    assert gaps.words.startswith("CERT: ")
    assert check_casebook(clinic).ok


def test_each_change_is_a_version_whoever_makes_it_and_the_dose_is_told(clinic: Casebook) -> None:
    stored = prescribe(clinic, a_prescription(clinic), by="kim")
    wanted = more_sets(stored.prescription, 4)
    changed = change_prescription(
        clinic, stored.programme_id, wanted, expected_version=1, reason="too easy", by="lee"
    )
    assert changed.prescription.version == 2
    assert any("from 3 to 4" in words for words in changed.prescription.changes)
    # Through the record page, past this service: a version all the same.
    amend_record(
        clinic,
        "T-001",
        (Subject.PROGRAMME, stored.programme_id),
        {"setting": "at home"},
        reason="asked",
        by="kim",
    )
    fewer = replace(wanted, detail=replace(wanted.detail, setting="at home"))
    fewer = replace(fewer, programme=replace(fewer.programme, blocks=fewer.programme.blocks[:1]))
    change_prescription(
        clinic, stored.programme_id, fewer, expected_version=3, reason="runs again", by="kim"
    )
    versions = list_versions(clinic, stored.programme_id)
    assert [(one.number, one.by, one.reason) for one in versions] == [
        (1, "kim", ""),
        (2, "lee", "too easy"),
        (3, "kim", "asked"),
        (4, "kim", "runs again"),
    ]
    assert [one.dose_changed for one in versions] == [False, True, False, True]
    assert versions[0].prescription.programme.blocks[0].sets == 3
    assert versions[0].prescription.block_details == stored.prescription.block_details
    assert get_prescription(clinic, stored.programme_id).prescription.programme.blocks == (
        versions[-1].prescription.programme.blocks
    )
    assert check_casebook(clinic).ok


def test_undoing_an_entry_makes_a_version_like_the_earlier_one(sqlite_clinic: Casebook) -> None:
    stored = prescribe(sqlite_clinic, a_prescription(sqlite_clinic), by="kim")
    wanted = more_sets(stored.prescription, 5)
    change_prescription(
        sqlite_clinic, stored.programme_id, wanted, expected_version=1, reason="slip", by="kim"
    )
    with reading(sqlite_clinic.engine) as unit:
        number, _ = history.last(unit)
    undo_entry(sqlite_clinic, number, reason="it was right", by="kim")
    now = get_prescription(sqlite_clinic, stored.programme_id).prescription
    assert (now.version, now.programme.blocks[0].sets) == (3, 3)


def test_the_same_again_is_no_version_and_an_old_page_is_refused(sqlite_clinic: Casebook) -> None:
    stored = prescribe(sqlite_clinic, a_prescription(sqlite_clinic), by="kim")
    key, wanted = stored.programme_id, more_sets(stored.prescription, 4)
    again = change_prescription(
        sqlite_clinic, key, stored.prescription, expected_version=1, reason="none", by="kim"
    )
    assert again == stored
    change_prescription(sqlite_clinic, key, wanted, expected_version=1, reason="more", by="kim")
    with pytest.raises(Conflict, match="version 2, you had 1"):
        change_prescription(
            sqlite_clinic, key, more_sets(wanted, 5), expected_version=1, reason="x", by="lee"
        )
    with pytest.raises(InputRefused, match="reason"):
        change_prescription(
            sqlite_clinic, key, more_sets(wanted, 5), expected_version=2, reason=" ", by="lee"
        )


def test_the_last_programme_is_copied_and_both_are_kept(sqlite_clinic: Casebook) -> None:
    stored = prescribe(sqlite_clinic, a_prescription(sqlite_clinic), by="kim")
    copy = copy_prescription(sqlite_clinic, stored.programme_id, started_on=date(2026, 6, 8))
    assert copy.programme.title == f"{stored.prescription.programme.title} (2)"
    second = prescribe(sqlite_clinic, more_sets(copy, 4), by="kim")
    third = copy_prescription(sqlite_clinic, second.programme_id, started_on=date(2026, 8, 3))
    assert third.programme.title == f"{stored.prescription.programme.title} (3)"
    assert find_last_prescription(sqlite_clinic, "T-001") == second
    assert len(list_prescriptions(sqlite_clinic, "T-001")) == 2
    assert get_prescription(sqlite_clinic, stored.programme_id) == stored


def test_what_does_not_fit_is_refused_with_every_problem(sqlite_clinic: Casebook) -> None:
    good = a_prescription(sqlite_clinic)
    targets = (
        Target(
            metric="unknown", what=TargetOn.LEFT, direction=TargetDirection.UP, amount=1.0,
            due_on=START,
        ),
        Target(
            metric=BEND, what=TargetOn.NONE, direction=TargetDirection.UP, amount=1.0,
            due_on=START,
        ),
    )  # fmt: skip
    wrong = replace(
        good,
        programme=replace(good.programme, targets=targets),
        block_details=(replace(good.block_details[0], exercise_key="nothing_like_it"),),
    )
    with pytest.raises(InputRefused) as refused:
        prescribe(sqlite_clinic, wrong, by="")
    codes = {problem.code for problem in refused.value.problems}
    assert codes == {"unknown_metric", "what_not_taken", "unknown_exercise"}
    with pytest.raises(NotFound, match="no complaint"):
        prescribe(sqlite_clinic, good, injury_id=99, by="")
    with pytest.raises(NotFound, match="no programme"):
        get_prescription(sqlite_clinic, 99)
    assert list_prescriptions(sqlite_clinic, "T-001") == ()


def test_a_week_is_proposed_stored_and_changed_only_with_a_reason(clinic: Casebook) -> None:
    stored = prescribe(clinic, a_prescription(clinic), by="kim")
    today = date(2026, 3, 20)
    week = next_week(stored, today=today)
    assert week == AdherenceWeek(week_start=START, sessions_planned=3, sessions_done=3)
    record_week(clinic, stored.programme_id, week, by="kim")
    record_week(clinic, stored.programme_id, week, by="kim")
    stored = get_prescription(clinic, stored.programme_id)
    assert stored.prescription.programme.adherence == (week,)
    assert stored.prescription.version == 1
    assert next_week(stored, today=today).week_start == date(2026, 3, 9)
    later = replace(week, week_start=date(2026, 3, 16))
    record_week(clinic, stored.programme_id, later, by="kim")
    skipped = get_prescription(clinic, stored.programme_id)
    assert next_week(skipped, today=date(2026, 3, 27)).week_start == date(2026, 3, 23)
    assert next_week(skipped, today=today).week_start == date(2026, 3, 9)
    sore = replace(week, sessions_done=1, pain_during=6.0)
    with pytest.raises(InputRefused, match="reason"):
        record_week(clinic, stored.programme_id, sore, by="kim")
    record_week(clinic, stored.programme_id, sore, by="kim", reason="miscounted")
    kept = get_prescription(clinic, stored.programme_id).prescription.programme.adherence
    assert kept == (sore, later)
    for wrong, column in (
        (replace(week, week_start=date(2026, 1, 5)), "week_start"),
        (replace(week, sessions_done=71), "sessions_done"),
        (replace(week, pain_during=11.0), "pain_during"),
    ):
        with pytest.raises(InputRefused, match=column):
            record_week(clinic, stored.programme_id, wrong, by="kim", reason="x")
    assert check_casebook(clinic).ok


def test_the_list_of_exercises_is_the_starters_and_then_the_clinics(
    clinic: Casebook,
) -> None:
    assert load_starter_exercises(clinic) == 0
    first = list_exercises(clinic)[0]
    assert first.starter
    mine = replace(first, name="Our own name for it")
    assert save_exercise(clinic, mine, read=first, by="kim") == mine
    with pytest.raises(Conflict, match="Somebody else"):
        save_exercise(clinic, replace(first, how="otherwise"), read=first, by="lee")
    new = replace(first, key="our_own", name="Our own", metrics=(STRENGTH,))
    assert not save_exercise(clinic, new, read=None, by="kim").starter
    with pytest.raises(Conflict, match="already"):
        save_exercise(clinic, new, read=None, by="kim")
    with pytest.raises(InputRefused, match="not in the catalogue"):
        save_exercise(clinic, replace(new, key="other", metrics=("nix",)), read=None, by="")
    with pytest.raises(InputRefused, match="can't be renamed"):
        save_exercise(clinic, replace(mine, key="renamed"), read=mine, by="")
    with pytest.raises(NotFound, match="no exercise"):
        get_exercise(clinic, "nix")
    hide_exercise(clinic, "our_own", by="kim")
    assert "our_own" not in {one.key for one in list_exercises(clinic)}
    assert "our_own" in {one.key for one in list_exercises(clinic, include_hidden=True)}
    assert check_casebook(clinic).ok


def test_exercises_come_from_a_file_and_the_same_file_again_changes_nothing(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(
        '[[exercise]]\nkey = "wall_sit"\nname = "Wall sit"\naim = "strength"\n'
        'purpose = "knee extensors"\nhow = "sit against a wall"\nsided = false\n'
    )
    assert import_exercises(sqlite_clinic, path, by="kim") == 1
    assert import_exercises(sqlite_clinic, path, by="kim") == 0
    assert get_exercise(sqlite_clinic, "wall_sit").aim is Aim.STRENGTH
