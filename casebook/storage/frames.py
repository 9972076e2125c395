"""SELECT -> frames with declared columns and dtypes, for one runner or a whole caseload.

Rows come as the driver's plain tuples: at hundreds of thousands of them, building objects
would take longer than everything done with them afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from enum import StrEnum
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Select, case, select
from sqlalchemy.orm import Session

from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.domain.sides import Side
from casebook.storage.tables import (
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    TrialRow,
    ValueRow,
    VisitRow,
)

SIDE_CODES: Final = {Side.LEFT: 0, Side.RIGHT: 1, Side.NONE: 2}
SIDES: Final = case({side.value: code for side, code in SIDE_CODES.items()}, value=ValueRow.side)

VALUES: Final = np.dtype(
    [
        ("runner", np.int64),
        ("visit", np.int64),
        ("metric", np.int64),
        ("side", np.int8),
        ("n", np.int64),
        ("mean", np.float64),
        ("sd", np.float64),
        ("marking_sd", np.float64),
    ]
)
MISSING: Final = ("runner", "visit", "metric", "side", "reason")
VISITS: Final = {
    "visit": "int64",
    "runner": "int64",
    "visited_on": "datetime64[s]",
    "session": "int64",
    "kind": "str",
    "next_due_on": "datetime64[s]",
    "speed_km_h": "float64",
    "incline_pct": "float64",
    "frames_per_s": "float64",
    "pain_today": "float64",
    "surface": "str",
    "footwear": "str",
    "view": "str",
    "assessor": "str",
}
TARGETS: Final = {
    "runner": "int64",
    "metric": "int64",
    "what": "int8",
    "direction": "int8",
    "amount": "float64",
    "due_on": "datetime64[s]",
}
TRIALS: Final = {"metric": "str", "side": "int8", "number": "int64", "reading": "float64"}
RUNNERS: Final = {
    "runner": "int64",
    "code": "str",
    "sex": "str",
    "birth_year": "float64",
    "discipline": "str",
    "registered_on": "datetime64[s]",
    "revision": "int64",
}


def values_frame(session: Session, runner_ids: Sequence[int] | None = None) -> pd.DataFrame:
    """Every value that was read, without its trials.

    Parameters
    ----------
    session : Session
    runner_ids : sequence of int or None
        Only those runners; None for all.

    Returns
    -------
    DataFrame, one row a value
        `runner`, `visit`, `metric` (ids, int64), `side` (int8: 0 left, 1 right, 2 none), `n`
        (int64, >= 1), `mean`, `sd` and `marking_sd` (float64 in the metric's unit; both SDs NaN
        where unknown).
        In no declared order.
    """
    query = (
        select(
            VisitRow.runner_id,
            ValueRow.visit_id,
            ValueRow.metric_id,
            SIDES,
            ValueRow.n_trials,
            ValueRow.mean,
            ValueRow.sd,
            ValueRow.marking_sd,
        )
        .join(VisitRow, VisitRow.id == ValueRow.visit_id)
        .where(ValueRow.mean.is_not(None))
    )
    rows = np.fromiter(plain_tuples(session, _of_runners(query, runner_ids)), dtype=VALUES)
    return pd.DataFrame({name: np.ascontiguousarray(rows[name]) for name in VALUES.names or ()})


def missing_frame(session: Session, runner_ids: Sequence[int] | None = None) -> pd.DataFrame:
    """Every value that is missing, with its reason.

    Returns
    -------
    DataFrame, one row a missing value
        `runner`, `visit`, `metric` (ids), `side` (0 left, 1 right, 2 none), `reason` (str).
    """
    query = (
        select(
            VisitRow.runner_id,
            ValueRow.visit_id,
            ValueRow.metric_id,
            SIDES,
            ValueRow.missing_reason,
        )
        .join(VisitRow, VisitRow.id == ValueRow.visit_id)
        .where(ValueRow.missing_reason.is_not(None))
    )
    kinds = dict(zip(MISSING, ("int64", "int64", "int64", "int8", "str"), strict=True))
    return framed(plain_tuples(session, _of_runners(query, runner_ids)), kinds)


def visits_frame(session: Session, runner_ids: Sequence[int] | None = None) -> pd.DataFrame:
    """Every visit with its conditions, by runner, day and session.

    Returns
    -------
    DataFrame, one row a visit
        `visit`, `runner` (ids), `visited_on`, `next_due_on` (datetime64, NaT where none),
        `session`, `kind` (str), `speed_km_h`, `incline_pct`, `frames_per_s`, `pain_today`
        (float64, NaN where not recorded), `surface`, `footwear`, `view`, `assessor` (str, ''
        where not recorded).
    """
    query = select(
        VisitRow.id,
        VisitRow.runner_id,
        VisitRow.visited_on,
        VisitRow.session,
        VisitRow.kind,
        VisitRow.next_due_on,
        VisitRow.speed_km_h,
        VisitRow.incline_pct,
        VisitRow.frames_per_s,
        VisitRow.pain_today,
        VisitRow.surface,
        VisitRow.footwear,
        VisitRow.view,
        VisitRow.assessor,
    ).order_by(VisitRow.runner_id, VisitRow.visited_on, VisitRow.session)
    return framed(plain_tuples(session, _of_runners(query, runner_ids)), VISITS)


def targets_frame(session: Session, runner_ids: Sequence[int] | None = None) -> pd.DataFrame:
    """Every target of every programme.

    Returns
    -------
    DataFrame, one row a target
        `runner`, `metric` (ids), `what` (0 left, 1 right, 2 none, 3 asymmetry), `direction`
        (position in `TargetDirection`), `amount` (> 0, in the metric's unit or that of its
        asymmetry), `due_on` (datetime64).
    """
    query = select(
        ProgrammeRow.runner_id,
        TargetRow.metric_id,
        position(TargetRow.what, TargetOn),
        position(TargetRow.direction, TargetDirection),
        TargetRow.amount,
        TargetRow.due_on,
    ).join(ProgrammeRow, ProgrammeRow.id == TargetRow.programme_id)
    if runner_ids is not None:
        query = query.where(ProgrammeRow.runner_id.in_([int(one) for one in runner_ids]))
    ordered = query.order_by(ProgrammeRow.runner_id, TargetRow.due_on, TargetRow.id)
    return framed(plain_tuples(session, ordered), TARGETS)


def trials_frame(session: Session, visit_id: int) -> pd.DataFrame:
    """Every trial of one visit.

    Returns
    -------
    DataFrame, one row a trial
        `metric` (key, str), `side` (0 left, 1 right, 2 none), `number` (from 1), `reading`
        (float64, in the metric's unit), in the catalogue's order.
    """
    query = (
        select(MetricRow.key, SIDES, TrialRow.number, TrialRow.reading)
        .join(ValueRow, ValueRow.id == TrialRow.value_id)
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .where(ValueRow.visit_id == visit_id)
        .order_by(MetricRow.position, MetricRow.key, SIDES, TrialRow.number)
    )
    return framed(plain_tuples(session, query), TRIALS)


def runners_frame(session: Session, clinic_id: int) -> pd.DataFrame:
    """Every runner of a clinic, by code; no direct identifiers.

    Returns
    -------
    DataFrame, one row a runner
        `runner` (id), `code`, `sex`, `birth_year` (float64, NaN where unknown), `discipline`,
        `registered_on` (datetime64), `revision`.
    """
    query = (
        select(
            RunnerRow.id,
            RunnerRow.code,
            RunnerRow.sex,
            RunnerRow.birth_year,
            RunnerRow.discipline,
            RunnerRow.registered_on,
            RunnerRow.revision,
        )
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(RunnerRow.code)
    )
    return framed(plain_tuples(session, query), RUNNERS)


def _of_runners(query: Select[*tuple[Any, ...]], runner_ids: Sequence[int] | None) -> Select[Any]:
    if runner_ids is None:
        return query
    return query.where(VisitRow.runner_id.in_([int(one) for one in runner_ids]))


def position(column: Any, words: type[StrEnum]) -> Any:
    """A column of words as their positions in an enum (null for a word that is none)."""
    return case({word.value: place for place, word in enumerate(words)}, value=column)


def plain_tuples(session: Session, query: Select[*tuple[Any, ...]]) -> Iterable[tuple[Any, ...]]:
    """What a query finds, as the driver gives it."""
    result = session.connection().execute(query)
    cursor = result.cursor
    rows: Iterable[tuple[Any, ...]] = () if cursor is None else cursor.fetchall()
    result.close()
    return rows


def framed(rows: Iterable[tuple[Any, ...]], kinds: dict[str, str]) -> pd.DataFrame:
    """Plain tuples as a frame with the columns and dtypes named."""
    columns = list(zip(*rows, strict=True)) or [()] * len(kinds)
    return pd.DataFrame(
        {
            name: _column(entries, kind)
            for (name, kind), entries in zip(kinds.items(), columns, strict=True)
        }
    )


def _column(entries: Sequence[Any], kind: str) -> Any:
    if kind.startswith("datetime64"):
        # SQLite gives days as ISO text, PostgreSQL as dates.
        days = [entry.isoformat() if isinstance(entry, date) else entry for entry in entries]
        return np.array(days, dtype="datetime64[D]").astype(kind)
    if kind == "str":
        return pd.array(list(entries), dtype="str")
    return np.array(entries, dtype=kind)
