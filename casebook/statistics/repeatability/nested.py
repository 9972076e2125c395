"""Error between sessions and within them: subjects, their sessions, the trials of each."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from casebook.statistics.codes import Floats, Whole
from casebook.statistics.repeatability.cells import CellTable
from casebook.statistics.repeatability.icc import NOT_TOLD
from casebook.statistics.repeatability.likelihood import fit_reml
from casebook.statistics.repeatability.mean_squares import ROUNDING
from casebook.statistics.repeatability.results import Interval, Method, Nested
from casebook.statistics.repeatability.standard_error import (
    difference_interval,
    sem_interval,
    sem_of_sum,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NestedSquares:
    """Mean squares of sessions within subjects and of trials within sessions.

    Parameters
    ----------
    sessions, trials : float
        Mean squares; `sessions` is that of single trials, so that its expectation is
        sw2 + per_session * sb2.
    per_session : float
        Trials of a session (harmonic mean where they differ).
    df_sessions, df_trials : float
        Degrees of freedom; not whole where two sides are pooled.
    subject_variance : float
    """

    sessions: float
    trials: float
    per_session: float
    df_sessions: float
    df_trials: float
    subject_variance: float
    method: Method


def nested_squares(value: Floats, table: CellTable) -> NestedSquares | None:
    """Mean squares of sessions within subjects and of trials within sessions.

    Parameters
    ----------
    value : ndarray of float, shape (rows,)
        Single trials.
    table : CellTable
        Made of the same rows.

    Returns
    -------
    NestedSquares or None
        None where no session has two trials. By ANOVA with as many sessions in every subject
        and trials in every session, else by REML. `sessions` is NaN where nobody has two.

    References
    ----------
    [Burdick1992], [Patterson1971]

    Examples
    --------
    >>> import pandas as pd
    >>> from casebook.statistics.repeatability.cells import cell_table, readings_of
    >>> trials = readings_of(pd.DataFrame({"subject": list("aaaabbbb"),
    ...     "session": [1, 1, 2, 2] * 2, "trial": [1, 2] * 4,
    ...     "value": [1.0, 3.0, 5.0, 7.0, 11.0, 13.0, 10.0, 12.0]}))
    >>> found = nested_squares(trials.value, cell_table(trials))
    >>> found.sessions, found.trials
    (8.5, 2.0)
    """
    width = table.mean.shape[1]
    cell = table.row * width + table.column
    _, cell = np.unique(cell, return_inverse=True)
    counts = np.bincount(cell)
    df_trials = int(value.size - counts.size)
    if df_trials < 1:
        return None
    centred = value - value.mean()
    means = np.bincount(cell, weights=centred) / counts
    inner = float(np.square(centred - means[cell]).sum())
    total = float(np.square(centred).sum())
    if inner <= ROUNDING * total:
        inner = 0.0
    owner = np.zeros(counts.size, dtype=np.int64)
    owner[cell] = table.row
    sessions = np.bincount(owner, minlength=table.mean.shape[0])
    squares = NestedSquares(
        sessions=math.nan,
        trials=inner / df_trials,
        per_session=float(counts.size / np.sum(1.0 / counts)),
        df_sessions=int(counts.size - sessions.size),
        df_trials=df_trials,
        subject_variance=math.nan,
        method=Method.ANOVA,
    )
    if squares.df_sessions < 1:
        return squares
    if (np.ptp(counts) == 0 and np.ptp(sessions) == 0) or inner == 0.0:
        return _by_anova(squares, means, owner, sessions)
    return _by_reml(squares, centred, table.row, cell)


def _by_anova(
    squares: NestedSquares, means: Floats, owner: Whole, sessions: Whole
) -> NestedSquares:
    m = squares.per_session
    subject = np.bincount(owner, weights=means) / sessions
    between = m * float(np.square(means - subject[owner]).sum()) / squares.df_sessions
    subject_variance = math.nan
    if subject.size > 1:
        # Exact with as many sessions in each; else by their harmonic mean.
        per_subject = float(np.mean(1.0 / sessions))
        spread = float(np.square(subject - subject.mean()).sum()) / (subject.size - 1)
        subject_variance = max(spread - per_subject * between / m, 0.0)
    return _with(squares, between, squares.trials, subject_variance, Method.ANOVA)


def _by_reml(squares: NestedSquares, value: Floats, subject: Whole, cell: Whole) -> NestedSquares:
    several = np.unique(subject).size > 1
    fit = fit_reml(value, [subject, cell] if several else [cell])
    session = fit.variances[-1]
    return _with(
        squares,
        fit.residual + squares.per_session * session,
        fit.residual,
        fit.variances[0] if several else math.nan,
        Method.REML,
    )


def _with(
    squares: NestedSquares, sessions: float, trials: float, subject_variance: float, method: Method
) -> NestedSquares:
    return NestedSquares(
        sessions=sessions,
        trials=trials,
        per_session=squares.per_session,
        df_sessions=squares.df_sessions,
        df_trials=squares.df_trials,
        subject_variance=subject_variance,
        method=method,
    )


def nested_parts(squares: NestedSquares) -> Nested:
    """The two parts of the error with their 95 % intervals.

    Parameters
    ----------
    squares : NestedSquares

    Returns
    -------
    Nested
        A between-session variance below zero is set to zero and named in `negative`. Without
        a second session only the within-session part is told.

    References
    ----------
    [Burdick1992], [Ting1990], [Graybill1980], [Bland1995]

    Examples
    --------
    >>> found = nested_parts(NestedSquares(sessions=9.0, trials=2.0, per_session=7.0,
    ...     df_sessions=10, df_trials=120, subject_variance=4.0, method=Method.ANOVA))
    >>> round(found.between_sd.estimate, 4), round(found.sem_of_mean.estimate, 4)
    (1.0, 1.1339)
    """
    m = squares.per_session
    within = sem_interval(squares.trials, squares.df_trials)
    between = single = mean = NOT_TOLD
    negative: tuple[str, ...] = ()
    if math.isfinite(squares.sessions):
        between = _between(squares)
        negative = ("session",) if squares.sessions < squares.trials else ()
        # sb2 + sw2/m is a mean square over m, so its interval is exact; never below sw2/m.
        mean = _at_least(
            sem_interval(squares.sessions / m, squares.df_sessions), squares.trials / m
        )
        single = _single(squares)
    return Nested(
        trials=m,
        between_sd=between,
        within_sd=within,
        subject_sd=math.sqrt(squares.subject_variance),
        sem_single=single,
        sem_of_mean=mean,
        df_sessions=round(squares.df_sessions),
        df_trials=round(squares.df_trials),
        method=squares.method,
        negative=negative,
    )


def _at_least(interval: Interval, variance: float) -> Interval:
    sem = max(interval.estimate, math.sqrt(variance))
    return Interval(estimate=sem, low=interval.low, high=max(interval.high, sem))


def _between(squares: NestedSquares) -> Interval:
    if squares.trials == 0.0:
        return sem_interval(squares.sessions / squares.per_session, squares.df_sessions)
    estimate, low, high = difference_interval(
        (squares.sessions, squares.df_sessions), (squares.trials, squares.df_trials)
    )
    m = squares.per_session
    return Interval(
        estimate=math.sqrt(estimate / m), low=math.sqrt(low / m), high=math.sqrt(high / m)
    )


def _single(squares: NestedSquares) -> Interval:
    share = 1.0 / squares.per_session
    variance, low, high = sem_of_sum(
        [
            (share, squares.sessions, squares.df_sessions),
            (1.0 - share, squares.trials, squares.df_trials),
        ]
    )
    variance = max(variance, squares.trials)
    return Interval(
        estimate=math.sqrt(variance), low=math.sqrt(low), high=math.sqrt(max(high, variance))
    )
