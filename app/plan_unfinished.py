"""Programmes and hypotheses that were begun and not stored: gone on with, or discarded."""

from __future__ import annotations

from collections.abc import Collection

import streamlit as st

from app import routes
from app.draft_rows import MOST_SHOWN, at_words, by_words, show_row
from app.messages import count_words, plain
from app.plan_kept import ASKED
from casebook.domain.plan_drafts import DraftKind, PlanDraft, read_plan
from casebook.services.drafting import TypedDraft, list_drafts
from casebook.services.keeping import Casebook

PLANS = (DraftKind.PROGRAMME, DraftKind.HYPOTHESIS)


def show_unfinished_plans(
    casebook: Casebook, *kinds: DraftKind, runner: str = "", but: Collection[str] = ()
) -> None:
    """The drafts of these kinds, or of both, of the clinic or of one runner; none that is open."""
    found = [
        (one, draft)
        for one in list_drafts(casebook, *(kinds or PLANS))
        if one.key not in but and (draft := read_plan(one.content)).runner
        if not runner or draft.runner == runner
    ]
    if not found:
        return
    title = f"{count_words(len(found), 'unfinished plan')} to go on with"
    with st.expander(title, expanded=bool(kinds) or not runner, icon=":material/draft:"):
        for one, draft in found[:MOST_SHOWN]:
            go_on = show_row(casebook, one, _words(one, draft))
            if go_on.button("Go on", key=f"resume_{one.key}", width="stretch"):
                _go_on(one.key, draft)


def _words(one: TypedDraft, draft: PlanDraft) -> str:
    what = {
        (DraftKind.PROGRAMME, False): "a new programme",
        (DraftKind.PROGRAMME, True): "a change of a programme",
        (DraftKind.HYPOTHESIS, False): "a new hypothesis",
        (DraftKind.HYPOTHESIS, True): "a new version of a hypothesis",
    }[draft.kind, draft.version > 0]
    name = str(draft.boxes.get("title") or draft.boxes.get("driver") or "").strip()
    named = f" '{plain(name)}'" if name else ""
    return (
        f"**{plain(draft.runner)}**, {what}{named}: not stored, last typed{by_words(one)} on "
        f"{at_words(one)}"
    )


def _go_on(key: str, draft: PlanDraft) -> None:
    place = {"runner": draft.runner, ASKED: key}
    if draft.programme_id:
        place["programme"] = str(draft.programme_id)
    if draft.kind is DraftKind.PROGRAMME:
        routes.go("programme", do="change" if draft.programme_id else "new", **place)
    elif draft.number:
        routes.go("hypotheses", amend=f"{draft.programme_id}.{draft.number}", **place)
    else:
        routes.go("hypotheses", write=str(draft.programme_id), **place)
