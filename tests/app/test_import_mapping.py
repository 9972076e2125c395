"""The import page with spreadsheets whose columns have names of their own."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Programme
from casebook.domain.sides import Side
from casebook.intake.mapping import RowIs
from casebook.services.keeping import Casebook
from casebook.services.prescribing import list_prescriptions, prescribe
from casebook.services.recording import find_visit
from casebook.services.registering import list_runners
from tests.app.conftest import at_page, words
from tests.intake.workbooks import saved

pytestmark = pytest.mark.usefixtures("clinic_file")
OWN = (
    "Athlete,Date,Knee flexion (deg) L,Knee flexion (deg) R,Cadence (spm)\n"
    "R-in,03/02/2026,38,41,172\nMean,,38,41,172\n"
)


def upload(app: AppTest, *files: tuple[str, bytes]) -> AppTest:
    at_page(app, "import_files")
    kind = "application/octet-stream"
    uploads = [(name, content, kind) for name, content in files]
    return app.file_uploader(key="import_uploads").set_value(uploads).run()


def box(app: AppTest, label: str):
    (found,) = (one for one in app.selectbox if label in one.label.replace("\\", ""))
    return found


def choose(app: AppTest, label: str, words: str) -> None:
    one = box(app, label)
    one.select_index(one.options.index(words)).run()


def test_what_is_not_sure_is_asked_once_for_both_sides_and_then_shown_and_stored(
    app: AppTest, clinic: Casebook
) -> None:
    upload(app, ("own.csv", OWN.encode()))
    assert not app.exception
    assert "Still open: 3 questions" in words(app)
    assert app.button(key="import_check").disabled
    knee = box(app, "**Knee flexion (deg) L** and R")
    assert knee.value is None
    assert {"Knee flexion in mid-stance", "Knee flexion at contact"} <= set(knee.options[:4])
    choose(app, "Knee flexion", "Knee flexion in mid-stance")
    choose(app, "Dates are written", "day first (31/12/2025)")
    assert "as they would be stored" in words(app)
    (shown,) = (one.value for one in app.table if "Runner" in one.value.columns)
    lines = shown.map(lambda cell: str(cell).replace("\\", "")).to_numpy().tolist()
    assert ["2", "R-in", "3 Feb 2026", "Knee flexion in mid-stance, left", "38 °"] in lines
    app.button(key="import_check").click().run()
    assert "nothing was stored" in words(app)
    (leave,) = (one for one in app.checkbox if "row 3 'Mean'" in one.label.replace("\\", ""))
    leave.check().run()
    app.button(key="import_check").click().run()
    app.button(key="import_run").click().run()
    assert not app.exception
    assert "Imported. 3 entries read: 3 added" in words(app)
    stored = find_visit(clinic, "R-in", date(2026, 2, 3))
    assert stored is not None
    assert {(v.metric, v.side) for v in stored.visit.values} == {
        ("knee_flexion_midstance", Side.LEFT),
        ("knee_flexion_midstance", Side.RIGHT),
        ("cadence", Side.NONE),
    }
    assert "Mean" not in {runner.code for runner in list_runners(clinic)}
    # The next file with these columns needs no answers.
    upload(app, ("next.csv", OWN.replace("03/02", "13/02").encode()))
    assert "as it was settled" in words(app)
    assert not app.button(key="import_check").disabled


def test_the_same_spreadsheet_twice_breaks_nothing_and_each_is_answered_for_itself(
    app: AppTest, tmp_path: Path
) -> None:
    sheets = {
        "A": [["Athlete", "Date", "Odd"], ["R-in", date(2026, 5, 4), 3]],
        "B": [["Athlete", "Date", "Odd"], ["R-in", date(2026, 5, 5), 3]],
        "Legend": [["Odd", "is odd"], ["L", "is left"]],
    }
    content = saved(tmp_path / "s.xlsx", sheets).read_bytes()
    upload(app, ("s.xlsx", content), ("s.xlsx", content))
    assert not app.exception
    odd = [one for one in app.selectbox if one.label.startswith("**Odd**")]
    assert len({one.key for one in odd}) == 4
    rows = [one.value for one in app.selectbox if "each row is" in one.label]
    assert rows.count("nothing") == 2
    odd[0].select_index(odd[0].options.index("Leave this column out")).run()
    odd = [one for one in app.selectbox if one.label.startswith("**Odd**")]
    assert [one.value is None for one in odd] == [False, True, True, True]


def test_a_sure_column_can_be_changed_and_a_unit_is_asked_where_none_is_said(
    app: AppTest, clinic: Casebook
) -> None:
    text = "Date,Cadence (spm),Strength thing L\n2026-05-04,172,210\n"
    upload(app, ("u.csv", text.encode()))
    (change,) = app.multiselect
    change.select("Cadence (spm)").run()
    choose(app, "Cadence (spm)", "Leave this column out")
    choose(app, "Strength thing L", "Hip abductor strength, left")
    assert "Still open: 1 question" in words(app)
    choose(app, "Unit of Strength thing L", "N")
    (runner,) = (one for one in app.text_input if "for every row" in one.label)
    runner.input("R-in").run()
    app.button(key="import_check").click().run()
    app.button(key="import_run").click().run()
    stored = find_visit(clinic, "R-in", date(2026, 5, 4))
    assert stored is not None
    assert [(v.metric, v.mean) for v in stored.visit.values] == [("hip_abductor_strength", 210.0)]


def test_a_damaged_workbook_is_refused_in_words(app: AppTest) -> None:
    upload(app, ("bad.xlsx", b"PK\x03\x04 nothing of a workbook"))
    app.button(key="import_check").click().run()
    assert not app.exception
    assert "damaged" in "".join(str(one.value.to_numpy()) for one in app.table)


def test_a_diary_of_weeks_is_asked_for_its_programme_and_shown_as_it_would_be_stored(
    app: AppTest, clinic: Casebook
) -> None:
    programme = Programme(runner="R-worse", title="Hip strength", started_on=date(2026, 3, 2))
    prescribe(clinic, Prescription(programme=programme), by="")
    diary = "Athlete,Week starting,Planned,Sessions done\nR-worse,2026-03-02,4,3\n"
    upload(app, ("diary.csv", diary.encode()))
    assert box(app, "Each row is").value is RowIs.WEEK
    choose(app, "**Planned**", "Sessions planned")
    (title,) = (one for one in app.text_input if one.label.startswith("Title of the programme"))
    title.set_value("Hip strength").run()
    (shown,) = (one.value for one in app.table if "Row" in one.value.columns)
    assert shown.to_dict("records") == [
        {
            "Row": 2, "Runner's code": "R\\-worse", "Title of the programme": "Hip strength",
            "First day of the week": "2 Mar 2026", "Sessions planned": "4", "Sessions done": "3",
        }
    ]  # fmt: skip
    app.button(key="import_check").click().run()
    app.button(key="import_run").click().run()
    assert not app.exception
    (stored,) = list_prescriptions(clinic, "R-worse")
    (week,) = stored.prescription.programme.adherence
    assert (week.sessions_planned, week.sessions_done) == (4, 3)
