"""The smoothed course of one metric of one runner, side by side, and what it shows in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from casebook.domain.metrics import Metric, Scale
from casebook.domain.programmes import Programme
from casebook.domain.verdicts import Reason, What
from casebook.domain.wording import NO_ERROR_FIGURE, REASONS, asymmetry_unit, unit_words
from casebook.services.reviewing import Review
from casebook.statistics.course.whole import Course, course_of

OF_GRADES = "a grade goes in steps and has no standard error"


def courses_of(review: Review, metric_key: str) -> Mapping[What, Course]:
    """The course of each side of a metric, and of its asymmetry, where it was measured.

    Parameters
    ----------
    review : Review
    metric_key : str
        One of `review.metrics`.

    Returns
    -------
    mapping of What to Course
        Days are counted since 1970. A visit counts with its known error
        between sessions; an error that is only a lower bound is none. The phases are before
        and after the start of the runner's first programme, where the baseline ends too.
        Visits that were not like for like with the baseline are left out, and the sentence
        says how many.
    """
    metric = review.metrics[metric_key]
    rows = review.course[review.course["metric"] == metric_key]
    started = programme_start(review.programmes)
    return {
        what: _course(group, metric, what, started)
        for what in What
        if len(group := rows[rows["what"] == what.value])
    }


def programme_start(programmes: tuple[Programme, ...]) -> date | None:
    """The day that ends the baseline: when the runner's first programme started."""
    return min((one.started_on for one in programmes), default=None)


def _course(group: pd.DataFrame, metric: Metric, what: What, started: date | None) -> Course:
    unlike = (group["reason"] == Reason.NOT_LIKE_FOR_LIKE.value).to_numpy()
    kept = group[~unlike]
    origin = pd.Timestamp(0)
    days = (kept["visited_on"] - origin).dt.days.to_numpy(dtype=float)
    known = kept["sem"].where(~kept["lower_bound"]).to_numpy(dtype=float)
    asymmetry = what is What.ASYMMETRY
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit) if asymmetry else unit_words(metric.unit)
    )
    found = course_of(
        days,
        kept["value"].to_numpy(dtype=float),
        known,
        None if started is None else float((pd.Timestamp(started) - origin).days),
        unit=unit,
        no_error=_why_no_error(metric, only_within=bool(kept["lower_bound"].any())),
    )
    left_out = int(np.sum(unlike))
    if not left_out:
        return found
    visits = "1 visit that was" if left_out == 1 else f"{left_out} visits that were"
    return replace(
        found,
        sentence=f"{found.sentence} Left out: {visits} not like for like with the baseline.",
    )


def _why_no_error(metric: Metric, *, only_within: bool) -> str:
    if metric.scale is Scale.GRADE:
        return OF_GRADES
    return REASONS[Reason.ONLY_WITHIN_SESSION] if only_within else NO_ERROR_FIGURE
