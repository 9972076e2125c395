"""The page of measurement sets, and what a set does to the logging page."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from casebook.services.keeping import Casebook
from casebook.services.measurement_sets import get_set, list_sets
from tests.app.conftest import NEW, STRENGTH, at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def test_a_set_is_made_put_first_and_decides_the_rows_of_a_new_runner(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "measurement_sets")
    app.text_input(key="set_new_name").set_value("After a *long* race")
    app.multiselect(key="set_new_table").set_value([STRENGTH])
    app.multiselect(key="set_new_timing").set_value(["cadence"])
    next(b for b in app.button if b.label == "Add the set").click().run()
    assert r"After a \*long\* race" in app.success[0].value
    made = get_set(clinic, "After a *long* race")
    assert made.set.metrics == ("cadence", STRENGTH)
    for _ in range(3):
        app.button(key=f"set_{made.set_id}_up").click().run()
    assert list_sets(clinic)[0] == made

    at_page(app, "log_visit", runner=NEW)
    rows = [label for label in words(app).splitlines() if label.startswith("**")]
    assert rows[:2] == ["**Cadence** (steps/min)", "**Hip abductor strength** (N)"]
    draft = app.session_state["casebook_drafts"][NEW]
    app.multiselect(key=draft.name("also")).set_value(["navicular_drop"]).run()
    assert "**Navicular drop** (mm)" in words(app)
    app.selectbox(key=draft.name("set")).set_value("Every metric").run()
    assert len([box for box in app.text_input if draft.key in str(box.key)]) > 80


def test_a_set_that_cannot_be_is_refused_and_one_is_switched_off(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "measurement_sets")
    app.text_input(key="set_new_name").set_value("Short review")
    app.multiselect(key="set_new_table").set_value([STRENGTH])
    next(b for b in app.button if b.label == "Add the set").click().run()
    assert "There is a measurement set 'Short review' already" in words(app)
    review = get_set(clinic, "Short review")
    app.checkbox(key=f"set_{review.set_id}_active").uncheck()
    saves = [b for b in app.button if b.label == "Save the set"]
    saves[1].click().run()
    assert [one.set.name for one in list_sets(clinic)] == ["First visit", "Strength and range"]
    assert get_set(clinic, "Short review").set.metrics == review.set.metrics
