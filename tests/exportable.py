"""Invented runners in bulk with everything that an export reads; nobody of them is real."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import func, insert, select

from casebook.services.keeping import Casebook
from casebook.storage.session import Unit, writing
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    ConsentRow,
    IdentityRow,
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    ValueRow,
    VisitRow,
)

SINCE = date(2024, 2, 5)
# The last day of anything in it.
UNTIL = SINCE + timedelta(days=500)
AT = datetime(2026, 1, 1, tzinfo=UTC)
DISCIPLINES = ("10 km", "Half marathon", "trail", "marathon", "800m", "", "stairs with a pram")
REGIONS = ("foot", "ankle", "lower_leg", "knee", "thigh", "hip_groin")
TISSUES = ("tendinopathy", "muscle_injury", "bone_stress", "joint")
EXERCISES = ("heel_raise_straight_knee", "step_down_mirror", "cadence_cue", "")


def add_cohort(
    casebook: Casebook,
    runners: int,
    *,
    seed: int = 11,
    visits: int = 3,
    metrics: int = 4,
    purpose: str = "audit",
    alike: bool = False,
) -> list[int]:
    """Add runners with consent, complaints, visits, values and programmes; returns their ids.

    Parameters
    ----------
    metrics : int
        Metrics read on two sides; one without sides comes along.
    alike : bool
        All of one sex, age, discipline, height and mass, so that nothing needs to be coarser.
    """
    rng = np.random.default_rng(seed)
    with writing(casebook.engine) as unit:
        ids = _runners(unit, casebook, runners, rng, purpose, alike)
        injuries = _injuries(unit, ids, rng)
        first = {one: SINCE + timedelta(days=int(rng.integers(0, 120))) for one in ids}
        _visits(unit, ids, first, rng, visits, metrics)
        _programmes(unit, ids, first, injuries, rng)
        unit.commit()
    return ids


def _runners(
    unit: Unit, casebook: Casebook, count: int, rng: Any, purpose: str, alike: bool
) -> list[int]:
    known = set(unit.scalars(select(RunnerRow.id)))
    unit.execute(
        insert(RunnerRow),
        [
            {
                "clinic_id": casebook.clinic_id,
                "code": f"X-{len(known) + number:05d}",
                "sex": "female" if alike else str(rng.choice(["female", "male"])),
                "birth_year": 1990 if alike else int(rng.integers(1950, 2006)),
                "discipline": "10 km" if alike else str(rng.choice(DISCIPLINES)),
                "height_cm": 170.0 if alike else float(round(rng.normal(174, 9), 1)),
                "mass_kg": 62.0 if alike else float(round(rng.normal(68, 11), 1)),
                "registered_on": SINCE,
            }
            for number in range(count)
        ],
    )
    every = unit.scalars(select(RunnerRow.id).order_by(RunnerRow.id))
    ids = [one for one in every if one not in known]
    unit.execute(
        insert(IdentityRow),
        [
            {
                "runner_id": one,
                "given_name": f"Given{one}",
                "family_name": f"Family{one}",
                "birth_date": date(1990, 5, 17),
            }
            for one in ids
        ],
    )
    unit.execute(
        insert(ConsentRow),
        [{"runner_id": one, "purpose": purpose, "given_on": SINCE} for one in ids],
    )
    return ids


def _injuries(unit: Unit, ids: Sequence[int], rng: Any) -> dict[int, int]:
    injured = [one for one in ids if rng.random() < 0.9]
    rows = [
        {
            "runner_id": one,
            "region": str(rng.choice(REGIONS)),
            "pathology": str(rng.choice(TISSUES)),
            "side": str(rng.choice(["left", "right", "both"])),
            "onset_on": SINCE - timedelta(days=int(rng.integers(1, 60)) + 400 * more),
            "onset": "gradual",
            "occurrence": "first",
            "course": "improving",
            "returned_on": SINCE + timedelta(days=50),
        }
        for one in injured
        for more in range(1 + (rng.random() < 0.2))
    ]
    if rows:
        unit.execute(insert(InjuryRow), rows)
    found = unit.execute(
        select(InjuryRow.runner_id, InjuryRow.id)
        .where(InjuryRow.runner_id.in_(list(ids)))
        .order_by(InjuryRow.onset_on.desc())
    )
    return {runner_id: injury_id for runner_id, injury_id in found}  # noqa: C416


def _visits(
    unit: Unit, ids: Sequence[int], first: dict[int, date], rng: Any, visits: int, metrics: int
) -> None:
    wanted = select(MetricRow.id, MetricRow.plausible_low, MetricRow.plausible_high).order_by(
        MetricRow.position, MetricRow.key
    )
    sided = unit.execute(
        wanted.where(MetricRow.sided, MetricRow.scale != "grade", MetricRow.starter).limit(metrics)
    ).all()
    one_sided = unit.execute(wanted.where(MetricRow.key == "cadence")).all()
    places = [(one, side) for one in sided for side in ("left", "right")]
    places += [(one, "none") for one in one_sided]
    middles = np.array([(low + high) / 2 for (_, low, high), _ in places])
    for start in range(0, len(ids), 500):
        some = ids[start : start + 500]
        rows = [_visit(one, first[one], at, visits, rng) for one in some for at in range(visits)]
        unit.execute(insert(VisitRow), rows)
        visit_ids = unit.scalars(
            select(VisitRow.id).where(VisitRow.runner_id.in_(some)).order_by(VisitRow.id)
        ).all()
        means = middles * (1 + 0.1 * rng.standard_normal((len(visit_ids), len(places))))
        gaps = rng.random(means.shape) < 0.02
        unit.execute(
            insert(ValueRow),
            [
                {
                    "visit_id": visit_id,
                    "metric_id": one[0],
                    "side": side,
                    "n_trials": 0 if gaps[at, column] else 5,
                    "mean": None if gaps[at, column] else float(means[at, column]),
                    "sd": None if gaps[at, column] else float(abs(middles[column]) * 0.03),
                    "missing_reason": "painful" if gaps[at, column] else None,
                }
                for at, visit_id in enumerate(visit_ids)
                for column, (one, side) in enumerate(places)
            ],
        )


def _visit(runner_id: int, first: date, at: int, visits: int, rng: Any) -> dict[str, object]:
    kinds = ("baseline", "discharge") if at in {0, visits - 1} else ("review", "review")
    return {
        "runner_id": runner_id,
        "visited_on": first + timedelta(days=42 * at),
        "session": 1,
        "kind": kinds[0] if at == 0 else kinds[1],
        "speed_km_h": float(round(rng.normal(11, 2), 1)),
        "incline_pct": 1.0,
        "surface": "treadmill",
        "footwear": str(rng.choice(["own shoes", "spikes"])),
        "view": "posterior",
        "frames_per_s": 120.0,
        "assessor": str(rng.choice(["KM", "AB", "ZZ"], p=[0.6, 0.39, 0.01])),
        "pain_today": float(rng.integers(0, 6)),
        "recorded_at": AT,
    }


def _programmes(
    unit: Unit,
    ids: Sequence[int],
    first: dict[int, date],
    injuries: dict[int, int],
    rng: Any,
) -> None:
    some = [one for one in ids if rng.random() < 0.8]
    before = unit.scalar(select(func.max(ProgrammeRow.id))) or 0
    unit.execute(
        insert(ProgrammeRow),
        [
            {
                "runner_id": one,
                "injury_id": injuries.get(one),
                "title": "Strength",
                "kind": "injury" if one in injuries else "performance",
                "started_on": first[one],
                "planned_weeks": 12,
                "mode": "individual",
            }
            for one in some
        ],
    )
    rows = unit.execute(
        select(ProgrammeRow.id, ProgrammeRow.started_on).where(ProgrammeRow.id > before)
    ).all()
    metric = unit.scalars(
        select(MetricRow.id).where(MetricRow.key == "hip_abductor_strength")
    ).one()
    blocks, targets, weeks = [], [], []
    for programme_id, started_on in rows:
        blocks.append(
            {
                "programme_id": programme_id,
                "position": 1,
                "aim": "strength",
                "exercise": "Heel raise",
                "exercise_key": str(rng.choice(EXERCISES)),
                "side": str(rng.choice(["left", "right", "both"])),
                "sets": 3,
                "repetitions": 12,
            }
        )
        targets.append(
            {
                "programme_id": programme_id,
                "metric_id": metric,
                "what": str(rng.choice(["left", "right", "asymmetry"])),
                "direction": "up",
                "amount": 10.0,
                "due_on": started_on + timedelta(days=84),
            }
        )
        weeks += [
            {
                "programme_id": programme_id,
                "week_start": started_on + timedelta(days=7 * week),
                "sessions_planned": 3,
                "sessions_done": int(rng.integers(0, 4)),
            }
            for week in range(2)
        ]
    for row, parts in ((BlockRow, blocks), (TargetRow, targets), (AdherenceRow, weeks)):
        if parts:
            unit.execute(insert(row), parts)
