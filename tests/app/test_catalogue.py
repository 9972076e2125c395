"""Catalogue: metrics and error figures seen and edited without touching code."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.metrics import AppliesTo, Better, ErrorOrigin
from casebook.domain.people import User
from casebook.services.cataloguing import get_metric, list_figures, list_metrics, save_metric
from casebook.services.keeping import Casebook
from casebook.services.registering import register_user
from tests.app.conftest import STRENGTH, at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def at_metric(app: AppTest, key: str) -> AppTest:
    at_page(app, "catalogue")
    app.segmented_control(key="catalogue_view").set_value("One metric").run()
    return app.selectbox(key="catalogue_metric").set_value(key).run()


def sent(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label == label).click().run()


def test_every_metric_is_listed_with_its_error_or_the_lack_of_one(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "catalogue")
    assert not app.exception
    rows = [row for table in app.table for row in table.value.itertuples(index=False)]
    assert len(rows) == len(list_metrics(clinic, include_inactive=True))
    errors = {row[0].replace("\\", ""): row[3].replace("\\", "") for row in rows}
    assert errors["Cadence (steps/min)"] == "no error figure: measure your own"
    assert "your own measurements" in errors["Hip abductor strength (N)"]
    assert "(published)" in errors["Pelvic drop on the other side (°)"]


def test_a_metric_is_edited_in_a_form(app: AppTest, clinic: Casebook) -> None:
    at_metric(app, STRENGTH)
    name = f"edit_{STRENGTH}_{get_metric(clinic, STRENGTH).revision}"
    app.text_input(key=f"{name}_label").set_value("Hip abductors, lying")
    app.text_input(key=f"{name}_high").set_value("650.0")
    app.selectbox(key=f"{name}_better").set_value(Better.HIGHER)
    sent(app, "Save metric")
    stored = get_metric(clinic, STRENGTH).metric
    assert (stored.label, stored.plausible_high) == ("Hip abductors, lying", 650.0)
    assert "Hip abductors, lying is saved" in words(app)


def test_the_unit_of_a_metric_with_values_is_closed(app: AppTest, clinic: Casebook) -> None:
    at_metric(app, STRENGTH)
    name = f"edit_{STRENGTH}_{get_metric(clinic, STRENGTH).revision}"
    assert app.text_input(key=f"{name}_unit").disabled
    at_metric(app, "navicular_drop")
    name = f"edit_navicular_drop_{get_metric(clinic, 'navicular_drop').revision}"
    assert not app.text_input(key=f"{name}_unit").disabled


def test_a_metric_that_somebody_else_saved_meanwhile_is_not_overwritten(
    app: AppTest, clinic: Casebook
) -> None:
    at_metric(app, STRENGTH)
    before = get_metric(clinic, STRENGTH)
    app.text_input(key=f"edit_{STRENGTH}_{before.revision}_label").set_value("Mine")
    save_metric(clinic, replace(before.metric, label="Theirs"), expected_revision=before.revision)
    sent(app, "Save metric")
    assert get_metric(clinic, STRENGTH).metric.label == "Theirs"
    assert "label is stored as 'Theirs', you gave 'Mine'" in words(app)
    next(button for button in app.button if button.label == "Read it again").click().run()
    again = get_metric(clinic, STRENGTH).revision
    assert app.text_input(key=f"edit_{STRENGTH}_{again}_label").value == "Theirs"


def test_what_is_no_metric_is_refused_field_by_field(app: AppTest, clinic: Casebook) -> None:
    at_page(app, "catalogue")
    app.segmented_control(key="catalogue_view").set_value("Add a metric").run()
    app.text_input(key="new_key").set_value("Calf Height")
    app.text_input(key="new_label").set_value("")
    app.text_input(key="new_low").set_value("10.0")
    app.text_input(key="new_high").set_value("5.0")
    sent(app, "Add metric")
    assert "Sign convention: what a positive number means: it is blank" in words(app)
    app.text_input(key="new_sign").set_value("up is positive")
    sent(app, "Add metric")
    said = words(app)
    assert "key in files is 'Calf Height'" in said
    assert "a label in plain words" in said
    assert "a plausible range whose low end lies below its high end" in said


def test_a_new_metric_stands_in_the_grid_at_once(app: AppTest, clinic: Casebook) -> None:
    at_page(app, "catalogue")
    app.segmented_control(key="catalogue_view").set_value("Add a metric").run()
    app.text_input(key="new_key").set_value("calf_raise_height")
    app.text_input(key="new_label").set_value("Calf raise height")
    app.text_input(key="new_unit").set_value("cm")
    app.text_input(key="new_sign").set_value("higher is further up")
    sent(app, "Add metric")
    assert "Calf raise height is added" in words(app)
    assert not get_metric(clinic, "calf_raise_height").metric.starter
    at_page(app, "log_visit", runner="R-new")
    assert "**Calf raise height** (cm)" in words(app)


def test_an_error_figure_needs_a_source(app: AppTest, clinic: Casebook) -> None:
    at_metric(app, "cadence")
    app.text_input(key="figure_cadence_sem").set_value("1.5")
    sent(app, "Look at what it does")
    assert "it has no source; say where it comes from" in words(app)
    assert list_figures(clinic, "cadence") == ()


def use(app: AppTest, key: str) -> AppTest:
    return app.button(key=f"use_{key}").click().run()


def test_an_error_figure_is_used_after_a_look_and_stopped_and_brought_back(
    app: AppTest, clinic: Casebook
) -> None:
    at_metric(app, "cadence")
    assert "No error figure: measure your own" in words(app)
    assert "Give an error figure" in [box.label for box in app.expander]
    assert "It is blank" not in words(app)
    app.text_input(key="figure_cadence_sem").set_value("1,5")
    app.text_input(key="figure_cadence_trials").set_value("3")
    app.text_input(key="figure_cadence_source").set_value("own repeats, spring")
    sent(app, "Look at what it does")
    # 1.96 x sqrt(2) x 1.5 = 4.16 (Weir 2005), worked by hand.
    assert "a change between two visits counts beyond **4.2 steps/min**" in words(app)
    assert "Up to now no figure is used" in words(app)
    assert list_figures(clinic, "cadence") == ()
    use(app, "cadence")
    figure = list_figures(clinic, "cadence")[0]
    assert (figure.sem, figure.sem_trials, figure.origin) == (1.5, 3, ErrorOrigin.OWN)
    assert "SEM 1.5 steps/min for a mean of 3 trials" in words(app)

    app.button(key=f"retire_cadence_{AppliesTo.SIDE_VALUE}_{ErrorOrigin.OWN}").click().run()
    assert list_figures(clinic, "cadence") == ()
    kept = list_figures(clinic, "cadence", include_retired=True)
    assert [one.source for one in kept] == ["own repeats, spring"]
    assert "No longer used (1)" in [box.label for box in app.expander]

    app.button(key="back_cadence_0").click().run()
    use(app, "cadence")
    (again,) = list_figures(clinic, "cadence")
    assert (again.sem, again.sem_trials, again.source) == (1.5, 3, "own repeats, spring")
    assert "No longer used" not in " ".join(box.label for box in app.expander)


def test_a_figure_far_from_the_one_used_is_doubted_before_it_is_used(
    app: AppTest, clinic: Casebook
) -> None:
    before = list_figures(clinic, STRENGTH)
    at_metric(app, STRENGTH)
    app.text_input(key=f"figure_{STRENGTH}_sem").set_value("48")
    app.text_input(key=f"figure_{STRENGTH}_source").set_value("a slip")
    sent(app, "Look at what it does")
    said = words(app)
    # Used: SD 4 between and 6 within sessions, 5 trials: SEM sqrt(16 + 36/n).
    assert "Up to now it counts beyond" in said
    assert "times larger than the figure used up to now" in said
    assert list_figures(clinic, STRENGTH) == before
    app.button(key=f"leave_{STRENGTH}").click().run()
    assert list_figures(clinic, STRENGTH) == before
    assert "Use this figure from now on?" not in words(app)


def test_nobody_changes_an_error_figure_without_a_name(app: AppTest, clinic: Casebook) -> None:
    register_user(clinic, User(code="CD"))
    at_metric(app, STRENGTH)
    retire = f"retire_{STRENGTH}_{AppliesTo.SIDE_VALUE}_{ErrorOrigin.OWN}"
    assert app.button(key=retire).disabled
    app.text_input(key=f"figure_{STRENGTH}_sem").set_value("5")
    app.text_input(key=f"figure_{STRENGTH}_source").set_value("own repeats")
    sent(app, "Look at what it does")
    assert app.button(key=f"use_{STRENGTH}").disabled
    app.selectbox(key=f"who_figure_{STRENGTH}").set_value("CD").run()
    assert not app.button(key=f"use_{STRENGTH}").disabled


@pytest.mark.parametrize("typed", ["1,5 N", "-2", ""])
def test_a_figure_that_cannot_be_read_is_told_and_not_used(
    app: AppTest, clinic: Casebook, typed: str
) -> None:
    at_metric(app, "cadence")
    app.text_input(key="figure_cadence_sem").set_value(typed)
    app.text_input(key="figure_cadence_source").set_value("own repeats")
    sent(app, "Look at what it does")
    assert "Nothing was stored. Mend this first" in words(app)
    assert "use_cadence" not in {button.key for button in app.button}


def test_a_figure_of_two_parts_can_be_given(app: AppTest, clinic: Casebook) -> None:
    at_metric(app, "cadence")
    app.segmented_control(key="figure_cadence_as").set_value(
        "Between and within sessions, apart"
    ).run()
    app.text_input(key="figure_cadence_within").set_value("2.0")
    app.text_input(key="figure_cadence_between").set_value("1.0")
    app.text_input(key="figure_cadence_source").set_value("own repeats")
    sent(app, "Look at what it does")
    use(app, "cadence")
    figure = list_figures(clinic, "cadence")[0]
    assert (figure.between_sd, figure.within_sd) == (1.0, 2.0)


def test_a_grade_is_asked_for_the_step_of_repeat_grading_only(
    app: AppTest, clinic: Casebook
) -> None:
    at_metric(app, "first_ray_mobility")
    assert "figure_first_ray_mobility_as" not in [c.key for c in app.segmented_control]
    app.text_input(key="figure_first_ray_mobility_step").set_value("1")
    app.text_input(key="figure_first_ray_mobility_source").set_value("own regrading")
    sent(app, "Look at what it does")
    use(app, "first_ray_mobility")
    (figure,) = list_figures(clinic, "first_ray_mobility")
    assert (figure.grade_step, figure.sem, figure.origin) == (1, None, ErrorOrigin.OWN)
    assert "repeat grading stays within 1 grade in 95 % of pairs" in words(app)
