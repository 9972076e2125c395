"""Charts of the metrics chosen: the sides, and below them their asymmetry."""

from __future__ import annotations

import streamlit as st

from app import state
from app.messages import plain
from app.verdicts_shown import show_lines
from app.words import code_words
from casebook.charts.course import asymmetry_course, side_course
from casebook.charts.time_axis import Bar, Mark, TimeAxis
from casebook.domain.metrics import Metric
from casebook.domain.sides import InjurySide
from casebook.domain.verdicts import Call, What
from casebook.domain.wording import asymmetry_unit, unit_words
from casebook.services.reviewing import Review

CHARTS_AT_FIRST = 3


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
    st.caption(
        "◀ left, full line; ▶ right, broken line. Shaded: baseline and the change around it "
        "that measurement error alone may show; a point inside has not changed beyond error. "
        "Hollow: a visit of the baseline. Touch a point for its numbers."
    )
    axis = _time_axis(review)
    for key in chosen:
        _show_course(review, review.metrics[key], axis)


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


def _show_course(review: Review, metric: Metric, axis: TimeAxis) -> None:
    course = review.course[review.course["metric"] == metric.key]
    palette = state.palette()
    unit = unit_words(metric.unit)
    with st.container(border=True, key=f"course_{metric.key}"):
        st.markdown(f"#### {plain(metric.label)}")
        show_lines(review, metric)
        st.vega_lite_chart(
            spec=side_course(course, axis, unit=unit, palette=palette),
            theme=None,
            key=f"chart_sides_{metric.key}",
        )
        if (course["what"] == What.ASYMMETRY.value).any():
            st.vega_lite_chart(
                spec=asymmetry_course(
                    course,
                    axis,
                    unit=asymmetry_unit(metric.asymmetry_form, metric.unit),
                    palette=palette,
                ),
                theme=None,
                key=f"chart_asymmetry_{metric.key}",
            )
