"""Verdicts on a whole caseload: every later visit against the runner's reference visits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.verdicts import Reason, SideMoved
from casebook.statistics.asymmetry import Refused
from casebook.statistics.asymmetry_change import (
    CROSSED,
    beyond_own_error,
    call_asymmetry,
    crossed_over,
    which_side_moved,
    worse_side,
)
from casebook.statistics.caseload import MetricColumns, VisitColumns
from casebook.statistics.change import (
    CANNOT_SAY,
    ONLY_WITHIN,
    RANGE,
    UNCHANGED,
    call_side,
    distance_to_range,
    p_gain,
    reference_means,
    settle,
)
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Masks, Whole, code_of
from casebook.statistics.error import mdc_between, z_two_sided
from casebook.statistics.levels import ASYMMETRY, NO_FIGURE, PUBLISHED, SIDES, WITHIN, Levels
from casebook.statistics.like_for_like import ConditionColumns, conditions_that_differ

# Keeps a mean of grades such as 7/3 - 4/3 on the near side of the step 1 that it equals.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Baselines:
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
    `told` is False where it cannot be said whether the value moved beyond its error.
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
    p_important: Floats
    told: Flags
    left: Whole
    right: Whole

    def known(self) -> Flags:
        """True where nothing forbids a verdict and the standard error between sessions is known.

        Never of a grade, which has no standard error.
        """
        known: Flags = (
            (self.gate == NOTHING) & (self.origin <= PUBLISHED) & np.isfinite(self.se_change)
        )
        return known


def baselines_of(levels: Levels, visits: VisitColumns, group_count: int) -> Baselines:
    """Mean of the reference visits of each group.

    Parameters
    ----------
    levels : Levels
    visits : VisitColumns
    group_count : int
        Runners times metrics times four.

    Returns
    -------
    Baselines
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
    return Baselines(
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
    baselines: Baselines,
) -> Verdicts:
    """Verdict on every level of the visits after the runner's last reference visit.

    Parameters
    ----------
    levels : Levels
    visits : VisitColumns
    conditions : ConditionColumns
        In the order of `visits`.
    metrics : MetricColumns
    baselines : Baselines

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
    differs, not_recorded = _unlike(levels, visits, conditions, rows, metrics.form.size)
    origin = np.maximum(levels.origin[rows], baselines.origin[group])
    refused = np.maximum(levels.refused[rows], baselines.refused[group])
    gate = _gate(
        refused=refused != Refused.FINE,
        no_baseline=baselines.visits[group] == 0,
        no_figure=origin == NO_FIGURE,
        too_few=levels.too_few[rows] | baselines.too_few[group],
        unlike=(differs & metrics.sensitive[metric]) != 0,
    )
    baseline_sem, latest_sem = baselines.sem[group], levels.sem[rows]
    step = levels.steps[metric, what]
    graded = np.isfinite(step)
    se = np.hypot(baseline_sem, latest_sem)
    mdc = np.where(graded, step, mdc_between(baseline_sem, latest_sem))
    # An asymmetry of grades has a direction when it is larger than the step.
    direction = (step + ROUNDING) / z_two_sided()
    pair = _Pair(
        metric=metric,
        reference=baselines.value[group],
        latest=levels.value[rows],
        sem_reference=np.where(graded, direction, baseline_sem),
        sem_latest=np.where(graded, direction, latest_sem),
        se=se,
        limit=np.where(graded, step + ROUNDING, mdc),
    )
    of_asymmetry = what == ASYMMETRY
    bare_call, bare_reason, chance, large = _bare_verdict(pair, of_asymmetry, metrics)
    call, reason = settle(bare_call, bare_reason, gate, origin == WITHIN)
    has_chance = (call != CANNOT_SAY) & (origin <= PUBLISHED)

    left, right = _sides_of_pairs(levels, rows)
    worse = _worse_sides(pair, of_asymmetry, left, right, metrics)
    # Within a lower bound of its error a side has not moved; beyond it nothing can be told.
    told = (gate == NOTHING) & ((origin <= PUBLISHED) | (bare_call == UNCHANGED))
    by_side = which_side_moved(worse, bare_call[left], bare_call[right], told[left], told[right])
    crossed = (bare_reason == CROSSED) | crossed_over(
        pair.reference, pair.latest, pair.sem_reference, pair.sem_latest
    )
    silent = ~of_asymmetry | (gate != NOTHING) | (reason == ONLY_WITHIN)
    moved = np.select([silent, crossed], [NOTHING, code_of(SideMoved.CROSSED_OVER)], by_side)
    return Verdicts(
        level=rows,
        metric=metric,
        what=what,
        baseline=pair.reference,
        baseline_sem=baseline_sem,
        baseline_visits=baselines.visits[group],
        latest=pair.latest,
        latest_sem=latest_sem,
        se_change=se,
        mdc95=mdc,
        call=call,
        reason=reason,
        gate=gate,
        moved=moved.astype(np.int8),
        worse=worse,
        origin=origin,
        figure=np.maximum(levels.figure[rows], baselines.figure[group]),
        bridged=levels.bridged[rows] | baselines.bridged[group],
        refused=refused,
        differs=differs,
        not_recorded=not_recorded,
        p_better=np.where(has_chance, chance, np.nan),
        p_important=np.where(has_chance, large, np.nan),
        told=told,
        left=left,
        right=right,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """The two means behind each verdict, with their errors and the limit of no change."""

    metric: Whole
    reference: Floats
    latest: Floats
    sem_reference: Floats
    sem_latest: Floats
    se: Floats
    limit: Floats


def _bare_verdict(
    pair: _Pair, of_asymmetry: Flags, metrics: MetricColumns
) -> tuple[Codes, Codes, Floats, Floats]:
    """Call, reason, chance of being better and of being so by an important amount."""
    # Nearer to nothing is better for an asymmetry, whatever is better for the sides.
    better = np.where(of_asymmetry, np.int8(RANGE), metrics.better[pair.metric])
    low = np.where(of_asymmetry, 0.0, metrics.low[pair.metric])
    high = np.where(of_asymmetry, 0.0, metrics.high[pair.metric])
    call, reason = call_side(pair.reference, pair.latest, pair.limit, better, low, high)
    rows = np.flatnonzero(of_asymmetry)
    call[rows], reason[rows] = call_asymmetry(
        pair.reference[rows],
        pair.latest[rows],
        pair.sem_reference[rows],
        pair.sem_latest[rows],
        pair.limit[rows],
    )
    chance = p_gain(pair.reference, pair.latest, pair.se, better, low, high)
    undirected = of_asymmetry & ~beyond_own_error(pair.reference, pair.sem_reference)
    # The important change is one of the value itself, not of the difference of sides.
    least = np.where(of_asymmetry, np.nan, metrics.important[pair.metric])
    rows = np.flatnonzero(np.isfinite(least))
    large = np.full(least.size, np.nan)
    large[rows] = p_gain(
        pair.reference[rows],
        pair.latest[rows],
        pair.se[rows],
        better[rows],
        low[rows],
        high[rows],
        least=least[rows],
    )
    return call, reason, np.where(undirected, np.nan, chance), large


def _worse_sides(
    pair: _Pair, of_asymmetry: Flags, left: Whole, right: Whole, metrics: MetricColumns
) -> Codes:
    low, high = metrics.low[pair.metric], metrics.high[pair.metric]
    outside = distance_to_range(pair.reference, low, high)
    directed = of_asymmetry & beyond_own_error(pair.reference, pair.sem_reference)
    return worse_side(
        pair.reference, directed, metrics.better[pair.metric], outside[left], outside[right]
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
