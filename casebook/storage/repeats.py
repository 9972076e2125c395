"""Reads for a repeatability study: the visits that were repeat measurements, and their trials."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import BigInteger, and_, cast, func, select
from sqlalchemy.orm import Session

from casebook.domain.visits import VisitKind
from casebook.storage.frames import visits_frame
from casebook.storage.tables import MetricRow, RunnerRow, TrialRow, ValueRow, VisitRow

READINGS: Final = ("runner", "visit", "side", "n", "mean", "trial", "reading")


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatCount:
    """How much of a metric stands in repeat visits: runners, visits, values and trials.

    `saves` moves when one of these visits is saved again, and `which` when one comes or goes: an
    amendment may leave every count as it was, and one visit may take another's place.
    """

    metric: str
    runners: int
    visits: int
    values: int
    trials: int
    saves: int
    which: int


def repeat_counts(session: Session, clinic_id: int) -> list[RepeatCount]:
    """What the repeat visits hold, a line a metric that any of them has a value of."""
    query = (
        select(
            MetricRow.key,
            func.count(VisitRow.runner_id.distinct()),
            func.count(VisitRow.id.distinct()),
            func.count(ValueRow.id),
            func.sum(ValueRow.n_trials),
            func.sum(cast(VisitRow.id, BigInteger) * VisitRow.revision),
            func.sum(VisitRow.id),
        )
        .join(ValueRow, ValueRow.metric_id == MetricRow.id)
        .join(VisitRow, VisitRow.id == ValueRow.visit_id)
        .join(RunnerRow, and_(RunnerRow.id == VisitRow.runner_id, RunnerRow.clinic_id == clinic_id))
        .where(VisitRow.kind == VisitKind.REPEAT, ValueRow.mean.is_not(None))
        .group_by(MetricRow.key)
    )
    return [
        RepeatCount(
            metric=key,
            runners=runners,
            visits=visits,
            values=values,
            trials=int(trials),
            saves=int(saves),
            which=int(which),
        )
        for key, runners, visits, values, trials, saves, which in session.execute(query)
    ]


def repeat_visits_frame(session: Session) -> pd.DataFrame:
    """Every visit that was a repeat measurement, with its conditions, as `visits_frame`."""
    visits = visits_frame(session)
    return visits[visits["kind"] == VisitKind.REPEAT.value].reset_index(drop=True)


def repeat_readings_frame(session: Session, clinic_id: int, metric_key: str) -> pd.DataFrame:
    """Every reading of one metric at repeat measurements.

    Returns
    -------
    DataFrame, one row a trial, or one a value of which only the mean is known
        `runner` (code), `visit` (id), `side` (left, right, none), `n` (trials of the value),
        `mean`, `trial` (number from 1, 0 where only the mean is known) and `reading` (NaN
        there), in the metric's unit.
    """
    query = (
        select(
            RunnerRow.code,
            VisitRow.id,
            ValueRow.side,
            ValueRow.n_trials,
            ValueRow.mean,
            TrialRow.number,
            TrialRow.reading,
        )
        .join(VisitRow, VisitRow.id == ValueRow.visit_id)
        .join(RunnerRow, and_(RunnerRow.id == VisitRow.runner_id, RunnerRow.clinic_id == clinic_id))
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .outerjoin(TrialRow, TrialRow.value_id == ValueRow.id)
        .where(
            VisitRow.kind == VisitKind.REPEAT,
            MetricRow.key == metric_key,
            ValueRow.mean.is_not(None),
        )
        .order_by(RunnerRow.code, VisitRow.id, ValueRow.side, TrialRow.number)
    )
    rows = [
        (code, visit, side.value, n, mean, number or 0, np.nan if reading is None else reading)
        for code, visit, side, n, mean, number, reading in session.execute(query)
    ]
    frame = pd.DataFrame(rows, columns=list(READINGS))
    return frame.astype({"n": "int64", "mean": "float64", "trial": "int64", "reading": "float64"})
