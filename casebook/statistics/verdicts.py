"""Verdicts on a whole caseload: every later visit against the runner's reference visits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.metrics import Better
from casebook.domain.verdicts import Reason, SideMoved
from casebook.statistics.asymmetry import Refused
from casebook.statistics.caseload import MetricColumns, VisitColumns
from casebook.statistics.change import (
    CANNOT_SAY,
    CROSSED,
    ONLY_WITHIN,
    UNCHANGED,
    beyond_own_error,
    call_asymmetry,
    call_side,
    crossed_over,
    distance_to_range,
    p_better,
    reference_means,
    settle,
    which_side_moved,
    worse_side,
)
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Masks, Whole, code_of
from casebook.statistics.error import mdc_between
from casebook.statistics.levels import ASYMMETRY, NO_FIGURE, PUBLISHED, SIDES, WITHIN, Levels
from casebook.statistics.like_for_like import ConditionColumns, conditions_that_differ


@dataclass(frozen=True, slots=True, kw_only=True)
class References:
    """Mean of the reference visits of each group (runner, metric, side).

    Parameters
    ----------
    value, sem : ndarray of float
        NaN where there is none.
    visits : ndarray of int
        Reference visits averaged.
    origin, refused : ndarray of int8
        The worst error origin of them; the refusal code where no asymmetry could be told.
    bridged, too_few : ndarray of bool
        True where that holds for any of them.
    figure : ndarray of int
    """

    value: Floats
    sem: Floats
    visits: Whole
    origin: Codes
    figure: Whole
    refused: Codes
    bridged: Flags
    too_few: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """Verdicts as arrays, one element a verdict; `level` is the position of its level.

    `left`, `right` are the positions of the verdicts on the two sides behind an asymmetry,
    -1 elsewhere. `worse` tells the side that was the worse one: 1 right, -1 left, 0 unknown.
    """

    level: Whole
    metric: Whole
    what: Codes
    baseline: Floats
    baseline_sem: Floats
    baseline_visits: Whole
    latest: Floats
    latest_sem: Floats
    se_change: Floats
    mdc95: Floats
    call: Codes
    reason: Codes
    gate: Codes
    moved: Codes
    worse: Codes
    origin: Codes
    figure: Whole
    bridged: Flags
    refused: Codes
    differs: Masks
    not_recorded: Masks
    p_better: Floats
    left: Whole
    right: Whole

    def known(self) -> Flags:
        """True where nothing forbids a verdict and the error is one between sessions."""
        return (self.gate == NOTHING) & (self.origin <= PUBLISHED)


def references_of(levels: Levels, visits: VisitColumns, group_count: int) -> References:
    """Mean of the reference visits of each group.

    Parameters
    ----------
    levels : Levels
    visits : VisitColumns
    group_count : int
        Runners times metrics times four.

    Returns
    -------
    References
        Asymmetries that were refused are left out of the mean.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    is_reference = visits.reference[levels.visit_at]
    fine = levels.refused == Refused.FINE
    rows = np.flatnonzero(is_reference & fine)
    group = levels.group[rows]
    value, sem, count = reference_means(levels.value[rows], levels.sem[rows], group, group_count)
    origin = np.zeros(group_count, dtype=np.int8)
    np.maximum.at(origin, group, levels.origin[rows])
    figure = np.full(group_count, NOTHING, dtype=np.int64)
    figure[group] = levels.figure[rows]
    refused = np.zeros(group_count, dtype=np.int8)
    bad = np.flatnonzero(is_reference & ~fine)
    refused[levels.group[bad]] = levels.refused[bad]
    return References(
        value=value,
        sem=sem,
        visits=count,
        origin=origin,
        figure=figure,
        refused=np.where(count > 0, np.int8(Refused.FINE), refused),
        bridged=_any(group[levels.bridged[rows]], group_count),
        too_few=_any(group[levels.too_few[rows]], group_count),
    )


def verdicts_of(
    levels: Levels,
    visits: VisitColumns,
    conditions: ConditionColumns,
    metrics: MetricColumns,
    references: References,
) -> Verdicts:
    """Verdict on every level of the visits after the runner's last reference visit.

    Parameters
    ----------
    levels : Levels
    visits : VisitColumns
    conditions : ConditionColumns
        In the order of `visits`.
    metrics : MetricColumns
    references : References

    Returns
    -------
    Verdicts

    References
    ----------
    [Jacobson1991], [Weir2005], [Gelman2013]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    rows = np.flatnonzero(visits.later[levels.visit_at])
    metric, what, group = levels.metric[rows], levels.what[rows], levels.group[rows]
    reference, latest = references.value[group], levels.value[rows]
    sem_reference, sem_latest = references.sem[group], levels.sem[rows]
    mdc = mdc_between(sem_reference, sem_latest)
    differs, not_recorded = _unlike(levels, visits, conditions, rows, metrics.form.size)
    origin = np.maximum(levels.origin[rows], references.origin[group])
    refused = np.maximum(levels.refused[rows], references.refused[group])
    gate = _gate(
        refused=refused != Refused.FINE,
        no_baseline=references.visits[group] == 0,
        no_figure=origin == NO_FIGURE,
        too_few=levels.too_few[rows] | references.too_few[group],
        unlike=(differs & metrics.sensitive[metric]) != 0,
    )

    of_pair = what == ASYMMETRY
    # Nearer to nothing is better for an asymmetry, whatever is better for the sides.
    better = np.where(of_pair, np.int8(code_of(Better.RANGE)), metrics.better[metric])
    low = np.where(of_pair, 0.0, metrics.low[metric])
    high = np.where(of_pair, 0.0, metrics.high[metric])
    bare_call, bare_reason = call_side(reference, latest, mdc, better, low, high)
    pairs = np.flatnonzero(of_pair)
    bare_call[pairs], bare_reason[pairs] = call_asymmetry(
        reference[pairs], latest[pairs], sem_reference[pairs], sem_latest[pairs], mdc[pairs]
    )
    call, reason = settle(bare_call, bare_reason, gate, origin == WITHIN)
    directed = beyond_own_error(reference, sem_reference)
    chance = p_better(reference, latest, np.hypot(sem_reference, sem_latest), better, low, high)
    told = (call != CANNOT_SAY) & (origin <= PUBLISHED) & (directed | ~of_pair)

    left, right = _sides_of_pairs(levels, rows)
    one, other = left[pairs], right[pairs]
    outside = distance_to_range(reference, metrics.low[metric], metrics.high[metric])
    worse, moved = np.zeros(rows.size, dtype=np.int8), np.full(rows.size, NOTHING, dtype=np.int8)
    worse[pairs] = worse_side(
        reference[pairs],
        directed[pairs],
        metrics.better[metric[pairs]],
        outside[one],
        outside[other],
    )
    # Within a lower bound of its error a side has not moved; beyond it nothing can be told.
    known = (gate == NOTHING) & ((origin <= PUBLISHED) | (bare_call == UNCHANGED))
    by_side = which_side_moved(
        worse[pairs], bare_call[one], bare_call[other], known[one], known[other]
    )
    crossed = (bare_reason[pairs] == CROSSED) | crossed_over(
        reference[pairs], latest[pairs], sem_reference[pairs], sem_latest[pairs]
    )
    silent = (gate[pairs] != NOTHING) | (reason[pairs] == ONLY_WITHIN)
    moved[pairs] = np.select([silent, crossed], [NOTHING, code_of(SideMoved.CROSSED_OVER)], by_side)
    return Verdicts(
        level=rows,
        metric=metric,
        what=what,
        baseline=reference,
        baseline_sem=sem_reference,
        baseline_visits=references.visits[group],
        latest=latest,
        latest_sem=sem_latest,
        se_change=np.hypot(sem_reference, sem_latest),
        mdc95=mdc,
        call=call,
        reason=reason,
        gate=gate,
        moved=moved,
        worse=worse,
        origin=origin,
        figure=np.maximum(levels.figure[rows], references.figure[group]),
        bridged=levels.bridged[rows] | references.bridged[group],
        refused=refused,
        differs=differs,
        not_recorded=not_recorded,
        p_better=np.where(told, chance, np.nan),
        left=left,
        right=right,
    )


def _sides_of_pairs(levels: Levels, rows: Whole) -> tuple[Whole, Whole]:
    row_of_level = np.full(levels.value.size, NOTHING, dtype=np.int64)
    row_of_level[rows] = np.arange(rows.size)
    left, right = levels.left[rows], levels.right[rows]
    return (
        np.where(left >= 0, row_of_level[left], NOTHING),
        np.where(right >= 0, row_of_level[right], NOTHING),
    )


def _gate(
    *, refused: Flags, no_baseline: Flags, no_figure: Flags, too_few: Flags, unlike: Flags
) -> Codes:
    """The first reason that forbids a verdict, -1 where none does."""
    return np.select(
        [refused, no_baseline, no_figure, too_few, unlike],
        [
            code_of(reason)
            for reason in (
                Reason.FORMULA_REFUSED,
                Reason.NO_BASELINE,
                Reason.NO_ERROR_FIGURE,
                Reason.FEWER_TRIALS_THAN_FIGURE,
                Reason.NOT_LIKE_FOR_LIKE,
            )
        ],
        NOTHING,
    ).astype(np.int8)


def _unlike(
    levels: Levels,
    visits: VisitColumns,
    conditions: ConditionColumns,
    rows: Whole,
    metric_count: int,
) -> tuple[Masks, Masks]:
    """What differs from any reference visit at which the same thing was measured."""
    width = metric_count * SIDES
    measured = np.zeros(visits.visit.size * width, dtype=np.bool_)
    within_visit = levels.metric * SIDES + levels.what
    measured[levels.visit_at * width + within_visit] = levels.refused == Refused.FINE
    reference_at = np.flatnonzero(visits.reference)
    count = np.bincount(visits.runner_at[reference_at], minlength=visits.runner_count)
    first = np.cumsum(count) - count
    differs = np.zeros(rows.size, dtype=np.uint8)
    not_recorded = np.zeros(rows.size, dtype=np.uint8)
    visit_of_row = levels.visit_at[rows]
    within_row = within_visit[rows]
    left = np.arange(rows.size)
    mask_of_visit = np.zeros((2, visits.visit.size), dtype=np.uint8)
    # A runner has few reference visits: one round for the first of each runner, one for the
    # second of those who have it, and so on.
    for rank in range(int(count.max(initial=0))):
        later = np.flatnonzero(visits.later & (count[visits.runner_at] > rank))
        pair = reference_at[first[visits.runner_at[later]] + rank]
        mask_of_visit[:, later] = conditions_that_differ(conditions, pair, later)
        left = left[count[visits.runner_at[visit_of_row[left]]] > rank]
        visit = visit_of_row[left]
        its_reference = reference_at[first[visits.runner_at[visit]] + rank]
        compared = measured[its_reference * width + within_row[left]]
        differs[left] |= np.where(compared, mask_of_visit[0, visit], np.uint8(0))
        not_recorded[left] |= np.where(compared, mask_of_visit[1, visit], np.uint8(0))
    return differs, not_recorded


def _any(groups: Whole, group_count: int) -> Flags:
    found = np.zeros(group_count, dtype=np.bool_)
    found[groups] = True
    return found
