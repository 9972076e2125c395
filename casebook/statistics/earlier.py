"""What a runner's earlier like-for-like visits say about an asymmetry: the best, and the line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from casebook.statistics.asymmetry import Refused
from casebook.statistics.caseload import MetricColumns, VisitColumns
from casebook.statistics.codes import NOTHING, Flags, Floats, Whole
from casebook.statistics.course.slopes import LACK_OF_FIT
from casebook.statistics.flagging import p_growth, p_larger
from casebook.statistics.levels import ASYMMETRY, PUBLISHED, Levels
from casebook.statistics.like_for_like import ConditionColumns, conditions_that_differ

FEWEST_EARLIER = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Straight lines through asymmetries of known error, one element an asymmetry.

    Parameters
    ----------
    start, end : ndarray of float
        Height at the first visit and at the latest.
    se_difference, se_total : ndarray of float
        Standard errors of end - start and of end + start; where the visits scatter about the
        line more than their errors allow, widened by the Birge ratio.
    covariance : ndarray of float
        Of these two.
    degrees : ndarray of float
        Degrees of freedom of the standard errors; infinite where the known errors stand.
    """

    start: Floats
    end: Floats
    se_difference: Floats
    se_total: Floats
    covariance: Floats
    degrees: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """Asymmetries of later visits that have two or more earlier like-for-like visits.

    Parameters
    ----------
    level : ndarray of int, shape (rows,)
        Position of each asymmetry's level.
    count : ndarray of int, shape (rows,)
        Earlier like-for-like visits, reference visits among them.
    best, best_sem : ndarray of float, shape (rows,)
        The smallest in size of the earlier asymmetries, and its standard error.
    line : Line
        Through all of them and the latest.
    """

    level: Whole
    count: Whole
    best: Floats
    best_sem: Floats
    line: Line

    def p_above_best(self, levels: Levels) -> Floats:
        """P-value of "the asymmetry is not larger than it ever was at its best".

        The best of n visits is lucky by selection; n times the p-value allows for it,
        whichever of them it is (Bonferroni).
        """
        latest, sem = levels.value[self.level], levels.sem[self.level]
        return np.minimum(self.count * p_growth(self.best, latest, self.best_sem, sem), 1.0)

    def p_drift(self) -> Floats:
        """P-value of "the fitted asymmetry is not larger in size at the end than at the start"."""
        line = self.line
        return p_larger(
            line.end - line.start,
            line.end + line.start,
            line.se_difference,
            line.se_total,
            line.covariance,
            line.degrees,
        )


def earlier_asymmetries(
    levels: Levels,
    visits: VisitColumns,
    days: Floats,
    conditions: ConditionColumns,
    metrics: MetricColumns,
) -> Earlier:
    """Compare each asymmetry of a later visit with those of all earlier visits.

    Parameters
    ----------
    levels : Levels
    visits : VisitColumns
    days : ndarray of float, shape (visits,)
        Day of each visit, in the order of `visits`.
    conditions : ConditionColumns
        In the order of `visits`.
    metrics : MetricColumns

    Returns
    -------
    Earlier
        Like for like are counting visits that do not differ from the later one in a condition
        to which the metric is sensitive. Only asymmetries whose error between sessions is
        known are compared.

    References
    ----------
    [Bevington2003], [Birge1932], [Dunn1961], [Practice]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    usable = (
        (levels.what == ASYMMETRY)
        & (levels.refused == Refused.FINE)
        & (levels.origin <= PUBLISHED)
        & (levels.sem > 0)
        & visits.counts[levels.visit_at]
    )
    rows = np.flatnonzero(usable & visits.later[levels.visit_at])
    sums = _Sums(levels.value[rows], levels.sem[rows])
    for live, earlier, days_before in _pairs(
        levels, visits, days, conditions, metrics, usable=usable, rows=rows
    ):
        sums.add(live, levels.value[earlier], levels.sem[earlier], days_before)
    kept = np.flatnonzero(sums.count >= FEWEST_EARLIER)
    return Earlier(
        level=rows[kept],
        count=sums.count[kept],
        best=sums.best[kept],
        best_sem=sums.best_sem[kept],
        line=sums.line(kept),
    )


def _pairs(
    levels: Levels,
    visits: VisitColumns,
    days: Floats,
    conditions: ConditionColumns,
    metrics: MetricColumns,
    *,
    usable: Flags,
    rows: Whole,
) -> Iterator[tuple[Whole, Whole, Floats]]:
    """Positions in `rows`, the earlier level of each, days between; by visits in between.

    A runner has few visits: one round for the visit before, one for that before it, and so
    on, so that memory grows with the rows and not with the pairs.
    """
    metric_count = metrics.form.size
    level_in = np.full(visits.visit.size * metric_count, NOTHING, dtype=np.int64)
    held = np.flatnonzero(usable)
    level_in[levels.visit_at[held] * metric_count + levels.metric[held]] = held

    counting = np.flatnonzero(visits.counts)
    runner = visits.runner_at[counting]
    first = np.searchsorted(runner, runner)
    rank = np.zeros(visits.visit.size, dtype=np.int64)
    place = np.zeros(visits.visit.size, dtype=np.int64)
    place[counting] = np.arange(counting.size)
    rank[counting] = place[counting] - first

    live = np.arange(rows.size)
    visit_of, metric_of = levels.visit_at[rows], levels.metric[rows]
    sensitive = metrics.sensitive[metric_of]
    partner = np.zeros(visits.visit.size, dtype=np.int64)
    differs = np.zeros(visits.visit.size, dtype=np.uint8)
    for lag in range(1, int(rank.max(initial=0)) + 1):
        later = np.flatnonzero(visits.later & (rank >= lag))
        partner[later] = counting[place[later] - lag]
        differs[later], _ = conditions_that_differ(conditions, partner[later], later)
        live = live[rank[visit_of[live]] >= lag]
        visit = visit_of[live]
        earlier = level_in[partner[visit] * metric_count + metric_of[live]]
        alike = (earlier != NOTHING) & ((differs[visit] & sensitive[live]) == 0)
        visit = visit[alike]
        yield live[alike], earlier[alike], days[partner[visit]] - days[visit]


class _Sums:
    """Weighted sums of each row's visits, days counted from the latest, which starts them."""

    def __init__(self, latest: Floats, sem: Floats) -> None:
        self.count = np.zeros(latest.size, dtype=np.int64)
        self.best = np.full(latest.size, np.inf)
        self.best_sem = np.full(latest.size, np.nan)
        self.first_day = np.zeros(latest.size)
        weight = 1.0 / np.square(sem)
        self.w, self.wy = weight, weight * latest
        self.wyy = self.wy * latest
        self.wt, self.wtt, self.wty = (np.zeros(latest.size) for _ in range(3))

    def add(self, at: Whole, value: Floats, sem: Floats, day: Floats) -> None:
        """One earlier visit of the rows `at`, on days at or before 0."""
        weight = 1.0 / np.square(sem)
        turned = weight * day
        self.count[at] += 1
        self.w[at] += weight
        self.wy[at] += weight * value
        self.wyy[at] += weight * np.square(value)
        self.wt[at] += turned
        self.wtt[at] += turned * day
        self.wty[at] += turned * value
        self.first_day[at] = day
        smaller = np.abs(value) < np.abs(self.best[at])
        self.best[at[smaller]] = value[smaller]
        self.best_sem[at[smaller]] = sem[smaller]

    def line(self, at: Whole) -> Line:
        """Weighted least squares; NaN where all visits fell on one day.

        Visits are one more than `count`, and the line has two parameters.
        """
        w, first = self.w[at], self.first_day[at]
        middle, mean = self.wt[at] / w, self.wy[at] / w
        spread = self.wtt[at] - self.wt[at] * middle
        slope = (self.wty[at] - self.wt[at] * mean) / np.where(first < 0, spread, np.nan)
        to_end, to_start = -middle, first - middle
        scatter = self.wyy[at] - self.wy[at] * mean - np.square(slope) * spread
        degrees = self.count[at] - 1
        # The largest scatter that fits, for each number of degrees there is.
        most = chdtri(np.arange(1, int(degrees.max(initial=0)) + 1), LACK_OF_FIT)
        unfit = scatter >= most[degrees - 1]
        widened = np.where(unfit, scatter / degrees, 1.0)
        per_slope = widened / spread
        return Line(
            start=mean + slope * to_start,
            end=mean + slope * to_end,
            se_difference=np.abs(first) * np.sqrt(per_slope),
            se_total=np.sqrt(4.0 * widened / w + np.square(to_end + to_start) * per_slope),
            covariance=(np.square(to_end) - np.square(to_start)) * per_slope,
            degrees=np.where(unfit, degrees, np.inf),
        )
