"""The imports so far, and taking one back."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from app import state
from app.messages import plain
from casebook.domain.errors import CasebookError
from casebook.services.undoing_imports import ImportRun, list_imports, undo_import

MOST_SHOWN = 20


def show_imports() -> None:
    """Show what was imported, newest first, and offer to take one back."""
    runs = list_imports(state.opened_casebook())
    if not runs:
        return
    st.subheader("Imports so far")
    st.table(
        pd.DataFrame([_line(run) for run in runs[:MOST_SHOWN]]),
        border="horizontal",
        hide_index=True,
        alt="Imports so far",
    )
    standing = [run for run in runs if run.undone_at is None]
    if not standing:
        return
    with st.expander("Take an import back", icon=":material/undo:"):
        st.markdown(
            "An import is taken back as a whole, while nobody has built on it. The history keeps "
            "what it did and why it was taken back."
        )
        with st.form("undo_import", border=False):
            chosen = st.selectbox(
                "Import", standing, index=None, format_func=_named, key="undo_import_chosen"
            )
            reason = st.text_input("Why it is taken back", key="undo_import_reason")
            sent = st.form_submit_button("Take it back", icon=":material/undo:")
        if sent:
            _undo(chosen, reason)


def _undo(run: ImportRun | None, reason: str) -> None:
    if run is None:
        st.warning("Choose an import first.")
        return
    if not state.who():
        st.warning("Say first who you are, so that the history carries your name.")
        return
    try:
        undone = undo_import(state.opened_casebook(), run.id, reason=reason, by=state.who())
    except CasebookError as refusal:
        st.error(plain(str(refusal)), icon=":material/block:")
        return
    state.leave_notice(
        f"Import {undone.run_id} was taken back: {undone.visits} visits and {undone.records} other "
        "records are as they were before."
    )
    st.rerun()


def _named(run: ImportRun) -> str:
    return f"{run.id}: {_files(run)}, {run.at:%Y-%m-%d %H:%M}"


def _files(run: ImportRun) -> str:
    return ", ".join(str(file["name"]) for file in run.files)


def _line(run: ImportRun) -> dict[str, str]:
    undone = ""
    if run.undone_at is not None:
        who = f" by {run.undone_by}" if run.undone_by else ""
        undone = f"taken back {run.undone_at:%Y-%m-%d %H:%M}{who}: {run.undo_reason}"
    who = f" by {run.by}" if run.by else ""
    return {
        "Import": plain(f"{run.id}, {run.at:%Y-%m-%d %H:%M} UTC{who}"),
        "Files": plain(f"{_files(run)} ({run.added} stored)"),
        "Stands": plain(undone or "yes"),
    }
