"""The course of each targeted metric about a programme: its phases, and how it was kept to."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from app import state
from app.messages import plain
from app.programme_weeks import BARS_READ, draw_bars
from casebook.charts.course import asymmetry_course, side_course
from casebook.charts.time_axis import Bar, TimeAxis
from casebook.domain.metrics import Metric
from casebook.domain.programme_words import effect_sentence
from casebook.domain.programmes import Programme
from casebook.domain.verdicts import What
from casebook.domain.wording import asymmetry_unit, unit_words, upper_first
from casebook.services.outcomes import ToldEffect

CHARTS_AT_FIRST = 3
PLACES = {What.LEFT: "Left", What.RIGHT: "Right", What.ASYMMETRY: "Asymmetry", What.NONE: ""}
HOW_TO_READ = (
    "◀ left, full line; ▶ right, broken line; hollow: a visit before the programme, which it is "
    "held against. Shaded along a line: how far measurement error alone may take a visit from "
    "that; paler: at least so far. Shaded from top to bottom: a programme runs, from its broken "
    "line to its dotted one; its name and its days stand at the foot."
)


def shows_charts(told: ToldEffect) -> bool:
    """Whether there is any measure to be drawn."""
    return bool(_targeted(told))


def show_charts(told: ToldEffect) -> None:
    """A block for each targeted metric: its sides, their asymmetry, and the weeks below."""
    metrics = _targeted(told)
    if not metrics:
        return
    st.subheader("Before, during and after", anchor=False)
    chosen = list(metrics)[:CHARTS_AT_FIRST]
    if len(metrics) > CHARTS_AT_FIRST:
        chosen = st.multiselect(
            "Targeted metrics shown",
            list(metrics),
            default=chosen,
            format_func=lambda key: metrics[key].label,
            key=f"programme_courses_{told.programme_id}",
            placeholder="Choose metrics",
        )
    st.caption(f"{HOW_TO_READ}{f' {BARS_READ}' if told.weeks else ''}")
    axis = _axis(told)
    for key in chosen:
        _show(told, metrics[key], axis)


def _targeted(told: ToldEffect) -> dict[str, Metric]:
    """Those with a target first, then those that a hypothesis names."""
    measured = set(told.course["metric"])
    keys = [target.metric for target in told.programme.targets]
    keys += [one.metric for one in told.effect.effects if one.targeted]
    return {key: told.metrics[key] for key in dict.fromkeys(keys) if key in measured}


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
    palette = state.palette()
    key = f"{told.programme_id}_{metric.key}"
    with st.container(border=True, key=f"programme_course_{key}"):
        st.markdown(f"#### {plain(metric.label)}")
        st.markdown("\n".join(f"- {plain(line)}" for line in _sentences(told, metric)))
        st.vega_lite_chart(
            spec=side_course(course, axis, unit=unit_words(metric.unit), palette=palette),
            theme=None,
            key=f"programme_sides_{key}",
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
                key=f"programme_asymmetry_{key}",
            )
        if told.weeks:
            draw_bars(told.weeks, key=f"programme_bars_{key}", span=axis.span)


def _sentences(told: ToldEffect, metric: Metric) -> list[str]:
    """What became of each place that was targeted, with level and slope or why there are none."""
    lines = []
    for one in told.effect.effects:
        if one.metric != metric.key or not one.targeted:
            continue
        said = effect_sentence(one, metric).removeprefix(metric.label).partition(": ")[2]
        words = f"{PLACES[one.what]}: {said}" if PLACES[one.what] else upper_first(said)
        if one.lacking:
            words += f" Level and slope at its start are not told: {one.lacking}."
        lines.append(words)
    return lines
