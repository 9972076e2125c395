"""The page of exercises, and what it does to the writing of a programme."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from casebook.services.exercising import get_exercise, list_exercises, save_exercise
from casebook.services.keeping import Casebook
from tests.app.conftest import STEADY, at_page, links, words

pytestmark = pytest.mark.usefixtures("clinic_file")

BRIDGE = "bridge_single_leg"


def press(app: AppTest, label: str) -> None:
    next(b for b in app.button if b.label == label).click().run()


def test_an_exercise_is_added_and_one_hidden_and_the_picker_of_a_programme_follows(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "exercises")
    told = words(app)
    assert "2 to 3 sets of 10 to 15 on most days (source: common practice, no source)" in told
    app.segmented_control(key="exercises_view").set_value("Add an exercise").run()
    name = "exercise_new_0"
    app.text_input(key=f"{name}_name").set_value("Wall sit, heels down")
    app.text_input(key=f"{name}_sets").set_value("3")
    app.text_input(key=f"{name}_hold_s").set_value("half a minute")
    press(app, "Add the exercise")
    told = words(app)
    assert "How it is done, so that somebody else could: it is blank" in told
    assert "Who says so: it is blank, and a dose is given" in told
    assert "Hold (s): 'half a minute'" in told
    app.text_area(key=f"{name}_how").set_value("Sit against a wall.")
    app.text_input(key=f"{name}_hold_s").set_value("30")
    app.text_input(key=f"{name}_dose_source").set_value("our own use")
    app.multiselect(key=f"{name}_metrics").set_value(["cadence"])
    press(app, "Add the exercise")
    assert "'Wall sit, heels down' is added" in words(app)
    mine = get_exercise(clinic, "wall_sit_heels_down")
    assert (mine.sets, mine.hold_s, mine.metrics, mine.starter) == (3, 30.0, ("cadence",), False)
    assert list_exercises(clinic)[-1] == mine

    app.segmented_control(key="exercises_view").set_value("The list").run()
    # No words for the dose were typed: the numbers tell it.
    assert "Usual dose: 3 sets, hold 30 s (source: our own use)" in words(app)
    app.button(key=f"exercises_edit_{BRIDGE}").click().run()
    press(app, "Hide it")
    assert not get_exercise(clinic, BRIDGE).active
    assert "It is hidden" in words(app)
    assert "Somebody else" not in words(app)

    at_page(app, "programme", runner=STEADY, do="new")
    assert "The list of exercises" in links(app)
    picker = app.selectbox(key=f"adding_programme_new_{STEADY}")
    offered = list(picker.options)
    assert "Wall sit, heels down (strength)" in offered
    assert not any(one.startswith("Bridge on one leg") for one in offered)


def test_an_exercise_that_somebody_else_changed_is_not_overwritten(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "exercises", exercise=BRIDGE)
    read = get_exercise(clinic, BRIDGE)
    name = f"exercise_{BRIDGE}_0"
    theirs = save_exercise(clinic, replace(read, sets=5), read=read, by="lee")
    app.text_input(key=f"{name}_name").set_value("Bridge, one leg").run()
    press(app, "Save the exercise")
    assert "Somebody else changed the exercise" in words(app)
    assert get_exercise(clinic, BRIDGE) == theirs
    press(app, "Read it again")
    name = f"exercise_{BRIDGE}_1"
    assert app.text_input(key=f"{name}_sets").value == "5"
    app.text_input(key=f"{name}_name").set_value("Bridge, one leg")
    press(app, "Save the exercise")
    assert get_exercise(clinic, BRIDGE) == replace(theirs, name="Bridge, one leg")
