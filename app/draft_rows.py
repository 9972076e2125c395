"""One row of a list of drafts: what it is of, a place to go on with it, and its way out."""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.messages import calmly, plain
from casebook.services.drafting import TypedDraft, drop_draft
from casebook.services.keeping import Casebook

MOST_SHOWN = 20


def show_row(casebook: Casebook, one: TypedDraft, words: str) -> DeltaGenerator:
    """Draw the row; what is given back is the place of its button to go on."""
    told, go_on, away = st.columns([4, 1, 1], vertical_alignment="center")
    told.markdown(words)
    away.button(
        "Discard",
        key=f"drop_{one.key}",
        on_click=_drop,
        args=(casebook, one.key),
        type="tertiary",
        width="stretch",
    )
    return go_on


def by_words(one: TypedDraft) -> str:
    """Who typed it, with a blank before; '' where nobody said so."""
    return f" by {plain(one.owner)}" if one.owner else ""


def at_words(one: TypedDraft) -> str:
    """When it was typed last, by this machine's clock."""
    at = one.saved_at.astimezone()
    return f"{at.day} {at:%b %Y, %H:%M}"


def _drop(casebook: Casebook, key: str) -> None:
    with calmly():
        drop_draft(casebook, key)
