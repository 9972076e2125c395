"""Row <-> value: each pair holds the same fields, and nothing is lost either way."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import inspect, select
from sqlalchemy.exc import StatementError

from casebook.domain.exercises import Exercise
from casebook.domain.injuries import Course, Injury, Occurrence, Onset
from casebook.domain.metrics import AppliesTo, Condition, ErrorFigure, ErrorOrigin, Metric
from casebook.domain.people import Consent, Identity, Runner, User
from casebook.domain.prescriptions import BlockDetail, ProgrammeDetail
from casebook.domain.programmes import AdherenceWeek, Block, Programme, Target
from casebook.domain.sides import Side
from casebook.domain.visits import Conditions, Value, Visit, value_of_trials
from casebook.services.keeping import Casebook
from casebook.storage import plan_translation, tables, translation
from casebook.storage.session import reading, writing
from tests.builders import QUALITY, STRENGTH, a_consent, a_metric, a_runner, a_visit, an_injury

# What only a row has: its own key, its parent's, and the store's book-keeping.
KEPT_BY_THE_STORE = {
    tables.RunnerRow: {"id", "clinic_id", "revision"},
    tables.IdentityRow: {"runner_id"},
    tables.UserRow: {"id", "clinic_id"},
    tables.ConsentRow: {"id", "runner_id"},
    tables.InjuryRow: {"id", "runner_id"},
    tables.VisitRow: {"id", "runner_id", "recorded_at", "recorded_by", "revision"},
    tables.ValueRow: {"id", "visit_id", "metric_id", "saved_in"},
    tables.MetricRow: {"id", "revision"},
    tables.ErrorFigureRow: {"id", "metric_id"},
    tables.ProgrammeRow: {"id", "runner_id", "injury_id"},
    tables.BlockRow: {"id", "programme_id"},
    tables.TargetRow: {"id", "programme_id", "metric_id"},
    tables.AdherenceRow: {"id", "programme_id"},
    tables.ExerciseRow: {"id"},
}
# Fields of a value that stand in rows of their own, or name the parent.
ELSEWHERE: dict[type, set[str]] = {
    Identity: {"runner"},
    Consent: {"runner"},
    Injury: {"runner"},
    Visit: {"runner", "values", "conditions"},
    Value: {"metric", "trials", "trial_numbers"},
    ErrorFigure: {"metric"},
    Programme: {"runner", "blocks", "targets", "adherence"},
    Target: {"metric"},
}
# What stands in the same row as a value.
DETAILS: dict[type, tuple[Any, ...]] = {
    Visit: (Conditions,),
    Programme: (ProgrammeDetail,),
    Block: (BlockDetail,),
}
PAIRS = [
    (Runner, tables.RunnerRow),
    (Identity, tables.IdentityRow),
    (User, tables.UserRow),
    (Consent, tables.ConsentRow),
    (Injury, tables.InjuryRow),
    (Visit, tables.VisitRow),
    (Value, tables.ValueRow),
    (Metric, tables.MetricRow),
    (ErrorFigure, tables.ErrorFigureRow),
    (Programme, tables.ProgrammeRow),
    (Block, tables.BlockRow),
    (Target, tables.TargetRow),
    (AdherenceWeek, tables.AdherenceRow),
    (Exercise, tables.ExerciseRow),
]


@pytest.mark.parametrize(("value", "row"), PAIRS)
def test_a_value_and_its_row_hold_the_same_fields(value: type, row: type[tables.Row]) -> None:
    columns = {attribute.key for attribute in inspect(row).column_attrs}
    named = {field.name for field in fields(value)} - ELSEWHERE.get(value, set())
    for detail in DETAILS.get(value, ()):
        named |= {field.name for field in fields(detail)}
    if value is Block:
        named = (named - {"tempo"}) | set(plan_translation.TEMPO)
    assert columns - KEPT_BY_THE_STORE[row] == named


def test_every_field_of_a_runner_an_injury_and_a_consent_goes_there_and_back() -> None:
    runner = a_runner(height_cm=170.5, mass_kg=61.0, registered_on=date(2025, 1, 2))
    assert translation.runner_value(translation.runner_row(runner, clinic_id=1)) == runner
    injury = an_injury(
        onset=Onset.SUDDEN,
        occurrence=Occurrence.RECURRENT,
        course=Course.RESOLVED,
        returned_on=date(2026, 3, 1),
    )
    assert (
        translation.injury_value(translation.injury_row(injury, runner_id=1), runner="T-001")
        == injury
    )
    consent = a_consent(withdrawn_on=date(2026, 3, 1))
    assert (
        translation.consent_value(translation.consent_row(consent, runner_id=1), runner="T-001")
        == consent
    )


def test_every_field_of_a_visit_goes_there_and_back() -> None:
    visit = a_visit(
        session=2,
        next_due_on=date(2026, 6, 1),
        note="a note",
        conditions=Conditions(
            speed_km_h=11.5,
            surface="track",
            incline_pct=1.0,
            footwear="own",
            view="side",
            frames_per_s=240.0,
            assessor="AB",
            pain_today=3.0,
        ),
    )
    row = translation.visit_row(visit, runner_id=1, by="AB", at=datetime(2026, 3, 2, tzinfo=UTC))
    assert translation.visit_value(row, runner="T-001", values=visit.values) == visit


@given(
    st.lists(st.floats(-1e8, 1e8), min_size=1, max_size=20),
    st.sampled_from(list(Side)),
)
def test_any_readable_value_goes_there_and_back(trials: list[float], side: Side) -> None:
    value = value_of_trials(STRENGTH, side, trials)
    row = translation.value_row(value, visit_id=1, metric_id=1)
    kept = [trial.reading for trial in translation.trial_rows(value, value_id=1)]
    assert translation.stored_value(row, metric=STRENGTH, trials=kept) == value


FIGURE = ErrorFigure(
    metric=STRENGTH,
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.PUBLISHED,
    sem=4.5,
    sem_trials=3,
    published_as="MDC 12.5",
    published_level=95.0,
    averaged="best of three",
    population="invented",
    source="a test",
    adopted_at=datetime(2026, 1, 1, 12, tzinfo=UTC),
    retired_at=datetime(2026, 2, 1, 12, tzinfo=UTC),
)


def test_metrics_and_figures_come_back_from_the_store_as_they_went_in(casebook: Casebook) -> None:
    metric = a_metric(
        plane="frontal",
        view="posterior",
        phase="mid-stance",
        important_change=20.0,
        sensitive_to=(Condition.SPEED, Condition.PAIN),
        grades=("a", "ß"),
        notes="n",
        sources="s",
        position=7,
        starter=True,
        active=False,
    )
    with writing(casebook.engine) as unit:
        row = translation.metric_row(metric)
        unit.add(row)
        unit.flush()
        unit.add(translation.figure_row(FIGURE, metric_id=row.id, at=datetime.now(UTC)))
        unit.flush()
        unit.commit()
        metric_id = row.id
    with reading(casebook.engine) as unit:
        assert translation.metric_value(unit.get_one(tables.MetricRow, metric_id)) == metric
        stored = unit.query(tables.ErrorFigureRow).filter_by(metric_id=metric_id).one()
        assert translation.figure_value(stored, metric=STRENGTH) == FIGURE


def test_a_grade_step_comes_back_from_the_store_as_it_went_in(clinic: Casebook) -> None:
    figure = ErrorFigure(
        metric=QUALITY,
        applies_to=AppliesTo.ASYMMETRY,
        origin=ErrorOrigin.OWN,
        grade_step=1,
        source="a test",
        adopted_at=datetime(2026, 1, 1, 12, tzinfo=UTC),
    )
    with writing(clinic.engine) as unit:
        query = select(tables.MetricRow.id).where(tables.MetricRow.key == QUALITY)
        metric_id = unit.scalars(query).one()
        unit.add(translation.figure_row(figure, metric_id=metric_id, at=datetime.now(UTC)))
        unit.commit()
    with reading(clinic.engine) as unit:
        stored = unit.query(tables.ErrorFigureRow).filter_by(metric_id=metric_id).one()
        assert translation.figure_value(stored, metric=QUALITY) == figure


def test_instants_are_kept_in_utc_whatever_the_zone_they_are_given_in(casebook: Casebook) -> None:
    given_at = datetime(2026, 3, 29, 1, 30, 15, 123456, tzinfo=timezone(timedelta(hours=-9)))
    with writing(casebook.engine) as unit:
        clinic = unit.get_one(tables.ClinicRow, casebook.clinic_id)
        clinic.created_at = given_at
        unit.commit()
    with reading(casebook.engine) as unit:
        stored = unit.get_one(tables.ClinicRow, casebook.clinic_id).created_at
    assert stored == given_at
    assert stored.utcoffset() == timedelta(0)


def test_an_instant_without_a_zone_cannot_be_stored(casebook: Casebook) -> None:
    def store() -> Any:
        with writing(casebook.engine) as unit:
            clinic = unit.get_one(tables.ClinicRow, casebook.clinic_id)
            clinic.created_at = datetime(2026, 1, 1)
            unit.commit()

    with pytest.raises(StatementError, match="without a time zone"):
        store()
