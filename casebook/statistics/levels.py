"""Levels: what stands at one visit for one metric and side, and for the asymmetry of sides.

Levels come in the order of runner, visit, metric and side. Groups (runner, metric, side) and
cells (visit, metric, side) are whole numbers, so that looking something up is indexing and
nothing needs to be sorted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.asymmetry import Asymmetry, asymmetries, sem_of_asymmetry
from casebook.statistics.caseload import FigureColumns, MetricColumns, VisitColumns
from casebook.statistics.codes import (
    NOTHING,
    ORIGINS,
    WHATS,
    Codes,
    Flags,
    Floats,
    Whole,
    code_of,
)
from casebook.statistics.error import (
    few_trials_factor,
    interval_floor,
    pooled_within_sd,
    reading_floor,
    sem_from_mean_of,
    sem_from_parts,
    sem_lower_bound,
)

SIDES = len(WHATS)
LEFT, RIGHT, WHOLE_BODY, ASYMMETRY = range(SIDES)
OWN, PUBLISHED, WITHIN, NO_FIGURE = range(len(ORIGINS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of a caseload, one element a level.

    Parameters
    ----------
    visit_at, metric, what : ndarray of int
        Position of the visit, of the metric, code of `What`.
    group : ndarray of int
        Number of the runner, metric and side together.
    n : ndarray of int
        Trials averaged (the fewer of both sides for an asymmetry).
    value, sem : ndarray of float
        SEM is NaN where no figure can be used, and a lower bound where `origin` says
        `within_session`.
    best : ndarray of float
        What more trials at that visit could bring the SEM down to, as far as the figure tells;
        NaN where it tells nothing.
    steps : ndarray of float, shape (metrics, 4)
        Grade step by metric and `What`; NaN for what is no grade or has no figure.
    origin : ndarray of int8
        Codes of `ErrorOrigin`.
    figure : ndarray of int
        Position of the error figure used; -1 for none.
    bridged : ndarray of bool
        True where there were fewer trials than the figure's and the runner's own trials
        were used to allow for it.
    too_few : ndarray of bool
        True where there were fewer and nothing to allow for it with.
    refused : ndarray of int8
        Codes of `asymmetry.Refused`.
    left, right : ndarray of int
        For an asymmetry: positions of its sides' levels; -1 elsewhere.
    """

    visit_at: Whole
    metric: Whole
    what: Codes
    group: Whole
    n: Whole
    value: Floats
    sem: Floats
    best: Floats
    steps: Floats
    origin: Codes
    figure: Whole
    bridged: Flags
    too_few: Flags
    refused: Codes
    left: Whole
    right: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """Which levels there are, and where each side's value stands in the frame."""

    visit_at: Whole
    metric: Whole
    what: Whole
    group: Whole
    sides: Whole
    pairs: Whole
    source: Whole
    left: Whole
    right: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class _Error:
    """The error of some levels; fields as in `Levels`."""

    sem: Floats
    best: Floats
    origin: Codes
    figure: Whole
    bridged: Flags
    too_few: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trials:
    """What a runner's trials of a metric tell: one element a level.

    `within` is their pooled standard deviation, `widened` the same allowing for how few they
    are, `floor` the smallest that one trial can have, `n` their number at the visit.
    """

    within: Floats
    widened: Floats
    floor: Floats
    n: Whole

    def at(self, rows: Whole) -> _Trials:
        return _Trials(
            within=self.within[rows],
            widened=self.widened[rows],
            floor=self.floor[rows],
            n=self.n[rows],
        )

    def times(self, factor: Floats, rows: Whole) -> _Trials:
        """Those rows in the unit of an asymmetry."""
        return _Trials(
            within=self.within[rows] * factor,
            widened=self.widened[rows] * factor,
            floor=self.floor[rows] * factor,
            n=self.n[rows],
        )


def levels_of(
    values: pd.DataFrame,
    visits: VisitColumns,
    frames_per_s: Floats,
    metrics: MetricColumns,
    of_sides: FigureColumns,
    of_asymmetry: FigureColumns,
) -> Levels:
    """Levels of a caseload: each side's value, the asymmetries, and the SEM of each.

    Parameters
    ----------
    values : DataFrame
        Columns visit, metric (position), side (0, 1, 2), n, mean, sd; and marking_sd, where
        points were marked: the error of marking of one trial, NaN where it is not known.
    visits : VisitColumns
    frames_per_s : ndarray of float, shape (visits,)
        In the order of `visits`; NaN where not recorded.
    metrics : MetricColumns
    of_sides, of_asymmetry : FigureColumns

    Returns
    -------
    Levels
        Rows whose mean is not finite are left out: they are missing. Where neither figure nor
        trials tell of a larger error within the session, that of marking is used: a known
        error of marking is a floor under the single trial, as that of the instrument is.

    Raises
    ------
    ValueError
        For a value of an unknown visit, a metric or side out of range, fewer than one trial,
        or two values of one visit, metric and side.

    References
    ----------
    [Bland1995], [Robinson1987], [JCGM2008]

    Examples
    --------
    >>> from casebook.domain.metrics import AppliesTo
    >>> from casebook.statistics.caseload import figure_columns, metric_columns, visit_columns
    >>> visits = pd.DataFrame({"runner": [5], "visit": [8], "order": [0],
    ...     "counts": [True], "reference": [True]})
    >>> values = pd.DataFrame(columns=["visit", "metric", "side", "n", "mean", "sd"], dtype=float)
    >>> none = figure_columns((), (), AppliesTo.SIDE_VALUE)
    >>> levels_of(values, visit_columns(visits), np.array([60.0]), metric_columns(()), none,
    ...     none).n
    array([], dtype=int64)
    """
    at = _laid_out(values, visits, metrics)
    size = at.metric.size
    value, n = np.empty(size), np.empty(size, dtype=np.int64)
    value[at.sides] = values["mean"].to_numpy(dtype=float)[at.source]
    n[at.sides] = values["n"].to_numpy(dtype=np.int64)[at.source]
    left, right = at.left[at.pairs], at.right[at.pairs]
    n[at.pairs] = np.minimum(n[left], n[right])
    metric_of_pair = at.metric[at.pairs]
    found = asymmetries(
        value[left], value[right], metrics.form[metric_of_pair], metrics.resolution[metric_of_pair]
    )
    value[at.pairs] = found.value
    refused = np.zeros(size, dtype=np.int8)
    refused[at.pairs] = found.refused

    marking = _marking(values, at)
    floor = np.maximum(_floor(metrics, at.metric, frames_per_s[at.visit_at]), marking)
    sd = values["sd"].to_numpy(dtype=float)[at.source]
    subject = at.group // SIDES  # runner and metric: both sides' trials are pooled
    pooled, degrees = pooled_within_sd(
        sd, n[at.sides], subject[at.sides], visits.runner_count * metrics.form.size
    )
    # The standard deviation of grades has no meaning, however many there are.
    pooled[np.tile(metrics.grade, visits.runner_count)] = np.nan
    trials = _Trials(
        within=pooled[subject],
        widened=(pooled * few_trials_factor(degrees))[subject],
        floor=floor,
        n=n,
    )
    error = _blank_error(size)
    side_error = _figure_error(of_sides, at.metric[at.sides], trials.at(at.sides))
    _put(error, at.sides, side_error)
    pair_error = _pair_error(of_asymmetry, found, error, at, trials)
    # Both sides' means with no error but that of marking: no asymmetry is known better.
    bare = marking / np.sqrt(n)
    shared = np.where(metrics.opposed[metric_of_pair], -bare[left] * bare[right], 0.0)
    marked = np.nan_to_num(sem_of_asymmetry(found, bare[left], bare[right], shared))
    _put(error, at.pairs, replace(pair_error, sem=np.maximum(pair_error.sem, marked)))
    return Levels(
        visit_at=at.visit_at,
        metric=at.metric,
        what=at.what.astype(np.int8),
        group=at.group,
        n=n,
        value=value,
        sem=error.sem,
        best=error.best,
        steps=np.column_stack([*[of_sides.step] * ASYMMETRY, of_asymmetry.step]),
        origin=error.origin,
        figure=error.figure,
        bridged=error.bridged,
        too_few=error.too_few,
        refused=refused,
        left=at.left,
        right=at.right,
    )


def _laid_out(values: pd.DataFrame, visits: VisitColumns, metrics: MetricColumns) -> _Layout:
    metric_count = metrics.form.size
    width = metric_count * SIDES
    finite = np.flatnonzero(np.isfinite(values["mean"].to_numpy(dtype=float)))
    value_in = np.full(visits.visit.size * width, NOTHING, dtype=np.int64)
    value_in[_cells(values, finite, visits, metric_count)] = finite
    if np.count_nonzero(value_in >= 0) != finite.size:
        raise ValueError("values: two rows have the same visit, metric and side; expected one.")

    by_side = value_in.reshape(-1, SIDES)
    compared = np.tile(metrics.form != code_of(AsymmetryForm.NONE), visits.visit.size)
    held = by_side >= 0
    held[:, ASYMMETRY] = compared & held[:, LEFT] & held[:, RIGHT]
    cells = np.flatnonzero(held)
    level_in = np.full(held.size, NOTHING, dtype=np.int64)
    level_in[cells] = np.arange(cells.size)

    visit_at, in_visit = np.divmod(cells, max(width, 1))
    metric, what = np.divmod(in_visit, SIDES)
    pairs, sides = np.flatnonzero(what == ASYMMETRY), np.flatnonzero(what != ASYMMETRY)
    left, right = (np.full(cells.size, NOTHING, dtype=np.int64) for _ in range(2))
    left[pairs] = level_in[cells[pairs] - ASYMMETRY + LEFT]
    right[pairs] = level_in[cells[pairs] - ASYMMETRY + RIGHT]
    return _Layout(
        visit_at=visit_at,
        metric=metric,
        what=what,
        group=visits.runner_at[visit_at] * width + in_visit,
        sides=sides,
        pairs=pairs,
        source=value_in[cells[sides]],
        left=left,
        right=right,
    )


def _cells(values: pd.DataFrame, rows: Whole, visits: VisitColumns, metric_count: int) -> Whole:
    visit, metric, side, n = (
        values[column].to_numpy(dtype=np.int64)[rows] for column in ("visit", "metric", "side", "n")
    )
    for wrong, column, expected in (
        (~np.isin(visit, visits.visit), "visit", "an id of the visits frame"),
        ((metric < 0) | (metric >= metric_count), "metric", "a position in the metrics"),
        ((side < 0) | (side > WHOLE_BODY), "side", "0 left, 1 right or 2 none"),
        (n < 1, "n", "one trial or more"),
    ):
        if wrong.any():
            given = values[column].to_numpy()[rows][wrong][0]
            raise ValueError(f"values: {column} is {given}; expected {expected}.")
    by_id = np.argsort(visits.visit, kind="stable")
    place = by_id[np.searchsorted(visits.visit, visit, sorter=by_id)]
    cell: Whole = (place * metric_count + metric) * SIDES + side
    return cell


def _floor(metrics: MetricColumns, metric: Whole, frames_per_s: Floats) -> Floats:
    """Frame-rate floor where a duration is read and the rate is known, else the reading's."""
    by_frames = interval_floor(frames_per_s) / metrics.milliseconds[metric]
    return np.where(np.isnan(by_frames), reading_floor(metrics.resolution)[metric], by_frames)


def _marking(values: pd.DataFrame, at: _Layout) -> Floats:
    """Error of marking of one trial, for sides' values; 0 where it is not known."""
    marking = np.zeros(at.metric.size)
    if "marking_sd" in values:
        marking[at.sides] = np.nan_to_num(values["marking_sd"].to_numpy(dtype=float))[at.source]
    return marking


def _figure_error(figures: FigureColumns, at: Whole, trials: _Trials) -> _Error:
    """Error of levels by the best figure of their metric, else from their trials alone."""
    floor, n = trials.floor, trials.n
    origin = figures.origin[at]
    by_mean = np.isfinite(figures.sem)[at]
    fewer = by_mean & (n < figures.trials[at])
    own_trials = (origin == NO_FIGURE) & np.isfinite(trials.within)
    of_mean = sem_from_mean_of(figures.sem[at], figures.trials[at], trials.widened, floor, n)
    sem = np.select(
        [by_mean, origin <= PUBLISHED, origin == WITHIN, own_trials],
        [
            of_mean,
            sem_from_parts(figures.between[at], figures.within[at], floor, n),
            sem_lower_bound(figures.within[at], floor, n),
            sem_lower_bound(trials.within, floor, n),
        ],
        np.nan,
    )
    return _Error(
        sem=sem,
        best=np.where(fewer, figures.sem[at], np.where(by_mean, of_mean, figures.between[at])),
        origin=np.where(own_trials, WITHIN, origin).astype(np.int8),
        figure=figures.index[at],
        bridged=fewer & np.isfinite(sem),
        too_few=fewer & ~np.isfinite(sem),
    )


def _pair_error(
    figures: FigureColumns, found: Asymmetry, sides: _Error, at: _Layout, trials: _Trials
) -> _Error:
    """Error of asymmetries: by a figure for the asymmetry itself, else from both sides."""
    left, right = at.left[at.pairs], at.right[at.pairs]
    metric = at.metric[at.pairs]
    # One trial of the asymmetry is one trial of each side.
    slopes = np.hypot(found.left_slope, found.right_slope)
    own = _figure_error(figures, metric, trials.times(slopes, at.pairs))
    from_sides = sem_of_asymmetry(found, sides.sem[left], sides.sem[right])
    too_few = sides.too_few[left] | sides.too_few[right]
    # The steps of two grades make no step of their difference.
    graded = ~too_few & (np.isnan(sides.sem[left]) | np.isnan(sides.sem[right]))
    by_sides = np.maximum(sides.origin[left], sides.origin[right])
    origin = np.where(graded, np.int8(NO_FIGURE), by_sides)
    between_sessions = figures.origin[metric] <= PUBLISHED
    bound = (figures.origin[metric] == WITHIN) & (origin > PUBLISHED)
    use_own = between_sessions | bound
    return _Error(
        sem=np.where(use_own, own.sem, from_sides),
        best=np.where(
            use_own, own.best, sem_of_asymmetry(found, sides.best[left], sides.best[right])
        ),
        origin=np.where(use_own, own.origin, origin).astype(np.int8),
        figure=np.where(use_own, own.figure, np.maximum(sides.figure[left], sides.figure[right])),
        bridged=np.where(use_own, own.bridged, sides.bridged[left] | sides.bridged[right]),
        too_few=np.where(use_own, own.too_few, too_few),
    )


def _blank_error(size: int) -> _Error:
    return _Error(
        sem=np.empty(size),
        best=np.empty(size),
        origin=np.empty(size, dtype=np.int8),
        figure=np.empty(size, dtype=np.int64),
        bridged=np.empty(size, dtype=np.bool_),
        too_few=np.empty(size, dtype=np.bool_),
    )


def _put(error: _Error, rows: Whole, part: _Error) -> None:
    error.sem[rows] = part.sem
    error.best[rows] = part.best
    error.origin[rows] = part.origin
    error.figure[rows] = part.figure
    error.bridged[rows] = part.bridged
    error.too_few[rows] = part.too_few
