"""Visits that were begun and not saved: listed, taken up again, or discarded."""

from __future__ import annotations

import streamlit as st

from app.draft_rows import MOST_SHOWN, at_words, by_words, show_row
from app.log_draft import resume, typed_words
from app.messages import count_words, plain
from app.plan_unfinished import show_unfinished_plans
from casebook.domain.plan_drafts import DraftKind
from casebook.services.drafting import TypedDraft, list_drafts
from casebook.services.keeping import Casebook


def show_unfinished(casebook: Casebook, *, but: str = "", runner: str = "") -> None:
    """The drafts of the clinic, or of one runner, but for the one that is open.

    Those of programmes and hypotheses stand below, and lead to their pages.
    """
    _show_visits(casebook, but=but, runner=runner)
    show_unfinished_plans(casebook, runner=runner)


def _show_visits(casebook: Casebook, *, but: str, runner: str) -> None:
    found = [
        one
        for one in list_drafts(casebook, DraftKind.VISIT)
        if one.key != but and (not runner or one.content.get("runner") == runner)
    ]
    if not found:
        return
    words = count_words(len(found), "unfinished visit")
    with st.expander(f"{words} to go on with", expanded=not runner, icon=":material/draft:"):
        for one in found[:MOST_SHOWN]:
            show_row(casebook, one, _words(one)).button(
                "Go on", key=f"resume_{one.key}", on_click=resume, args=(one,), width="stretch"
            )


def _words(one: TypedDraft) -> str:
    cells, day = typed_words(one)
    return (
        f"**{plain(str(one.content.get('runner', '')))}**, visit of {plain(day)}: "
        f"{count_words(cells, 'cell')} typed{by_words(one)}, last on {at_words(one)}"
    )
