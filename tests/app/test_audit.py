"""The audit, its report and the export: one choice through all, small groups never shown."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.exporting import Trait
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import list_exports
from casebook.services.keeping import open_casebook
from casebook.services.registering import list_users
from tests.app.conftest import at_page, links, words


@pytest.fixture(autouse=True)
def demo(demo_built: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(demo_built))


def cells(app: AppTest) -> list[str]:
    return [str(cell).replace("\\", "") for table in app.table for cell in table.value.values.flat]


def columns(app: AppTest) -> set[str]:
    return {str(name) for table in app.table for name in table.value.columns}


def sheet(app: AppTest) -> str:
    return "\n".join(str(html.proto.body) for html in app.get("html"))


def included(said: str) -> str:
    found = re.search(r"(\d+) runners? registered", said)
    assert found
    return found[1]


def test_who_came_what_changed_and_the_rest_are_told_of_the_same_cohort(app: AppTest) -> None:
    at_page(app, "audit")
    assert not app.exception
    assert "It does not tell that the programme did it" in words(app)
    assert "For the clinic's own eyes" in words(app)
    everybody = included(words(app))
    assert "Registered" in cells(app)
    assert links(app)[-2:] == ["Report to print", "Export de-identified tables"]
    for part, said in (
        ("What changed", "Of the asymmetries that shrank beyond error"),
        ("Running again", "Kaplan-Meier"),
        ("Between clinicians", "no ranking"),
        ("Course over time", "Predicted mean"),
    ):
        app.segmented_control(key="audit_part").set_value(part).run()
        assert not app.exception
        assert said in words(app)
        assert included(words(app)) == everybody
        if part == "What changed":
            assert {"Measured twice", "No change seen", "Can't say"} <= columns(app)
    app.selectbox(key="audit_purpose").set_value(Purpose.AUDIT).run()
    assert "own eyes" not in words(app)


def test_a_choice_goes_with_the_reader_from_page_to_page_and_back(app: AppTest) -> None:
    at_page(app, "audit")
    app.multiselect(key="audit_regions").set_value(["knee"]).run()
    app.text_input(key="audit_least").set_value("3").run()
    app.segmented_control(key="audit_part").set_value("Course over time").run()
    knees = included(words(app))
    assert "with a complaint of the knee" in words(app)
    at_page(app, "audit_report")
    assert f"{knees} runners registered" in sheet(app)
    assert "the complaint was of the knee" in sheet(app)
    assert "Groups of fewer than 3 runners are withheld" in sheet(app)
    # The course that was looked at is in the report.
    assert len(app.multiselect(key="audit_report_courses").value) == 1
    at_page(app, "audit")
    assert app.multiselect(key="audit_regions").value == ["knee"]
    assert app.segmented_control(key="audit_part").value == "Course over time"


def test_groups_that_are_too_small_and_days_that_make_no_sense_are_told_in_words(
    app: AppTest,
) -> None:
    at_page(app, "audit")
    app.text_input(key="audit_least").set_value("1000").run()
    app.segmented_control(key="audit_part").set_value("What changed").run()
    assert not app.exception
    assert "No share can be told: too few runners have a verdict." in words(app)
    app.segmented_control(key="audit_part").set_value("Course over time").run()
    assert "The course of this metric can't be told." in words(app)
    app.text_input(key="audit_least").set_value("some").run()
    assert "Mend what is marked in red above." in words(app)
    assert not app.table
    app.text_input(key="audit_least").set_value("5").run()
    app.text_input(key="audit_from").set_value("2026-06-01").run()
    app.text_input(key="audit_to").set_value("2026-01-01").run()
    assert "change one of the two days" in words(app)


def test_an_export_needs_a_name_lies_ready_when_returned_to_and_goes_with_its_settings(
    app: AppTest, demo_built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    db = shutil.copy(demo_built, tmp_path / "own.sqlite")
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(db))
    casebook = open_casebook(str(db))
    at_page(app, "export")
    assert not app.exception
    said = words(app)
    assert said.index("anonymous in law") > said.index("largest probability")
    assert app.button(key="export_make").disabled
    assert "Say who you are first" in said
    by = next(user.code for user in list_users(casebook) if user.active)
    app.selectbox(key="who_export").set_value(by).run()
    app.multiselect(key="export_formats").set_value([]).run()
    app.button(key="export_make").click().run()
    assert not app.exception
    assert "Export 1 is made and logged" in words(app)
    (logged,) = list_exports(casebook)
    assert logged.by == by
    assert {by, "1", "audit", str(logged.runners)} <= set(cells(app))
    at_page(app, "audit")
    at_page(app, "export")
    assert app.multiselect(key="export_formats").value == []
    assert "Export 1 is made and logged" in words(app)
    assert len(app.get("download_button")) == 2
    app.text_input(key="export_k").set_value("6").run()
    assert "Export 1 is made and logged" not in words(app)
    assert not app.get("download_button")
    assert "mass" in cells(app)
    app.multiselect(key="export_leave_out").set_value([Trait.MASS, Trait.HEIGHT]).run()
    assert not app.exception
    assert "Left out for everybody, as asked: height, mass." in words(app)
    assert not {"height", "mass"} & set(cells(app))
    app.text_input(key="export_k").set_value("").run()
    assert "Mend what is marked in red above." in words(app)
    casebook.close()
