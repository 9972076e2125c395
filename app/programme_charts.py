"""The course of metrics about a programme: its phases, and how it was kept to."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from app.course_charts import draw_course
from app.messages import plain
from app.programme_weeks import BARS_READ, draw_bars
from casebook.charts.time_axis import Bar, TimeAxis
from casebook.domain.metrics import Metric
from casebook.domain.programme_words import effect_sentence
from casebook.domain.programmes import Programme
from casebook.domain.verdicts import Call, What
from casebook.domain.wording import upper_first
from casebook.services.outcomes import ToldEffect

CHARTS_AT_FIRST = 3
PLACES = {What.LEFT: "Left", What.RIGHT: "Right", What.ASYMMETRY: "Asymmetry", What.NONE: ""}
HOW_TO_READ = (
    "◀ left, full line; ▶ right, broken line; hollow: a visit before the programme, which it is "
    "held against. Shaded along a line: how far measurement error alone may take a visit from "
    "that; paler: at least so far. Shaded from top to bottom: a programme runs, from its broken "
    "line to its dotted one; its name and its days stand at the foot."
)


def _chosen(told: ToldEffect) -> list[str]:
    """The metrics of a choice on the page; at first those that it should change, else what moved.

    Drawn where the choice stands, above the charts.
    """
    offered = _offered(told)
    if not offered:
        return []
    st.subheader("Before, during and after", anchor=False)
    return st.multiselect(
        "Metrics shown",
        offered,
        default=_at_first(told),
        format_func=lambda key: told.metrics[key].label,
        key=f"programme_courses_{told.programme_id}",
        placeholder="Choose metrics",
        help="Those that the programme should change come first; the others are the comparison.",
    )


def show_charts(told: ToldEffect) -> None:
    """A block for each metric chosen: its sides, their asymmetry, and the weeks below."""
    chosen = _chosen(told)
    if not chosen:
        return
    st.caption(f"{HOW_TO_READ}{f' {BARS_READ}' if told.weeks else ''}")
    axis = _axis(told)
    for key in chosen:
        _show(told, told.metrics[key], axis)


def _offered(told: ToldEffect) -> list[str]:
    """Those with a target first, then those that a hypothesis names, then all others."""
    measured = set(told.course["metric"]) & told.metrics.keys()
    keys = [target.metric for target in told.programme.targets]
    effects = told.effect.effects
    keys += [one.metric for one in sorted(effects, key=lambda one: not one.targeted)]
    return [key for key in dict.fromkeys(keys) if key in measured]


def _at_first(told: ToldEffect) -> list[str]:
    offered = _offered(told)
    effects = told.effect.effects
    wanted = {one.metric for one in effects if one.targeted}
    moved = {one.metric for one in effects if one.call in {Call.IMPROVED, Call.WORSENED}}
    return [key for key in offered if key in (wanted or moved)][:CHARTS_AT_FIRST]


def _axis(told: ToldEffect) -> TimeAxis:
    days = [week.week_start for week in told.weeks]
    return TimeAxis(
        visits=told.visits,
        bars=tuple(_bar(one) for one in told.programmes),
        about=_bar(told.programme),
        also=tuple(day + timedelta(days=end) for day in days for end in (0, 6)),
    )


def _bar(programme: Programme) -> Bar:
    return Bar(title=programme.title, start=programme.started_on, end=programme.ended_on)


def _show(told: ToldEffect, metric: Metric, axis: TimeAxis) -> None:
    course = told.course[told.course["metric"] == metric.key]
    key = f"{told.programme_id}_{metric.key}"
    with st.container(border=True, key=f"programme_course_{key}"):
        st.markdown(f"#### {plain(metric.label)}")
        st.markdown("\n".join(f"- {plain(line)}" for line in _sentences(told, metric)))
        draw_course(course, axis, metric, place="programme", key=key)
        if told.weeks:
            draw_bars(told.weeks, key=f"programme_bars_{key}", span=axis.span)


def _sentences(told: ToldEffect, metric: Metric) -> list[str]:
    """What became of each place that was targeted, or of all where none was; level and slope."""
    # Of a metric that it was not meant to change the sides and the asymmetry tell alike.
    alone = not any(one.metric == metric.key and one.targeted for one in told.effect.effects)
    lines = []
    for one in told.effect.effects:
        if one.metric != metric.key or not (one.targeted or alone):
            continue
        said = effect_sentence(one, metric).removeprefix(metric.label).partition(": ")[2]
        words = f"{PLACES[one.what]}: {said}" if PLACES[one.what] else upper_first(said)
        if one.lacking:
            words += f" Level and slope at its start are not told: {one.lacking}."
        lines.append(words)
    return lines
