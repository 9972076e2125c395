"""A repeatability study from the store, and its adoption as the clinic's own error."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from casebook.domain.errors import InputRefused, NotFound
from casebook.domain.metrics import AppliesTo, ErrorOrigin
from casebook.domain.sides import Side
from casebook.domain.visits import Value, VisitKind, value_of_mean, value_of_trials
from casebook.services import clock
from casebook.services.cataloguing import list_figures, retire_figure
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner
from casebook.services.repeating import (
    Study,
    adopt_study,
    figure_from_study,
    study_from_casebook,
)
from tests.builders import BEND, QUALITY, STEPS, STRENGTH, a_runner, a_visit

FIRST = date(2026, 3, 2)


def measured(casebook: Casebook, code: str, days: list[int], values: list[list[Value]]) -> None:
    """Repeat visits of one runner, so many days after the first of March's Mondays."""
    if code != "T-001":
        register_runner(casebook, a_runner(code=code))
    for day, taken in zip(days, values, strict=True):
        visit = a_visit(
            runner=code,
            visited_on=FIRST + timedelta(days=day),
            kind=VisitKind.REPEAT,
            values=tuple(taken),
        )
        record_visit(casebook, visit, by="")


def strength(level: float, rng: np.random.Generator) -> list[Value]:
    return [
        value_of_trials(STRENGTH, side, list(level + rng.normal(0, 8, 3)))
        for side in (Side.LEFT, Side.RIGHT)
    ]


def a_study(casebook: Casebook, runners: int = 4) -> Study:
    rng = np.random.default_rng(8)
    for number in range(1, runners + 1):
        level = 300.0 + 20 * number
        sessions = [strength(level + rng.normal(0, 10), rng) for _ in range(2)]
        measured(casebook, f"T-{number:03}", [0, 5], sessions)
    return study_from_casebook(casebook, STRENGTH)


def test_repeat_visits_and_no_others_make_the_study(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(visited_on=FIRST - timedelta(days=20)), by="")
    study = a_study(clinic)
    assert (study.n_runners, study.result.n_sessions, study.result.n_values) == (4, 2, 48)
    assert (study.began_on, study.ended_on) == (FIRST, FIRST + timedelta(days=5))
    assert study.sides is not None
    assert study.sides.asymmetry_form == "percent"
    assert (study.unit, study.asymmetry_unit) == ("N", "%")


def test_an_adopted_study_is_the_clinic_s_own_figure_dated_and_can_be_retired(
    clinic: Casebook,
) -> None:
    study = a_study(clinic)
    figure = adopt_study(clinic, study)
    assert figure.origin is ErrorOrigin.OWN
    assert study.result.nested is not None
    assert figure.between_sd == study.result.nested.between_sd.estimate
    assert figure.within_sd == study.result.nested.within_sd.estimate
    today = clock.today().isoformat()
    assert figure.source == (
        f"Own repeat study: 4 runners, 2 sessions, 2026-03-02 to 2026-03-07; adopted {today}."
    )
    assert figure.averaged == "mean of 3 trials"
    of_asymmetry = adopt_study(clinic, study, applies_to=AppliesTo.ASYMMETRY)
    assert of_asymmetry.applies_to is AppliesTo.ASYMMETRY
    assert len(list_figures(clinic, STRENGTH)) == 2
    retire_figure(clinic, STRENGTH, applies_to=AppliesTo.SIDE_VALUE, origin=ErrorOrigin.OWN)
    assert list_figures(clinic, STRENGTH) == (of_asymmetry,)
    assert len(list_figures(clinic, STRENGTH, include_retired=True)) == 2


def test_means_alone_are_adopted_as_an_sem_of_so_many_trials(sqlite_clinic: Casebook) -> None:
    for number, (one, other) in enumerate([(300.0, 312.0), (340.0, 335.0), (280.0, 290.0)], 1):
        measured(
            sqlite_clinic,
            f"T-{number:03}",
            [0, 3],
            [[value_of_mean(STRENGTH, Side.LEFT, level, 5)] for level in (one, other)],
        )
    study = study_from_casebook(sqlite_clinic, STRENGTH)
    assert study.sides is None
    assert "Only the left side was measured." in study.notes
    assert any("only the mean is stored" in note for note in study.notes)
    figure = adopt_study(sqlite_clinic, study)
    assert (figure.sem, figure.sem_trials) == (study.result.sem_agreement.estimate, 5)
    with pytest.raises(InputRefused, match="no left and right"):
        adopt_study(sqlite_clinic, study, applies_to=AppliesTo.ASYMMETRY)


def test_repeat_visits_months_apart_begin_a_new_series(sqlite_clinic: Casebook) -> None:
    rng = np.random.default_rng(9)
    measured(sqlite_clinic, "T-001", [0, 4, 90, 95], [strength(300.0, rng) for _ in range(4)])
    study = study_from_casebook(sqlite_clinic, STRENGTH)
    assert study.n_runners == 1
    assert study.result.n_subjects == 4  # two series of two sides
    assert study.result.n_sessions == 2
    assert any("begin a new series" in note for note in study.notes)


def test_conditions_that_differed_are_named(sqlite_clinic: Casebook) -> None:
    from dataclasses import replace

    from casebook.domain.metrics import Condition
    from casebook.services.cataloguing import get_metric, save_metric

    stored = get_metric(sqlite_clinic, STEPS)
    sensitive = replace(stored.metric, sensitive_to=(Condition.SURFACE, Condition.SPEED))
    save_metric(sqlite_clinic, sensitive, expected_revision=stored.revision)
    for day, surface in ((0, "treadmill"), (3, "track")):
        visit = a_visit(
            visited_on=FIRST + timedelta(days=day),
            kind=VisitKind.REPEAT,
            conditions=replace(a_visit().conditions, surface=surface),
            values=(value_of_mean(STEPS, Side.NONE, 170.0 + day, 1),),
        )
        record_visit(sqlite_clinic, visit, by="")
    study = study_from_casebook(sqlite_clinic, STEPS)
    (note,) = [note for note in study.notes if "differed between sessions" in note]
    assert note.startswith("Surface differed between sessions in 1 runner")


def test_grades_are_adopted_as_the_step_they_keep_within(sqlite_clinic: Casebook) -> None:
    for number, (one, other) in enumerate([(0, 1), (1, 1), (2, 2)], 1):
        measured(
            sqlite_clinic,
            f"T-{number:03}",
            [0, 3],
            [[value_of_trials(QUALITY, Side.LEFT, [float(grade)])] for grade in (one, other)],
        )
    figure = adopt_study(sqlite_clinic, study_from_casebook(sqlite_clinic, QUALITY))
    assert (figure.grade_step, figure.sem, figure.between_sd) == (1, None, None)
    assert "3 pairs of grades differ by 1 or less" in figure.published_as


def test_what_cannot_give_a_figure_is_refused_with_the_reason(sqlite_clinic: Casebook) -> None:
    with pytest.raises(NotFound, match="No repeat measurement"):
        study_from_casebook(sqlite_clinic, STRENGTH)
    with pytest.raises(NotFound, match="no metric"):
        study_from_casebook(sqlite_clinic, "unheard_of")
    measured(
        sqlite_clinic,
        "T-001",
        [0],
        [[value_of_mean(BEND, Side.LEFT, 10.0, 1), value_of_mean(QUALITY, Side.LEFT, 1.0, 1)]],
    )
    for metric, reason in ((BEND, "no runner with two sessions"), (QUALITY, "graded twice")):
        with pytest.raises(InputRefused, match=reason):
            adopt_study(sqlite_clinic, study_from_casebook(sqlite_clinic, metric))
    measured(sqlite_clinic, "T-002", [0, 3], [[value_of_mean(STEPS, Side.NONE, 170.0, 1)]] * 2)
    measured(sqlite_clinic, "T-003", [0, 3], [[value_of_mean(STEPS, Side.NONE, 170.0, 1)]] * 2)
    with pytest.raises(InputRefused, match="all the same"):
        adopt_study(sqlite_clinic, study_from_casebook(sqlite_clinic, STEPS))


def test_a_study_that_names_no_metric_gives_no_figure(sqlite_clinic: Casebook) -> None:
    from dataclasses import replace

    study = replace(a_study(sqlite_clinic), metric=None)
    with pytest.raises(InputRefused, match="which metric"):
        figure_from_study(study, AppliesTo.SIDE_VALUE, on=FIRST)


def test_an_asymmetry_that_cannot_be_told_leaves_the_sides_pooled(sqlite_clinic: Casebook) -> None:
    for number in (1, 2, 3):
        values = [
            [
                value_of_mean(STRENGTH, Side.LEFT, 0.0, 1),
                value_of_mean(STRENGTH, Side.RIGHT, 0.0, 1),
            ],
            [
                value_of_mean(STRENGTH, Side.LEFT, 0.1, 1),
                value_of_mean(STRENGTH, Side.RIGHT, 0.0, 1),
            ],
        ]
        measured(sqlite_clinic, f"T-{number:03}", [0, 3], values)
    study = study_from_casebook(sqlite_clinic, STRENGTH)
    assert study.sides is None
    assert any("asymmetry is left out" in note for note in study.notes)
    assert study.result.n_subjects == 6
