"""Plan measurement: the answer in a sentence, and a curve for 1, 2 and 3 visits in each phase."""

from __future__ import annotations

import json

import pytest
from streamlit.testing.v1 import AppTest

from tests.app.conftest import STRENGTH, at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def planned(app: AppTest, change: float | None) -> str:
    at_page(app, "plan", metric=STRENGTH)
    text = "" if change is None else f"{change:g}"
    app.text_input(key=f"plan_change_{STRENGTH}_False").set_value(text).run()
    assert not app.exception
    return words(app)


def test_the_answer_says_how_many_trials_it_takes(app: AppTest) -> None:
    # By hand, from between 4 and within 6: (1.960 + 0.842) sqrt(2 (16 + 36 / n)) <= 20 from n = 4.
    said = planned(app, 20.0)
    assert "To see a change of 20.0 N beyond measurement error with a probability of 80 %" in said
    assert "4 trials a visit with 1 visit before and 1 after" in said
    assert "Error: your own measurements" in said


def test_a_change_that_no_number_of_trials_shows_is_told(app: AppTest) -> None:
    assert "not reachable by more trials" in planned(app, 5.0)


def test_the_curve_has_a_line_for_each_number_of_visits_and_falls(app: AppTest) -> None:
    planned(app, 20.0)
    (chart,) = app.get("vega_lite_chart")
    layer = json.loads(chart.proto.spec)["layer"][0]
    lines: dict[str, list[float]] = {}
    for row in layer["data"]["values"]:
        lines.setdefault(row["Visits"], []).append(row["value"])
    assert list(lines) == [
        "1 visit before, 1 after",
        "2 visits before, 2 after",
        "3 visits before, 3 after",
    ]
    for line in lines.values():
        assert line == sorted(line, reverse=True)


def test_without_an_error_figure_it_says_to_measure_one(app: AppTest) -> None:
    at_page(app, "plan", metric="cadence")
    assert "Cadence has no error figure: measure your own" in words(app)
    assert not app.error
    app.segmented_control(key="plan_error").set_value("Numbers of my own").run()
    assert "Give both standard deviations" in words(app)
    app.text_input(key="plan_between_cadence").set_value("1,5")
    app.text_input(key="plan_within_cadence").set_value("1.0").run()
    assert "a change is seen beyond measurement error" in words(app)
    assert not app.exception


def test_an_asymmetry_in_percent_asks_for_a_typical_value(app: AppTest) -> None:
    at_page(app, "plan", metric=STRENGTH)
    app.segmented_control(key="plan_what").set_value("The asymmetry, right minus left").run()
    assert "give a typical value of one side" in words(app)
    assert not app.error
    app.text_input(key=f"plan_typical_{STRENGTH}_True").set_value("300").run()
    assert "taken as alike and as independent" in words(app)
