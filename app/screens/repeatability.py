"""Repeatability: how far two measurements of an unchanged runner lie apart."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.messages import count_words, plain, show_caution
from app.repeat_file import study_of_upload
from app.study_adoption import show_adoption
from app.study_shown import show_details, show_headline, show_warnings
from casebook.services.keeping import Casebook
from casebook.services.repeating import Study, list_repeated

FROM_VISITS, FROM_FILE = "Repeat visits in the casebook", "A CSV file"


def show() -> None:
    """The page."""
    st.title("Repeatability")
    state.show_notice()
    casebook = state.opened_casebook()
    st.markdown(
        "How far do two measurements of a runner who did not change lie apart? Every verdict is "
        "held against that, and your own answer is better than a published one."
    )
    source = st.segmented_control(
        "From", (FROM_VISITS, FROM_FILE), default=FROM_VISITS, key="study_from", required=True
    )
    study = study_of_upload(casebook) if source == FROM_FILE else _study_of_visits(casebook)
    if study is None:
        return
    show_headline(study)
    show_warnings(study)
    show_adoption(casebook, study)
    show_details(study)
    show_caution()


def _study_of_visits(casebook: Casebook) -> Study | None:
    repeated = {one.metric.key: one for one in list_repeated(casebook)}
    if not repeated:
        st.info(
            "No repeat visit is stored yet. Measure some runners on two days within a month, with "
            "nothing changed in between, and log both visits as a repeat measurement; twenty or "
            "more runners make the answer reliable.",
            icon=":material/repeat:",
        )
        routes.link("log_visit", "Log a visit", icon=":material/edit_note:")
        return None
    if "study_metric" not in st.session_state:
        asked = st.query_params.get("metric")
        most = max(repeated, key=lambda key: repeated[key].runners)
        st.session_state["study_metric"] = asked if asked in repeated else most
    key = st.selectbox(
        "Metric",
        list(repeated),
        key="study_metric",
        format_func=lambda one: (
            f"{repeated[one].metric.label} ({count_words(repeated[one].runners, 'runner')})"
        ),
    )
    chosen = repeated[key]
    st.query_params["metric"] = key
    study = state.study_of(casebook.url, chosen.metric, chosen.stamp)
    st.subheader(plain(chosen.metric.label), anchor=False)
    return study


show()
