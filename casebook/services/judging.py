"""Fetch what is stored and let the statistics judge it, for one runner or the whole caseload."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from casebook.domain.metrics import ErrorFigure, Metric
from casebook.statistics.judgement import Judged, judge
from casebook.statistics.reference import mark_reference
from casebook.storage.baselines import values_of_visits
from casebook.storage.cases import figures_in_force, first_programme_starts, metrics_by_id
from casebook.storage.frames import targets_frame, values_frame, visits_frame
from casebook.storage.session import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedRunners:
    """A judgement with what is needed to tell it: visits, metrics and error figures.

    Attributes
    ----------
    visits : DataFrame
        One row a visit, in order, as `mark_reference` gives it.
    metrics : tuple of Metric
        What the integer column `metric` of the judgement's frames points into.
    metric_ids : tuple of int
        Keys of the same metrics in the store.
    figures : tuple of ErrorFigure
        What the integer column `figure` points into.
    """

    judged: Judged
    visits: pd.DataFrame
    metrics: tuple[Metric, ...]
    metric_ids: tuple[int, ...]
    figures: tuple[ErrorFigure, ...]


def judge_runners(unit: Unit, runner_ids: Sequence[int] | None = None) -> JudgedRunners:
    """Judge every visit of the runners named, or of all runners of the store."""
    by_id = metrics_by_id(unit)
    figures = figures_in_force(unit)
    visits = _marked_visits(unit, runner_ids)
    values = values_frame(unit, runner_ids)
    ids = np.fromiter(by_id, dtype=np.int64, count=len(by_id))
    values["metric"] = np.searchsorted(ids, values["metric"].to_numpy())
    targets = targets_frame(unit, runner_ids)
    targets["metric"] = np.searchsorted(ids, targets["metric"].to_numpy())
    targets["due"] = targets.pop("due_on").to_numpy(dtype="datetime64[D]").astype(np.int64)
    metrics = tuple(by_id.values())
    return JudgedRunners(
        judged=judge(values, visits, metrics, figures, targets),
        visits=visits,
        metrics=metrics,
        metric_ids=tuple(by_id),
        figures=figures,
    )


def judge_baselines(unit: Unit) -> JudgedRunners:
    """Judge the reference visits of all runners of the store, and fetch nothing else.

    Its `judged.references` are all that means anything.
    """
    by_id = metrics_by_id(unit)
    figures = figures_in_force(unit)
    visits = _marked_visits(unit, None)
    visits = visits[visits["reference"]].reset_index(drop=True)
    values = values_of_visits(unit, visits["visit"].tolist())
    ids = np.fromiter(by_id, dtype=np.int64, count=len(by_id))
    values["metric"] = np.searchsorted(ids, values["metric"].to_numpy())
    metrics = tuple(by_id.values())
    return JudgedRunners(
        judged=judge(values, visits, metrics, figures),
        visits=visits,
        metrics=metrics,
        metric_ids=tuple(by_id),
        figures=figures,
    )


def _marked_visits(unit: Unit, runner_ids: Sequence[int] | None) -> pd.DataFrame:
    """Visits in order, with those marked that form the baseline."""
    starts = first_programme_starts(unit, runner_ids)
    first_starts = pd.Series(
        pd.to_datetime(pd.Series(list(starts.values()), dtype="object")).to_numpy(
            dtype="datetime64[ns]"
        ),
        index=np.fromiter(starts, dtype=np.int64, count=len(starts)),
    )
    return mark_reference(visits_frame(unit, runner_ids), first_starts)


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """Rows of a frame by column name; what stands in them is known from the frame's maker."""
    # Of no row nothing is made: most runners have no flag, and a column takes time, empty or not.
    return iter(frame.itertuples(index=False)) if len(frame) else iter(())


def number_or_none(number: float) -> float | None:
    """A number out of an array; None where it does not exist."""
    return float(number) if math.isfinite(number) else None
