"""What an error figure by itself makes of a change: the smallest that stands out of it."""

from __future__ import annotations

import math

from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin, FloorKind, Metric
from casebook.domain.side_swap import error_without_figure
from casebook.statistics.error import mdc_from_sem, reading_floor
from casebook.statistics.planning import TrialError, sem_of_trials

BEST_FIRST = list(ErrorOrigin)


def figure_mdc(metric: Metric, figure: ErrorFigure) -> float:
    """MDC95 between two visits measured as usual, by one error figure.

    Parameters
    ----------
    metric : Metric
    figure : ErrorFigure
        For an SEM of a mean of trials, it is that many trials that are averaged; else the
        metric's usual number.

    Returns
    -------
    float
        In the figure's own unit: the metric's, or that of its asymmetry. Of a grade, the
        step. Of a figure within a session, a lower bound.
    """
    if figure.grade_step is not None:
        return float(figure.grade_step)
    of_asymmetry = figure.applies_to is AppliesTo.ASYMMETRY
    floored = metric.floor_kind is FloorKind.READING and not of_asymmetry
    error = TrialError(
        between_sd=0.0 if figure.sem is None and figure.between_sd is None else figure.between_sd,
        within_sd=figure.within_sd,
        sem=figure.sem,
        sem_trials=figure.sem_trials,
        floor=float(reading_floor(metric.resolution)) if floored else 0.0,
    )
    trials = figure.sem_trials or metric.usual_trials
    return float(mdc_from_sem(sem_of_trials(error, trials)))


def best_figure(figures: tuple[ErrorFigure, ...], applies_to: AppliesTo) -> ErrorFigure | None:
    """The figure of one metric that verdicts use: own before published before a lower bound."""
    fitting = [
        figure
        for figure in figures
        if figure.applies_to is applies_to and figure.retired_at is None
    ]
    return min(fitting, key=lambda figure: BEST_FIRST.index(figure.origin), default=None)


def side_change_by_error(metric: Metric, figures: tuple[ErrorFigure, ...]) -> float:
    """How far error alone may move one side, as far as is known, in the metric's unit."""
    figure = best_figure(figures, AppliesTo.SIDE_VALUE)
    if figure is None:
        return error_without_figure(metric.plausible_low, metric.plausible_high)
    mdc = figure_mdc(metric, figure)
    return (
        mdc
        if math.isfinite(mdc)
        else error_without_figure(metric.plausible_low, metric.plausible_high)
    )
