"""Small caseloads to judge: one runner, a few visits, numbers that can be checked by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
)
from casebook.domain.verdicts import Call, Reason, SideMoved, What
from casebook.statistics.codes import (
    CALLS,
    KINDS,
    MOVED,
    NOTHING,
    ORIGINS,
    REASONS,
    WHATS,
    code_of,
)
from casebook.statistics.judgement import Judged, judge
from tests.builders import a_metric

LEFT, RIGHT, NONE = 0, 1, 2
# Either every trial, or mean, number of trials and their standard deviation.
Reading = Sequence[float] | tuple[float, int, float]


def an_angle(**changes: Any) -> Metric:
    """Lower is better, read finely, compared by the difference."""
    start: dict[str, Any] = {
        "key": "test_drop",
        "unit": "deg",
        "scale": Scale.INTERVAL,
        "better": Better.LOWER,
        "plausible_low": -90.0,
        "resolution": 0.0,
        "asymmetry_form": AsymmetryForm.DIFFERENCE,
    }
    return a_metric(**(start | changes))


def a_score(**changes: Any) -> Metric:
    """Pain, lower is better, two points are important."""
    start: dict[str, Any] = {
        "key": "test_pain",
        "unit": "1",
        "scale": Scale.SCORE,
        "sided": False,
        "better": Better.LOWER,
        "plausible_high": 10.0,
        "resolution": 0.0,
        "asymmetry_form": AsymmetryForm.NONE,
        "important_change": 2.0,
    }
    return a_metric(**(start | changes))


def a_figure(metric: str = "test_drop", **changes: Any) -> ErrorFigure:
    """An own figure whose SEM is 1 whatever the number of trials."""
    start: dict[str, Any] = {
        "metric": metric,
        "applies_to": AppliesTo.SIDE_VALUE,
        "origin": ErrorOrigin.OWN,
        "source": "a study in a test",
    }
    if not {"sem", "within_sd"} & set(changes):
        start |= {"between_sd": 1.0, "within_sd": 0.0}
    return ErrorFigure(**(start | changes))


@dataclass(frozen=True, kw_only=True)
class AVisit:
    """One visit: readings by metric position and side, and what differs from the usual."""

    readings: Mapping[tuple[int, int], Reading]
    reference: bool = False
    counts: bool = True
    conditions: Mapping[str, Any] = field(default_factory=dict)
    day: int | None = None


USUAL = {
    "speed_km_h": 10.0,
    "incline_pct": 0.0,
    "frames_per_s": 60.0,
    "pain_today": 0.0,
    "surface": "treadmill",
    "footwear": "own shoes",
    "view": "posterior",
    "assessor": "AB",
}


def a_pair(
    left: float, right: float, *, n: int = 5, sd: float = np.nan
) -> dict[tuple[int, int], Reading]:
    """Readings of the first metric on both sides."""
    return {(0, LEFT): (left, n, sd), (0, RIGHT): (right, n, sd)}


def frames_of(*courses: Sequence[AVisit]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Values and visits of runners 1, 2, ...; visit ids count through from 100."""
    visits: list[dict[str, Any]] = []
    values: list[dict[str, Any]] = []
    for runner, course in enumerate(courses, start=1):
        for order, visit in enumerate(course):
            number = 100 + len(visits)
            visits.append(
                {
                    "runner": runner,
                    "visit": number,
                    "order": order,
                    "day": 20_000 + 28 * order if visit.day is None else visit.day,
                    "counts": visit.counts,
                    "reference": visit.reference,
                }
                | USUAL
                | dict(visit.conditions)
            )
            for (metric, side), reading in visit.readings.items():
                mean, n, sd = _summary(reading)
                values.append(
                    {
                        "runner": runner,
                        "visit": number,
                        "metric": metric,
                        "side": side,
                        "n": n,
                        "mean": mean,
                        "sd": sd,
                    }
                )
    columns = ["runner", "visit", "metric", "side", "n", "mean", "sd"]
    return pd.DataFrame(values, columns=columns), pd.DataFrame(visits)


def _summary(reading: Reading) -> tuple[float, int, float]:
    if isinstance(reading, tuple):
        return reading
    trials = np.asarray(reading, dtype=float)
    return (
        float(trials.mean()),
        trials.size,
        float(trials.std(ddof=1)) if trials.size > 1 else np.nan,
    )


def judged(
    course: Sequence[AVisit],
    *,
    metrics: Sequence[Metric] | None = None,
    figures: Sequence[ErrorFigure] | None = None,
    targets: pd.DataFrame | None = None,
) -> Judged:
    """Judge one runner."""
    values, visits = frames_of(course)
    return judge(
        values,
        visits,
        (an_angle(),) if metrics is None else metrics,
        (a_figure(),) if figures is None else figures,
        targets,
    )


def before_and_after(
    before: Mapping[tuple[int, int], Reading],
    after: Mapping[tuple[int, int], Reading],
    **conditions: Any,
) -> list[AVisit]:
    """A reference visit and one later; `conditions` are those of the later one."""
    return [
        AVisit(readings=before, reference=True),
        AVisit(readings=after, conditions=conditions),
    ]


@dataclass(frozen=True, kw_only=True)
class Told:
    """One verdict in words."""

    call: Call
    reason: Reason | None
    moved: SideMoved | None
    row: Any


def verdict_on(found: Judged, what: What, *, metric: int = 0, visit: int | None = None) -> Told:
    """The one verdict on a metric and side (at a visit, where there are several)."""
    frame = found.verdicts
    keep = (frame["what"] == code_of(what)) & (frame["metric"] == metric)
    if visit is not None:
        keep &= frame["visit"] == visit
    (row,) = frame[keep].itertuples()
    return Told(
        call=CALLS[row.call],
        reason=None if row.reason == NOTHING else REASONS[row.reason],
        moved=None if row.moved == NOTHING else MOVED[row.moved],
        row=row,
    )


def kinds_flagged(found: Judged) -> list[str]:
    return [str(KINDS[kind]) for kind in found.flags["kind"]]


def origin_of(told: Told) -> ErrorOrigin:
    return ORIGINS[told.row.origin]


def whats_of(frame: pd.DataFrame) -> list[str]:
    return [str(WHATS[what]) for what in frame["what"]]
