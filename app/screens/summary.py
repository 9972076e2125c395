"""Summary: one case on one or two pages, to print, to download, or to hand over."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.messages import plain
from app.printing import PRINTED
from app.which_runner import asked_runner
from casebook.domain.summaries import Reader
from casebook.services import clock
from casebook.services.summarising import summarise
from casebook.typesetting.paper import summary_pdf
from casebook.typesetting.web import summary_page, summary_sheet

READERS = {Reader.RUNNER: "Runner: plain words", Reader.REFERRER: "Referrer: numbers"}


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    code = asked_runner(casebook, "summary")
    if code is None:
        return
    st.title(f"Summary of {plain(code)}", anchor=False)
    with st.container(horizontal=True, key="summary_links"):
        routes.link("runner", "Back to the runner", icon=":material/directions_run:", runner=code)
    with st.container(key="summary_asked"):
        reader = st.segmented_control(
            "Who reads it",
            list(READERS),
            default=Reader.RUNNER,
            format_func=lambda one: READERS[one],
            key="summary_reader",
            required=True,
        )
        with_name = st.toggle(
            "With name and birth date",
            key="summary_with_name",
            help="Without, the runner is known by code and age alone.",
        )
        made = summarise(
            casebook,
            code,
            reader=Reader(reader),
            today=clock.today(),
            with_name=with_name,
            norms=state.clinic_baselines(casebook) if reader == Reader.REFERRER else None,
        )
        name = f"summary-{made.reader}"
        with st.container(horizontal=True):
            st.download_button(
                "Download as PDF",
                lambda: summary_pdf(made),
                file_name=f"{name}.pdf",
                mime="application/pdf",
                icon=":material/picture_as_pdf:",
                key="summary_pdf",
                on_click="ignore",
            )
            st.download_button(
                "Download as a page",
                lambda: summary_page(made),
                file_name=f"{name}.html",
                mime="text/html",
                icon=":material/html:",
                key="summary_html",
                on_click="ignore",
            )
        st.caption(
            "This page prints as it stands here, without what is around the sheet. Words that were "
            "typed freely, such as a rationale or a note, stand as they were typed: look whether "
            "they name somebody before you hand it on."
        )
    with st.container(key="sheet"):
        st.html(PRINTED + summary_sheet(made))


show()
