"""What is being typed of a programme or hypothesis, kept in the store box by box.

The session holds the form; the address holds the draft's key, so that a reload, a restart of the
server or an expired session brings it back, as with a visit's sheet (`log_draft.py`).
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from app.programme_draft import Typing
from app.state import who
from casebook.domain.errors import CasebookError
from casebook.domain.plan_drafts import PlanDraft, read_plan
from casebook.services.drafting import drop_draft, find_draft, keep_typed, new_key
from casebook.services.keeping import Casebook

logger = logging.getLogger("casebook.app")

ASKED = "draft"
KEPT = (
    ":material/draft: Not stored yet: what is typed is kept as a draft as each box is left, so "
    "that a reload or another day loses nothing. A draft counts nowhere."
)


@dataclass(slots=True)
class Kept:
    """Where a form's draft stands in the store.

    Parameters
    ----------
    written : dict
        What the store holds, as far as this window knows; empty where it holds nothing yet.
    trouble : str
        Why the last change could not be kept there; '' where it was.
    """

    key: str = field(default_factory=new_key)
    written: dict[str, Any] = field(default_factory=dict)
    trouble: str = ""


def kept_of(typing: Typing) -> Kept:
    """Where the draft of a form stands, of this session."""
    kept: Kept = st.session_state.setdefault(f"kept_of_{typing.name}", Kept())
    return kept


def held_key(name: str) -> str:
    """The key of the draft of a form by its name; '' where this session has none."""
    kept: Kept | None = st.session_state.get(f"kept_of_{name}")
    return kept.key if kept else ""


def keep_plan(casebook: Casebook, typing: Typing, draft: PlanDraft) -> None:
    """Put what changed into the store; nothing before something was typed."""
    kept, content = kept_of(typing), draft.content
    if not typing.touched or content == kept.written:
        return
    changes = {name: typed for name, typed in content.items() if kept.written.get(name) != typed}
    changes |= dict.fromkeys(kept.written.keys() - content.keys())
    try:
        begun = keep_typed(casebook, kept.key, changes, owner=who())
        if begun and kept.written:
            # Stored or discarded in another window: all that this one holds is kept anew.
            keep_typed(casebook, kept.key, content, owner=who())
    except CasebookError as refusal:
        # The session has it still; the page says that it is not kept, and the next box that is
        # left tries again.
        logger.warning("A draft was not kept: %s", refusal)
        kept.trouble = str(refusal)
        return
    kept.written, kept.trouble = content, ""


def show_kept(typing: Typing) -> None:
    """Say that it is kept, or why it is not; the address leads back to it."""
    kept = kept_of(typing)
    if kept.trouble:
        st.warning(
            f"What you typed is not kept as a draft: {kept.trouble} It stands here until the page "
            "is loaded anew.",
            icon=":material/cloud_off:",
        )
        return
    if kept.written:
        st.query_params[ASKED] = kept.key
    st.caption(KEPT)


def asked_plan(casebook: Casebook, typing: Typing | None) -> tuple[str, PlanDraft] | None:
    """The draft that the address names, unless the form of this session is that one already."""
    asked = st.query_params.get(ASKED, "")
    if not asked or (typing is not None and kept_of(typing).key == asked):
        return None
    found = find_draft(casebook, asked)
    return None if found is None else (asked, read_plan(found.content))


def take_up(key: str, draft: PlanDraft, typing: Typing) -> None:
    """Fill a fresh form with a draft of the store."""
    typing.typed = {f"{typing.name}_{part}": typed for part, typed in draft.boxes.items()}
    typing.next_slot = max(typing.next_slot, draft.next_row)
    typing.touched = True
    st.session_state[f"kept_of_{typing.name}"] = Kept(key=key, written=draft.content)


def forget_kept(casebook: Casebook, typing: Typing) -> None:
    """Drop the draft of a form, since it is stored or not wanted any more."""
    drop_draft(casebook, kept_of(typing).key)
    leave_kept(typing)


def leave_kept(typing: Typing) -> None:
    """Let go of a draft in this session; it stays in the store to go on with."""
    kept = st.session_state.pop(f"kept_of_{typing.name}", None)
    if kept is not None and st.query_params.get(ASKED) == kept.key:
        del st.query_params[ASKED]


def boxes_of(typing: Typing) -> dict[str, Any]:
    """What stands in each box, by its part of the form."""
    start = f"{typing.name}_"
    return {key.removeprefix(start): typed for key, typed in sorted(typing.typed.items())}
