"""Catalogue: the metrics, and the error with which each is measured."""

from __future__ import annotations

from collections import defaultdict

import pandas as pd
import streamlit as st

from app import state
from app.figure_form import adopt_form, show_figures
from app.messages import calmly, count_words, plain
from app.metric_form import BLANK, metric_fields
from app.tables import show_stacked
from app.words import BETTER, FORMS, GROUPS, SCALES, figure_words, metric_words
from casebook.domain.metrics import AppliesTo, Better, ErrorFigure, Metric
from casebook.domain.wording import CONDITIONS, NO_ERROR_FIGURE, ORIGINS, number_words, unit_words
from casebook.services.cataloguing import (
    StoredMetric,
    get_metric,
    list_figures,
    list_metrics,
    save_metric,
)
from casebook.services.keeping import Casebook

OVERVIEW, ONE, ADD = "All metrics", "One metric", "Add a metric"


def show() -> None:
    """The page."""
    st.title("Catalogue")
    state.show_notice()
    casebook = state.opened_casebook()
    first = ONE if st.query_params.get("metric") else OVERVIEW
    view = st.segmented_control(
        "View", (OVERVIEW, ONE, ADD), default=first, key="catalogue_view", required=True
    )
    if view == ADD:
        _add(casebook)
    elif view == ONE:
        _one(casebook)
    else:
        _overview(casebook)


def _overview(casebook: Casebook) -> None:
    metrics = list_metrics(casebook, include_inactive=True)
    figures: dict[str, list[ErrorFigure]] = defaultdict(list)
    for figure in list_figures(casebook):
        figures[figure.metric].append(figure)
    without = sum(metric.key not in figures for metric in metrics)
    st.markdown(
        f"{count_words(len(metrics), 'metric')}, {without} of them without an error figure: a "
        "change in those is never told to be beyond error; the numbers are shown."
    )
    st.caption(
        "SEM: the standard error of measurement, about how far a measurement lies from the true "
        "value. SD: a standard deviation, of one runner's sessions or of the trials in one. A "
        "change between two visits counts beyond about 2.8 times the SEM."
    )
    for group, words in GROUPS.items():
        members = [metric for metric in metrics if metric.group is group]
        if not members:
            continue
        st.subheader(words, anchor=False)
        show_stacked(
            pd.DataFrame([_line(metric, figures[metric.key]) for metric in members]),
            key=f"catalogue_metrics_{group}",
            alt=f"Metrics: {words}",
        )


def _line(metric: Metric, figures: list[ErrorFigure]) -> dict[str, str]:
    label = plain(metric_words(metric))
    error = "  \n".join(
        plain(
            f"{figure_words(figure, metric)} "
            f"({'of the asymmetry, ' if figure.applies_to is AppliesTo.ASYMMETRY else ''}"
            f"{ORIGINS[figure.origin]})"
        )
        for figure in sorted(figures, key=lambda one: one.applies_to is AppliesTo.ASYMMETRY)
    )
    return {
        "Metric": label if metric.active else f"{label} (not in use)",
        "Sides": "both" if metric.sided else "no sides",
        "Better": _better(metric),
        "Measurement error": error or NO_ERROR_FIGURE,
    }


def _better(metric: Metric) -> str:
    if metric.better is Better.RANGE:
        high = number_words(metric.target_high, unit_words(metric.unit))
        return plain(f"{number_words(metric.target_low)} to {high}")
    return BETTER[metric.better].removesuffix(" is better").replace("neither direction", "neither")


def _one(casebook: Casebook) -> None:
    metrics = {metric.key: metric for metric in list_metrics(casebook, include_inactive=True)}
    if "catalogue_metric" not in st.session_state:
        asked = st.query_params.get("metric")
        st.session_state["catalogue_metric"] = asked if asked in metrics else next(iter(metrics))
    key = st.selectbox(
        "Metric",
        list(metrics),
        key="catalogue_metric",
        format_func=lambda one: metric_words(metrics[one]),
    )
    stored = get_metric(casebook, key)
    _facts(stored.metric)
    st.subheader("Measurement error", anchor=False)
    show_figures(casebook, stored.metric)
    known = bool(list_figures(casebook, stored.metric.key))
    words = "Give another error figure" if known else "Give an error figure"
    with st.expander(words, icon=":material/add:"):
        adopt_form(stored.metric)
    with st.expander("Edit this metric", icon=":material/edit:"), calmly():
        _edit(casebook, stored)


def _edit(casebook: Casebook, stored: StoredMetric) -> None:
    # What the fields were filled from: if somebody saves in between, the save is refused and
    # says what differs, instead of the fields changing under the hands of who fills them in.
    kept = f"catalogue_read_{stored.metric.key}"
    read: StoredMetric = st.session_state.setdefault(kept, stored)
    if read.revision != stored.revision:
        st.warning("Somebody else has saved this metric since you opened it.")
        if st.button("Read it again", key=f"{kept}_again"):
            del st.session_state[kept]
            st.rerun()
    typed = metric_fields(
        read.metric,
        name=f"edit_{stored.metric.key}_{read.revision}",
        locked=stored.has_values,
        new=False,
    )
    if typed is not None:
        save_metric(casebook, typed, expected_revision=read.revision, by=state.who())
        del st.session_state[kept]
        state.leave_notice(f"{plain(typed.label)} is saved.")
        st.rerun()


def _facts(metric: Metric) -> None:
    sensitive = ", ".join(CONDITIONS[condition] for condition in metric.sensitive_to)
    grades = "; ".join(f"{grade} = {words}" for grade, words in enumerate(metric.grades))
    low = number_words(metric.plausible_low)
    high = number_words(metric.plausible_high, unit_words(metric.unit))
    rows = {
        "Key in files": metric.key,
        "Positive means": metric.sign_convention,
        "Scale": SCALES[metric.scale],
        "Grades": grades,
        "Sides": FORMS[metric.asymmetry_form] if metric.sided else "whole body",
        "Better": _better(metric).replace("\\", ""),
        "Plausible values": f"{low} to {high}",
        "No verdict when these differ": sensitive,
        "Notes": metric.notes,
        "Sources": metric.sources,
    }
    shown = {name: plain(words) for name, words in rows.items() if words.strip()}
    st.table(
        pd.DataFrame({"": shown.keys(), " ": shown.values()}),
        border="horizontal",
        hide_index=True,
        hide_header=True,
        alt="Facts of the metric",
    )


def _add(casebook: Casebook) -> None:
    st.caption(
        "A metric of your own stands in the logging grid at once. It gets verdicts as soon as "
        "it has an error figure."
    )
    with calmly():
        typed = metric_fields(BLANK, name="new", locked=False, new=True)
        if typed is not None:
            save_metric(casebook, typed, expected_revision=None, by=state.who())
            state.leave_notice(f"{plain(typed.label)} is added to the catalogue.")
            st.rerun()


show()
