"""The predicted course of a metric in a sentence, for who looks at the chart and for who can't."""

from __future__ import annotations

from casebook.domain.audit_growth import CohortGrowth, GrowthCourse
from casebook.domain.audit_outcomes import On
from casebook.domain.audit_words import LEVELS, ONS
from casebook.domain.number_words import rounded_alike


def course_words(growth: CohortGrowth) -> str:
    """From where to where the predicted mean ran in each group, over which weeks.

    Pieces of one group (before and from the programme's start) are told as one course.
    """
    groups = list(dict.fromkeys(course.group for course in growth.courses))
    told = [
        _of_group([one for one in growth.courses if one.group == group], group, growth.unit)
        for group in groups
    ]
    of = "" if growth.on is On.VALUE else f", {ONS[growth.on]}"
    return f"Predicted mean{of}: {'; '.join(told)}, counted from the programme's start."


def _of_group(pieces: list[GrowthCourse], group: str, unit: str) -> str:
    first, last = pieces[0], pieces[-1]
    start, end, low, high = rounded_alike(
        (first.mean[0], last.mean[-1], last.low[-1], last.high[-1]), unit
    )
    return (
        f"{LEVELS[group] or 'all runners'} from {start} in week {_week(first.weeks[0])} to {end} "
        f"(95 % interval {low} to {high}) in week {_week(last.weeks[-1])}"
    )


def _week(week: float) -> str:
    words = f"{abs(week):.0f}"
    return f"−{words}" if week < 0 and words != "0" else words
