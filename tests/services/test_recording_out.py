"""A record as files: readable, in units and words, harmless, and never over another one."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path

import pytest

from casebook.domain.errors import Conflict, StoreUnavailable
from casebook.domain.history import Subject
from casebook.domain.people import Identity
from casebook.domain.plan_drafts import DraftKind, PlanDraft
from casebook.domain.whole_record import WholeRecord
from casebook.intake.fhir_out import bundle_text
from casebook.services.drafting import keep_typed
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.recording_out import get_record, readable_files, record_zip, write_record
from casebook.services.registering import record_injury, register_runner
from tests.builders import a_runner, a_visit, an_injury


@pytest.fixture
def record(sqlite_clinic: Casebook) -> WholeRecord:
    runner = a_runner(code="R <1>")
    register_runner(sqlite_clinic, runner, Identity(runner="R <1>", given_name="=cmd"))
    record_injury(sqlite_clinic, an_injury(runner="R <1>"))
    record_visit(sqlite_clinic, a_visit(runner="R <1>", note="<script>alert(1)</script>"), by="")
    return get_record(sqlite_clinic, "R <1>")


def test_the_tables_say_every_value_and_trial_with_unit_side_and_why_it_is_missing(
    record: WholeRecord,
) -> None:
    files = {name: content.decode("utf-8-sig") for name, content in readable_files(record).items()}
    values = files["values.csv"].splitlines()
    assert values[1].startswith(
        "2026-03-02,Strength in a test,test_strength,left,N,316.6666666666667,,3,"
    )
    assert '"310, 322, 318"' in values[1]
    assert values[2].startswith("2026-03-02,Strength in a test,test_strength,right,N,287.5,,3,,")
    assert values[3].endswith("left,degrees,,,,,,,couldn't be seen")
    assert files["trials.csv"].splitlines()[2].endswith("left,N,2,322.0")
    assert "2026-03-02,1,baseline,10.0,treadmill" in files["visit.csv"]
    assert "speed (km/h)" in files["visit.csv"]
    assert "knee,tendinopathy,left,2026-01-12,gradual" in files["injury.csv"]
    assert "visit recorded (2026-03-02)" in files["history.csv"]


def test_what_was_typed_of_a_visit_and_not_saved_is_told_as_no_visit(
    sqlite_clinic: Casebook, record: WholeRecord
) -> None:
    assert "visits_not_saved.csv" not in readable_files(record)
    typed = {
        "runner": "R <1>",
        "head:visited_on": "9 Apr 2026",
        "head:no_review": True,
        "head:set": "all",
        "cell:test_strength:left": "310 322",
        "cell:gone_metric:none": "7",
        "cell:test_strength:right": "",
    }
    keep_typed(sqlite_clinic, "one", typed, owner="AB")
    keep_typed(
        sqlite_clinic, "other", {**typed, "runner": "R-2", "head:note": "not theirs"}, owner=""
    )
    again = get_record(sqlite_clinic, "R <1>")
    files = {name: content.decode("utf-8-sig") for name, content in readable_files(again).items()}
    lines = files["visits_not_saved.csv"].splitlines()[1:]
    assert [line.split(",", 3)[2:] for line in lines] == [
        ["AB", "Date of the visit,9 Apr 2026"],
        ["AB", "No review,yes"],
        ["AB", '"Strength in a test, left",310 322'],
        ["AB", "gone_metric,7"],
    ]
    assert "Visits that were not saved" in files["record.html"]
    assert "It is no visit" in files["record.html"]
    assert "not theirs" not in files["record.html"]
    # The Bundle and the visits themselves know nothing of it.
    assert again.of_kind(Subject.VISIT) == record.of_kind(Subject.VISIT)
    assert "9 Apr 2026" not in bundle_text(again)
    assert again.metrics == record.metrics


def test_what_was_typed_of_a_programme_and_not_stored_is_told_as_none(
    sqlite_clinic: Casebook, record: WholeRecord
) -> None:
    draft = PlanDraft(
        kind=DraftKind.PROGRAMME,
        runner="R <1>",
        rows=(("block", 4, ""),),
        boxes={"title": "Half a title", "block_4_hold_s": "30", "rationale": ""},
    )
    keep_typed(sqlite_clinic, "plan", draft.content, owner="AB")
    again = get_record(sqlite_clinic, "R <1>")
    files = {name: content.decode("utf-8-sig") for name, content in readable_files(again).items()}
    assert "visits_not_saved.csv" not in files
    lines = files["plans_not_stored.csv"].splitlines()[1:]
    assert [(line.split(",")[0], line.split(",", 4)[4]) for line in lines] == [
        ("programme", "Title,Half a title"),
        ("programme", "Exercise 1: Hold (s),30"),
    ]
    assert "It was not prescribed" in files["record.html"]
    assert again.of_kind(Subject.PROGRAMME) == record.of_kind(Subject.PROGRAMME) == ()
    assert "Half a title" not in bundle_text(again)


def test_what_was_typed_can_neither_run_in_a_browser_nor_in_a_spreadsheet(
    record: WholeRecord,
) -> None:
    files = {name: content.decode("utf-8-sig") for name, content in readable_files(record).items()}
    page = files["record.html"]
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "Record of R &lt;1&gt;" in page
    assert "'=cmd" in files["identity.csv"]
    assert "couldn&#x27;t be seen" in page
    assert all(name in files["README.txt"] for name in files if name != "README.txt")


def test_a_folder_or_file_is_made_for_its_owner_alone_and_never_replaced(
    record: WholeRecord, tmp_path: Path
) -> None:
    folder = write_record(record, tmp_path / "new" / "asked for")
    assert {"README.txt", "record.html", "record.fhir.json", "values.csv"} <= {
        one.name for one in folder.iterdir()
    }
    assert stat.S_IMODE((folder / "record.html").stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    bundle = write_record(record, tmp_path / "bundle.json", text=False)
    assert stat.S_IMODE(bundle.stat().st_mode) == 0o600
    packed = write_record(record, tmp_path / "all.zip", fhir=False)
    with zipfile.ZipFile(packed) as within:
        assert "record.fhir.json" not in within.namelist()
    for taken, forms in ((folder, {}), (bundle, {"text": False}), (packed, {})):
        with pytest.raises(Conflict, match="stands already and is not replaced"):
            write_record(record, taken, **forms)
    (tmp_path / "a file").touch()
    with pytest.raises(StoreUnavailable, match="cannot be written"):
        write_record(record, tmp_path / "a file" / "within")
    left = {one.name for one in tmp_path.iterdir() if one.name.startswith(".")}
    assert left == set()


def test_the_page_hands_out_both_forms_in_one_file(record: WholeRecord) -> None:
    with zipfile.ZipFile(io.BytesIO(record_zip(record))) as packed:
        assert {"record.html", "record.fhir.json", "trials.csv"} <= set(packed.namelist())
