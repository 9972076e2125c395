"""Valid values to start from; a test overrides the one thing that it is about."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from casebook.domain.injuries import Injury, Pathology, Region
from casebook.domain.metrics import AsymmetryForm, Better, Metric, MetricGroup, Scale
from casebook.domain.people import Consent, Purpose, Runner, Sex
from casebook.domain.sides import InjurySide, Side
from casebook.domain.visits import (
    Conditions,
    MissingReason,
    Visit,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)

STRENGTH = "test_strength"
BEND = "test_bend"
STEPS = "test_steps"
QUALITY = "test_quality"


def a_metric(**changes: Any) -> Metric:
    metric = Metric(
        key=STRENGTH,
        label="Strength in a test",
        group=MetricGroup.TABLE,
        unit="N",
        scale=Scale.RATIO,
        sided=True,
        sign_convention="more force is higher",
        better=Better.HIGHER,
        plausible_low=0.0,
        plausible_high=900.0,
        resolution=1.0,
        asymmetry_form=AsymmetryForm.PERCENT,
    )
    return replace(metric, **changes)


METRICS = (
    a_metric(),
    a_metric(
        key=BEND,
        unit="deg",
        scale=Scale.INTERVAL,
        plausible_low=-20.0,
        plausible_high=80.0,
        asymmetry_form=AsymmetryForm.DIFFERENCE,
        position=1,
    ),
    a_metric(
        key=STEPS,
        unit="/min",
        sided=False,
        better=Better.NONE,
        asymmetry_form=AsymmetryForm.NONE,
        position=2,
    ),
    a_metric(
        key=QUALITY,
        unit="1",
        scale=Scale.GRADE,
        grades=("good", "fair", "poor"),
        better=Better.LOWER,
        asymmetry_form=AsymmetryForm.DIFFERENCE,
        position=3,
    ),
)


def a_runner(**changes: Any) -> Runner:
    runner = Runner(code="T-001", sex=Sex.FEMALE, birth_year=1990, discipline="10 km")
    return replace(runner, **changes)


def a_visit(**changes: Any) -> Visit:
    visit = Visit(
        runner="T-001",
        visited_on=date(2026, 3, 2),
        kind=VisitKind.BASELINE,
        conditions=Conditions(speed_km_h=10.0, surface="treadmill", frames_per_s=120.0),
        values=(
            value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0, 318.0]),
            value_of_mean(STRENGTH, Side.RIGHT, 287.5, 3),
            missing_value(BEND, Side.LEFT, MissingReason.NOT_VISIBLE),
        ),
    )
    return replace(visit, **changes)


def an_injury(**changes: Any) -> Injury:
    injury = Injury(
        runner="T-001",
        region=Region.KNEE,
        pathology=Pathology.TENDINOPATHY,
        side=InjurySide.LEFT,
        onset_on=date(2026, 1, 12),
    )
    return replace(injury, **changes)


def a_consent(**changes: Any) -> Consent:
    consent = Consent(runner="T-001", purpose=Purpose.AUDIT, given_on=date(2026, 1, 20))
    return replace(consent, **changes)
