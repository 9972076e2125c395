"""Everything held on a runner, to be handed out: readable, and for another program."""

from __future__ import annotations

import streamlit as st

from app.messages import plain
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.recording_out import CAUTION, get_record, record_zip


def show_record_download(casebook: Casebook, code: str) -> None:
    """The whole record in one file, made only when it is asked for."""
    with st.expander("Everything held on this runner", icon=":material/folder_zip:"):
        st.markdown(
            f"For a runner who asks what is held on them, or to take the record of {plain(code)} "
            "to another casebook: a page to read, tables (CSV) and an HL7 FHIR R4 Bundle, packed "
            "in one file. Of attached files it holds the names."
        )
        st.warning(CAUTION, icon=":material/lock:")
        url = casebook.url

        def packed() -> bytes:
            # Made when it is clicked, in a thread in which the page's casebook may be closed.
            opened = open_casebook(url)
            try:
                return record_zip(get_record(opened, code))
            finally:
                opened.close()

        st.download_button(
            "Download the whole record",
            data=packed,
            file_name="record.zip",
            mime="application/zip",
            icon=":material/download:",
            on_click="ignore",
            key="whole_record",
        )
