"""A caseload's visits, catalogue and error figures as arrays, ready for whole-column work."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from casebook.domain.marking import OPPOSED_SIDES
from casebook.domain.metrics import (
    AppliesTo,
    Better,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    Scale,
)
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Masks, Whole, code_of, mask_of

# Milliseconds in one unit, for durations whose floor the frame rate sets.
DURATION_UNITS = {"ms": 1.0, "s": 1000.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricColumns:
    """The catalogue as arrays, one element a metric."""

    form: Codes
    better: Codes
    low: Floats
    high: Floats
    resolution: Floats
    milliseconds: Floats
    sensitive: Masks
    important: Floats
    score: Flags
    grade: Flags
    opposed: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureColumns:
    """The best error figure of each metric as arrays; origin NONE where it has none.

    `between`, `within`, `sem` and `step` are NaN where the figure is of another kind.
    """

    origin: Codes
    index: Whole
    between: Floats
    within: Floats
    sem: Floats
    trials: Floats
    step: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitColumns:
    """Visits as arrays, in the order of runner and date.

    Parameters
    ----------
    row : ndarray of int, shape (visits,)
        Position in the frame that was given.
    visit, runner : ndarray of int, shape (visits,)
        Their ids.
    runner_at : ndarray of int, shape (visits,)
        Number of the runner, from 0.
    reference, later, counts : ndarray of bool, shape (visits,)
        Reference visits; counting visits after the runner's last reference visit; visits
        that are no repeat measurements.
    """

    row: Whole
    visit: Whole
    runner: Whole
    runner_at: Whole
    order: Whole
    reference: Flags
    later: Flags
    counts: Flags
    runner_count: int


def metric_columns(metrics: Sequence[Metric]) -> MetricColumns:
    """The catalogue as arrays.

    Parameters
    ----------
    metrics : sequence of Metric

    Returns
    -------
    MetricColumns
        `low`, `high` are NaN where no range is better, `important` where there is none,
        `milliseconds` where the frame rate sets no floor. `opposed` tells metrics in whose
        sides one marking error appears with opposite signs (`domain.marking.OPPOSED_SIDES`).

    References
    ----------
    None: a change of form.

    Examples
    --------
    >>> metric_columns(()).form.size
    0
    """
    ranged = [metric.better is Better.RANGE for metric in metrics]
    return MetricColumns(
        form=_codes(metric.asymmetry_form for metric in metrics),
        better=_codes(metric.better for metric in metrics),
        low=_floats(m.target_low if r else None for m, r in zip(metrics, ranged, strict=True)),
        high=_floats(m.target_high if r else None for m, r in zip(metrics, ranged, strict=True)),
        resolution=_floats(metric.resolution for metric in metrics),
        milliseconds=_floats(
            DURATION_UNITS.get(metric.unit) if metric.floor_kind is FloorKind.INTERVAL else None
            for metric in metrics
        ),
        sensitive=np.array([mask_of(m.sensitive_to) for m in metrics], dtype=np.uint8),
        important=_floats(metric.important_change for metric in metrics),
        score=np.array([metric.scale is Scale.SCORE for metric in metrics], dtype=np.bool_),
        grade=np.array([metric.scale is Scale.GRADE for metric in metrics], dtype=np.bool_),
        opposed=np.array([metric.key in OPPOSED_SIDES for metric in metrics], dtype=np.bool_),
    )


def figure_columns(
    metrics: Sequence[Metric], figures: Sequence[ErrorFigure], applies_to: AppliesTo
) -> FigureColumns:
    """The best figure of each metric: own before published before within-session.

    Parameters
    ----------
    metrics : sequence of Metric
    figures : sequence of ErrorFigure
        Those in force. Of two as good, the later one counts; figures of other metrics,
        retired ones, grade steps of what is no grade and other figures of grades are passed
        over.
    applies_to : AppliesTo

    Returns
    -------
    FigureColumns
        One element a metric.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> figure_columns((), (), AppliesTo.SIDE_VALUE).index.size
    0
    """
    best: dict[str, tuple[int, ErrorFigure]] = {}
    graded = {metric.key for metric in metrics if metric.scale is Scale.GRADE}
    for index, figure in enumerate(figures):
        if figure.applies_to is not applies_to or figure.retired_at is not None:
            continue
        if (figure.grade_step is not None) != (figure.metric in graded):
            continue
        held = best.get(figure.metric)
        if held is None or code_of(figure.origin) <= code_of(held[1].origin):
            best[figure.metric] = (index, figure)
    chosen = [best.get(metric.key) for metric in metrics]
    found = [None if pair is None else pair[1] for pair in chosen]
    return FigureColumns(
        origin=_codes(ErrorOrigin.NONE if f is None else f.origin for f in found),
        index=np.array([NOTHING if pair is None else pair[0] for pair in chosen], dtype=np.int64),
        between=_floats(None if f is None else f.between_sd for f in found),
        within=_floats(None if f is None else f.within_sd for f in found),
        sem=_floats(None if f is None else f.sem for f in found),
        trials=_floats(None if f is None else f.sem_trials for f in found),
        step=_floats(None if f is None else f.grade_step for f in found),
    )


def visit_columns(visits: pd.DataFrame) -> VisitColumns:
    """Visits in the order of runner and date, with their part in the judgement.

    Parameters
    ----------
    visits : DataFrame
        Columns runner, visit (ids), order (0, 1, ... within the runner), counts, reference.

    Returns
    -------
    VisitColumns
        A visit that does not count is no reference either. Without any reference visit all
        visits of a runner that count are `later`.

    Raises
    ------
    ValueError
        When a visit stands there twice.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> frame = pd.DataFrame({"runner": [5, 5], "visit": [8, 9], "order": [0, 1],
    ...     "counts": [True, True], "reference": [True, False]})
    >>> visit_columns(frame).later
    array([False,  True])
    """
    row = np.lexsort((visits["order"].to_numpy(), visits["runner"].to_numpy()))
    ids = visits["visit"].to_numpy(dtype=np.int64)[row]
    if np.unique(ids).size != ids.size:
        raise ValueError("visits: an id of 'visit' stands in two rows; expected one row a visit.")
    runner = visits["runner"].to_numpy(dtype=np.int64)[row]
    order = visits["order"].to_numpy(dtype=np.int64)[row]
    counts = visits["counts"].to_numpy(dtype=np.bool_)[row]
    reference = visits["reference"].to_numpy(dtype=np.bool_)[row] & counts
    runners, runner_at = np.unique(runner, return_inverse=True)
    last_reference = np.full(runners.size, np.iinfo(np.int64).min)
    np.maximum.at(last_reference, runner_at[reference], order[reference])
    return VisitColumns(
        row=row,
        visit=ids,
        runner=runner,
        runner_at=runner_at,
        order=order,
        reference=reference,
        later=counts & (order > last_reference[runner_at]),
        counts=counts,
        runner_count=runners.size,
    )


def _codes(members: Iterable[StrEnum]) -> Codes:
    return np.array([code_of(member) for member in members], dtype=np.int8)


def _floats(numbers: Iterable[float | None]) -> Floats:
    return np.array([np.nan if x is None else x for x in numbers], dtype=float)
