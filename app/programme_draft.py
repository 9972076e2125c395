"""What is being typed of a programme, kept while one looks at another page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from casebook.domain.prescriptions import BlockDetail, Prescription
from casebook.domain.programmes import Block, Target
from casebook.services.prescribing import StoredPrescription

Choice = TypeVar("Choice")


@dataclass(slots=True)
class Typing:
    """The boxes of one form by the name that their keys begin with, and what stands in them.

    Streamlit forgets a box that is not on the page; `typed` brings it back.

    Parameters
    ----------
    known : set of str
        Keys of its boxes: another form's name may begin with this one's.
    touched : bool
        Something was typed, or a row put in or taken out: only then it is worth a draft.
    keep_now : callable or None
        Called whenever something was typed, before this page or another one is drawn.
    """

    name: str
    typed: dict[str, Any] = field(default_factory=dict)
    next_slot: int = 1
    known: set[str] = field(default_factory=set)
    touched: bool = False
    keep_now: Callable[[], None] | None = None

    def key(self, *parts: object) -> str:
        """The key of a box."""
        key = "_".join((self.name, *(str(part) for part in parts)))
        self.known.add(key)
        return key

    def touch(self) -> None:
        """Something was changed by hand."""
        self.touched = True
        if self.keep_now is not None:
            self.keep_now()

    def slot(self) -> int:
        """A number for one more row, which is never given twice."""
        self.next_slot += 1
        return self.next_slot - 1

    def restore(self) -> None:
        """Put back what stood in the boxes before the page was left."""
        for key, content in self.typed.items():
            st.session_state.setdefault(key, content)

    def remember(self) -> None:
        """Note what stands in the boxes now."""
        for key in self.known:
            if key in st.session_state:
                self.typed[key] = st.session_state[key]

    def keep(self, key: str) -> None:
        """Note what was just typed into a box: another page may be drawn before this one is."""
        self.typed[key] = st.session_state.get(key)
        self.touch()

    def forget(self, *parts: object) -> None:
        """Drop the boxes of one row, or all of them."""
        start = "_".join((self.name, *(str(part) for part in parts), ""))
        self.known = {key for key in self.known if not key.startswith(start)}
        for key in [key for key in self.typed if key.startswith(start)]:
            del self.typed[key]
        for key in [key for key in st.session_state if str(key).startswith(start)]:
            del st.session_state[key]

    def text(self, place: DeltaGenerator, label: str, part: object, start: str, **more: Any) -> str:
        """A line of text."""
        key = self.key(part)
        st.session_state.setdefault(key, start)
        more = {"on_change": self.keep, "args": (key,), **more}
        return str(place.text_input(label, key=key, **more) or "").strip()

    def area(self, place: DeltaGenerator, label: str, part: object, start: str, **more: Any) -> str:
        """A longer text."""
        key = self.key(part)
        st.session_state.setdefault(key, start)
        more = {"on_change": self.keep, "args": (key,), **more}
        return str(place.text_area(label, key=key, height=80, **more) or "").strip()

    def choice(
        self,
        place: DeltaGenerator,
        label: str,
        part: object,
        options: Iterable[Choice],
        words: Mapping[Any, str],
        start: Choice | None,
        **more: Any,
    ) -> Choice | None:
        """A drop-down; an option that is not offered any more gives way to the first."""
        key, listed = self.key(part), list(options)
        held = st.session_state.get(key)
        if key not in st.session_state or (held not in [*listed, None] and held != ""):
            st.session_state[key] = start if start in listed else None
        elif held is not None and held not in {one for one in listed if type(one) is type(held)}:
            # A draft keeps a code as text, and that nothing is chosen as ''.
            st.session_state[key] = next((one for one in listed if one == held), None)
        chosen: Choice | None = place.selectbox(
            label,
            listed,
            format_func=lambda one: words.get(one, str(one)),
            key=key,
            index=None,
            placeholder=more.pop("placeholder", "Choose"),
            **{"on_change": self.keep, "args": (key,), **more},
        )
        return chosen


@dataclass(slots=True)
class ProgrammeDraft:
    """A programme that is being written.

    Parameters
    ----------
    start : Prescription
        What the boxes start from.
    stored : StoredPrescription or None
        As it stood when the change was begun; None for a new one.
    blocks : dict of int to (Block, BlockDetail)
        By the number of their row, in their order.
    targets : dict of int to (Target or None)
    """

    typing: Typing
    runner: str
    start: Prescription
    stored: StoredPrescription | None
    injury_id: int | None
    blocks: dict[int, tuple[Block, BlockDetail]] = field(default_factory=dict)
    targets: dict[int, Target | None] = field(default_factory=dict)

    def add_block(self, block: Block, detail: BlockDetail) -> None:
        """One more exercise at the end."""
        self.blocks[self.typing.slot()] = (block, detail)
        self.typing.touch()

    def add_target(self) -> None:
        """One more target at the end."""
        self.targets[self.typing.slot()] = None
        self.typing.touch()

    def take_out(self, rows: StrEnum | str, slot: int) -> None:
        """Take an exercise or a target out."""
        (self.blocks if rows == "block" else self.targets).pop(slot)
        self.typing.forget(rows, slot)
        self.typing.touch()

    def move_up(self, slot: int) -> None:
        """Put an exercise before the one above it."""
        order = list(self.blocks)
        at = order.index(slot)
        if at:
            order[at - 1], order[at] = order[at], order[at - 1]
            self.blocks = {one: self.blocks[one] for one in order}
            self.typing.touch()


def draft_name(runner: str, stored: StoredPrescription | None) -> str:
    """What the keys of a draft begin with."""
    return f"programme_{stored.programme_id}" if stored else f"programme_new_{runner}"


def find_draft(name: str) -> ProgrammeDraft | None:
    """The draft of that name in this session."""
    draft: ProgrammeDraft | None = st.session_state.get(f"draft_of_{name}")
    return draft


def begin_draft(
    runner: str,
    start: Prescription,
    *,
    stored: StoredPrescription | None = None,
    injury_id: int | None = None,
) -> ProgrammeDraft:
    """Begin a draft; one of the same name is dropped."""
    name = draft_name(runner, stored)
    drop_draft(name)
    draft = ProgrammeDraft(
        typing=Typing(name), runner=runner, start=start, stored=stored, injury_id=injury_id
    )
    for block in sorted(start.programme.blocks, key=lambda one: one.position):
        draft.add_block(block, start.detail_of(block))
    for target in start.programme.targets:
        draft.targets[draft.typing.slot()] = target
    draft.typing.touched = False
    st.session_state[f"draft_of_{name}"] = draft
    return draft


def drop_draft(name: str) -> None:
    """Forget a draft with all that was typed."""
    draft = find_draft(name)
    if draft is not None:
        draft.typing.forget()
    st.session_state.pop(f"draft_of_{name}", None)
