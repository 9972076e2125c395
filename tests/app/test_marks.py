"""Marked points: computed as soon as they are there, faults by frame, then into a visit."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import seed_demo
from casebook.domain.sides import Side
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit, list_visits
from tests.app.conftest import NEW, STEADY, at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")
EVENTS = (seed_demo.FOLDER / "marks_events.csv").read_text("utf-8")
POINTS = (
    "frame,landmark,x,y,view,side,frames_per_s,px_per_cm\n"
    "15,hip,1000,500,side,right,120,4\n15,knee,1010,660,side,right,120,4\n"
    "15,ankle,1000,820,side,right,120,4\n15,heel,990,860,side,right,120,4\n"
    "15,toe,1090,850,side,right,120,4\n"
    "57,heel,990,860,side,left,120,4\n57,toe,990,860,side,left,120,4\n"
)


def upload(app: AppTest, **files: str) -> AppTest:
    at_page(app, "marks")
    given = [(f"{name}.csv", text.encode(), "text/csv") for name, text in files.items()]
    return app.file_uploader(key="marks_uploads").set_value(given).run()


def choose(app: AppTest, key: str, value: object) -> AppTest:
    return app.selectbox(key=key).set_value(value).run()


def tables(app: AppTest) -> list[pd.DataFrame]:
    return [table.value.replace(r"\\", "", regex=True) for table in app.table]


def test_what_the_marks_tell_stands_there_with_errors_and_the_faulty_frame(app: AppTest) -> None:
    upload(app, points=POINTS, events=EVENTS)
    assert not app.exception
    said = words(app)
    assert "from the side, frame 57: left heel and left toe stand in one place" in said
    assert "the scale of 4 pixels a cm is taken as exact" in said
    assert "how well a point was marked is not known" in said
    values, asymmetries = tables(app)
    trials = app.dataframe[0].value
    knee = values[values["Metric"] == "Knee flexion at contact (°)"].iloc[0]
    assert (knee["Side"], knee["Mean"], knee["Error of one trial"]) == ("right", "7.2", "–")
    step = asymmetries[asymmetries["Metric"] == "Step time (ms)"].iloc[0]
    assert "share their contacts" in step["Against independent sides"]
    assert set(trials["Frame"]) >= {15, 57}


def test_a_leg_from_behind_without_its_other_side_is_said_to_be_taken_as_not_mirrored(
    app: AppTest,
) -> None:
    leg = "frame,landmark,x,y,view,side\n15,ankle,1000,820,posterior,right\n"
    upload(app, points=POINTS, behind=f"{leg}15,knee,1010,660,posterior,right\n", events=EVENTS)
    assert "the picture is taken as not mirrored, left being the runner's left" in words(app)


def test_a_given_error_of_a_point_is_carried_and_a_bad_number_stops_the_computing(
    app: AppTest,
) -> None:
    upload(app, points=POINTS, events=EVENTS)
    app.text_input(key="marks_point_sd_px").set_value("2").run()
    values = tables(app)[0]
    assert values[values["Metric"] == "Knee flexion at contact (°)"].iloc[0]["Shared"] != "–"
    app.text_input(key="marks_point_sd_px").set_value("two").run()
    assert not tables(app)
    assert "Mend what is marked in red" in words(app)


def test_a_file_that_can_not_be_read_is_told_by_row_and_nothing_is_offered(app: AppTest) -> None:
    upload(app, points=POINTS.replace("15,knee", "15,kneee"), events=EVENTS)
    assert "points.csv, row 3, column landmark:" in words(app)
    assert [button.key for button in app.button if button.key == "marks_save"] == []


def test_a_new_visit_takes_over_the_conditions_and_keeps_what_was_marked(
    app: AppTest, clinic: Casebook
) -> None:
    upload(app, points=POINTS, events=EVENTS)
    app.text_input(key="marks_speed_km_h").set_value("11").run()
    choose(app, "marks_runner", STEADY)
    app.text_input(key="marks_day").set_value("2026-04-06").run()
    assert find_visit(clinic, STEADY, date(2026, 4, 6)) is None
    app.button(key="marks_save").click().run()
    assert not app.exception
    stored = find_visit(clinic, STEADY, date(2026, 4, 6))
    assert stored is not None
    assert stored.recorded_by == "AB"
    conditions = stored.visit.conditions
    assert (conditions.surface, conditions.view, conditions.speed_km_h) == (
        "treadmill",
        "posterior",
        11.0,
    )
    steps = {(value.metric, value.side): value for value in stored.visit.values}
    assert steps["step_length", Side.RIGHT].marking_sd
    assert "from marked points saved" in words(app)


def test_values_go_into_a_visit_that_stands_and_a_conflict_is_told(
    app: AppTest, clinic: Casebook
) -> None:
    before = list_visits(clinic, STEADY)
    upload(app, events=EVENTS)
    app.text_input(key="marks_frames_per_s").set_value("120").run()
    choose(app, "marks_runner", STEADY)
    choose(app, f"marks_into_{STEADY}", len(before) - 1)
    app.button(key="marks_save").click().run()
    said = words(app)
    # The clinic's visit has a cadence of its own, and a stored value is never changed.
    assert "cadence" in said
    assert "Nothing was stored" in said
    assert list_visits(clinic, STEADY) == before


def test_an_unlikely_number_is_asked_about_before_it_is_saved(
    app: AppTest, clinic: Casebook
) -> None:
    slow = "frame,event,side,frames_per_s\n3,contact,left,120\n90,toe_off,left,120\n"
    upload(app, events=slow)
    choose(app, "marks_runner", NEW)
    assert "lies outside the plausible 120 to 450" in words(app)
    app.button(key="marks_save").click().run()
    assert list_visits(clinic, NEW) == ()
    app.checkbox(key="marks_sure").check().run()
    app.button(key="marks_save").click().run()
    assert [value.mean for value in list_visits(clinic, NEW)[0].visit.values] == [725.0]
