"""The outcomes of an audit's runners: one row a runner, metric and what it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from casebook.domain.audit import AuditChoice, Excluded
from casebook.domain.audit_outcomes import On
from casebook.domain.verdicts import Reason
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import NOT_YET, Members
from casebook.services.cohort_levels import ASYMMETRY, LEFT, ON_ASYMMETRY, RIGHT, SIDES
from casebook.statistics.caseload import MetricColumns, metric_columns
from casebook.statistics.change import RANGE
from casebook.statistics.codes import Codes, Flags, Floats, Whole, code_of
from casebook.statistics.cohort_outcomes import gain_of
from casebook.statistics.cohort_regression import (
    Aim,
    Spreads,
    expected_gain,
    expected_side,
    shrunken,
    spreads_of,
)
from casebook.statistics.levels import PUBLISHED

ONS = len(On)
# With these a change of the numbers is none of the runner, or none towards better or worse.
NO_COMPARISON = tuple(
    code_of(reason)
    for reason in (
        Reason.NOT_LIKE_FOR_LIKE,
        Reason.NO_BASELINE,
        Reason.FORMULA_REFUSED,
        Reason.CROSSED_OVER,
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRows:
    """Outcomes, one element a runner, metric and `On`, by metric, on and runner.

    Parameters
    ----------
    runner, metric : ndarray of int
        Positions in the cohort.
    on, call, moved : ndarray of int8
        Codes of `On`, `Call` and `SideMoved`.
    gain : ndarray of float
        Change towards better; NaN where neither way is better or there is no comparison (not
        like for like, no baseline, crossed over, formula refused).
    expected : ndarray of float
        Of that, what is to be expected by itself; NaN where not known.
    """

    runner: Whole
    metric: Whole
    on: Codes
    call: Codes
    moved: Codes
    gain: Floats
    expected: Floats

    def groups(self) -> Iterator[tuple[int, On, OutcomeRows]]:
        """The rows of each metric (its position) and `On`, in that order."""
        key = self.metric * ONS + self.on
        for start, end in runs_of(key):
            metric, on = divmod(int(key[start]), ONS)
            yield metric, tuple(On)[on], self.at(slice(start, end))

    def at(self, rows: Any) -> OutcomeRows:
        """Some of the rows."""
        return OutcomeRows(**{one.name: getattr(self, one.name)[rows] for one in fields(self)})


def runs_of(key: Whole) -> list[tuple[int, int]]:
    """Where each run of equal keys (0 or more) begins and ends."""
    starts = np.flatnonzero(np.diff(key, prepend=-1)).tolist()
    return list(zip(starts, [*starts[1:], key.size], strict=True)) if starts else []


def chosen_metrics(loaded: LoadedCohort, choice: AuditChoice) -> Flags:
    """Which metrics are told, by position in the cohort's."""
    if not choice.metrics:
        return np.ones(len(loaded.metrics), dtype=np.bool_)
    return np.array([metric.key in choice.metrics for metric in loaded.metrics], dtype=np.bool_)


def outcome_rows(loaded: LoadedCohort, members: Members, metrics: Flags) -> OutcomeRows:
    """Outcome of each reviewed runner at the visit that tells it.

    Parameters
    ----------
    loaded : LoadedCohort
    members : Members
    metrics : ndarray of bool, shape (metrics,)
        Which are told.

    Returns
    -------
    OutcomeRows
        A side of which it is not known whether it was the worse one has none.
    """
    levels, references = loaded.levels, loaded.references
    visit, metric = levels["visit"].to_numpy(), levels["metric"].to_numpy()
    told = np.zeros(len(loaded.visits), dtype=np.bool_)
    told[members.outcome_visit[members.outcome_visit >= 0]] = True
    rows = np.flatnonzero(told[visit] & metrics[metric] & (levels["ref"].to_numpy() >= 0))
    ref = levels["ref"].to_numpy()[rows]
    on = references["on"].to_numpy()[ref]
    order = np.lexsort((metric[rows] * ONS + on,))
    order = order[on[order] >= 0]
    rows, ref, on = rows[order], ref[order], on[order]
    at = metric[rows].astype(np.int64)
    aim = _aim(metric_columns(loaded.metrics), at, on)
    baseline = references["baseline"].to_numpy()[ref]
    comparable = ~np.isin(levels["reason"].to_numpy()[rows], NO_COMPARISON)
    gain = gain_of(baseline, levels["value"].to_numpy()[rows], aim.better, aim.low, aim.high)
    return OutcomeRows(
        runner=levels["runner"].to_numpy()[rows].astype(np.int64),
        metric=at,
        on=on,
        call=levels["call"].to_numpy()[rows],
        moved=levels["moved"].to_numpy()[rows],
        gain=np.where(comparable, gain, np.nan),
        expected=_expected(
            loaded, ref, _known_sem(levels, rows), aim, _population(loaded, members)
        ),
    )


def _population(loaded: LoadedCohort, members: Members) -> Flags:
    """Runners from whom the clinic's spread is taken: all whose baseline may be seen by then."""
    refused = np.isin(members.excluded, (NOT_YET, code_of(Excluded.NO_CONSENT)))
    ended: Flags = loaded.runners["baseline_last_day"].to_numpy() <= members.as_of
    return ended & ~refused


def _aim(columns: MetricColumns, metric: Whole, on: Codes) -> Aim:
    asymmetry = on == ON_ASYMMETRY
    return Aim(
        better=np.where(asymmetry, RANGE, columns.better[metric]).astype(np.int8),
        low=np.where(asymmetry, 0.0, columns.low[metric]),
        high=np.where(asymmetry, 0.0, columns.high[metric]),
    )


def _known_sem(frame: Any, rows: Any) -> Floats:
    """SEM of some rows of levels or baselines; NaN where it is only a lower bound."""
    origin = frame["origin"].to_numpy()[rows]
    sem = frame["sem"].to_numpy()[rows].astype(np.float64)
    return np.where(origin <= PUBLISHED, sem, np.nan)


def _expected(loaded: LoadedCohort, ref: Whole, sem: Floats, aim: Aim, population: Flags) -> Floats:
    """Gain to be expected by itself, from where a population of the clinic's runners started."""
    references = loaded.references
    runner = references["runner"].to_numpy()
    metric = references["metric"].to_numpy().astype(np.int64)
    what = references["what"].to_numpy().astype(np.int64)
    baseline = references["baseline"].to_numpy()
    sems = _known_sem(references, slice(None))
    counted = np.where(population[runner], sems, np.nan)
    groups = len(loaded.metrics)
    whole = spreads_of(baseline, counted, metric * SIDES + what, groups * SIDES)
    at = metric[ref] * SIDES + what[ref]
    expected, variance = shrunken(baseline[ref], sems[ref], whole.mean[at], whole.true[at])

    # Rows come by runner, metric and what: the right side stands after its left one.
    left = np.flatnonzero((what[:-1] == LEFT) & (what[1:] == RIGHT) & (metric[:-1] == metric[1:]))
    left = left[runner[left] == runner[left + 1]]
    other = np.full(metric.size, -1, dtype=np.int64)
    other[left], other[left + 1] = left + 1, left
    error = np.hypot(counted[left], counted[left + 1])
    middle = spreads_of(
        (baseline[left] + baseline[left + 1]) / 2.0, error / 2.0, metric[left], groups
    )
    gap = spreads_of(baseline[left + 1] - baseline[left], error, metric[left], groups)
    sided = np.flatnonzero((what[ref] != ASYMMETRY) & (other[ref] >= 0))
    side = ref[sided]
    # The gap is right minus left; seen from the left side it is the other way round.
    sign = np.where(what[side] == RIGHT, 1.0, -1.0)
    expected[sided], variance[sided] = expected_side(
        baseline[side],
        baseline[other[side]],
        sems[side],
        sems[other[side]],
        Spreads(mean=middle.mean[metric[side]], true=middle.true[metric[side]]),
        Spreads(mean=sign * gap.mean[metric[side]], true=gap.true[metric[side]]),
    )
    return expected_gain(baseline[ref], expected, variance, sem, aim)
