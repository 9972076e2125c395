"""The numbers behind each flag that is raised: from what, to what, against which error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.statistics.caseload import MetricColumns
from casebook.statistics.change import HIGHER, RANGE, distance_to_range
from casebook.statistics.codes import Flags, Floats, Whole
from casebook.statistics.earlier import Earlier
from casebook.statistics.error import z_two_sided
from casebook.statistics.levels import ASYMMETRY, PUBLISHED
from casebook.statistics.targets import DOWN, UP, TargetTests
from casebook.statistics.verdicts import Verdicts
from casebook.statistics.visit_tests import (
    ABOVE_BEST,
    BETTER_SIDE_FELL,
    DRIFT,
    TARGET_MISSED,
    VisitTests,
    worse_when,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagNumbers:
    """Numbers of flags, one element a flag, in the metric's unit or that of its asymmetry.

    Parameters
    ----------
    start, end : ndarray of float
        Baseline and latest; for a rise above the best that and the latest; for a drift the
        fitted heights at the first and at the latest visit.
    margin : ndarray of float
        Changes up to this are within error at the 95 % level; NaN where that is not known.
    visits : ndarray of int
        Visits behind `start`; for a drift all visits of the line.
    goal : ndarray of float
        For a missed target what was to be reached; NaN elsewhere.
    badness, badness_sem : ndarray of float
        How bad it is at this visit, the larger the worse, and its standard error.
    badness_known : ndarray of bool
        True where that error is one between sessions.
    """

    start: Floats
    end: Floats
    margin: Floats
    visits: Whole
    goal: Floats
    badness: Floats
    badness_sem: Floats
    badness_known: Flags


def flag_numbers(
    tests: VisitTests,
    rows: Whole,
    verdicts: Verdicts,
    earlier: Earlier,
    targets: TargetTests,
    metrics: MetricColumns,
) -> FlagNumbers:
    """Numbers behind some of the tests.

    Parameters
    ----------
    tests : VisitTests
    rows : ndarray of int, shape (flags,)
        Positions of the tests wanted.
    verdicts : Verdicts
    earlier : Earlier
    targets : TargetTests
    metrics : MetricColumns

    Returns
    -------
    FlagNumbers

    References
    ----------
    [Weir2005]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    kind, verdict, source = tests.kind[rows], tests.verdict[rows], tests.source[rows]
    start, end = verdicts.baseline[verdict], verdicts.latest[verdict]
    margin = verdicts.mdc95[verdict]
    visits, goal = verdicts.baseline_visits[verdict], np.full(rows.size, np.nan)

    best, above = np.flatnonzero(kind == ABOVE_BEST), source[kind == ABOVE_BEST]
    start[best], visits[best] = earlier.best[above], earlier.count[above]
    margin[best] = z_two_sided() * np.hypot(
        earlier.best_sem[above], verdicts.latest_sem[verdict[best]]
    )
    drift, along = np.flatnonzero(kind == DRIFT), source[kind == DRIFT]
    start[drift], end[drift] = earlier.line.start[along], earlier.line.end[along]
    margin[drift] = z_two_sided() * earlier.line.se_difference[along]
    visits[drift] = earlier.count[along] + 1
    missed = np.flatnonzero(kind == TARGET_MISSED)
    goal[missed] = targets.goal[source[missed]]

    shown = np.where(kind == BETTER_SIDE_FELL, source, verdict)
    return FlagNumbers(
        start=start,
        end=end,
        margin=margin,
        visits=visits,
        goal=goal,
        badness=_badness(verdicts, shown, metrics, targets, missed, source),
        badness_sem=verdicts.latest_sem[shown],
        badness_known=verdicts.origin[shown] <= PUBLISHED,
    )


def _badness(
    verdicts: Verdicts,
    shown: Whole,
    metrics: MetricColumns,
    targets: TargetTests,
    missed: Whole,
    source: Whole,
) -> Floats:
    metric, latest = verdicts.metric[shown], verdicts.latest[shown]
    better = worse_when(metrics.better[metric])
    bad = np.select(
        [verdicts.what[shown] == ASYMMETRY, better == HIGHER, better == RANGE],
        [
            np.abs(latest),
            -latest,
            distance_to_range(latest, metrics.low[metric], metrics.high[metric]),
        ],
        latest,
    )
    # A target says itself which way is worse.
    direction, now = targets.direction[source[missed]], latest[missed]
    bad[missed] = np.select([direction == UP, direction == DOWN], [-now, now], np.abs(now))
    return bad
