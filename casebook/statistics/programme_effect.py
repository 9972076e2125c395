"""What changed about a programme: before, during and after it, as far as the visits allow.

A single runner has no control group. What stands in for one is the same runner: the metrics
that the programme was not meant to change. They too can change with time, training and the
programme itself, so the comparison weakens other readings and never proves one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from casebook.domain.metrics import Better
from casebook.domain.programme_effects import (
    Levels,
    MetricEffect,
    Overlap,
    Phase,
    PhaseName,
    Step,
)
from casebook.domain.programmes import TargetDirection
from casebook.domain.verdicts import Call, SideMoved, What
from casebook.statistics.asymmetry_change import (
    beyond_own_error,
    call_asymmetry,
    which_side_moved,
    worse_side,
)
from casebook.statistics.change import call_side, distance_to_range
from casebook.statistics.codes import CALLS, MOVED, NOTHING, Flags, Floats, code_of
from casebook.statistics.course.enough import OVERLAP_NEEDS, SEGMENTS_NEED, lacking_phases
from casebook.statistics.course.nonoverlap import nonoverlap_of_all_pairs
from casebook.statistics.course.phases import Estimate, segmented_regression
from casebook.statistics.error import z_two_sided
from casebook.statistics.regression_to_mean import expected_regression

DAYS_A_WEEK = 7.0
# Keeps a mean of grades such as 7/3 - 4/3 on the near side of the step 1 that it equals.
ROUNDING = 1e-9
_AIMED = {TargetDirection.UP: Better.HIGHER, TargetDirection.DOWN: Better.LOWER}


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """The days of a programme, counted from any day.

    Parameters
    ----------
    start : float
        Visits on that day still count as before.
    end : float or None
        Its last day, which counts as during; None while it runs.
    """

    start: float
    end: float | None = None

    @property
    def until(self) -> float:
        """The last day, infinity while it runs."""
        return math.inf if self.end is None else self.end


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """One value a day, in the order of time (as a `Course` holds them).

    Parameters
    ----------
    days, values, sems : ndarray of float, shape (days,)
        In the metric's unit, an asymmetry signed right minus left; `sems` NaN where the error
        is not known. Visits that were not like for like are left out before.
    """

    days: Floats
    values: Floats
    sems: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricSeries:
    """All that is needed of one metric and side.

    Parameters
    ----------
    metric : str
    what : What
    targeted : bool
        Whether the programme had a target on it.
    better : Better
    low, high : float or None
        Target range where a range is better.
    readings : Readings
    left, right : Readings or None
        Behind an asymmetry: its sides, to tell which one moved.
    others, other_sems : ndarray of float or None
        Baselines of the clinic's other runners and their SEM, for the regression to the mean.
    step : float or None
        Of a grade, which has no standard error: changes up to this are within error.
    aim : TargetDirection or None
        Which way the programme was to move it; counts where neither way is better by itself.
    """

    metric: str
    what: What
    targeted: bool
    better: Better
    readings: Readings
    low: float | None = None
    high: float | None = None
    left: Readings | None = None
    right: Readings | None = None
    others: Floats | None = None
    other_sems: Floats | None = None
    step: float | None = None
    aim: TargetDirection | None = None

    @property
    def aimed(self) -> bool:
        """Whether the aim alone says which way is the better one."""
        return self.better is Better.NONE and self.aim in _AIMED and self.what is not What.ASYMMETRY

    @property
    def way(self) -> Better:
        """Which way is better: the catalogue's word for it, else the programme's aim."""
        return _AIMED[self.aim] if self.aimed and self.aim is not None else self.better


def phase_masks(
    days: Floats, span: Span, others: Sequence[Span] = ()
) -> tuple[Flags, Flags, Flags]:
    """Which visits lie before, during and after a programme, with the runner's others in mind.

    Parameters
    ----------
    days : ndarray of float, shape (visits,)
    span : Span
        The programme.
    others : sequence of Span
        The runner's other programmes. What lies before the end of an earlier one (or its
        start, where it had not ended) is no baseline of this one; what lies after the start
        of a later one is no longer after this one.

    Returns
    -------
    before, during, after : ndarray of bool, shape (visits,)
        The last visit of one programme can be the first before the next.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> days = np.array([0.0, 10.0, 40.0, 60.0])
    >>> before, during, after = phase_masks(days, Span(start=10, end=50))
    >>> before, during, after
    (array([ True,  True, False, False]), array([False, False,  True, False]), \
array([False, False, False,  True]))
    """
    since = max(
        (one.until if one.until <= span.start else one.start for one in others
         if one.start < span.start),
        default=-math.inf,
    )  # fmt: skip
    next_start = min((one.start for one in others if one.start >= span.until), default=math.inf)
    return (
        (days >= since) & (days <= span.start),
        (days > span.start) & (days <= span.until),
        (days > span.until) & (days <= next_start),
    )


def starts_amid(span: Span, others: Sequence[Span]) -> bool:
    """Whether a programme starts while an earlier one of the runner still runs.

    The runner is on the way then: of each measure only the last visit up to the start is the
    baseline, or what the earlier programme saw change would be counted for both.

    Parameters
    ----------
    span : Span
    others : sequence of Span
        The runner's other programmes.

    Returns
    -------
    bool

    References
    ----------
    None: two spans of days are compared.

    Examples
    --------
    >>> starts_amid(Span(start=10), [Span(start=0)]), starts_amid(Span(start=10),
    ...     [Span(start=0, end=10), Span(start=20)])
    (True, False)
    """
    return any(one.start < span.start < one.until for one in others)


def overlapping(span: Span, others: Sequence[Span]) -> tuple[int, ...]:
    """Positions of the programmes that ran in the same weeks as this one.

    Parameters
    ----------
    span : Span
    others : sequence of Span

    Returns
    -------
    tuple of int
        One that ends on the day on which the other starts does not overlap.

    References
    ----------
    None: two spans of days are compared.

    Examples
    --------
    >>> overlapping(Span(start=10, end=50), [Span(start=0, end=10), Span(start=40)])
    (1,)
    """
    return tuple(
        number
        for number, one in enumerate(others)
        if one.start < span.until and one.until > span.start
    )


def effect_on(series: MetricSeries, span: Span, others: Sequence[Span] = ()) -> MetricEffect:
    """What one metric did about one programme, with as large an answer as the visits allow.

    Parameters
    ----------
    series : MetricSeries
    span : Span
        The programme.
    others : sequence of Span
        The runner's other programmes.

    Returns
    -------
    MetricEffect
        Where it starts amid another one, the last visit up to its start alone is before.
        From 4 visits before and 4 during: change of level and slope at the start. From 3 in
        each: share of pairs in which the later visit is higher. From one in each: the last
        visit of the programme against the mean before, with the error of both. Each larger
        answer stands beside the smaller ones.

    References
    ----------
    [Wagner2002], [NeweyWest1987], [Parker2009], [Weir2005], [Barnett2005]

    Examples
    --------
    >>> readings = Readings(days=np.array([0.0, 7.0, 60.0]), values=np.array([20.0, 22.0, 30.0]),
    ...     sems=np.array([2.0, 2.0, 2.0]))
    >>> found = effect_on(MetricSeries(metric="heel_raise_count", what=What.LEFT, targeted=True,
    ...     better=Better.HIGHER, readings=readings), Span(start=7.0, end=63.0))
    >>> found.change.change, str(found.call), found.lacking
    (9.0, 'improved', "needs 4 visits before the programme's start and 4 after it, has 2 and 1")
    """
    data = series.readings
    before, during, after = phase_masks(data.days, span, others)
    if before.any() and starts_amid(span, others):
        before &= data.days == data.days[before].max()
    phases = tuple(
        _phase(name, data, mask)
        for name, mask in zip(PhaseName, (before, during, after), strict=True)
    )
    last = _last(during, after)
    lacking = lacking_phases(int(before.sum()), int(during.sum()), SEGMENTS_NEED)
    change = None if last is None else _step(series, data, before, last)
    later = np.flatnonzero(after)
    kept = int(later[-1]) if later.size and later[-1] != last else None
    overlap = None
    if min(before.sum(), during.sum()) >= OVERLAP_NEEDS:
        pairs = nonoverlap_of_all_pairs(data.values[before], data.values[during])
        overlap = Overlap(higher=pairs.nap, low=pairs.low, high=pairs.high)
    regression = None
    base = phases[0]
    if series.others is not None and series.other_sems is not None and base.sem is not None:
        regression = expected_regression(
            base.mean or 0.0, base.sem, series.others, series.other_sems
        )
    moved = (None, False) if last is None else _side_moved(series, before, data.days[last])
    return MetricEffect(
        metric=series.metric,
        what=series.what,
        targeted=series.targeted,
        phases=phases,
        change=change,
        kept=None if kept is None else _step(series, data, before, kept),
        levels=None if lacking else _levels(series, before | during, during, span.start),
        overlap=overlap,
        lacking=lacking.why if lacking else "",
        side_moved=moved[0],
        aimed=series.aimed,
        both_fell=moved[1],
        regression=regression,
        beyond_regression=(
            None if regression is None or change is None else _beyond(change, regression.expected)
        ),
    )


def _phase(name: PhaseName, data: Readings, mask: Flags) -> Phase:
    count = int(mask.sum())
    if not count:
        return Phase(name=name, visits=0, first_day=None, last_day=None, mean=None, sem=None)
    sem = float(np.linalg.norm(data.sems[mask])) / count
    return Phase(
        name=name,
        visits=count,
        first_day=float(data.days[mask][0]),
        last_day=float(data.days[mask][-1]),
        mean=float(data.values[mask].mean()),
        sem=sem if math.isfinite(sem) else None,
    )


def _last(during: Flags, after: Flags) -> int | None:
    inside, later = np.flatnonzero(during), np.flatnonzero(after)
    if inside.size:
        return int(inside[-1])
    return int(later[0]) if later.size else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """A reference and a later value with their errors, each an array of one."""

    reference: Floats
    latest: Floats
    sem_reference: Floats
    sem_latest: Floats

    step: float | None

    @property
    def mdc(self) -> Floats:
        if self.step is not None:
            return np.array([self.step + ROUNDING])
        return z_two_sided() * np.hypot(self.sem_reference, self.sem_latest)


def _pair(data: Readings, before: Flags, at: int, step: float | None) -> _Pair:
    count = int(before.sum())
    # As for every other verdict, an asymmetry of grades has a direction beyond the step.
    direction = None if step is None else np.array([(step + ROUNDING) / z_two_sided()])
    return _Pair(
        reference=np.array([data.values[before].mean()]),
        latest=data.values[[at]],
        sem_reference=(
            np.array([np.linalg.norm(data.sems[before]) / count])
            if direction is None
            else direction
        ),
        sem_latest=data.sems[[at]] if direction is None else direction,
        step=step,
    )


def _step(series: MetricSeries, data: Readings, before: Flags, at: int) -> Step | None:
    if not before.any():
        return None
    pair = _pair(data, before, at, series.step)
    change, mdc = float((pair.latest - pair.reference)[0]), float(pair.mdc[0])
    if series.step is not None:
        call = _call(series, pair)
        return Step(change=change, low=None, high=None, call=call, within=series.step)
    if not math.isfinite(mdc):
        return Step(change=change, low=None, high=None)
    return Step(change=change, low=change - mdc, high=change + mdc, call=_call(series, pair))


def _call(series: MetricSeries, pair: _Pair) -> Call:
    if series.what is What.ASYMMETRY:
        code, _ = call_asymmetry(
            pair.reference, pair.latest, pair.sem_reference, pair.sem_latest, pair.mdc
        )
    else:
        code = _side_call(series, pair)
    return CALLS[int(code[0])]


def _side_call(series: MetricSeries, pair: _Pair) -> np.ndarray:
    low, high = _range(series)
    better = np.array([code_of(series.way)], dtype=np.int8)
    return call_side(pair.reference, pair.latest, pair.mdc, better, low, high)[0]


def _range(series: MetricSeries) -> tuple[Floats, Floats]:
    low, high = (np.array([math.nan if end is None else end]) for end in (series.low, series.high))
    return low, high


def _side_moved(series: MetricSeries, before: Flags, day: float) -> tuple[SideMoved | None, bool]:
    """Which side moved between the same visits, each against its own error; did both worsen?"""
    if series.what is not What.ASYMMETRY or series.left is None or series.right is None:
        return None, False
    days = series.readings.days[before]
    pairs = [_on_days(side, days, day, series.step) for side in (series.left, series.right)]
    left, right = pairs
    if left is None or right is None:
        return None, False
    whole = _phase(PhaseName.BEFORE, series.readings, before)
    low, high = _range(series)
    worse = worse_side(
        np.array([whole.mean]),
        beyond_own_error(np.array([whole.mean]), np.array([whole.sem or math.nan])),
        np.array([code_of(series.better)], dtype=np.int8),
        distance_to_range(left.reference, low, high),
        distance_to_range(right.reference, low, high),
    )
    calls = [_side_call(series, pair) for pair in (left, right)]
    known = [np.isfinite(pair.mdc) for pair in (left, right)]
    code = which_side_moved(worse, calls[0], calls[1], known[0], known[1])[0]
    both_fell = all(CALLS[int(call[0])] is Call.WORSENED for call in calls)
    return None if code == NOTHING else MOVED[int(code)], both_fell


def _on_days(side: Readings, before: Floats, day: float, step: float | None) -> _Pair | None:
    reference, at = np.isin(side.days, before), np.flatnonzero(side.days == day)
    return _pair(side, reference, int(at[0]), step) if reference.any() and at.size else None


def _levels(series: MetricSeries, used: Flags, during: Flags, start: float) -> Levels:
    data = series.readings
    found = segmented_regression(
        data.days[used], data.values[used], during[used], start, sems=data.sems[used]
    )
    return Levels(
        slope_before=_estimate(found.slope_before, DAYS_A_WEEK),
        level=_estimate(found.level_change, 1.0),
        slope=_estimate(found.slope_change, DAYS_A_WEEK),
    )


def _estimate(found: Estimate, times: float) -> Step:
    return Step(change=found.estimate * times, low=found.low * times, high=found.high * times)


def _beyond(change: Step, expected: float) -> bool | None:
    if change.low is None:
        return None
    half = change.change - change.low
    return (change.change - expected) * math.copysign(1.0, change.change) > half
