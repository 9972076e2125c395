"""The audit as a report, to print or to download."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.audit_choice import choose_cohort, measured_metrics
from app.audit_courses import COURSE
from app.messages import calmly
from app.printing import PRINTED
from casebook.domain.audit_outcomes import On
from casebook.domain.audit_words import ONS
from casebook.domain.metrics import Metric
from casebook.services import clock
from casebook.services.audit_refusals import ons_of
from casebook.services.audit_report import audit_report
from casebook.services.cataloguing import list_metrics
from casebook.typesetting.report_paper import report_pdf
from casebook.typesetting.report_web import report_page, report_sheet

CHOSEN = "audit_report_courses"


def show() -> None:
    """The page."""
    st.title("Report of the audit", anchor=False)
    casebook = state.opened_casebook()
    loaded = state.cohort(casebook)
    keys = measured_metrics(loaded)
    metrics = {
        metric.key: metric
        for metric in list_metrics(casebook, include_inactive=True)
        if metric.key in keys
    }
    with st.container(key="report_asked"):
        routes.link("audit", "Back to the audit", icon=":material/groups:")
        choice = choose_cohort(metrics, loaded.clinicians, clock.today(), page="audit_report")
        if choice is None:
            return
        courses = _courses(metrics)
        st.caption("Also printed by the browser's own printing: nothing but the sheet is on paper.")
    with calmly():
        made = audit_report(casebook, loaded, choice, courses=courses, today=clock.today())
        with st.container(key="report_downloads"), st.container(horizontal=True):
            st.download_button(
                "Download as PDF",
                lambda: report_pdf(made),
                file_name="audit-report.pdf",
                mime="application/pdf",
                icon=":material/picture_as_pdf:",
                key="report_pdf",
                on_click="ignore",
            )
            st.download_button(
                "Download as a page",
                lambda: report_page(made),
                file_name="audit-report.html",
                mime="text/html",
                icon=":material/html:",
                key="report_html",
                on_click="ignore",
            )
        with st.container(key="sheet"):
            st.html(PRINTED + report_sheet(made))


def _courses(metrics: dict[str, Metric]) -> list[tuple[str, On]]:
    """Metrics whose course over time the report tells, and what of each.

    The one that the audit showed last is among them unless it was taken out here.
    """
    offered = [(key, on) for key, metric in metrics.items() for on in ons_of(metric)]
    looked_at = tuple(st.session_state.get(box) for box in COURSE)
    chosen = st.session_state.setdefault(CHOSEN, [looked_at])
    st.session_state[CHOSEN] = [one for one in chosen if one in offered]
    found: list[tuple[str, On]] = st.multiselect(
        "With the course over time of",
        offered,
        format_func=lambda one: _course_name(metrics[one[0]], one[1]),
        key=CHOSEN,
        placeholder="None: choose metrics",
    )
    state.keep(state.Key.AUDIT, (CHOSEN,))
    return found


def _course_name(metric: Metric, on: On) -> str:
    return metric.label if on is On.VALUE else f"{metric.label}: {ONS[on]}"


show()
