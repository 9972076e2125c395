"""A clinic's catalogue: edits survive, stored numbers keep their meaning, nothing is lost."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from threading import Barrier

import pytest

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    MetricGroup,
    Scale,
)
from casebook.domain.people import Runner, Sex
from casebook.domain.sides import Side
from casebook.domain.visits import Visit, VisitKind, value_of_trials
from casebook.domain.wording import NO_ERROR_FIGURE
from casebook.services.cataloguing import (
    adopt_figure,
    get_metric,
    list_figures,
    list_metrics,
    load_starter_catalogue,
    retire_figure,
    save_metric,
)
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner


def a_metric(**changed: object) -> Metric:
    metric = Metric(
        key="reach_forward",
        label="Reach forward",
        group=MetricGroup.TABLE,
        unit="cm",
        scale=Scale.RATIO,
        sided=True,
        sign_convention="Always positive.",
        better=Better.HIGHER,
        plausible_low=20,
        plausible_high=120,
        resolution=0.5,
        asymmetry_form=AsymmetryForm.PERCENT,
    )
    return replace(metric, **changed)  # type: ignore[arg-type]


def own_figure(**changed: object) -> ErrorFigure:
    figure = ErrorFigure(
        metric="lunge_distance",
        applies_to=AppliesTo.SIDE_VALUE,
        origin=ErrorOrigin.OWN,
        between_sd=0.4,
        within_sd=0.3,
        source="own repeat visits, 2024",
    )
    return replace(figure, **changed)  # type: ignore[arg-type]


def store_a_value(casebook: Casebook, metric: str) -> None:
    register_runner(casebook, Runner(code="R1", sex=Sex.FEMALE))
    visit = Visit(
        runner="R1",
        visited_on=date(2024, 3, 1),
        kind=VisitKind.BASELINE,
        values=(value_of_trials(metric, Side.LEFT, [60.0, 61.0]),),
    )
    record_visit(casebook, visit, by="")


def test_a_new_casebook_has_the_starter_catalogue_in_order(casebook: Casebook) -> None:
    metrics = list_metrics(casebook)
    assert metrics[0].key == "foot_inversion_at_contact"
    assert [m.position for m in metrics] == sorted(m.position for m in metrics)
    assert all(metric.starter for metric in metrics)
    assert {figure.origin for figure in list_figures(casebook)} == {ErrorOrigin.PUBLISHED}


def test_loading_the_starter_catalogue_again_changes_nothing(casebook: Casebook) -> None:
    before = (list_metrics(casebook), list_figures(casebook, include_retired=True))
    loaded = load_starter_catalogue(casebook)
    assert (loaded.metrics, loaded.figures) == (0, 0)
    assert (list_metrics(casebook), list_figures(casebook, include_retired=True)) == before


def test_a_clinics_edit_survives_loading_the_starter_catalogue_again(casebook: Casebook) -> None:
    stored = get_metric(casebook, "step_width")
    ours = replace(stored.metric, label="Width between heels", better=Better.HIGHER, active=False)
    save_metric(casebook, ours, expected_revision=stored.revision)
    load_starter_catalogue(casebook)
    assert get_metric(casebook, "step_width").metric == ours
    assert ours not in list_metrics(casebook)
    assert ours in list_metrics(casebook, include_inactive=True)


def test_a_starter_figure_that_was_retired_does_not_come_back(casebook: Casebook) -> None:
    slot = {"applies_to": AppliesTo.SIDE_VALUE, "origin": ErrorOrigin.PUBLISHED}
    retire_figure(casebook, "lunge_angle", **slot)  # type: ignore[arg-type]
    assert load_starter_catalogue(casebook).figures == 0
    assert list_figures(casebook, "lunge_angle") == ()
    (kept,) = list_figures(casebook, "lunge_angle", include_retired=True)
    assert kept.retired_at is not None
    assert kept.adopted_at is not None
    assert kept.retired_at >= kept.adopted_at


def test_a_metric_without_a_figure_is_told_to_measure_its_own(casebook: Casebook) -> None:
    assert list_figures(casebook, "cadence") == ()
    assert NO_ERROR_FIGURE == "no error figure: measure your own"


def test_a_clinic_adds_a_metric_of_its_own(casebook: Casebook) -> None:
    saved = save_metric(casebook, a_metric(starter=True), expected_revision=None)
    assert (saved.revision, saved.has_values) == (1, False)
    assert saved.metric == a_metric(starter=False)
    assert get_metric(casebook, "reach_forward") == saved


def test_a_key_that_is_taken_is_refused(casebook: Casebook) -> None:
    with pytest.raises(Conflict, match="already"):
        save_metric(casebook, a_metric(key="cadence"), expected_revision=None)
    assert get_metric(casebook, "cadence").metric.label == "Cadence"


def test_a_unit_that_is_no_ucum_code_is_refused(casebook: Casebook) -> None:
    with pytest.raises(InputRefused, match="write 'cm'"):
        save_metric(casebook, a_metric(unit="centimetres"), expected_revision=None)
    with pytest.raises(NotFound):
        get_metric(casebook, "reach_forward")


def test_an_edit_of_nothing_is_no_edit(casebook: Casebook) -> None:
    stored = get_metric(casebook, "cadence")
    saved = save_metric(casebook, stored.metric, expected_revision=stored.revision)
    assert saved == stored


def test_two_editors_of_one_metric_conflict_and_the_second_is_told_what_differs(
    casebook: Casebook,
) -> None:
    first = get_metric(casebook, "cadence")
    second = get_metric(casebook, "cadence")
    changed = replace(first.metric, usual_trials=3)
    saved = save_metric(casebook, changed, expected_revision=first.revision)
    assert saved.revision == first.revision + 1
    with pytest.raises(Conflict) as caught:
        save_metric(
            casebook,
            replace(second.metric, label="Step rate"),
            expected_revision=second.revision,
        )
    for part in ("usual_trials is stored as '3', you gave '1'", "'Step rate'", "read it again"):
        assert part in str(caught.value)
    assert get_metric(casebook, "cadence").metric == changed


def test_of_two_editors_at_the_same_moment_exactly_one_is_stored(casebook: Casebook) -> None:
    stored = get_metric(casebook, "cadence")
    together = Barrier(2)

    def edit(usual_trials: int) -> str:
        together.wait(timeout=30)
        try:
            save_metric(
                casebook,
                replace(stored.metric, usual_trials=usual_trials),
                expected_revision=stored.revision,
            )
        except Conflict:
            return "conflict"
        return "stored"

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(edit, (3, 4))) == ["conflict", "stored"]
    assert get_metric(casebook, "cadence").revision == stored.revision + 1


def test_a_metric_that_is_not_there_can_not_be_changed(casebook: Casebook) -> None:
    with pytest.raises(NotFound, match="reach_forward"):
        save_metric(casebook, a_metric(), expected_revision=1)


@pytest.mark.parametrize(
    ("field", "other"),
    [
        ("unit", "mm"),
        ("scale", Scale.INTERVAL),
        ("sided", False),
    ],
)
def test_what_stored_numbers_mean_can_not_change_under_them(
    casebook: Casebook, field: str, other: object
) -> None:
    metric = a_metric(asymmetry_form=AsymmetryForm.NONE)
    saved = save_metric(casebook, metric, expected_revision=None)
    store_a_value(casebook, metric.key)
    assert get_metric(casebook, metric.key).has_values
    with pytest.raises(InputRefused) as caught:
        save_metric(
            casebook,
            replace(metric, **{field: other}),  # type: ignore[arg-type]
            expected_revision=saved.revision,
        )
    (problem,) = caught.value.problems
    assert problem.code == f"metric_{field}_locked"
    assert "values are stored" in problem.message
    assert get_metric(casebook, metric.key).metric == metric


def test_a_metric_without_values_may_still_change_its_unit(casebook: Casebook) -> None:
    saved = save_metric(casebook, a_metric(), expected_revision=None)
    again = save_metric(casebook, a_metric(unit="mm"), expected_revision=saved.revision)
    assert (again.metric.unit, again.revision) == ("mm", 2)


def test_words_and_ranges_may_change_though_values_are_stored(casebook: Casebook) -> None:
    saved = save_metric(casebook, a_metric(), expected_revision=None)
    store_a_value(casebook, "reach_forward")
    ours = a_metric(label="Reach", plausible_high=150.0)
    again = save_metric(casebook, ours, expected_revision=saved.revision)
    assert again.metric == ours


def test_an_error_figure_in_force_keeps_the_unit_in_which_it_is_written(
    casebook: Casebook,
) -> None:
    stored = get_metric(casebook, "lunge_distance")
    with pytest.raises(InputRefused) as caught:
        save_metric(
            casebook,
            replace(stored.metric, unit="mm", asymmetry_form=AsymmetryForm.PERCENT),
            expected_revision=stored.revision,
        )
    assert {p.column for p in caught.value.problems} == {"unit", "asymmetry_form"}
    assert "retire that figure first" in str(caught.value)


def test_no_starter_figure_comes_to_a_metric_whose_unit_the_clinic_changed(
    casebook: Casebook,
) -> None:
    for figure in list_figures(casebook, "lunge_angle"):
        retire_figure(casebook, "lunge_angle", applies_to=figure.applies_to, origin=figure.origin)
    stored = get_metric(casebook, "lunge_angle")
    save_metric(casebook, replace(stored.metric, unit="rad"), expected_revision=stored.revision)
    load_starter_catalogue(casebook)
    assert list_figures(casebook, "lunge_angle") == ()


def test_a_clinics_own_figure_stands_beside_the_published_one(casebook: Casebook) -> None:
    adopted = adopt_figure(casebook, own_figure())
    assert adopted.adopted_at is not None
    side_values = [
        figure
        for figure in list_figures(casebook, "lunge_distance")
        if figure.applies_to is AppliesTo.SIDE_VALUE
    ]
    assert {figure.origin for figure in side_values} == {ErrorOrigin.OWN, ErrorOrigin.PUBLISHED}


def test_a_newer_figure_replaces_the_older_one_and_both_are_kept(casebook: Casebook) -> None:
    old = adopt_figure(casebook, own_figure())
    new = adopt_figure(casebook, own_figure(between_sd=0.6, source="own repeat visits, 2025"))
    own = [
        figure
        for figure in list_figures(casebook, "lunge_distance", include_retired=True)
        if figure.origin is ErrorOrigin.OWN
    ]
    assert [figure.between_sd for figure in own] == [0.4, 0.6]
    assert own[0].retired_at is not None
    assert replace(own[0], retired_at=None) == old
    assert own[1] == new
    assert new in list_figures(casebook, "lunge_distance")
    assert old not in list_figures(casebook, "lunge_distance")


def test_adopting_what_is_in_force_changes_nothing(casebook: Casebook) -> None:
    first = adopt_figure(casebook, own_figure())
    assert adopt_figure(casebook, own_figure()) == first
    own = [
        figure
        for figure in list_figures(casebook, "lunge_distance", include_retired=True)
        if figure.origin is ErrorOrigin.OWN
    ]
    assert own == [first]


def test_a_figure_for_an_unknown_metric_is_refused(casebook: Casebook) -> None:
    with pytest.raises(NotFound, match="no_such_metric"):
        adopt_figure(casebook, own_figure(metric="no_such_metric"))
    with pytest.raises(NotFound):
        list_figures(casebook, "no_such_metric")


def test_a_figure_of_the_asymmetry_of_a_metric_without_one_is_refused(
    casebook: Casebook,
) -> None:
    with pytest.raises(InputRefused, match="asymmetry form is 'none'"):
        adopt_figure(casebook, own_figure(metric="cadence", applies_to=AppliesTo.ASYMMETRY))


def test_retiring_what_is_not_in_force_is_refused(casebook: Casebook) -> None:
    with pytest.raises(NotFound, match="nothing was retired"):
        retire_figure(casebook, "cadence", applies_to=AppliesTo.SIDE_VALUE, origin=ErrorOrigin.OWN)
