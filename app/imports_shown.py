"""The imports so far, and taking one back."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import streamlit as st

from app import state
from app.messages import count_words, day_words, plain
from app.tables import show_stacked
from casebook.domain.errors import CasebookError
from casebook.services.undoing_imports import ImportRun, list_imports, undo_import

MOST_SHOWN = 20


def show_imports() -> None:
    """Show what was imported, newest first, and offer to take one back."""
    runs = list_imports(state.opened_casebook())
    if not runs:
        return
    st.subheader("Imports so far")
    show_stacked(
        pd.DataFrame([_line(run) for run in runs[:MOST_SHOWN]]),
        key="imports_so_far",
        alt="Imports so far",
    )
    if len(runs) > MOST_SHOWN:
        st.caption(f"The latest {MOST_SHOWN} of {len(runs)}; `casebook imports` lists them all.")
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
        f"Import {undone.run_id} was taken back: {count_words(undone.visits, 'visit')} and "
        f"{count_words(undone.records, 'other record')} are as they were before."
    )
    st.rerun()


def _named(run: ImportRun) -> str:
    return f"{run.id}: {_when(run.at)}, {_files(run)}"


def _when(at: datetime) -> str:
    return f"{day_words(at.date())} {at:%H:%M} UTC"


def _files(run: ImportRun) -> str:
    return ", ".join(str(file["name"]) for file in run.files)


def _line(run: ImportRun) -> dict[str, str]:
    undone = ""
    if run.undone_at is not None:
        who = f" by {run.undone_by}" if run.undone_by else ""
        undone = f"taken back {_when(run.undone_at)}{who}: {run.undo_reason}"
    return {
        "No.": str(run.id),
        "When": _when(run.at).replace(" ", "\u00a0", 2),
        "By": plain(run.by),
        "Files": plain(_files(run)),
        "Entries stored": str(run.added),
        "Now": plain(undone or "in the casebook"),
    }
