"""Import: a look first, every problem named, then everything or nothing."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.people import User
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit
from casebook.services.registering import list_runners, register_user
from tests.app.conftest import at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")
HEADER = "runner,visit_date,metric,side,trial,value\n"
GOOD = HEADER + "R-in,2026-05-04,hip_abductor_strength,left,1,301\n"
BAD = HEADER + (
    "R-in,2026-05-04,hip_abductor_strenght,left,1,301\nR-in,2026-05-04,cadence,none,1,abc\n"
)


def upload(app: AppTest, name: str, text: str) -> AppTest:
    at_page(app, "import_files")
    return (
        app.file_uploader(key="import_uploads").set_value([(name, text.encode(), "text/csv")]).run()
    )


def test_a_check_stores_nothing_and_an_import_then_does(app: AppTest, clinic: Casebook) -> None:
    upload(app, "visits.csv", GOOD)
    app.button(key="import_check").click().run()
    said = words(app)
    assert not app.exception
    assert "Checked, nothing stored yet. 1 entry read: 1 would be added" in said
    assert "New runners that would be registered: R-in" in said
    assert "R-in" not in {runner.code for runner in list_runners(clinic)}
    app.button(key="import_run").click().run()
    assert "Imported. 1 entry read: 1 added" in words(app)
    stored = find_visit(clinic, "R-in", date(2026, 5, 4))
    assert stored is not None
    assert stored.recorded_by == "AB"


def test_an_import_with_a_number_to_look_at_again_is_told_as_imported(
    app: AppTest, clinic: Casebook
) -> None:
    upload(app, "visits.csv", GOOD.replace(",301", ",1900"))
    app.button(key="import_check").click().run()
    assert "To look at again: 1 entry" in words(app)
    app.button(key="import_run").click().run()
    said = words(app)
    assert "Imported. 1 entry read: 1 added" in said
    assert "Something went wrong" not in said
    assert find_visit(clinic, "R-in", date(2026, 5, 4)) is not None


def test_importing_the_same_file_again_changes_nothing_and_says_so(app: AppTest) -> None:
    for _ in range(2):
        upload(app, "visits.csv", GOOD)
        app.button(key="import_check").click().run()
        app.button(key="import_run").click().run()
    assert "1 entry read: 0 added, 1 stored already and unchanged" in words(app)


def test_every_problem_is_shown_with_its_place_and_no_import_is_offered(app: AppTest) -> None:
    upload(app, "visits.csv", BAD)
    app.button(key="import_check").click().run()
    assert "2 problems found; nothing was stored" in words(app)
    problems = app.table[0].value.map(lambda one: str(one).replace("\\", ""))
    assert problems["Where"].tolist() == [
        "visits.csv, row 2, metric",
        "visits.csv, row 3, value",
    ]
    assert problems["Value"].tolist() == ["hip_abductor_strenght", "abc"]
    assert "is not a number" in problems["What is wrong"][1]
    assert "import_run" not in {button.key for button in app.button}


def test_the_columns_that_are_known_stand_on_the_page_and_a_file_without_any_is_told(
    app: AppTest,
) -> None:
    upload(app, "shopping.csv", "a,b\n1,2\n")
    said = words(app).replace("\\", "")
    assert "visits: a row for each trial of a metric on a side" in said
    assert "visit_date*: day of the visit (a date as YYYY-MM-DD)" in said
    assert "no table was recognised in it, or it was left out" in said
    assert app.button(key="import_check").disabled


def test_unknown_runners_are_refused_when_asked_to(app: AppTest) -> None:
    upload(app, "visits.csv", GOOD)
    app.checkbox(key="import_known_only").check().run()
    app.button(key="import_check").click().run()
    assert "problem found; nothing was stored" in words(app)


def test_another_choice_asks_for_another_check(app: AppTest) -> None:
    upload(app, "visits.csv", GOOD)
    app.button(key="import_check").click().run()
    app.checkbox(key="import_day_first").check().run()
    assert "import_run" not in {button.key for button in app.button}


def test_an_empty_file_is_refused_in_words(app: AppTest) -> None:
    upload(app, "empty.csv", "")
    app.button(key="import_check").click().run()
    assert "nothing was stored" in words(app)
    assert not app.exception


def test_a_value_beyond_the_plausible_range_is_shown_before_the_import(app: AppTest) -> None:
    upload(app, "visits.csv", HEADER + "R-in,2026-05-04,hip_abductor_strength,left,1,3010\n")
    app.button(key="import_check").click().run()
    assert "To look at again: 1 entry" in words(app)
    assert "3010" in app.table[0].value["What to look at"][0].replace("\\", "")


def test_nobody_imports_without_a_name(app: AppTest, clinic: Casebook) -> None:
    register_user(clinic, User(code="CD"))
    upload(app, "visits.csv", GOOD)
    app.button(key="import_check").click().run()
    assert app.button(key="import_run").disabled
    assert "Say first who you are" in words(app)
    app.selectbox(key="who_import").set_value("CD").run()
    app.button(key="import_run").click().run()
    stored = find_visit(clinic, "R-in", date(2026, 5, 4))
    assert stored is not None
    assert stored.recorded_by == "CD"


def test_what_only_the_clinician_can_decide_is_asked_side_by_side_and_an_import_taken_back(
    app: AppTest, clinic: Casebook
) -> None:
    import_one(app, GOOD)
    differing = GOOD.replace(",301", ",305") + "r in,2026-05-04,cadence,none,1,170\n"
    upload(app, "again.csv", differing)
    app.button(key="import_check").click().run()
    said = words(app)
    assert "2 questions to be decided; nothing is stored yet" in said
    assert "301 N" in said
    assert "305 N" in said
    assert "Is runner r in the same as runner R-in?" in said.replace("\\", "")
    another, value = (one for one in app.radio if one.key and one.key.startswith("decide_"))
    another.set_value("another")
    value.set_value("take")
    send(app, "Check again with these decisions")
    assert "Say why the file's takes the place" in words(app)
    app.text_input(key="decide_reason").set_value("read again")
    send(app, "Check again with these decisions")
    assert "2 entries read: 2 would be added" in words(app)
    app.button(key="import_run").click().run()
    assert not app.exception
    stored = find_visit(clinic, "R-in", date(2026, 5, 4))
    assert stored is not None
    assert stored.visit.values[0].trials == (305.0,)
    newest = app.selectbox(key="undo_import_chosen").options[0]
    app.selectbox(key="undo_import_chosen").select(newest)
    app.text_input(key="undo_import_reason").set_value("the other leg")
    send(app, "Take it back")
    assert not app.exception
    again = find_visit(clinic, "R-in", date(2026, 5, 4))
    assert again is not None
    assert again.visit.values[0].trials == (301.0,)


def import_one(app: AppTest, text: str) -> None:
    upload(app, "visits.csv", text)
    app.button(key="import_check").click().run()
    app.button(key="import_run").click().run()


def send(app: AppTest, label: str) -> None:
    next(one for one in app.button if one.label == label).click().run()
