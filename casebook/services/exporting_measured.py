"""Visits and what was measured at them, for some runners at a time, before it is written out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.export_tables import OTHER
from casebook.domain.exporting import ExportKey, ExportSettings, Kind
from casebook.domain.metrics import ErrorFigure, Metric
from casebook.statistics.codes import Whole
from casebook.statistics.judgement import Judged, judge
from casebook.statistics.reference import mark_reference
from casebook.storage import export_rows
from casebook.storage.cases import first_programme_starts
from casebook.storage.frames import missing_frame, values_frame, visits_frame
from casebook.storage.session import Unit

SPEED_STEP_KM_H: Final = 0.5
# What is rounded coarser than it would be read is drawn in to what k runners reach.
CONDITIONS: Final = (("speed_km_h", SPEED_STEP_KM_H), ("incline_pct", 1.0), ("frames_per_s", 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Measuring:
    """What is the same for all runners.

    Parameters
    ----------
    metrics : tuple of Metric
        Those that leave, by key.
    ids : ndarray of int, shape (metrics,)
        Their ids in the store.
    ends : mapping of str to (float, float)
        Lowest and highest number of each condition that k runners reach, already rounded.
    clinicians : mapping of str to str
        Pseudonym, or 'other', by code; empty where they do not leave.
    region_exact, side_exact : frozenset of int
        Ids of runners of whom the complaint's region, or side, leaves as recorded.
    """

    settings: ExportSettings
    key: ExportKey
    first: Mapping[int, date]
    metrics: tuple[Metric, ...]
    ids: Whole
    figures: tuple[ErrorFigure, ...]
    ends: Mapping[str, tuple[float, float]]
    clinicians: Mapping[str, str]
    region_exact: frozenset[int]
    side_exact: frozenset[int]


def ends_of(
    unit: Unit, ids: Sequence[int], settings: ExportSettings
) -> dict[str, tuple[float, float]]:
    """How far out k runners are, for each condition that could tell one of them.

    Everybody is rounded alike before it is counted: an end that were rounded further out would be
    left to those alone who went beyond it. Where k runners reach neither end, all are drawn
    together.
    """
    leaving = set(ids)
    found = {}
    for column, step in CONDITIONS:
        lowest: dict[int, float] = {}
        highest: dict[int, float] = {}
        pairs = export_rows.condition_pairs(unit, column, until=settings.as_of)
        for runner_id, read in pairs:
            number = _to_step(read, step)
            if runner_id in leaving:
                lowest[runner_id] = min(number, lowest.get(runner_id, number))
                highest[runner_id] = max(number, highest.get(runner_id, number))
        if len(lowest) >= settings.k:
            low = sorted(lowest.values())[settings.k - 1]
            high = sorted(highest.values())[-settings.k]
            found[column] = (low, max(low, high))
    return found


def _to_step(number: float, step: float) -> float:
    return round(number / step) * step


def clinicians_of(
    unit: Unit, ids: Sequence[int], settings: ExportSettings, key: ExportKey
) -> dict[str, str]:
    """Pseudonym of each clinician with k runners or more; 'other' where those others have k."""
    if not settings.clinicians:
        return {}
    leaving = set(ids)
    runners: defaultdict[str, set[int]] = defaultdict(set)
    for runner_id, code in export_rows.assessors(unit, until=settings.as_of):
        if runner_id in leaving:
            runners[code].add(runner_id)
    few = {code for code, own in runners.items() if len(own) < settings.k}
    together = set().union(*(runners[code] for code in few)) if few else set()
    named = {
        code: key.pseudonym(Kind.CLINICIAN, code) for code in sorted(runners) if code not in few
    }
    return named | (dict.fromkeys(few, OTHER) if len(together) >= settings.k else {})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """Some runners' visits with what was read and judged.

    Parameters
    ----------
    visits : DataFrame
        In the runners' order, as `mark_reference` gives them.
    starts : Series of datetime64
        First programme's start by runner id.
    place : Series of int
        Row of each visit by its id.
    values, missing : DataFrame
        With `metric` as position in the metrics.
    """

    ids: Sequence[int]
    visits: pd.DataFrame
    starts: pd.Series
    place: pd.Series
    values: pd.DataFrame
    missing: pd.DataFrame
    judged: Judged


def measured_of(unit: Unit, about: Measuring, ids: Sequence[int]) -> Measured | None:
    """Visits up to the day, values of the metrics that leave, and verdicts of some runners.

    Parameters
    ----------
    ids : sequence of int
        In the order in which they leave.

    Returns
    -------
    Measured or None
        None where nobody of them had a visit.
    """
    starts = _starts(unit, about, ids)
    visits = _visits(unit, about, ids, starts)
    if visits.empty:
        return None
    place = pd.Series(np.arange(len(visits)), index=visits["visit"])
    values = _of_metrics(about, values_frame(unit, ids), place)
    return Measured(
        ids=ids,
        visits=visits,
        starts=starts,
        place=place,
        values=values,
        missing=_of_metrics(about, missing_frame(unit, ids), place),
        judged=judge(values, visits, about.metrics, about.figures),
    )


def _starts(unit: Unit, about: Measuring, ids: Sequence[int]) -> pd.Series:
    starts = {
        runner_id: start
        for runner_id, start in first_programme_starts(unit, ids).items()
        if start <= about.settings.as_of
    }
    return pd.Series(
        pd.to_datetime(pd.Series(list(starts.values()), dtype="object")).to_numpy(
            dtype="datetime64[ns]"
        ),
        index=np.fromiter(starts, dtype=np.int64, count=len(starts)),
    )


def _visits(unit: Unit, about: Measuring, ids: Sequence[int], starts: pd.Series) -> pd.DataFrame:
    """Visits up to the day, in the runners' order, with the baseline marked."""
    frame = visits_frame(unit, ids)
    frame = frame[frame["visited_on"] <= pd.Timestamp(about.settings.as_of)]
    marked = mark_reference(frame, starts)
    rank = pd.Series(np.arange(len(ids)), index=pd.Index(ids))
    order = np.argsort(rank.reindex(marked["runner"]).to_numpy(), kind="stable")
    return marked.iloc[order].reset_index(drop=True)


def _of_metrics(about: Measuring, frame: pd.DataFrame, place: pd.Series) -> pd.DataFrame:
    kept = frame["visit"].isin(place.index) & frame["metric"].isin(about.ids)
    frame = frame[kept].reset_index(drop=True)
    frame["metric"] = np.searchsorted(about.ids, frame["metric"].to_numpy())
    return frame
