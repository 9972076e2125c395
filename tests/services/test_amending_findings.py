"""Findings of a visit are amended, struck out and put back; what was said of prompts follows."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from casebook.domain.cautions import CautionAction, Finding
from casebook.domain.errors import InputRefused, NotFound
from casebook.domain.history import Act, Subject
from casebook.domain.people import User
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import AdherenceWeek, Programme
from casebook.services.adhering import record_week
from casebook.services.amending_records import (
    StoredRecord,
    amend_record,
    list_records,
    strike_out_record,
)
from casebook.services.cautioning import (
    acknowledge_caution,
    acknowledge_pain,
    findings_of,
    list_cautions,
    list_pain_flags,
    record_findings,
)
from casebook.services.importing import import_files
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.prescribing import prescribe
from casebook.services.recording import record_visit
from casebook.services.registering import register_user
from casebook.services.undoing_entries import undo_entry
from casebook.services.undoing_imports import undo_import
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import a_visit

DAY = date(2026, 3, 2)
FOUND = {Finding.NUMBNESS: True, Finding.WEAKNESS: False}


@pytest.fixture
def found(sqlite_clinic: Casebook) -> Casebook:
    """A visit with numbness, whose prompt somebody has seen."""
    register_user(sqlite_clinic, User(code="kim", display_name="Kim Invented"))
    record_visit(sqlite_clinic, a_visit(visited_on=DAY), by="kim")
    [prompt] = record_findings(sqlite_clinic, "T-001", DAY, 1, FOUND, by="kim")
    acknowledge_caution(
        sqlite_clinic, "T-001", DAY, 1, prompt.caution.rule.key,
        action=CautionAction.REFERRED, reason="letter sent", by="kim",
    )  # fmt: skip
    assert list_cautions(sqlite_clinic, "T-001", include_seen=True)[0].seen is not None
    return sqlite_clinic


def stored(casebook: Casebook, finding: Finding) -> StoredRecord:
    return next(
        one for one in list_records(casebook, "T-001") if one.about.get("finding") is finding
    )


def open_prompts(casebook: Casebook) -> list[str]:
    return [one.caution.rule.key for one in list_cautions(casebook, "T-001")]


def last(casebook: Casebook) -> int:
    with reading(casebook.engine) as unit:
        return int(history.last(unit)[0])


def acts(casebook: Casebook, since: int) -> list[tuple[Act, Subject]]:
    with reading(casebook.engine) as unit:
        return [(one.act, one.subject) for one in history.every_entry(unit) if one.number > since]


def test_a_finding_is_amended_and_its_prompt_is_open_or_gone(found: Casebook) -> None:
    weakness = stored(found, Finding.WEAKNESS)
    assert weakness.about["visited_on"] == DAY
    assert dict(weakness.columns) == {"present": False}
    before = last(found)
    place = (Subject.FINDING, weakness.record_id)
    amend_record(found, "T-001", place, {"present": "yes"}, reason="misheard", by="kim")
    assert findings_of(found, "T-001", DAY) == {Finding.NUMBNESS: True, Finding.WEAKNESS: True}
    # The prompt rests on one finding more than when it was seen.
    assert [one.seen for one in list_cautions(found, "T-001", include_seen=True)] == [None]
    assert acts(found, before) == [
        (Act.AMENDED, Subject.FINDING),
        (Act.STRUCK_OUT, Subject.CAUTION),
    ]
    with pytest.raises(InputRefused, match="nothing of a finding that can be amended"):
        amend_record(found, "T-001", place, {"finding": "fever"}, reason="x", by="")
    with pytest.raises(InputRefused, match="expected yes or no"):
        amend_record(found, "T-001", place, {"present": "maybe"}, reason="x", by="")
    with pytest.raises(NotFound):
        amend_record(found, "T-001", (Subject.FINDING, 999), {"present": "no"}, reason="x", by="")
    assert check_casebook(found).ok


def test_a_finding_is_struck_out_and_put_back(found: Casebook) -> None:
    numbness = stored(found, Finding.NUMBNESS)
    before = last(found)
    strike_out_record(
        found, "T-001", (Subject.FINDING, numbness.record_id), reason="other runner", by="kim"
    )
    assert findings_of(found, "T-001", DAY) == {Finding.WEAKNESS: False}
    assert list_cautions(found, "T-001", include_seen=True) == ()
    undo_entry(found, before + 1, reason="it was this one", by="kim")
    assert findings_of(found, "T-001", DAY) == FOUND
    assert [one.seen for one in list_cautions(found, "T-001", include_seen=True)] == [None]
    assert check_casebook(found).ok


def test_undoing_a_finding_opens_what_was_said_of_its_prompt(found: Casebook) -> None:
    weakness = stored(found, Finding.WEAKNESS)
    before = last(found)
    place = (Subject.FINDING, weakness.record_id)
    amend_record(found, "T-001", place, {"present": "yes"}, reason="misheard", by="kim")
    rule = list_cautions(found, "T-001", include_seen=True)[0].caution.rule.key
    acknowledge_caution(
        found, "T-001", DAY, 1, rule, action=CautionAction.REFERRED, reason="sent", by="kim"
    )
    undo_entry(found, before + 1, reason="it was not", by="kim")
    assert findings_of(found, "T-001", DAY) == FOUND
    assert [one.seen for one in list_cautions(found, "T-001", include_seen=True)] == [None]
    assert check_casebook(found).ok


def test_a_week_that_is_amended_opens_what_was_said_of_its_pain(found: Casebook) -> None:
    programme = Programme(runner="T-001", title="Calf", started_on=DAY)
    made = prescribe(found, Prescription(programme=programme), by="kim")
    week = AdherenceWeek(week_start=DAY, sessions_planned=3, sessions_done=3, pain_during=7.0)
    record_week(found, made.programme_id, week, by="kim")
    [flag] = list_pain_flags(found, "T-001")
    acknowledge_pain(
        found, made.programme_id, [DAY], flag.flag.reason, reason="load halved", by="kim"
    )
    assert list_pain_flags(found, "T-001") == ()
    [stored_week] = [
        one for one in list_records(found, "T-001") if one.subject is Subject.ADHERENCE
    ]
    amend_record(
        found, "T-001", (Subject.ADHERENCE, stored_week.record_id), {"pain_during": "8"},
        reason="misread", by="kim",
    )  # fmt: skip
    assert [one.flag.pain for one in list_pain_flags(found, "T-001")] == [8.0]
    assert check_casebook(found).ok


def test_an_import_opens_what_was_said_of_what_it_changes_and_undone_gives_it_back(
    found: Casebook, tmp_path: Path
) -> None:
    made = prescribe(
        found, Prescription(programme=Programme(runner="T-001", title="Calf", started_on=DAY)),
        by="kim",
    )  # fmt: skip
    record_findings(found, "T-001", DAY, 1, {Finding.FEVER: True}, by="kim")
    acknowledge_caution(
        found, "T-001", DAY, 1, "fever_weight_loss",
        action=CautionAction.REFERRED, reason="letter sent", by="kim",
    )  # fmt: skip
    late = date(2026, 3, 16)
    week = AdherenceWeek(week_start=late, sessions_planned=3, sessions_done=3, pain_during=7.0)
    record_week(found, made.programme_id, week, by="kim")
    [flag] = list_pain_flags(found, "T-001")
    acknowledge_pain(found, made.programme_id, [late], flag.flag.reason, reason="seen", by="kim")
    findings, weeks = tmp_path / "findings.csv", tmp_path / "weeks.csv"
    findings.write_text(
        f"runner,visit_date,finding,present\nT-001,{DAY},weight_loss,yes\n", encoding="utf-8"
    )
    weeks.write_text(
        "runner,programme,week_start,sessions_planned,sessions_done,pain_morning_after\n"
        "T-001,Calf,2026-03-09,3,3,0\n",
        encoding="utf-8",
    )
    report = import_files(found, [findings, weeks], by="kim")
    assert report.problems == ()
    assert open_prompts(found) == ["fever_weight_loss"]
    # The week before the flagged one is one of those that a rise is held against.
    assert len(list_pain_flags(found, "T-001")) == 1
    assert check_casebook(found).ok
    assert report.run_id is not None
    undo_import(found, report.run_id, reason="another runner's", by="kim")
    assert open_prompts(found) == []
    assert len(list_cautions(found, "T-001", include_seen=True)) == 2
    assert list_pain_flags(found, "T-001") == ()
    assert check_casebook(found).ok
