"""Verdicts about programmes: each later visit against the visits before that programme.

The verdicts of a review are held against the visits before a runner's first programme. What a
later programme should change, or was predicted of it, is held against the visits before that
one, by the same judgement and the same errors.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from casebook.domain.verdicts import Verdict
from casebook.services.judging import JudgedRunners
from casebook.services.telling import every_verdict
from casebook.statistics.judgement import judge
from casebook.statistics.programme_effect import Span, phase_masks, starts_amid
from casebook.statistics.reference import mark_reference
from casebook.storage.cases import figures_in_force, metrics_by_id
from casebook.storage.frames import values_frame, visits_frame
from casebook.storage.session import Unit

EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedProgramme:
    """A programme whose changes are asked for."""

    programme_id: int
    runner_id: int
    started_on: date
    ended_on: date | None


def span_of(started_on: date, ended_on: date | None) -> Span:
    """A programme's days, counted since 1970."""
    end = None if ended_on is None else float((ended_on - EPOCH).days)
    return Span(start=float((started_on - EPOCH).days), end=end)


def judge_programmes(
    unit: Unit,
    asked: Sequence[AskedProgramme],
    every: Mapping[int, Sequence[AskedProgramme]],
) -> JudgedRunners:
    """Judge all visits of the runners once for each programme asked for.

    Parameters
    ----------
    asked : sequence of AskedProgramme
    every : mapping of int to sequence of AskedProgramme
        All programmes of each runner, by runner id: what lies before the end of an earlier one
        is no baseline of a later one.

    Returns
    -------
    JudgedRunners
        In its frames `runner` is the programme's id, and a visit has a number of its own for
        each programme.
    """
    by_id = metrics_by_id(unit)
    figures = figures_in_force(unit)
    runner_ids = sorted({one.runner_id for one in asked})
    visits, values = _fetched(unit, runner_ids)
    ids = np.fromiter(by_id, dtype=np.int64, count=len(by_id))
    values["metric"] = np.searchsorted(ids, values["metric"].to_numpy())
    # A visit can be before one programme and after another: each programme has its own copy.
    stride = int(visits["visit"].max()) + 1 if len(visits) else 1
    visit_parts, value_parts = [visits.iloc[:0]], [values.iloc[:0]]
    for turn, one in enumerate(asked):
        own = visits[visits["runner"] == one.runner_id].copy()
        others = [
            span_of(other.started_on, other.ended_on)
            for other in every.get(one.runner_id, ())
            if other.programme_id != one.programme_id
        ]
        span = span_of(one.started_on, one.ended_on)
        before, _, _ = phase_masks(own["day"].to_numpy(dtype=float), span, others)
        own["reference"] = before & own["counts"].to_numpy(dtype=bool)
        own["runner"] = one.programme_id
        own["visit"] += turn * stride
        read = values[values["runner"] == one.runner_id].copy()
        read["runner"] = one.programme_id
        read["visit"] += turn * stride
        if starts_amid(span, others):
            read = _last_before(read, own)
        visit_parts.append(own)
        value_parts.append(read)
    placed = pd.concat(visit_parts, ignore_index=True)
    metrics = tuple(by_id.values())
    return JudgedRunners(
        judged=judge(pd.concat(value_parts, ignore_index=True), placed, metrics, figures),
        visits=placed,
        metrics=metrics,
        metric_ids=tuple(by_id),
        figures=figures,
    )


def _last_before(read: pd.DataFrame, own: pd.DataFrame) -> pd.DataFrame:
    """Of each measure the last day of the baseline alone; everything later as it is."""
    placed = own.set_index("visit").loc[read["visit"], ["day", "reference"]]
    day = placed["day"].where(placed["reference"]).to_numpy(dtype=float)
    last = pd.Series(day).groupby([read["metric"].to_numpy(), read["side"].to_numpy()])
    kept: pd.DataFrame = read[np.isnan(day) | (day == last.transform("max").to_numpy())]
    return kept


def _fetched(unit: Unit, runner_ids: Sequence[int]) -> tuple[pd.DataFrame, pd.DataFrame]:
    no_starts = pd.Series(dtype="datetime64[ns]", index=np.array([], dtype=np.int64))
    return (
        mark_reference(visits_frame(unit, runner_ids), no_starts),
        values_frame(unit, runner_ids),
    )


def verdicts_by_programme(
    found: JudgedRunners, programme_ids: Iterable[int]
) -> dict[int, tuple[Verdict, ...]]:
    """Every verdict about each programme, one a later visit, metric and what, by programme."""
    told: dict[int, list[Verdict]] = {key: [] for key in programme_ids}
    for programme_id, verdict in every_verdict(found):
        told[programme_id].append(verdict)
    return {key: tuple(verdicts) for key, verdicts in told.items()}
