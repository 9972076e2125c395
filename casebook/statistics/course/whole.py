"""All that a course shows, each part only where there are enough visits for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from casebook.domain.wording import NO_ERROR_FIGURE, number_words
from casebook.statistics.codes import Flags, Floats
from casebook.statistics.course.enough import (
    LINE_NEEDS,
    OVERLAP_NEEDS,
    RANKS_NEED,
    SEGMENTS_NEED,
    SMOOTHING_NEEDS,
    NotFitted,
    lacking,
    lacking_errors,
    lacking_phases,
)
from casebook.statistics.course.nonoverlap import Nonoverlap, TauU, nonoverlap_of_all_pairs, tau_u
from casebook.statistics.course.phases import Segments, segmented_regression
from casebook.statistics.course.slopes import (
    KnownErrorLine,
    RankTrend,
    known_error_line,
    rank_trend,
)
from casebook.statistics.course.smoothing import SmoothedCourse, smoothed_course

NO_PROGRAMME = NotFitted(why="no programme was started")
# Up to this p of Kendall's test the values count as rising or falling.
TREND_P = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The course of one metric and side; each part is a result, or says why there is none.

    Attributes
    ----------
    days, values, sems : ndarray of float, shape (days,)
        What the parts rest on: one value a day, in the order of time. `sems` is NaN where
        the error is not known.
    in_programme : ndarray of bool, shape (days,)
        True after the day on which the programme started.
    line : KnownErrorLine or NotFitted
        From 3 visits with a known error.
    ranks : RankTrend or NotFitted
        From 4 visits.
    overlap : Nonoverlap or NotFitted
        From 3 visits in each phase.
    tau_u : TauU or NotFitted
        Likewise.
    segments : Segments or NotFitted
        From 4 visits in each phase.
    smoothed : SmoothedCourse or NotFitted
        From 3 visits with a known error.
    sentence : str
        What the course shows, in plain words; never why.
    """

    days: Floats
    values: Floats
    sems: Floats
    in_programme: Flags
    line: KnownErrorLine | NotFitted
    ranks: RankTrend | NotFitted
    overlap: Nonoverlap | NotFitted
    tau_u: TauU | NotFitted
    segments: Segments | NotFitted
    smoothed: SmoothedCourse | NotFitted
    sentence: str


def course_of(
    days: ArrayLike,
    values: ArrayLike,
    sems: ArrayLike,
    programme_start_day: float | None,
    *,
    unit: str = "",
    no_error: str = NO_ERROR_FIGURE,
) -> Course:
    """The course of one metric and side (or asymmetry) over a runner's visits.

    Parameters
    ----------
    days : array_like of float, shape (visits,)
        Day of each visit, counted from any day; in any order. Visits of one day are taken
        together as their mean, since they are no two points of a course.
    values : array_like of float, shape (visits,)
        In the metric's unit; NaN where not measured (left out).
    sems : array_like of float, shape (visits,)
        Standard error of each value; NaN or 0 where it is not known. Methods that need it
        leave such visits out.
    programme_start_day : float or None
        On the scale of `days`; visits on that day still count as before. None without a
        programme.
    unit : str
        The unit as a person writes it, for the sentence.
    no_error : str
        What the sentence says where the error of no visit is known.

    Returns
    -------
    Course

    Raises
    ------
    ValueError
        When the three arrays differ in length, or a day is not finite.

    References
    ----------
    [Bevington2003], [DurbinKoopman2012], [Practice]

    Examples
    --------
    >>> course = course_of([0, 30, 60, 90], [8.0, 7.0, 5.5, 4.0], [0.5] * 4, 30, unit="°")
    >>> course.sentence
    'Over 4 visits in 90 days it fell by 4.0° (95 % interval −5.4° to −2.7°), beyond measurement \
error.'
    >>> course.overlap.why
    "needs 3 visits before the programme's start and 3 after it, has 2 and 2"
    """
    day, value, sem = one_a_day(*_checked(days, values, sems))
    known = np.flatnonzero(np.isfinite(sem))
    by_error = day[known], value[known], sem[known]
    in_programme = (
        np.zeros(day.shape, dtype=np.bool_)
        if programme_start_day is None
        else day > programme_start_day
    )
    before, after = value[~in_programme], value[in_programme]
    line_lacks = lacking_errors(len(known), len(day), LINE_NEEDS, no_error=no_error)
    ranks_lack = lacking(len(day), RANKS_NEED)
    smoothing_lacks = lacking_errors(len(known), len(day), SMOOTHING_NEEDS, no_error=no_error)
    overlap_lacks = segments_lack = NO_PROGRAMME if programme_start_day is None else None
    if programme_start_day is not None:
        overlap_lacks = lacking_phases(len(before), len(after), OVERLAP_NEEDS)
        segments_lack = lacking_phases(len(before), len(after), SEGMENTS_NEED)

    line = line_lacks or known_error_line(*by_error)
    ranks = ranks_lack or rank_trend(day, value)
    overlap = overlap_lacks or nonoverlap_of_all_pairs(before, after)
    segments = segments_lack or segmented_regression(
        day, value, in_programme, float(programme_start_day or 0.0), sems=sem
    )
    return Course(
        days=day,
        values=value,
        sems=sem,
        in_programme=in_programme,
        line=line,
        ranks=ranks,
        overlap=overlap,
        tau_u=overlap_lacks or tau_u(before, after),
        segments=segments,
        smoothed=smoothing_lacks or smoothed_course(*by_error),
        sentence=_course_words(day, day[known], line, ranks, unit)
        + _phase_words(segments, overlap, unit)
        + ".",
    )


def _checked(days: ArrayLike, values: ArrayLike, sems: ArrayLike) -> tuple[Floats, Floats, Floats]:
    day, value, sem = (np.asarray(given, dtype=float).ravel() for given in (days, values, sems))
    if not day.size == value.size == sem.size:
        raise ValueError(
            f"days, values and sems have {day.size}, {value.size} and {sem.size} elements; "
            "expected as many of each."
        )
    if not np.isfinite(day).all():
        raise ValueError("days: one of them is no finite number; expected a day for each visit.")
    measured = np.isfinite(value)
    return day[measured], value[measured], sem[measured]


def one_a_day(days: Floats, values: Floats, sems: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean of the visits of each day, with the error of that mean.

    Parameters
    ----------
    days, values, sems : ndarray of float, shape (visits,)
        In any order; `sems` NaN or 0 where the error is not known.

    Returns
    -------
    days, values, sems : ndarray of float, shape (days,)
        Days ascending; `sems` NaN where the error of a visit of the day is not known.

    References
    ----------
    [Bevington2003]

    Examples
    --------
    >>> days, values, sems = one_a_day(
    ...     np.array([9.0, 2.0, 9.0]), np.array([1.0, 5.0, 3.0]), np.array([0.6, 0.5, 0.8])
    ... )
    >>> days, values, sems
    (array([2., 9.]), array([5., 2.]), array([0.5, 0.5]))
    """
    error = np.where(np.isfinite(sems) & (sems > 0), sems, np.nan)
    day, at, count = np.unique(days, return_inverse=True, return_counts=True)
    value = np.bincount(at, weights=values, minlength=day.size) / count
    variance = np.bincount(at, weights=np.square(error), minlength=day.size)
    return day, value, np.sqrt(variance) / count


def _course_words(
    days: Floats,
    days_known: Floats,
    line: KnownErrorLine | NotFitted,
    ranks: RankTrend | NotFitted,
    unit: str,
) -> str:
    if isinstance(line, KnownErrorLine):
        kind = "visits" if len(days_known) == len(days) else "visits with a known error"
        return _line_words(_span_words(days_known, kind), line, unit)
    if len(days) >= LINE_NEEDS:
        return _rank_words(_span_words(days, "visits"), line, ranks)
    if len(days) == 0:
        return "There is no visit with a value yet"
    has = "One visit is" if len(days) == 1 else "Two visits are"
    return f"{has} too few for a course: it needs {LINE_NEEDS}"


def _span_words(days: Floats, kind: str) -> str:
    return f"Over {len(days)} {kind} in {days[-1] - days[0]:.0f} days"


def _line_words(span: str, line: KnownErrorLine, unit: str) -> str:
    interval = (
        f"(95 % interval {number_words(line.rise_low, unit)} "
        f"to {number_words(line.rise_high, unit)})"
    )
    if line.beyond_error:
        way = "rose" if line.rise > 0 else "fell"
        told = (
            f"{span} it {way} by {number_words(abs(line.rise), unit)} {interval}, "
            "beyond measurement error"
        )
    else:
        told = (
            f"{span} there is no steady rise or fall beyond measurement error: the straight line "
            f"through them changes by {number_words(line.rise, unit, signed=True)} {interval}"
        )
    if line.widened:
        told += (
            "; the visits scatter about that line more than measurement error explains, "
            "and the interval allows for it"
        )
    return told


def _rank_words(span: str, line: NotFitted, ranks: RankTrend | NotFitted) -> str:
    told = f"{span} a change can't be told from measurement error ({line.why})"
    if isinstance(ranks, NotFitted):
        return told
    if ranks.p > TREND_P:
        return f"{told}; by their order alone the values show no steady rise or fall"
    way = "rise" if ranks.s > 0 else "fall"
    p = "p < 0.001" if ranks.p < 0.001 else f"p = {ranks.p:.3f}"
    return f"{told}; by their order alone the values mostly {way} ({p})"


def _phase_words(segments: Segments | NotFitted, overlap: Nonoverlap | NotFitted, unit: str) -> str:
    """What differs about the start of the programme; that it came of it, nobody can say so."""
    if isinstance(segments, Segments) and segments.level_change.beyond_error:
        step = segments.level_change
        way = "up" if step.estimate > 0 else "down"
        return (
            f"; about the programme's start the level steps {way} by "
            f"{number_words(abs(step.estimate), unit)} (95 % interval "
            f"{number_words(step.low, unit)} to {number_words(step.high, unit)}), "
            "which does not say why"
        )
    if isinstance(overlap, Nonoverlap):
        way, share = ("higher", overlap.nap) if overlap.nap >= 0.5 else ("lower", 1 - overlap.nap)
        halves = " (a tie counts half)" if overlap.tied else ""
        return (
            f"; a visit after the programme's start is {way} than one before it in "
            f"{math.floor(100 * share + 0.5)} % of the pairs{halves}, which does not say why"
        )
    return ""
