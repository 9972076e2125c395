"""What is being typed for a visit: kept in the store at every cell, and found again by its key.

The session holds a draft for each runner; the address holds its key, so that a reload, a
restart of the server or an expired session brings it back.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from app.state import Key, who
from casebook.domain.errors import CasebookError
from casebook.domain.plan_drafts import DraftKind
from casebook.domain.sides import Side
from casebook.domain.visit_drafts import CELL, HEAD, RUNNER, head_name
from casebook.domain.visit_drafts import cell_name as named_cell
from casebook.services.drafting import (
    TypedDraft,
    drop_draft,
    find_draft,
    keep_typed,
    new_key,
)
from casebook.services.keeping import Casebook

logger = logging.getLogger("casebook.app")

Cell = tuple[str, Side]
SURE = "sure"
AT, OPENED = "at", "opened"
# Who was here when the draft was begun; the assessor of a new visit that is taken up again.
BEGUN_BY = "begun_by"
# What only says where one looks is not worth a draft of its own.
LOOKING = ("visited_on", "session_", "set", "also")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a draft is typed upon: the visit's day and session, and its revision if it is stored."""

    at: str
    revision: int = 0


@dataclass(slots=True)
class Draft:
    """Everything typed for one runner's next save; it outlives reruns and the session.

    Parameters
    ----------
    cells : dict
        Text by metric and side; only what was typed, a blank for a stored value taken out.
    confirmed : set
        Cell and text that were looked at again and are meant so.
    head : dict of str to JSON
        Fields of the visit's head that were typed, and which rows are shown.
    at, opened : str, int
        Day and session of the visit, and its revision when its first field was changed; 0 where
        it was not stored then.
    kept : bool
        It stands in the store.
    trouble : str
        Why the last keystrokes could not be kept there; empty where they were.
    """

    key: str
    runner: str
    cells: dict[Cell, str] = field(default_factory=dict)
    confirmed: set[tuple[Cell, str]] = field(default_factory=set)
    head: dict[str, Any] = field(default_factory=dict)
    at: str = ""
    opened: int = 0
    kept: bool = False
    trouble: str = ""

    def name(self, *parts: str) -> str:
        """Key of a widget of this draft, never shared with another draft."""
        return "_".join(("log", self.key, *parts))

    def opened_on(self, ground: Ground) -> int:
        """Revision of the visit that the draft was begun upon; 0 for one that was not stored."""
        return self.opened if self.at == ground.at else 0


def draft_for(casebook: Casebook, runner: str) -> Draft:
    """The draft of a runner: the one that the address names, else the session's, else a new one."""
    drafts: dict[str, Draft] = st.session_state.setdefault(Key.DRAFTS, {})
    asked = st.query_params.get("draft", "")
    draft = drafts.get(runner)
    if asked and (draft is None or draft.key != asked):
        found = find_draft(casebook, asked)
        of_visit = found is not None and found.kind is DraftKind.VISIT
        if found is not None and of_visit and found.content.get(RUNNER) == runner:
            draft = drafts[runner] = _read(found)
    elif draft is not None:
        follow(casebook, draft)
    if draft is None:
        draft = drafts[runner] = Draft(key=new_key(), runner=runner)
    st.query_params["draft"] = draft.key
    if who():
        st.query_params["who"] = who()
    return draft


def follow(casebook: Casebook, draft: Draft) -> bool:
    """Take over what another window typed into the same draft; True where it typed anything."""
    if not draft.kept:
        return False
    found = find_draft(casebook, draft.key)
    if found is None:
        # Saved or discarded there: what this window holds is kept anew with its next cell.
        draft.kept = False
        return False
    theirs = _read(found)
    if (theirs.cells, theirs.head) == (draft.cells, draft.head):
        return False
    draft.cells, draft.head = theirs.cells, theirs.head
    draft.confirmed |= theirs.confirmed
    draft.at, draft.opened = theirs.at, theirs.opened
    return True


def resume(kept: TypedDraft) -> None:
    """Take a stored draft up in this session."""
    draft = _read(kept)
    st.session_state.setdefault(Key.DRAFTS, {})[draft.runner] = draft
    st.session_state["log_runner"] = draft.runner
    st.query_params["draft"] = draft.key


def forget(casebook: Casebook, draft: Draft) -> None:
    """Begin anew: after a save, or because the user wants it so."""
    drop_draft(casebook, draft.key)
    st.session_state[Key.DRAFTS].pop(draft.runner, None)
    if st.query_params.get("draft") == draft.key:
        del st.query_params["draft"]


def seeded(draft: Draft, name: str, start: object) -> str:
    """Key of a widget of the visit's head, holding what was typed before or `start`.

    What was not typed follows `start`. The session is written only where it differs: a widget
    whose value is set anew loses what is being typed into it.
    """
    key = draft.name(name)
    wanted = draft.head.get(name, start)
    if key not in st.session_state or st.session_state[key] != wanted:
        st.session_state[key] = wanted
    return key


def seeded_cell(draft: Draft, cell: Cell, stored: str) -> str:
    """Key of a cell's widget, holding what was typed or what is stored."""
    key = draft.name(*cell)
    wanted = draft.cells.get(cell, stored)
    if key not in st.session_state or st.session_state[key] != wanted:
        st.session_state[key] = wanted
    return key


def keep(draft: Draft, casebook: Casebook, name: str, ground: Ground) -> None:
    """Take over what a widget of the head holds."""
    draft.head[name] = st.session_state[draft.name(name)]
    _store(draft, casebook, {head_name(name): draft.head[name]}, ground)


def keep_head(draft: Draft, casebook: Casebook, name: str, content: object, ground: Ground) -> None:
    """Put a field of the head that no widget of its own holds."""
    draft.head[name] = content
    _store(draft, casebook, {head_name(name): content}, ground)


def keep_cell(
    draft: Draft, casebook: Casebook, cell: Cell, text: str, *, stored: str, ground: Ground
) -> None:
    """Take over what a cell holds; one that holds what is stored is not typed any more."""
    if text == stored:
        draft.cells.pop(cell, None)
    else:
        draft.cells[cell] = text
    _store(draft, casebook, {cell_name(cell): draft.cells.get(cell)}, ground)


def keep_sure(
    draft: Draft, casebook: Casebook, cell: Cell, text: str, *, sure: bool, ground: Ground
) -> None:
    """Take over that a text was looked at again, or that it was not."""
    (draft.confirmed.add if sure else draft.confirmed.discard)((cell, text))
    _store(draft, casebook, {SURE: _sure(draft)}, ground)


def rebase(draft: Draft, casebook: Casebook, ground: Ground, given_up: Iterable[str]) -> None:
    """Go on from a newer state of the stored visit, without the fields that were given up.

    `given_up` are names in the store: see `cell_name` and `head_name`.
    """
    gone = set(given_up)
    draft.cells = {cell: text for cell, text in draft.cells.items() if cell_name(cell) not in gone}
    draft.head = {name: typed for name, typed in draft.head.items() if head_name(name) not in gone}
    draft.at, draft.opened = ground.at, ground.revision
    changes = {AT: ground.at, OPENED: ground.revision, **dict.fromkeys(gone)}
    _store(draft, casebook, changes, ground)


def _store(draft: Draft, casebook: Casebook, changes: Mapping[str, Any], ground: Ground) -> None:
    if draft.at != ground.at:
        draft.at, draft.opened = ground.at, ground.revision
        changes = {AT: draft.at, OPENED: draft.opened, **changes}
    if not draft.kept:
        if not draft.cells and all(name.startswith(LOOKING) for name in draft.head):
            return
        draft.head.setdefault(BEGUN_BY, who())
        day = draft.name("visited_on")
        if day in st.session_state:
            draft.head.setdefault("visited_on", st.session_state[day])
        changes = {**_written(draft), **changes}
    try:
        begun = keep_typed(casebook, draft.key, changes, owner=who())
        if begun and draft.kept:
            # Saved or discarded in another window: all that this one holds is kept anew.
            keep_typed(casebook, draft.key, _written(draft), owner=who())
    except CasebookError as refusal:
        # The session has it still; the page says that it is not kept, and the next cell tries
        # to keep all of it.
        logger.warning("A draft was not kept: %s", refusal)
        draft.kept, draft.trouble = False, str(refusal)
        return
    draft.kept, draft.trouble = True, ""


def _written(draft: Draft) -> dict[str, Any]:
    return {
        RUNNER: draft.runner,
        AT: draft.at,
        OPENED: draft.opened,
        SURE: _sure(draft),
        **{cell_name(cell): text for cell, text in draft.cells.items()},
        **{head_name(name): content for name, content in draft.head.items()},
    }


def _read(found: TypedDraft) -> Draft:
    draft = Draft(key=found.key, runner=str(found.content[RUNNER]), kept=True)
    draft.at = str(found.content.get(AT, ""))
    draft.opened = int(found.content.get(OPENED, 0))
    for metric, side, text in found.content.get(SURE, []):
        draft.confirmed.add(((metric, Side(side)), text))
    for name, content in found.content.items():
        kind, _, rest = name.partition(":")
        if kind == CELL:
            metric, _, side = rest.rpartition(":")
            draft.cells[metric, Side(side)] = content
        elif kind == HEAD:
            draft.head[rest] = content
    return draft


def cell_name(cell: Cell) -> str:
    """Name of a cell's field in the store."""
    return named_cell(*cell)


def _sure(draft: Draft) -> list[list[str]]:
    return sorted([metric, side.value, text] for (metric, side), text in draft.confirmed)


def typed_words(kept: TypedDraft) -> tuple[int, str]:
    """How many cells a stored draft has, and the day of its visit as it was typed."""
    cells = sum(name.startswith(f"{CELL}:") for name in kept.content)
    return cells, str(kept.content.get(head_name("visited_on"), ""))
