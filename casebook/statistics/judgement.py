"""The judgement of a whole caseload in one pass; a single runner goes the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.domain.metrics import AppliesTo, ErrorFigure, Metric
from casebook.statistics.caseload import (
    MetricColumns,
    VisitColumns,
    figure_columns,
    metric_columns,
    visit_columns,
)
from casebook.statistics.codes import Floats, Whole
from casebook.statistics.earlier import Earlier, earlier_asymmetries
from casebook.statistics.flag_numbers import flag_numbers
from casebook.statistics.flagging import expected_false_flags
from casebook.statistics.levels import SIDES, Levels, levels_of
from casebook.statistics.like_for_like import condition_columns
from casebook.statistics.targets import TargetTests, no_targets, target_tests
from casebook.statistics.verdicts import Baselines, Verdicts, baselines_of, verdicts_of
from casebook.statistics.visit_tests import VisitTests, tests_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What a caseload's numbers say. Codes are positions in `casebook.statistics.codes`.

    Rows stand in the order of runner, visit, metric, what. Everywhere `runner` and `visit`
    are the ids that were given and `metric` is a position in the metrics that were given;
    `what` is a code of WHATS, `origin` of ORIGINS; -1 stands for none. Numbers are in the
    metric's unit, those of an asymmetry (right minus left) in the unit of its form.

    Parameters
    ----------
    verdicts : DataFrame
        A row for every later counting visit, metric and what that was measured: runner,
        visit, metric, what, baseline, baseline_sem, baseline_visits, latest, latest_sem,
        change, se_change, mdc95, call (CALLS), reason (REASONS), moved (MOVED, asymmetry
        only), origin, figure (position in the figures), bridged (fewer trials than the
        figure's, allowed for by the runner's own trials), refused (`asymmetry.Refused`),
        differs and not_recorded (masks over CONDITIONS), p_better, p_important (better by more
        than the metric's important change), latest_n, best_sem (what more trials could bring
        latest_sem down to, NaN where not known), worse (of an asymmetry, the worse side at
        baseline: 1 right, -1 left, 0 none), left_change, left_mdc95, right_change, right_mdc95
        (of the sides behind an asymmetry, NaN elsewhere; an MDC also where it cannot be told
        whether that side moved). Of a grade mdc95 is its grade step, and it has no SEM, no p.
    measures : DataFrame
        A row for every counting visit, metric and what: runner, visit, metric, what,
        reference, value, sem, n, origin, figure, bridged, refused. `sem` is a lower bound
        where the origin is within_session.
    references : DataFrame
        A row for every runner, metric and what measured at a reference visit: runner,
        metric, what, baseline, sem, visits, origin, figure, bridged, refused.
    flags : DataFrame
        runner, visit, metric, what, kind (KINDS), p (of the kind's own test), q (of the
        metric at the visit, or of the target among those due), and the numbers behind it as
        `flag_numbers.FlagNumbers` describes them: start, end, margin, visits, goal, badness,
        badness_sem, badness_known. p and q are NaN for a symptom that rose by its important
        change while its error is not known or the visits are unlike.
    expected : DataFrame
        A row for every later counting visit: runner, visit, tests (metrics tested, targets
        left out), expected_false (metrics expected to be flagged had nothing changed). Over a
        course these add up, however much the visits have in common.
    """

    verdicts: pd.DataFrame
    measures: pd.DataFrame
    references: pd.DataFrame
    flags: pd.DataFrame
    expected: pd.DataFrame


def judge(
    values: pd.DataFrame,
    visits: pd.DataFrame,
    metrics: Sequence[Metric],
    figures: Sequence[ErrorFigure],
    targets: pd.DataFrame | None = None,
) -> Judged:
    """Judge every later visit of every runner against the runner's reference visits.

    Parameters
    ----------
    values : DataFrame
        One row a value: runner (not read: the visit tells it), visit (id), metric (position
        in `metrics`), side (0 left, 1 right, 2 none), n, mean, sd (NaN where unknown).
        Missing values are absent rows.
    visits : DataFrame
        One row a visit: runner, visit (ids), day (since 1970), order (0, 1, ... by date
        within the runner), counts (False for a repeat measurement), reference, speed_km_h,
        incline_pct, frames_per_s, pain_today (NaN where not recorded), surface, footwear, view,
        assessor ('' where not recorded).
    metrics : sequence of Metric
    figures : sequence of ErrorFigure
        Those in force.
    targets : DataFrame or None
        One row a target, columns as `targets.no_targets` has them.

    Returns
    -------
    Judged

    Raises
    ------
    ValueError
        For frames that contradict themselves: a visit twice, a value of an unknown visit, a
        metric or side out of range, fewer than one trial, two values for one place.

    References
    ----------
    [Jacobson1991], [Weir2005], [Bland1995], [Benjamini1995]

    Examples
    --------
    >>> from casebook.domain.metrics import (AsymmetryForm, Better, ErrorOrigin, MetricGroup,
    ...     Scale)
    >>> drop = Metric(key="pelvic_drop", label="Pelvic drop", unit="deg", sided=True,
    ...     group=MetricGroup.POSTERIOR_VIEW, scale=Scale.INTERVAL, better=Better.LOWER,
    ...     sign_convention="down is positive", plausible_low=-10, plausible_high=20,
    ...     resolution=0.1, asymmetry_form=AsymmetryForm.DIFFERENCE)
    >>> figure = ErrorFigure(metric="pelvic_drop", applies_to=AppliesTo.SIDE_VALUE,
    ...     origin=ErrorOrigin.OWN, between_sd=0.8, within_sd=1.0, source="own study")
    >>> visits = pd.DataFrame({"runner": 1, "visit": [10, 11], "day": [20_500, 20_556],
    ...     "order": [0, 1], "counts": True, "reference": [True, False], "speed_km_h": 10.0,
    ...     "incline_pct": 0.0, "frames_per_s": 60.0, "pain_today": 0.0, "surface": "treadmill",
    ...     "footwear": "own", "view": "posterior", "assessor": "AB"})
    >>> values = pd.DataFrame({"runner": 1, "visit": [10, 10, 11, 11], "metric": 0,
    ...     "side": [0, 1, 0, 1], "n": 5, "mean": [4.0, 9.0, 4.1, 4.5], "sd": 1.0})
    >>> judged = judge(values, visits, [drop], [figure])
    >>> judged.verdicts[["what", "change", "mdc95", "call", "moved"]].round(2)
       what  change  mdc95  call  moved
    0     0     0.1   2.54     2     -1
    1     1    -4.5   2.54     0     -1
    2     3    -4.6   3.59     0      0
    """
    catalogue = metric_columns(metrics)
    placed = visit_columns(visits)
    conditions = condition_columns(visits.iloc[placed.row])
    with np.errstate(divide="ignore", invalid="ignore"):
        levels = levels_of(
            values,
            placed,
            conditions.frame_rate,
            catalogue,
            figure_columns(metrics, figures, AppliesTo.SIDE_VALUE),
            figure_columns(metrics, figures, AppliesTo.ASYMMETRY),
        )
        baselines = baselines_of(levels, placed, placed.runner_count * len(metrics) * SIDES)
        verdicts = verdicts_of(levels, placed, conditions, catalogue, baselines)
        visit_of_verdict = levels.visit_at[verdicts.level]
        days = visits["day"].to_numpy(dtype=float)[placed.row]
        earlier = earlier_asymmetries(levels, placed, days, conditions, catalogue)
        due = target_tests(
            no_targets() if targets is None else targets,
            verdicts,
            levels,
            placed,
            days,
            len(metrics),
        )
        tests = tests_of(verdicts, levels, catalogue, earlier, due)
        flags = _flag_frame(
            _Tested(tests=tests, verdicts=verdicts, earlier=earlier, due=due),
            placed,
            catalogue,
            visit_of_verdict,
        )
    return Judged(
        verdicts=_verdict_frame(verdicts, levels, placed, visit_of_verdict),
        measures=_measure_frame(levels, placed),
        references=_reference_frame(baselines, placed, len(metrics)),
        flags=flags,
        expected=_expected_frame(tests, placed),
    )


def _verdict_frame(
    verdicts: Verdicts, levels: Levels, visits: VisitColumns, visit_at: Whole
) -> pd.DataFrame:
    change = verdicts.latest - verdicts.baseline
    told_mdc = np.where(verdicts.told, verdicts.mdc95, np.nan)

    def of_side(numbers: Floats, side: Whole) -> Floats:
        return np.where(side >= 0, numbers[side], np.nan)

    return _frame(
        runner=visits.runner[visit_at],
        visit=visits.visit[visit_at],
        metric=verdicts.metric,
        what=verdicts.what,
        baseline=verdicts.baseline,
        baseline_sem=verdicts.baseline_sem,
        baseline_visits=verdicts.baseline_visits,
        latest=verdicts.latest,
        latest_sem=verdicts.latest_sem,
        change=change,
        se_change=verdicts.se_change,
        mdc95=verdicts.mdc95,
        call=verdicts.call,
        reason=verdicts.reason,
        moved=verdicts.moved,
        origin=verdicts.origin,
        figure=verdicts.figure,
        bridged=verdicts.bridged,
        refused=verdicts.refused,
        differs=verdicts.differs,
        not_recorded=verdicts.not_recorded,
        p_better=verdicts.p_better,
        p_important=verdicts.p_important,
        latest_n=levels.n[verdicts.level],
        best_sem=levels.best[verdicts.level],
        worse=verdicts.worse,
        left_change=of_side(change, verdicts.left),
        left_mdc95=of_side(told_mdc, verdicts.left),
        right_change=of_side(change, verdicts.right),
        right_mdc95=of_side(told_mdc, verdicts.right),
    )


def _measure_frame(levels: Levels, visits: VisitColumns) -> pd.DataFrame:
    rows = np.flatnonzero(visits.counts[levels.visit_at])
    visit_at = levels.visit_at[rows]
    return _frame(
        runner=visits.runner[visit_at],
        visit=visits.visit[visit_at],
        metric=levels.metric[rows],
        what=levels.what[rows],
        reference=visits.reference[visit_at],
        value=levels.value[rows],
        sem=levels.sem[rows],
        n=levels.n[rows],
        origin=levels.origin[rows],
        figure=levels.figure[rows],
        bridged=levels.bridged[rows],
        refused=levels.refused[rows],
    )


def _reference_frame(baselines: Baselines, visits: VisitColumns, metric_count: int) -> pd.DataFrame:
    group = np.flatnonzero((baselines.visits > 0) | (baselines.refused > 0))
    line, what = np.divmod(group, SIDES)
    runner_at, metric = np.divmod(line, max(metric_count, 1))
    return _frame(
        runner=np.unique(visits.runner)[runner_at],
        metric=metric,
        what=what.astype(np.int8),
        baseline=baselines.value[group],
        sem=baselines.sem[group],
        visits=baselines.visits[group],
        origin=baselines.origin[group],
        figure=baselines.figure[group],
        bridged=baselines.bridged[group],
        refused=baselines.refused[group],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tested:
    """All tests with what they were made on."""

    tests: VisitTests
    verdicts: Verdicts
    earlier: Earlier
    due: TargetTests


def _flag_frame(
    tested: _Tested, visits: VisitColumns, metrics: MetricColumns, visit_of_verdict: Whole
) -> pd.DataFrame:
    tests, verdicts = tested.tests, tested.verdicts
    rows = np.flatnonzero(tests.flagged)
    rows = rows[np.lexsort((tests.kind[rows], tests.verdict[rows]))]
    verdict = tests.verdict[rows]
    visit_at = visit_of_verdict[verdict]
    numbers = flag_numbers(tests, rows, verdicts, tested.earlier, tested.due, metrics)
    return _frame(
        runner=visits.runner[visit_at],
        visit=visits.visit[visit_at],
        metric=verdicts.metric[verdict],
        what=verdicts.what[verdict],
        kind=tests.kind[rows],
        p=tests.p[rows],
        q=tests.q[rows],
        start=numbers.start,
        end=numbers.end,
        margin=numbers.margin,
        visits=numbers.visits,
        goal=numbers.goal,
        badness=numbers.badness,
        badness_sem=numbers.badness_sem,
        badness_known=numbers.badness_known,
    )


def _expected_frame(tests: VisitTests, visits: VisitColumns) -> pd.DataFrame:
    later = np.flatnonzero(visits.later)
    count = np.bincount(tests.units_at, minlength=visits.visit.size)[later]
    return _frame(
        runner=visits.runner[later],
        visit=visits.visit[later],
        tests=count,
        expected_false=expected_false_flags(count),
    )


def _frame(**columns: np.ndarray) -> pd.DataFrame:
    # The arrays are ours alone; copying them would take as long as judging.
    return pd.DataFrame(columns, copy=False)
