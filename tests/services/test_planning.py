"""A plan rests on the figure that the judgement would use, or on what completes it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.services.cataloguing import adopt_figure, get_metric, save_metric
from casebook.services.keeping import Casebook
from casebook.services.planning import ErrorGiven, plan_measurement


def adopt(casebook: Casebook, metric: str, **parts: object) -> None:
    facts = {
        "applies_to": AppliesTo.SIDE_VALUE,
        "origin": ErrorOrigin.OWN,
        "source": "own repeat visits, 2024",
    }
    adopt_figure(casebook, ErrorFigure(metric=metric, **(facts | parts)))  # type: ignore[arg-type]


def test_an_own_figure_is_used_before_a_published_one(sqlite_casebook: Casebook) -> None:
    adopt(sqlite_casebook, "knee_flexion_midstance", between_sd=1.0, within_sd=2.0)
    found = plan_measurement(sqlite_casebook, "knee_flexion_midstance", change=4.5)
    assert found.origin is ErrorOrigin.OWN
    assert found.source == "own repeat visits, 2024"
    assert [needed.trials for needed in found.plan.needed] == [14, 3, 2]
    assert max(point.trials for point in found.plan.curve) == 20


def test_a_figure_of_one_session_alone_is_refused_and_can_be_completed(
    sqlite_casebook: Casebook,
) -> None:
    adopt(sqlite_casebook, "step_width", origin=ErrorOrigin.WITHIN_SESSION, within_sd=2.0)
    with pytest.raises(InputRefused, match="within a session only"):
        plan_measurement(sqlite_casebook, "step_width", change=4.5)
    found = plan_measurement(
        sqlite_casebook, "step_width", change=4.5, given=ErrorGiven(between_sd=1.0)
    )
    assert [needed.trials for needed in found.plan.needed] == [14, 3, 2]
    assert found.origin is ErrorOrigin.WITHIN_SESSION


def test_a_figure_of_the_asymmetry_comes_before_the_sides(sqlite_casebook: Casebook) -> None:
    adopt(
        sqlite_casebook,
        "knee_flexion_midstance",
        applies_to=AppliesTo.ASYMMETRY,
        sem=1.2,
        sem_trials=5,
    )
    found = plan_measurement(sqlite_casebook, "knee_flexion_midstance", asymmetry=True)
    assert found.error.sem == 1.2
    assert found.error.within_sd is None
    told = plan_measurement(
        sqlite_casebook,
        "knee_flexion_midstance",
        asymmetry=True,
        given=ErrorGiven(within_sd=2.0),
    )
    # A single trial of the asymmetry is one of each side.
    assert told.error.within_sd == pytest.approx(2.0 * math.sqrt(2))


def test_a_figure_of_an_asymmetry_in_percent_stands_without_a_typical_value(
    sqlite_casebook: Casebook,
) -> None:
    adopt(sqlite_casebook, "contact_time", applies_to=AppliesTo.ASYMMETRY, sem=1.2, sem_trials=5)
    found = plan_measurement(sqlite_casebook, "contact_time", asymmetry=True)
    assert (found.unit, found.error.sem, found.error.floor) == ("%", 1.2, 0.0)
    with pytest.raises(InputRefused, match="typical value"):
        plan_measurement(
            sqlite_casebook, "contact_time", asymmetry=True, given=ErrorGiven(within_sd=9.0)
        )


def test_the_asymmetrys_figure_of_one_session_gives_way_to_the_sides(
    sqlite_casebook: Casebook,
) -> None:
    adopt(
        sqlite_casebook,
        "knee_flexion_midstance",
        applies_to=AppliesTo.ASYMMETRY,
        origin=ErrorOrigin.WITHIN_SESSION,
        within_sd=1.0,
    )
    found = plan_measurement(sqlite_casebook, "knee_flexion_midstance", asymmetry=True)
    assert found.origin is ErrorOrigin.PUBLISHED


def test_what_the_readings_own_step_leaves_is_always_there(
    sqlite_casebook: Casebook,
) -> None:
    found = plan_measurement(
        sqlite_casebook, "step_width", given=ErrorGiven(between_sd=0.0, within_sd=0.0)
    )
    assert found.error.floor > 0
    assert all(point.detectable > 0 for point in found.plan.curve)


def test_one_part_does_not_complete_a_figure_that_has_both(sqlite_casebook: Casebook) -> None:
    adopt(sqlite_casebook, "step_width", between_sd=1.0, within_sd=2.0)
    with pytest.raises(InputRefused, match="one alone does not fit"):
        plan_measurement(sqlite_casebook, "step_width", given=ErrorGiven(within_sd=1.0))


def test_an_error_of_nothing_at_all_is_refused(sqlite_casebook: Casebook) -> None:
    stored = get_metric(sqlite_casebook, "step_width")
    exact = replace(stored.metric, resolution=0.0)
    save_metric(sqlite_casebook, exact, expected_revision=stored.revision)
    with pytest.raises(InputRefused, match="both 0"):
        plan_measurement(
            sqlite_casebook, "step_width", given=ErrorGiven(between_sd=0.0, within_sd=0.0)
        )
