"""Charts of the metrics chosen: the sides, and below them their asymmetry."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import pandas as pd
import streamlit as st

from app.course_charts import draw_course
from app.messages import plain
from app.verdicts_shown import show_lines
from app.why_shown import why_expander
from app.words import code_words
from casebook.charts.course import Smooth
from casebook.charts.time_axis import Bar, Mark, TimeAxis
from casebook.domain.metrics import Metric
from casebook.domain.sides import InjurySide
from casebook.domain.verdicts import Call, What
from casebook.services.courses import courses_of
from casebook.services.reviewing import Review
from casebook.statistics.course.smoothing import SmoothedCourse
from casebook.statistics.course.whole import Course

CHARTS_AT_FIRST = 3
AS_VISITS, AS_SMOOTHED = "Visit by visit", "Smoothed course"
COURSES = {
    What.LEFT: "The course of the left side",
    What.RIGHT: "The course of the right side",
    What.NONE: "The course",
    What.ASYMMETRY: "The course of right − left (a rise is toward the right being larger)",
}
SIDES_KEY = "◀ left, full line · ▶ right, broken line · hollow: a visit of the baseline. "
AT_A_GLANCE = {
    AS_VISITS: "Outside the shading: further from the baseline than measurement error alone.",
    AS_SMOOTHED: ("Beyond the thin lines: further from the baseline than measurement error alone."),
}
HOW = {
    AS_VISITS: (
        "Shaded: how far measurement error alone may take a visit from the baseline; a point "
        "inside has not changed beyond error.",
        "Paler: only the error within a session is known, so the band is too narrow, and a point "
        "outside it may be error too. No shading: no error figure for that visit.",
    ),
    AS_SMOOTHED: (
        "Thick line: where the true course most likely runs, given how exact each visit is; its "
        "shading holds it at 95 of 100 visits.",
        "Thin lines: how far measurement error alone may take a visit from the baseline.",
        "A course needs three visits with a known error; without them the visits are joined as "
        "they are, and that reach is shaded.",
    ),
}
PROGRAMMES = (
    "Shaded from top to bottom: a programme runs. Upright broken line: it starts; upright dotted "
    "line: it ends. Before the first line of all lies the baseline. Each programme has its name "
    "and its days on a bar at the foot.",
)
FLAGS = "Ringed: a visit that has a flag; what it says stands above, or among the earlier flags."


def show_courses(review: Review) -> None:
    """A choice of metrics, and a block for each."""
    st.subheader("Course", anchor=False)
    labels = {key: metric.label for key, metric in review.metrics.items()}
    chosen = st.multiselect(
        "Metrics shown",
        list(labels),
        default=first_choice(review),
        format_func=labels.__getitem__,
        key=f"courses_{review.runner.code}",
        placeholder="Choose metrics",
        help="Flagged metrics and those with a target come first.",
    )
    if not chosen:
        return
    drawn = st.segmented_control(
        "Drawn as",
        (AS_SMOOTHED, AS_VISITS),
        default=AS_SMOOTHED,
        key="courses_drawn",
        required=True,
        label_visibility="collapsed",
    )
    st.caption(f"{SIDES_KEY}{AT_A_GLANCE[str(drawn)]} Touch a point for its numbers.")
    with st.expander("How to read these charts", icon=":material/help:"):
        lines = (*HOW[str(drawn)], *(PROGRAMMES if review.programmes else ()), FLAGS)
        st.markdown("\n".join(f"- {line}" for line in lines))
    axis = _time_axis(review)
    for key in chosen:
        _show_course(review, review.metrics[key], axis, smoothed=drawn == AS_SMOOTHED)


def first_choice(review: Review) -> list[str]:
    """Metrics to be shown at first: flagged, then targeted, then moved beyond error."""
    moved = {Call.WORSENED: 0, Call.IMPROVED: 1}
    changed = sorted(
        (v for v in review.verdicts if v.verdict in moved), key=lambda v: moved[v.verdict]
    )
    newest_first = sorted(review.programmes, key=lambda one: one.started_on, reverse=True)
    wanted = (
        *(flag.metric for flag in review.open_flags),
        *(target.metric for programme in newest_first for target in programme.targets),
        *(verdict.metric for verdict in changed),
    )
    known = [key for key in dict.fromkeys(wanted) if key in review.metrics]
    return known[:CHARTS_AT_FIRST] or _judged(review)[:CHARTS_AT_FIRST]


def _judged(review: Review) -> list[str]:
    judged = [v.metric for v in review.verdicts if v.verdict is not Call.CANNOT_SAY]
    return list(dict.fromkeys(judged)) or list(review.metrics)


def _time_axis(review: Review) -> TimeAxis:
    return TimeAxis(
        visits=tuple(sorted({line.visited_on for line in review.visits})),
        bars=tuple(
            Bar(title=one.title, start=one.started_on, end=one.ended_on)
            for one in review.programmes
        ),
        marks=tuple(
            Mark(
                words=(f"{one.side} " if one.side is not InjurySide.NONE else "")
                + code_words(one.region),
                day=one.onset_on,
            )
            for one in review.injuries
        ),
    )


def _show_course(review: Review, metric: Metric, axis: TimeAxis, *, smoothed: bool) -> None:
    course = review.course[review.course["metric"] == metric.key]
    courses = courses_of(review, metric.key)
    smooth = _smooth(courses) if smoothed else None
    with st.container(border=True, key=f"course_{metric.key}"):
        st.markdown(f"#### {plain(metric.label)}")
        show_lines(review, metric)
        draw_course(course, axis, metric, place="chart", key=metric.key, smooth=smooth)
        told = What.ASYMMETRY if What.ASYMMETRY in courses else list(courses)[-1]
        st.caption(f"**{COURSES[told]}:** {plain(courses[told].sentence)}")
        more = {COURSES[what]: one.sentence for what, one in courses.items() if what is not told}
        why_expander(review, metric, courses=more)


def _smooth(courses: Mapping[What, Course]) -> dict[str, Smooth]:
    return {
        what.value: Smooth(
            days=[(pd.Timestamp(0) + timedelta(days=float(day))).date() for day in found.days],
            level=found.level.tolist(),
            low=found.low.tolist(),
            high=found.high.tolist(),
        )
        for what, one in courses.items()
        if isinstance(found := one.smoothed, SmoothedCourse)
    }
