"""Stores of a given size for the benchmarks, filled in bulk with invented numbers."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import insert, select

from casebook.services.keeping import Casebook, create_casebook
from casebook.storage.session import writing
from casebook.storage.tables import MetricRow, ProgrammeRow, RunnerRow, ValueRow, VisitRow

SIDED = 20
VISITS = 8
FIRST_DAY = date(2025, 1, 6)


def make_caseload(path: Path, runners: int, *, seed: int = 7, visits: int = VISITS) -> Casebook:
    """A casebook of runners with visits (8 each, or as said) of 20 metrics on two sides each.

    Values are stored as means of seven trials with their SD; trials, which no page of the
    caseload or the runner reads, are left out.
    """
    casebook = create_casebook(str(path))
    rng = np.random.default_rng(seed)
    with writing(casebook.engine) as unit:
        metrics = unit.execute(
            select(MetricRow.id, MetricRow.plausible_low, MetricRow.plausible_high)
            .where(MetricRow.sided, MetricRow.scale != "grade")
            .order_by(MetricRow.position)
            .limit(SIDED)
        ).all()
        unit.execute(insert(RunnerRow), [_runner(casebook, number) for number in range(runners)])
        runner_ids = unit.scalars(select(RunnerRow.id).order_by(RunnerRow.id)).all()
        unit.execute(
            insert(VisitRow),
            [_visit(runner_id, number) for runner_id in runner_ids for number in range(visits)],
        )
        unit.execute(
            insert(ProgrammeRow),
            [
                {
                    "runner_id": runner_id,
                    "title": "Strength",
                    "kind": "injury",
                    "started_on": FIRST_DAY,
                }
                for runner_id in runner_ids
            ],
        )
        visit_ids = unit.scalars(select(VisitRow.id).order_by(VisitRow.id)).all()
        middles = np.array([(low + high) / 2 for _, low, high in metrics])
        for start in range(0, len(visit_ids), 500):
            chunk = visit_ids[start : start + 500]
            means = middles[None, :, None] * rng.normal(1, 0.05, (len(chunk), len(metrics), 2))
            spreads = np.abs(middles)[:, None] * 0.03 + np.zeros((len(metrics), 2))
            unit.execute(
                insert(ValueRow),
                [
                    {
                        "visit_id": visit_id,
                        "metric_id": metric_id,
                        "side": side,
                        "n_trials": 7,
                        "mean": float(means[v, m, s]),
                        "sd": float(spreads[m, s]),
                    }
                    for v, visit_id in enumerate(chunk)
                    for m, (metric_id, _, _) in enumerate(metrics)
                    for s, side in enumerate(("left", "right"))
                ],
            )
        unit.commit()
    return casebook


def _runner(casebook: Casebook, number: int) -> dict[str, object]:
    return {"clinic_id": casebook.clinic_id, "code": f"B-{number:05d}", "sex": "not_recorded"}


def _visit(runner_id: int, number: int) -> dict[str, object]:
    return {
        "runner_id": runner_id,
        "visited_on": FIRST_DAY + timedelta(weeks=4 * number),
        "session": 1,
        "kind": "baseline" if number == 0 else "review",
        "speed_km_h": 10.0,
        "frames_per_s": 120.0,
        "recorded_at": datetime(2026, 1, 1, tzinfo=UTC),
    }
