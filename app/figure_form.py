"""Error figures of a metric: what is in force, what was before, and a new one."""

from __future__ import annotations

from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import state
from app.choices import choose
from app.messages import calmly, day_words, plain
from app.words import APPLIES_TO, figure_words
from casebook.domain.metrics import (
    LARGEST_GRADE_STEP,
    AppliesTo,
    AsymmetryForm,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
)
from casebook.domain.wording import NO_ERROR_FIGURE, ORIGINS, asymmetry_unit, unit_words
from casebook.services.cataloguing import adopt_figure, list_figures, retire_figure
from casebook.services.keeping import Casebook

AS_SEM, AS_PARTS, AS_WITHIN, AS_STEP = (
    "SEM of a mean of trials",
    "Between and within sessions, apart",
    "Within a session only (a lower bound)",
    "Step of repeat grading",
)


def show_figures(casebook: Casebook, metric: Metric) -> None:
    """The figures in force with their sources, and those that were retired."""
    figures = list_figures(casebook, metric.key, include_retired=True)
    in_force = [figure for figure in figures if figure.retired_at is None]
    if not in_force:
        st.info(
            f"{NO_ERROR_FIGURE.capitalize()}. Until then changes are shown as numbers, without "
            "a verdict.",
            icon=":material/straighten:",
        )
    for figure in in_force:
        _one(casebook, metric, figure)
    retired = [figure for figure in figures if figure.retired_at is not None]
    if retired:
        with st.expander(f"No longer in force ({len(retired)})", icon=":material/history:"):
            for figure in retired:
                until = figure.retired_at.date() if figure.retired_at else None
                st.markdown(f"{_words(metric, figure)} Retired {day_words(until)}.")


def _words(metric: Metric, figure: ErrorFigure) -> str:
    parts = [
        f"**{plain(figure_words(figure, metric))}**, of {APPLIES_TO[figure.applies_to]}; "
        f"{ORIGINS[figure.origin]}.",
        f"Averaged: {plain(figure.averaged)}." if figure.averaged else "",
        f"Measured on: {plain(figure.population)}." if figure.population else "",
        f"Given as: {plain(figure.published_as)}." if figure.published_as else "",
        f"Source: {plain(figure.source)}",
    ]
    return "  \n".join(part for part in parts if part)


def _one(casebook: Casebook, metric: Metric, figure: ErrorFigure) -> None:
    with st.container(border=True):
        st.markdown(_words(metric, figure))
        key = f"retire_{metric.key}_{figure.applies_to}_{figure.origin}"
        if st.button("Take out of force", key=key, help="It is kept, and no longer used."):
            with calmly():
                retire_figure(
                    casebook, metric.key, applies_to=figure.applies_to, origin=figure.origin
                )
                state.leave_notice("The figure is no longer in force; it is kept below.")
                st.rerun()


def adopt_form(casebook: Casebook, metric: Metric) -> None:
    """Ask for a figure and put it in force; the one that it replaces is kept."""
    name = f"figure_{metric.key}"
    form: str | None = AS_STEP
    if metric.scale is not Scale.GRADE:
        forms = (AS_SEM, AS_PARTS, AS_WITHIN)
        form = st.segmented_control(
            "Known as", forms, default=AS_SEM, key=f"{name}_as", required=True
        )
    with st.form(name, border=False):
        applies = list(AppliesTo)
        if metric.asymmetry_form is AsymmetryForm.NONE:
            applies.remove(AppliesTo.ASYMMETRY)
        left, right = st.columns(2)
        applies_to = choose(
            left,
            "It is the error of",
            applies,
            lambda code: f"{APPLIES_TO[code]} ({_unit(metric, code)})",
            key=f"{name}_applies",
        )
        origin = ErrorOrigin.WITHIN_SESSION
        if form != AS_WITHIN:
            origin = choose(
                right,
                "It comes from",
                (ErrorOrigin.OWN, ErrorOrigin.PUBLISHED),
                ORIGINS,
                key=f"{name}_origin",
            )
        numbers = _numbers(str(form), name)
        source = st.text_input(
            "Source (required)",
            key=f"{name}_source",
            placeholder="A citation, or: own repeat measurements, spring 2026, 12 runners",
        )
        averaged = st.text_input("What was averaged", key=f"{name}_averaged")
        population = st.text_input("Who was measured", key=f"{name}_population")
        sent = st.form_submit_button("Put in force", type="primary")
    if sent:
        with calmly():
            adopt_figure(
                casebook,
                ErrorFigure(
                    metric=metric.key,
                    applies_to=applies_to,
                    origin=origin,
                    source=source.strip(),
                    averaged=averaged.strip(),
                    population=population.strip(),
                    **numbers,
                ),
            )
            state.leave_notice("The figure is in force. The one that it replaces is kept.")
            st.rerun()


def _unit(metric: Metric, applies_to: AppliesTo) -> str:
    if applies_to is AppliesTo.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit) or "no unit"
    return unit_words(metric.unit) or "no unit"


def _numbers(form: str, name: str) -> dict[str, Any]:
    if form == AS_STEP:
        step = st.number_input(
            "Grades that repeat grading stays within in 95 % of pairs",
            value=None,
            min_value=0,
            max_value=LARGEST_GRADE_STEP,
            step=1,
            key=f"{name}_step",
            help="A change of more grades than this counts.",
        )
        return {"grade_step": step}
    left, right = st.columns(2)

    def number(place: DeltaGenerator, label: str, key: str) -> float | None:
        return place.number_input(
            label, value=None, min_value=0.0, format="%g", key=f"{name}_{key}"
        )

    if form == AS_SEM:
        trials = right.number_input(
            "of a mean of how many trials", value=1, min_value=1, step=1, key=f"{name}_trials"
        )
        return {"sem": number(left, "SEM", "sem"), "sem_trials": int(trials)}
    within = number(left, "SD of single trials within a session", "within")
    if form == AS_WITHIN:
        return {"within_sd": within}
    return {
        "within_sd": within,
        "between_sd": number(right, "SD from session to session", "between"),
    }
