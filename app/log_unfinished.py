"""Visits that were begun and not saved: listed, taken up again, or discarded."""

from __future__ import annotations

import streamlit as st

from app.log_draft import resume, typed_words
from app.messages import calmly, count_words, plain
from app.plan_unfinished import show_unfinished_plans
from casebook.domain.plan_drafts import DraftKind
from casebook.services.drafting import TypedDraft, drop_draft, list_drafts
from casebook.services.keeping import Casebook

MOST_SHOWN = 20


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
            told, go_on, away = st.columns([4, 1, 1], vertical_alignment="center")
            told.markdown(_words(one))
            go_on.button(
                "Go on", key=f"resume_{one.key}", on_click=_resume, args=(one,), width="stretch"
            )
            away.button(
                "Discard",
                key=f"drop_{one.key}",
                on_click=_drop,
                args=(casebook, one.key),
                type="tertiary",
                width="stretch",
            )


def _words(one: TypedDraft) -> str:
    cells, day = typed_words(one)
    by = f" by {plain(one.owner)}" if one.owner else ""
    at = one.saved_at.astimezone()
    return (
        f"**{plain(str(one.content.get('runner', '')))}**, visit of {plain(day)}: "
        f"{count_words(cells, 'cell')} typed{by}, last on {at.day} {at:%b %Y, %H:%M}"
    )


def _resume(one: TypedDraft) -> None:
    resume(one)


def _drop(casebook: Casebook, key: str) -> None:
    with calmly():
        drop_draft(casebook, key)
