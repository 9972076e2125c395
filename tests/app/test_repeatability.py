"""Repeatability: the sentence first, then the numbers; adopted in one step and taken back."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.metrics import AppliesTo, ErrorOrigin
from casebook.domain.people import Runner
from casebook.domain.sides import Side
from casebook.domain.visits import Visit, VisitKind, value_of_trials
from casebook.services.cataloguing import list_figures
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner
from casebook.services.reviewing import review_runner
from tests.app.conftest import CONDITIONS, STRENGTH, WORSE, at_page, trials, words

pytestmark = pytest.mark.usefixtures("clinic_file")

SIDE = f"adopt_{STRENGTH}_{AppliesTo.SIDE_VALUE}"
# What the second day adds to each runner's left and right.
SHIFTS = ((6.0, -5.0), (-8.0, 4.0), (3.0, 7.0), (-2.0, -6.0), (9.0, 1.0), (-7.0, -4.0))


def repeat_visits(clinic: Casebook) -> None:
    for number, (left, right) in enumerate(SHIFTS):
        code = f"T-{number}"
        register_runner(clinic, Runner(code=code))
        for day in range(2):
            record_visit(
                clinic,
                Visit(
                    runner=code,
                    visited_on=date(2026, 2, 2) + timedelta(days=7 * day),
                    kind=VisitKind.REPEAT,
                    conditions=CONDITIONS,
                    values=(
                        value_of_trials(STRENGTH, Side.LEFT, _read(250 + 20 * number + day * left)),
                        value_of_trials(
                            STRENGTH, Side.RIGHT, _read(255 + 20 * number + day * right)
                        ),
                    ),
                ),
                by="AB",
            )


def _read(middle: float) -> list[float]:
    return trials(middle, 5.0, 3)


def test_without_repeat_visits_it_says_how_to_make_some(app: AppTest) -> None:
    said = words(at_page(app, "repeatability"))
    assert "No repeat visit is stored yet" in said
    assert not app.exception


def test_the_first_thing_said_is_the_change_that_can_be_error_alone(
    app: AppTest, clinic: Casebook
) -> None:
    repeat_visits(clinic)
    said = words(at_page(app, "repeatability"))
    assert not app.exception
    # By hand: the differences of the two days have the mean square 385 / 12 (12 sides), half of
    # which is the error of a mean: 1.96 sqrt(2) sqrt(385 / 12 / 2) = 11.1.
    assert "### A change of 11.1 N or less can be error alone" in said
    assert "Between two visits of 3 trials each" in said
    assert "### A change of right − left of" in said
    assert "Before you rely on it" in said
    assert "From 6 runners, 2 sessions and 72 readings, 2 Feb 2026 to 9 Feb 2026" in said


def test_the_details_hold_intervals_forms_limits_and_the_sides(
    app: AppTest, clinic: Casebook
) -> None:
    repeat_visits(clinic)
    at_page(app, "repeatability")
    shown = [table.value for table in app.table]
    forms = next(frame for frame in shown if "Form" in frame.columns)
    assert len(forms) == 6
    numbers = next(frame for frame in shown if "95 % from" in frame.columns)
    assert [name for name in numbers[""] if name.startswith("MDC9")] == [
        "MDC90 for agreement",
        "MDC90 for consistency",
        "MDC95 for agreement",
        "MDC95 for consistency",
    ]
    sides = next(frame for frame in shown if "MDC95" in frame.columns)
    assert list(sides[""]) == ["◀ left", "▶ right", "right − left"]
    said = words(app)
    assert "The errors of left and right of one session" in said
    assert "covariance" in said
    assert "95 of 100 differences are expected between" in said
    (chart,) = app.get("vega_lite_chart")
    layers = json.loads(chart.proto.spec)["layer"]
    points = next(layer for layer in layers if layer["mark"]["type"] == "point")
    assert len(points["data"]["values"]) == 12


def test_a_study_is_adopted_by_a_named_user_and_verdicts_use_it_until_it_is_retired(
    app: AppTest, clinic: Casebook
) -> None:
    repeat_visits(clinic)
    before = {figure.source for figure in list_figures(clinic, STRENGTH)}
    at_page(app, "repeatability")
    assert "In force: **SD 4.0 N between sessions, 6.0 N within a session**" in words(app)
    assert app.button(key=SIDE).disabled
    app.checkbox(key=f"{SIDE}_sure").set_value(True).run()
    app.button(key=SIDE).click().run()
    assert "is now your own. Every verdict uses it" in words(app)
    (figure,) = list_figures(clinic, STRENGTH)
    assert figure.origin is ErrorOrigin.OWN
    assert "Own repeat study: 6 runners, 2 sessions" in figure.source
    assert figure.source.endswith("by AB.")
    assert figure.source not in before
    verdicts = review_runner(clinic, WORSE).verdicts
    assert {v.error_source for v in verdicts if v.metric == STRENGTH} == {figure.source}
    app.button(key=f"study_retire_{STRENGTH}_{AppliesTo.SIDE_VALUE}").click().run()
    assert "is retired and kept" in words(app)
    assert figure.source not in {one.source for one in list_figures(clinic, STRENGTH)}
    kept = list_figures(clinic, STRENGTH, include_retired=True)
    assert figure.source in {one.source for one in kept}


def test_the_error_of_the_asymmetry_is_adopted_apart(app: AppTest, clinic: Casebook) -> None:
    repeat_visits(clinic)
    at_page(app, "repeatability")
    app.selectbox(key=f"adopt_applies_{STRENGTH}").set_value(AppliesTo.ASYMMETRY).run()
    key = f"adopt_{STRENGTH}_{AppliesTo.ASYMMETRY}"
    app.checkbox(key=f"{key}_sure").set_value(True).run()
    app.button(key=key).click().run()
    figures = list_figures(clinic, STRENGTH)
    assert {figure.applies_to for figure in figures} == set(AppliesTo)


def test_a_file_is_studied_by_the_columns_chosen_and_stores_nothing(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "repeatability")
    app.segmented_control(key="study_from").set_value("A CSV file").run()
    rows = ["runner;day;reading"]
    rows += [f"R{n};{day};{20 + n + day * (n % 3)}" for n in range(8) for day in (1, 2)]
    app.file_uploader(key="study_upload").set_value(
        ("days.csv", "\n".join(rows).encode(), "text/csv")
    ).run()
    app.button(key="study_analyse").click().run()
    assert not app.exception
    said = words(app)
    assert "can be error alone" in said
    assert "Numbers are in the unit of the file" in said
    assert "Say above which metric was measured" in said
    assert list_figures(clinic, "cadence") == ()


def test_a_file_with_a_word_for_a_number_is_refused_with_its_place(app: AppTest) -> None:
    at_page(app, "repeatability")
    app.segmented_control(key="study_from").set_value("A CSV file").run()
    text = "runner,session,value\nA,1,4\nA,2,four\n"
    app.file_uploader(key="study_upload").set_value(("bad.csv", text.encode(), "text/csv")).run()
    app.button(key="study_analyse").click().run()
    said = words(app)
    assert "bad.csv" in said
    assert "row 3" in said
    assert "four" in said
    assert not app.exception
