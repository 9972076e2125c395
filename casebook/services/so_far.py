"""A change against its error while the visit is still being typed; the verdict comes later.

The error is that of the metric's best figure in force for as many trials as have been typed and
as the last visit has. What a runner's own trials could add to a figure of more trials is left
to the verdict, which has the whole visit before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict

import numpy as np
import pandas as pd

from casebook.domain.metrics import (
    AppliesTo,
    Condition,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    Scale,
)
from casebook.domain.reach import Reach, SoFar
from casebook.domain.visits import Conditions, Value
from casebook.services.detectable import best_figure
from casebook.statistics.caseload import DURATION_UNITS
from casebook.statistics.codes import conditions_of
from casebook.statistics.error import interval_floor, mdc_between, reading_floor
from casebook.statistics.like_for_like import condition_columns, conditions_that_differ
from casebook.statistics.planning import TrialError, sem_of_trials


def side_figures(figures: Iterable[ErrorFigure]) -> dict[str, ErrorFigure]:
    """By metric the figure of a side's value that verdicts use; none where there is none."""
    listed = tuple(figures)
    found = {
        key: best_figure(tuple(one for one in listed if one.metric == key), AppliesTo.SIDE_VALUE)
        for key in {figure.metric for figure in listed}
    }
    return {key: figure for key, figure in found.items() if figure is not None}


def so_far(
    metric: Metric,
    figure: ErrorFigure | None,
    now: Value,
    last: Value,
    *,
    frames_per_s: tuple[float | None, float | None] = (None, None),
) -> SoFar | None:
    """What can be said of a side's change since the last visit; None where either is missing.

    Parameters
    ----------
    figure : ErrorFigure or None
        The metric's, as `side_figures` finds it.
    now, last : Value
        As typed so far, and of the last visit that has it.
    frames_per_s : (float or None, float or None)
        The camera's rate now and then, for a time between two frames.
    """
    if now.mean is None or last.mean is None:
        return None
    change = now.mean - last.mean
    if figure is None:
        return SoFar(change=change, reach=Reach.NO_FIGURE)
    if metric.scale is Scale.GRADE:
        return _graded(change, figure)
    sems = [
        _sem(metric, figure, value, rate)
        for value, rate in zip((now, last), frames_per_s, strict=True)
    ]
    if any(math.isnan(sem) for sem in sems):
        return SoFar(change=change, reach=Reach.NEEDS_TRIALS, trials=figure.sem_trials or 0)
    limit = float(mdc_between(*sems))
    if abs(change) <= limit:
        reach = Reach.WITHIN
    elif figure.origin is ErrorOrigin.WITHIN_SESSION:
        reach = Reach.BEYOND_LOWER_BOUND
    else:
        reach = Reach.BEYOND
    return SoFar(change=change, reach=reach, limit=limit)


def _graded(change: float, figure: ErrorFigure) -> SoFar:
    if figure.grade_step is None:
        return SoFar(change=change, reach=Reach.NO_FIGURE)
    reach = Reach.WITHIN if abs(change) <= figure.grade_step else Reach.BEYOND
    return SoFar(change=change, reach=reach, limit=float(figure.grade_step))


def _sem(metric: Metric, figure: ErrorFigure, value: Value, rate: float | None) -> float:
    between = figure.between_sd
    if figure.origin is ErrorOrigin.WITHIN_SESSION:
        between = 0.0
    error = TrialError(
        between_sd=between,
        within_sd=figure.within_sd,
        sem=figure.sem,
        sem_trials=figure.sem_trials,
        # No mean of marked points is known better than they were marked.
        floor=max(_floor(metric, rate), value.marking_sd or 0.0),
    )
    return float(sem_of_trials(error, value.n_trials))


def _floor(metric: Metric, rate: float | None) -> float:
    milliseconds = DURATION_UNITS.get(metric.unit)
    if metric.floor_kind is FloorKind.INTERVAL and rate and milliseconds:
        return float(interval_floor(rate)) / milliseconds
    return float(reading_floor(metric.resolution))


def unlike(now: Conditions, last: Conditions) -> frozenset[Condition]:
    """Conditions in which two visits differ; what was not recorded at one of them left out."""
    frame = pd.DataFrame([asdict(last), asdict(now)])
    differs, _ = conditions_that_differ(condition_columns(frame), np.array([0]), np.array([1]))
    return frozenset(conditions_of(int(differs[0])))
