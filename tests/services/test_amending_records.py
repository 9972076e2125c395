"""Amending and striking out what is known of a runner beside visits."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from casebook.domain.errors import CasebookError, Conflict, InputRefused, NotFound
from casebook.domain.history import Act, Entry, Subject
from casebook.domain.injuries import Course
from casebook.domain.people import Identity
from casebook.services.amending_records import (
    amend_record,
    list_records,
    strike_out_record,
)
from casebook.services.importing import import_files
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.registering import (
    find_identity,
    get_runner,
    list_consents,
    list_injuries,
    record_consent,
    record_injury,
    register_runner,
)
from casebook.services.undoing_entries import undo_entry
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import a_consent, a_runner, an_injury


def newest(casebook: Casebook) -> Entry:
    with reading(casebook.engine) as unit:
        entry = history.find_entry(unit, history.last(unit)[0])
    assert entry is not None
    return entry


def amend(casebook: Casebook, subject: Subject, columns: dict[str, Any], **more: Any) -> None:
    code = more.pop("code", "T-001")
    record = (subject, more.pop("number", 1))
    amend_record(casebook, code, record, columns, **{"reason": "slip", "by": "kim", **more})


def test_a_complaint_is_amended_from_texts_and_undone(clinic: Casebook) -> None:
    record_injury(clinic, an_injury(), by="kim")
    amend(clinic, Subject.INJURY, {"course": "resolved", "returned_on": "2026-02-20"})
    assert list_injuries(clinic, "T-001") == (
        an_injury(course=Course.RESOLVED, returned_on=date(2026, 2, 20)),
    )
    entry = newest(clinic)
    assert (entry.act, entry.subject, entry.reason) == (Act.AMENDED, Subject.INJURY, "slip")
    assert entry.fields == {"course": ("open", "resolved"), "returned_on": (None, "2026-02-20")}
    undo_entry(clinic, entry.number, reason="not yet", by="lee")
    assert list_injuries(clinic, "T-001") == (an_injury(),)
    assert check_casebook(clinic).ok


def test_a_name_is_amended_and_never_told(clinic: Casebook) -> None:
    identity = Identity(runner="T-002", given_name="Invented", family_name="Person")
    register_runner(clinic, a_runner(code="T-002"), identity)
    amend(clinic, Subject.IDENTITY, {"family_name": "Other"}, code="T-002", number=2)
    found = find_identity(clinic, "T-002")
    assert found is not None
    assert found.family_name == "Other"
    entry = newest(clinic)
    assert entry.fields == {"family_name": (True, True)}
    with pytest.raises(InputRefused, match="does not hold"):
        undo_entry(clinic, entry.number, reason="slip", by="kim")
    assert check_casebook(clinic).ok


def test_runner_data_are_amended_and_put_back(sqlite_clinic: Casebook) -> None:
    amend(sqlite_clinic, Subject.RUNNER, {"code": "T-100", "mass_kg": "61.5", "discipline": ""})
    assert get_runner(sqlite_clinic, "T-100").mass_kg == 61.5
    undo_entry(sqlite_clinic, newest(sqlite_clinic).number, reason="slip", by="kim")
    assert get_runner(sqlite_clinic, "T-001").discipline == "10 km"


@pytest.mark.parametrize(
    ("subject", "columns", "more", "refusal", "words"),
    [
        (Subject.INJURY, {"course": "open"}, {"reason": ""}, InputRefused, "Say why"),
        (Subject.INJURY, {"course": "cured"}, {}, InputRefused, "one of open, improving"),
        (Subject.INJURY, {"onset_on": ""}, {}, InputRefused, "can't be empty"),
        (Subject.INJURY, {"onset_on": "12.1.26"}, {}, InputRefused, "YYYY-MM-DD"),
        (Subject.INJURY, {"returned_on": "2025-01-01"}, {}, InputRefused, "before the onset"),
        (Subject.INJURY, {"runner_id": 2}, {}, InputRefused, "can be amended"),
        (Subject.INJURY, {"course": "open"}, {"number": 9}, NotFound, "no injury with the number"),
        (Subject.LINK, {"amount": 1}, {}, InputRefused, "nobody alters: write a new version"),
        (Subject.RUNNER, {"mass_kg": "heavy"}, {}, InputRefused, "expected a number"),
        (Subject.RUNNER, {"mass_kg": "nan"}, {}, InputRefused, "give a number"),
        (Subject.RUNNER, {"birth_year": 1700}, {}, InputRefused, "1900 to"),
        (Subject.RUNNER, {"code": " "}, {}, InputRefused, "can't be empty"),
        (
            Subject.INJURY,
            {"course": "resolved"},
            {"shown": {"course": Course.IMPROVING}},
            Conflict,
            "course was 'improving' and is 'open' now",
        ),
    ],
)
def test_a_refused_amendment_says_why_and_changes_nothing(
    sqlite_clinic: Casebook,
    subject: Subject,
    columns: dict[str, Any],
    more: dict[str, Any],
    refusal: type[CasebookError],
    words: str,
) -> None:
    record_injury(sqlite_clinic, an_injury())
    before = newest(sqlite_clinic).number
    with pytest.raises(refusal, match=words):
        amend(sqlite_clinic, subject, columns, **more)
    assert newest(sqlite_clinic).number == before
    assert list_injuries(sqlite_clinic, "T-001") == (an_injury(),)


def test_a_programme_leaves_with_its_parts_and_each_can_be_put_back(
    clinic: Casebook, tmp_path: Any
) -> None:
    for name, lines in {
        "programmes": "runner,started_on,title,kind\nT-001,2026-01-20,Calf,injury",
        "blocks": "runner,programme,programme_started_on,position,aim,exercise\n"
        "T-001,Calf,2026-01-20,1,strength,Heel raise",
    }.items():
        (tmp_path / f"{name}.csv").write_text(lines + "\n")
    report = import_files(clinic, sorted(tmp_path.glob("*.csv")))
    assert report.ok, report.problems
    before = list_records(clinic, "T-001")
    strike_out_record(clinic, "T-001", (Subject.PROGRAMME, 1), reason="another's", by="kim")
    assert [one.subject for one in list_records(clinic, "T-001")] == [Subject.RUNNER]
    last = newest(clinic).number
    with pytest.raises(Conflict, match="its programme"):
        undo_entry(clinic, last - 1, reason="slip", by="kim")
    for number in (last, last - 1):
        undo_entry(clinic, number, reason="slip", by="kim")
    assert list_records(clinic, "T-001") == before
    assert check_casebook(clinic).ok


def test_a_consent_is_struck_out_and_a_runner_never(sqlite_clinic: Casebook) -> None:
    record_consent(sqlite_clinic, a_consent())
    strike_out_record(sqlite_clinic, "T-001", (Subject.CONSENT, 1), reason="slip", by="kim")
    assert list_consents(sqlite_clinic, "T-001") == ()
    with pytest.raises(InputRefused, match="never struck out"):
        strike_out_record(sqlite_clinic, "T-001", (Subject.RUNNER, 1), reason="slip", by="kim")
