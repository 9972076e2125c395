"""Opening the app where something is amiss: one calm sentence, never a traceback."""

from __future__ import annotations

import logging
import shutil
import sqlite3
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.people import User
from casebook.services.keeping import Casebook, create_casebook
from casebook.services.registering import list_users, register_user
from tests.app.conftest import WORSE, at_page, links, words


def test_a_missing_casebook_is_said_with_what_to_do(
    app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(tmp_path / "none.sqlite"))
    said = words(app.run())
    assert "The casebook cannot be opened" in said
    assert "There is no casebook at" in said
    assert "casebook init" in said
    assert not app.exception
    assert not (tmp_path / "none.sqlite").exists()


def test_a_casebook_that_appears_is_opened_by_the_next_run(
    app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "later.sqlite"
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(path))
    app.run()
    create_casebook(str(path)).close()
    assert "No runner is registered yet" in words(app.run())


@pytest.mark.parametrize("revision", ["from_the_future", None])
def test_a_casebook_of_another_version_is_said_with_what_to_do(
    app: AppTest, clinic_file: Path, revision: str | None
) -> None:
    connection = sqlite3.connect(clinic_file)
    if revision is None:
        connection.execute("DELETE FROM alembic_version")
    else:
        connection.execute("UPDATE alembic_version SET version_num = ?", (revision,))
    connection.commit()
    connection.close()
    said = words(app.run())
    assert "The casebook cannot be opened" in said
    assert not app.exception


def test_a_file_that_was_replaced_is_opened_anew(
    app: AppTest, clinic_file: Path, sqlite_template: Path
) -> None:
    app.run()
    assert WORSE in links(app)
    for part in clinic_file.parent.glob("clinic.sqlite*"):
        part.rename(part.with_name(f"moved-{part.name}"))
    clinic_file.write_bytes(sqlite_template.read_bytes())
    assert "No runner is registered yet" in words(app.run())


def test_the_sidebar_names_the_casebook_and_warns_of_invented_data(
    app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "demo.sqlite"
    create_casebook(str(path), clinic_name="Demo clinic (invented)").close()
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(path))
    said = words(app.run())
    assert str(path) in said
    assert "Nobody in this casebook is a real person" in said


def test_a_real_casebook_carries_no_demo_notice(app: AppTest, clinic_file: Path) -> None:
    assert "Nobody in this casebook" not in words(app.run())


def test_a_user_is_added_in_the_sidebar_and_is_who_works_from_then_on(
    app: AppTest, clinic: Casebook
) -> None:
    app.run()
    app.text_input(key="new_user_code").set_value("CD")
    app.text_input(key="new_user_name").set_value("Cara Dahl")
    next(button for button in app.button if button.label == "Add user").click().run()
    assert {user.code for user in list_users(clinic)} == {"AB", "CD"}
    assert app.selectbox(key="who_sidebar").value == "CD"


def test_nobody_is_taken_for_the_user_where_there_are_several(
    app: AppTest, clinic: Casebook
) -> None:
    register_user(clinic, User(code="CD"))
    app.run()
    assert app.selectbox(key="who_sidebar").value is None


def test_what_was_not_expected_is_logged_and_said_calmly(caplog: pytest.LogCaptureFixture) -> None:
    def script() -> None:
        from app.messages import calmly

        with calmly():
            raise ZeroDivisionError("a bug of our own")

    with caplog.at_level(logging.ERROR, logger="casebook.app"):
        app = AppTest.from_function(script).run()
    assert not app.exception
    assert "Something went wrong that casebook did not expect" in app.error[0].value
    assert "a bug of our own" not in app.error[0].value
    assert "a bug of our own" in caplog.text


OF_A_RUNNER = (
    "runner",
    "injuries",
    "programme",
    "hypotheses",
    "history",
    "summary",
    "log_visit",
)


def test_no_page_of_a_runner_is_a_dead_end_where_the_address_names_nobody(
    app: AppTest, clinic_file: Path
) -> None:
    for name in OF_A_RUNNER:
        at_page(app, name, runner="SKV-999")
        assert "There is no runner 'SKV-999'" in words(app), name
        assert app.title[0].value
        asked = next(box for box in app.selectbox if box.label == "Runner")
        assert WORSE in asked.options, name
    at_page(app, "history", runner="SKV-999")
    next(box for box in app.selectbox if box.label == "Runner").set_value(WORSE).run()
    assert app.title[0].value.replace("\\", "") == f"History of {WORSE}"


def test_where_nobody_is_registered_each_page_of_a_runner_leads_to_adding_one(
    app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sqlite_template: Path
) -> None:
    path = tmp_path / "nobody.sqlite"
    shutil.copyfile(sqlite_template, path)
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(path))
    for name in OF_A_RUNNER:
        said = words(at_page(app, name))
        assert "No runner is registered yet" in said, name
        assert {"Add a runner", "Import tables"} <= set(links(app)), name
        assert not app.exception


def test_text_from_outside_is_never_taken_for_formatting(app: AppTest, clinic_file: Path) -> None:
    at_page(app, "runner", runner="**bold** $x$ :red[no]")
    assert app.info[0].value.startswith("There is no runner '\\*\\*bold\\*\\* \\$x\\$ \\:red\\[no")
