"""The one-sided tests of a caseload's visits, from which flags are raised."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.metrics import Better
from casebook.domain.verdicts import FlagKind, SideMoved
from casebook.statistics.caseload import MetricColumns
from casebook.statistics.change import IMPROVED, WORSENED, loss_of
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Whole, code_of
from casebook.statistics.earlier import Earlier
from casebook.statistics.flagging import (
    FALSE_DISCOVERY_RATE,
    LARGEST_P,
    combined_p,
    p_growth,
    p_worse,
    q_values,
)
from casebook.statistics.levels import ASYMMETRY, SIDES, Levels
from casebook.statistics.targets import TargetTests
from casebook.statistics.verdicts import Verdicts

NO_BETTER = code_of(Better.NONE)
LOWER = code_of(Better.LOWER)
CROSSED_OVER = code_of(SideMoved.CROSSED_OVER)
# Keeps decimal fractions such as 3.3 - 1.3 on the side of the important change 2 they equal.
ROUNDING = 1e-9
ABOVE_BASELINE, ABOVE_BEST, DRIFT, TARGET_MISSED, BETTER_SIDE_FELL, SYMPTOM_UP = (
    code_of(kind) for kind in FlagKind
)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitTests:
    """Tests of visits, one element a test.

    Parameters
    ----------
    verdict : ndarray of int
        Position of the verdict that the test stands behind.
    kind : ndarray of int8
        Codes of `FlagKind`.
    source : ndarray of int
        Position in what the kind is tested on (`Earlier`, `TargetTests`); for a better side
        that fell that of its own verdict; -1 for the other kinds.
    p : ndarray of float
        NaN where the error is not known; such a test counts in no family.
    q : ndarray of float
        Of the metric at the visit; of a target among those due at the visit.
    flagged : ndarray of bool
    units_at : ndarray of int, shape (units,)
        Position of the visit of each metric that was tested, targets left out.
    """

    verdict: Whole
    kind: Codes
    source: Whole
    p: Floats
    q: Floats
    flagged: Flags
    units_at: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """Tests of one kind; `worse` says whether the numbers allow to name it."""

    kind: int
    verdict: Whole
    source: Whole
    p: Floats
    worse: Flags


def tests_of(
    verdicts: Verdicts,
    levels: Levels,
    metrics: MetricColumns,
    earlier: Earlier,
    targets: TargetTests,
) -> VisitTests:
    """All tests of all later visits, with their q-values and whether they raise a flag.

    Parameters
    ----------
    verdicts : Verdicts
    levels : Levels
    metrics : MetricColumns
    earlier : Earlier
    targets : TargetTests

    Returns
    -------
    VisitTests
        The kinds of one metric at one visit are combined into one p-value, and those of the
        metrics of the visit are one family. Where a metric stands out, each kind whose own
        p-value is small enough is flagged. Targets are a family of their own: in a runner
        who does not change a target is truly missed, and the flag is right.

    References
    ----------
    [Benjamini1995], [Simes1986]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    verdict_of_level = np.full(levels.value.size, NOTHING, dtype=np.int64)
    verdict_of_level[verdicts.level] = np.arange(verdicts.level.size)
    parts = (
        _growth(verdicts),
        *_from_earlier(earlier, levels, verdict_of_level),
        _better_side_fell(verdicts, metrics),
        _symptoms(verdicts, metrics),
    )
    verdict = np.concatenate([part.verdict for part in parts])
    kind = np.repeat([part.kind for part in parts], [part.verdict.size for part in parts])
    p = np.concatenate([part.p for part in parts])
    q, chosen, units_at = _of_metrics(verdicts, levels, metrics.form.size, verdict, kind, p)
    worse = np.concatenate([part.worse for part in parts])
    target_q = q_values(targets.p, levels.visit_at[verdicts.level[targets.verdict]])
    return VisitTests(
        verdict=np.concatenate([verdict, targets.verdict]),
        kind=np.concatenate([kind, np.full(targets.p.size, TARGET_MISSED)]).astype(np.int8),
        source=np.concatenate([*(part.source for part in parts), np.arange(targets.p.size)]),
        p=np.concatenate([p, targets.p]),
        q=np.concatenate([q, target_q]),
        flagged=np.concatenate(
            [
                worse & ((chosen & (p <= LARGEST_P)) | np.isnan(p)),
                (targets.p <= LARGEST_P) & (target_q <= FALSE_DISCOVERY_RATE),
            ]
        ),
        units_at=units_at,
    )


def _of_metrics(
    verdicts: Verdicts, levels: Levels, metric_count: int, verdict: Whole, kind: Whole, p: Floats
) -> tuple[Floats, Flags, Whole]:
    """The q-value of each test's metric, whether that stands out, and the metrics' visits."""
    tested = np.flatnonzero(np.isfinite(p))
    at = verdict[tested]
    unit = levels.visit_at[verdicts.level[at]] * metric_count + verdicts.metric[at]
    # A symptom on two sides is two tests of one kind.
    kind_and_side = kind[tested] * SIDES + verdicts.what[at]
    units, combined = combined_p(p[tested], unit, kind_and_side)
    visit_at = units // max(metric_count, 1)
    q_of_unit = q_values(combined, visit_at)
    sure = (combined <= LARGEST_P) & (q_of_unit <= FALSE_DISCOVERY_RATE)
    place = np.searchsorted(units, unit)
    q, chosen = np.full(p.size, np.nan), np.zeros(p.size, dtype=np.bool_)
    q[tested], chosen[tested] = q_of_unit[place], sure[place]
    return q, chosen, visit_at


def _growth(verdicts: Verdicts) -> _Part:
    rows = np.flatnonzero((verdicts.what == ASYMMETRY) & verdicts.known())
    p = p_growth(
        verdicts.baseline[rows],
        verdicts.latest[rows],
        verdicts.baseline_sem[rows],
        verdicts.latest_sem[rows],
    )
    return _Part(
        kind=ABOVE_BASELINE,
        verdict=rows,
        source=np.full(rows.size, NOTHING),
        p=p,
        worse=verdicts.call[rows] == WORSENED,
    )


def _from_earlier(earlier: Earlier, levels: Levels, verdict_of_level: Whole) -> tuple[_Part, _Part]:
    verdict, source = verdict_of_level[earlier.level], np.arange(earlier.level.size)
    return (
        _Part(
            kind=ABOVE_BEST,
            verdict=verdict,
            source=source,
            p=earlier.p_above_best(levels),
            worse=np.ones(source.size, dtype=np.bool_),
        ),
        _Part(
            kind=DRIFT,
            verdict=verdict,
            source=source,
            p=earlier.p_drift(),
            worse=np.isfinite(earlier.line.end),
        ),
    )


def _better_side_fell(verdicts: Verdicts, metrics: MetricColumns) -> _Part:
    known = verdicts.known()
    rows = np.flatnonzero((verdicts.what == ASYMMETRY) & known)
    ranked = metrics.better[verdicts.metric[rows]] != NO_BETTER
    rows = rows[ranked & known[verdicts.left[rows]] & known[verdicts.right[rows]]]
    right_is_worse = verdicts.worse[rows] > 0
    fallen = np.where(right_is_worse, verdicts.left[rows], verdicts.right[rows])
    weaker = np.where(right_is_worse, verdicts.right[rows], verdicts.left[rows])
    shrank = np.abs(verdicts.latest[rows]) < np.abs(verdicts.baseline[rows])
    alone = (verdicts.call[fallen] == WORSENED) & (verdicts.call[weaker] != IMPROVED)
    fell = (verdicts.worse[rows] != 0) & alone & shrank & (verdicts.moved[rows] != CROSSED_OVER)
    p = p_worse(_loss(verdicts, metrics, fallen), verdicts.se_change[fallen])
    # Whether a side is known to be the better one hangs on the same readings, so that the
    # test must count where it is not as well; and what cannot be named must raise nothing.
    return _Part(
        kind=BETTER_SIDE_FELL, verdict=rows, source=fallen, p=np.where(fell, p, 1.0), worse=fell
    )


def _symptoms(verdicts: Verdicts, metrics: MetricColumns) -> _Part:
    important = metrics.important[verdicts.metric]
    rows = np.flatnonzero(
        metrics.score[verdicts.metric]
        & np.isfinite(important)
        & (verdicts.what != ASYMMETRY)
        & (verdicts.baseline_visits > 0)
    )
    loss = _loss(verdicts, metrics, rows)
    known = verdicts.known()[rows]
    p = np.full(rows.size, np.nan)
    p[known] = p_worse(loss[known], verdicts.se_change[rows[known]])
    # An unknown MDC (NaN) compares as false: then the important change alone decides.
    within_error = loss <= verdicts.mdc95[rows]
    return _Part(
        kind=SYMPTOM_UP,
        verdict=rows,
        source=np.full(rows.size, NOTHING),
        p=p,
        worse=(loss >= important[rows] * (1.0 - ROUNDING)) & ~within_error,
    )


def _loss(verdicts: Verdicts, metrics: MetricColumns, rows: Whole) -> Floats:
    metric = verdicts.metric[rows]
    return loss_of(
        verdicts.baseline[rows],
        verdicts.latest[rows],
        worse_when(metrics.better[metric]),
        metrics.low[metric],
        metrics.high[metric],
    )


def worse_when(better: Codes) -> Codes:
    """The better direction; without one a symptom's score counts as worse when it rises.

    Parameters
    ----------
    better : ndarray of int8
        Codes of `Better`.

    Returns
    -------
    ndarray of int8

    References
    ----------
    [Practice]

    Examples
    --------
    >>> worse_when(np.array([0, 3], np.int8))
    array([0, 1], dtype=int8)
    """
    return np.where(better == NO_BETTER, np.int8(LOWER), better)
