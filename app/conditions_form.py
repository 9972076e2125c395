"""The head of a visit: its kind, the conditions, when the next one is due, a note."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from app import state
from app.entering import Draft, keep, seeded
from app.messages import day_words
from casebook.domain.visits import CONDITION_RANGES, Conditions, Visit, VisitKind
from casebook.domain.wording import VISIT_KINDS

NUMBERS = {
    "speed_km_h": ("Speed (km/h)", 0.5),
    "incline_pct": ("Incline (%)", 0.5),
    "frames_per_s": ("Frames a second", 10.0),
    "pain_today": ("Pain today (0 to 10)", 1.0),
}
TEXTS = {
    "surface": "Surface",
    "footwear": "Footwear",
    "view": "Camera view",
    "assessor": "Assessor",
}
RANGES = {column: (low, high) for column, low, high, _ in CONDITION_RANGES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What was typed in the head of a visit."""

    kind: VisitKind
    conditions: Conditions
    next_due_on: date | None
    note: str


def typed_head(draft: Draft) -> Head:
    """The head as it stands in the fields.

    Raises
    ------
    InputRefused
        For a condition out of its range.
    """

    def typed(name: str) -> Any:
        return st.session_state[draft.key(name)]

    return Head(
        kind=typed("kind"),
        conditions=Conditions(
            **{name: typed(name) for name in NUMBERS},
            **{name: typed(name).strip() for name in TEXTS},
        ),
        next_due_on=typed("next_due_on"),
        note=typed("note").strip(),
    )


def show_conditions(draft: Draft, last: Visit | None, visited_on: date) -> None:
    """The fields, filled from the last visit but for the pain, which is asked anew.

    Parameters
    ----------
    draft : Draft
        Takes up what is typed.
    last : Visit or None
        The visit before this one.
    visited_on : date
        Day of this visit.
    """
    before = last.conditions if last else Conditions()
    with st.expander("Conditions", expanded=True, icon=":material/tune:"):
        st.caption(
            f"Taken over from the visit of {day_words(last.visited_on)}; change what differs "
            "today. Pain is asked anew."
            if last
            else "The first visit of this runner: what is not recorded can't be compared later."
        )
        first = st.columns(4)
        _pick_kind(draft, first[0], VisitKind.REVIEW if last else VisitKind.BASELINE)
        _number(draft, first[1], "speed_km_h", before.speed_km_h)
        _number(draft, first[2], "incline_pct", before.incline_pct)
        _text(draft, first[3], "surface", before.surface)
        second = st.columns(4)
        _text(draft, second[0], "footwear", before.footwear)
        _text(draft, second[1], "view", before.view)
        _number(draft, second[2], "frames_per_s", before.frames_per_s)
        _text(draft, second[3], "assessor", before.assessor or state.who())
        third = st.columns([1, 1, 2])
        _number(draft, third[0], "pain_today", None)
        third[1].date_input(
            "Next visit due",
            key=seeded(draft, "next_due_on", None),
            min_value=visited_on,
            format="DD/MM/YYYY",
            on_change=keep,
            args=(draft, "next_due_on"),
        )
        third[2].text_input(
            "Note",
            key=seeded(draft, "note", ""),
            on_change=keep,
            args=(draft, "note"),
        )


def _pick_kind(draft: Draft, place: Any, start: VisitKind) -> None:
    place.selectbox(
        "Kind of visit",
        list(VisitKind),
        format_func=VISIT_KINDS.__getitem__,
        key=seeded(draft, "kind", start),
        on_change=keep,
        args=(draft, "kind"),
    )


def _number(draft: Draft, place: Any, name: str, start: float | None) -> None:
    label, step = NUMBERS[name]
    low, high = RANGES[name]
    place.number_input(
        label,
        key=seeded(draft, name, start),
        min_value=low,
        max_value=high,
        step=step,
        format="%.4g",
        on_change=keep,
        args=(draft, name),
    )


def _text(draft: Draft, place: Any, name: str, start: str) -> None:
    place.text_input(
        TEXTS[name],
        key=seeded(draft, name, start),
        max_chars=60,
        on_change=keep,
        args=(draft, name),
    )
