"""Audit: what happened to the clinic's runners as a group."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.audit_choice import choose_cohort, measured_metrics
from app.audit_courses import COURSE, show_clinicians, show_growth, show_returns
from app.audit_shown import SHOWN, show_completeness, show_flow, show_lost, show_outcomes
from app.messages import calmly, plain, show_caution
from casebook.domain.audit_methods import cohort_words
from casebook.domain.audit_words import (
    NOT_AN_EFFECT,
    arguments_against,
    audience_words,
    past_words,
)
from casebook.services import clock
from casebook.services.auditing import audit
from casebook.services.cataloguing import list_metrics

PARTS = (
    "Who came",
    "What changed",
    "Running again",
    "Course over time",
    "Between clinicians",
)


def show() -> None:
    """The page."""
    st.title("Audit")
    state.show_notice()
    casebook = state.opened_casebook()
    loaded = state.cohort(casebook)
    metrics = {metric.key: metric for metric in list_metrics(casebook, include_inactive=True)}
    keys = measured_metrics(loaded)
    measured = {key: metric for key, metric in metrics.items() if key in keys}
    st.markdown(plain(NOT_AN_EFFECT))
    today = clock.today()
    choice = choose_cohort(measured, loaded.clinicians, today, page="audit")
    if choice is None:
        return
    with calmly():
        found = audit(loaded, choice)
        with st.container(key="audit_cohort"):
            st.markdown(f"**{plain(cohort_words(found))}**")
            past = past_words(choice, today)
            if past:
                st.caption(f":material/history: {plain(past)}")
            audience = audience_words(choice, drawn=True)
            st.caption(f":material/visibility: {plain(audience)}")
        state.choose_first("audit_part", PARTS)
        part = st.segmented_control("Show", PARTS, key="audit_part", required=True)
        if part == PARTS[0]:
            show_flow(found)
            show_completeness(found)
            show_lost(found)
        elif part == PARTS[1]:
            show_outcomes(found)
        elif part == PARTS[2]:
            show_returns(found)
        elif part == PARTS[3]:
            show_growth(loaded, found, measured)
        else:
            show_clinicians(found)
        state.keep(state.Key.AUDIT, (*SHOWN, *COURSE))
        with st.expander(
            "What argues against reading this as an effect", icon=":material/balance:"
        ):
            st.markdown("\n".join(f"- {plain(one)}" for one in arguments_against(found)))
        with st.container(horizontal=True, key="audit_links"):
            routes.link("audit_report", "Report to print", icon=":material/picture_as_pdf:")
            routes.link("export", "Export de-identified tables", icon=":material/ios_share:")
        show_caution()


show()
