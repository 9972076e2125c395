"""The one-sided tests of a caseload's visits, from which flags are raised."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.metrics import Better
from casebook.domain.verdicts import FlagKind, SideMoved
from casebook.statistics.caseload import MetricColumns
from casebook.statistics.change import IMPROVED, WORSENED, loss_of
from casebook.statistics.codes import Flags, Floats, Whole, code_of
from casebook.statistics.flagging import (
    FALSE_DISCOVERY_RATE,
    LARGEST_P,
    p_growth,
    p_worse,
    q_values,
)
from casebook.statistics.levels import ASYMMETRY
from casebook.statistics.verdicts import Verdicts

NO_BETTER = code_of(Better.NONE)
LOWER = code_of(Better.LOWER)
CROSSED_OVER = code_of(SideMoved.CROSSED_OVER)
# Keeps decimal fractions such as 3.3 - 1.3 on the side of the important change 2 they equal.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitTests:
    """Tests of visits, one element a test.

    Parameters
    ----------
    verdict : ndarray of int
        Position of the verdict that the test stands behind.
    kind : ndarray of int
        Codes of `FlagKind`.
    p, q : ndarray of float
        NaN where the error is not known; such a test counts in no family.
    flagged : ndarray of bool
    """

    verdict: Whole
    kind: Whole
    p: Floats
    q: Floats
    flagged: Flags


def tests_of(verdicts: Verdicts, visit_at: Whole, metrics: MetricColumns) -> VisitTests:
    """All tests of all later visits, with their q-values and whether they raise a flag.

    Parameters
    ----------
    verdicts : Verdicts
    visit_at : ndarray of int, shape (verdicts,)
        A number for each visit; its tests are one family.
    metrics : MetricColumns

    Returns
    -------
    VisitTests

    References
    ----------
    [Benjamini1995]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    parts = (_growth(verdicts), _better_side_fell(verdicts, metrics), _symptoms(verdicts, metrics))
    verdict = np.concatenate([rows for rows, _, _ in parts])
    p = np.concatenate([values for _, values, _ in parts])
    worse = np.concatenate([flags for _, _, flags in parts])
    kind = np.repeat(
        [
            code_of(FlagKind.ASYMMETRY_ABOVE_BASELINE),
            code_of(FlagKind.BETTER_SIDE_FELL),
            code_of(FlagKind.SYMPTOM_UP),
        ],
        [rows.size for rows, _, _ in parts],
    )
    tested = np.flatnonzero(np.isfinite(p))
    q = np.full(p.size, np.nan)
    q[tested] = q_values(p[tested], visit_at[verdict[tested]])
    sure = (p <= LARGEST_P) & (q <= FALSE_DISCOVERY_RATE)
    return VisitTests(verdict=verdict, kind=kind, p=p, q=q, flagged=worse & (sure | np.isnan(p)))


def _growth(verdicts: Verdicts) -> tuple[Whole, Floats, Flags]:
    rows = np.flatnonzero((verdicts.what == ASYMMETRY) & verdicts.known())
    p = p_growth(verdicts.baseline[rows], verdicts.latest[rows], verdicts.se_change[rows])
    return rows, p, verdicts.call[rows] == WORSENED


def _better_side_fell(verdicts: Verdicts, metrics: MetricColumns) -> tuple[Whole, Floats, Flags]:
    known = verdicts.known()
    rows = np.flatnonzero((verdicts.worse != 0) & known)
    right_is_worse = verdicts.worse[rows] > 0
    fallen = np.where(right_is_worse, verdicts.left[rows], verdicts.right[rows])
    weaker = np.where(right_is_worse, verdicts.right[rows], verdicts.left[rows])
    usable = known[fallen] & known[weaker]
    rows, fallen, weaker = rows[usable], fallen[usable], weaker[usable]
    loss = _loss(verdicts, metrics, fallen)
    shrank = np.abs(verdicts.latest[rows]) < np.abs(verdicts.baseline[rows])
    alone = (verdicts.call[fallen] == WORSENED) & (verdicts.call[weaker] != IMPROVED)
    fell = alone & shrank & (verdicts.moved[rows] != CROSSED_OVER)
    return rows, p_worse(loss, verdicts.se_change[fallen]), fell


def _symptoms(verdicts: Verdicts, metrics: MetricColumns) -> tuple[Whole, Floats, Flags]:
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
    return rows, p, (loss >= important[rows] * (1.0 - ROUNDING)) & ~within_error


def _loss(verdicts: Verdicts, metrics: MetricColumns, rows: Whole) -> Floats:
    metric = verdicts.metric[rows]
    better = metrics.better[metric]
    # Without a better direction a symptom's score counts as worse when it rises.
    directed = np.where(better == NO_BETTER, np.int8(LOWER), better)
    return loss_of(
        verdicts.baseline[rows],
        verdicts.latest[rows],
        directed,
        metrics.low[metric],
        metrics.high[metric],
    )
