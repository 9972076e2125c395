"""The head of a visit: its kind, the conditions, when the next one is due, a note."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import streamlit as st

from app import state
from app.entering import Draft, keep, seeded
from app.messages import day_words, plain
from app.typed_boxes import DATE_HELP, day_text, number_text, show_problem
from casebook.domain.typed_fields import TypedNumber, read_day, read_number, weekday_words
from casebook.domain.visits import CONDITION_RANGES, Conditions, Visit, VisitKind
from casebook.domain.wording import VISIT_KINDS

NUMBERS = {
    "speed_km_h": "Speed (km/h)",
    "incline_pct": "Incline (%)",
    "frames_per_s": "Frames a second",
    "pain_today": "Pain today (0 to 10)",
}
TEXTS = {
    "surface": "Surface",
    "footwear": "Footwear",
    "view": "Camera view",
    "assessor": "Assessor",
}
RANGES = {column: (low, high, unit) for column, low, high, unit in CONDITION_RANGES}
NEXT_DUE = "Next visit due"
NONE_PLANNED = "No review planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What was typed in the head of a visit."""

    kind: VisitKind
    conditions: Conditions
    next_due_on: date | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDue:
    """What was said about the next visit; `problem` where nothing can be made of it."""

    day: date | None = None
    problem: str = ""


def head_problems(draft: Draft) -> list[tuple[str, str]]:
    """Labels of the number boxes that can't be read, each with why."""
    read = {name: _typed_number(draft, name) for name in NUMBERS}
    return [(NUMBERS[name], typed.problem) for name, typed in read.items() if typed.problem]


def typed_head(draft: Draft, next_due_on: date | None) -> Head:
    """The head as it stands in the fields; to be asked for once none of them has a problem.

    Raises
    ------
    InputRefused
        For a condition out of its range.
    """

    def typed(name: str) -> Any:
        return st.session_state[draft.key(name)]

    numbers: dict[str, Any] = {name: _typed_number(draft, name).value for name in NUMBERS}
    texts: dict[str, Any] = {name: typed(name).strip() for name in TEXTS}
    return Head(
        kind=typed("kind"),
        conditions=Conditions(**numbers, **texts),
        next_due_on=next_due_on,
        note=typed("note").strip(),
    )


def show_conditions(draft: Draft, last: Visit | None) -> None:
    """The fields, filled from the last visit; pain is asked anew, the assessor is the user.

    Parameters
    ----------
    draft : Draft
        Takes up what is typed.
    last : Visit or None
        The visit before this one.
    """
    before = last.conditions if last else Conditions()
    with st.expander("Conditions", expanded=True, icon=":material/tune:"):
        st.caption(
            f"Taken over from the visit of {day_words(last.visited_on)}; change what differs "
            "today. Pain is asked anew, and the assessor is you."
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
        _assessor(draft, second[3], before.assessor)
        third = st.columns([1, 3])
        _number(draft, third[0], "pain_today", None)
        third[1].text_input(
            "Note",
            key=seeded(draft, "note", ""),
            on_change=keep,
            args=(draft, "note"),
        )


def ask_next_due(draft: Draft, visited_on: date, earlier: tuple[Visit, ...]) -> NextDue:
    """When the next visit is due: as far ahead as last time, unless said otherwise.

    Parameters
    ----------
    draft : Draft
        Takes up what is typed.
    visited_on : date
        Day of this visit.
    earlier : tuple of Visit
        Those before it, oldest first.
    """
    ahead = _usual_interval(earlier)
    suggested = visited_on + ahead if ahead else None
    # Until something is typed, the suggestion moves with the day of the visit.
    key = draft.key("next_due_on")
    st.session_state.setdefault(key, draft.head.get("next_due_on", ""))
    if "next_due_on" not in draft.head:
        st.session_state[key] = day_text(suggested)
    due, none = st.columns([1, 2], vertical_alignment="top")
    without = none.checkbox(
        NONE_PLANNED,
        key=seeded(draft, "no_review", False),
        on_change=keep,
        args=(draft, "no_review"),
    )
    text = due.text_input(
        NEXT_DUE,
        key=key,
        autocomplete="off",
        help=DATE_HELP,
        disabled=bool(without),
        on_change=keep,
        args=(draft, "next_due_on"),
    )
    if without:
        return NextDue()
    typed = read_day(text or "", earliest=visited_on)
    if typed.value is not None:
        as_before = ahead is not None and typed.value == suggested
        due.caption(
            f"{weekday_words(typed.value)}{', as far ahead as last time' if as_before else ''}"
        )
        return NextDue(day=typed.value)
    problem = typed.problem or f"Say when, or tick '{NONE_PLANNED}'."
    if typed.problem:
        show_problem(due, problem)
    return NextDue(problem=problem)


def _usual_interval(earlier: tuple[Visit, ...]) -> timedelta | None:
    """How far ahead the latest visit that planned one planned the next."""
    planned = [visit for visit in earlier if visit.next_due_on is not None]
    if planned and planned[-1].next_due_on is not None:
        return planned[-1].next_due_on - planned[-1].visited_on or None
    if len(earlier) > 1:
        return earlier[-1].visited_on - earlier[-2].visited_on or None
    return None


def _pick_kind(draft: Draft, place: Any, start: VisitKind) -> None:
    place.selectbox(
        "Kind of visit",
        list(VisitKind),
        format_func=VISIT_KINDS.__getitem__,
        key=seeded(draft, "kind", start),
        on_change=keep,
        args=(draft, "kind"),
    )


def _typed_number(draft: Draft, name: str) -> TypedNumber:
    low, high, unit = RANGES[name]
    return read_number(
        str(st.session_state.get(draft.key(name), "")), low=low, high=high, unit=unit
    )


def _number(draft: Draft, place: Any, name: str, start: float | None) -> None:
    place.text_input(
        NUMBERS[name],
        key=seeded(draft, name, number_text(start)),
        autocomplete="off",
        on_change=keep,
        args=(draft, name),
    )
    show_problem(place, _typed_number(draft, name).problem)


def _text(draft: Draft, place: Any, name: str, start: str) -> None:
    place.text_input(
        TEXTS[name],
        key=seeded(draft, name, start),
        max_chars=60,
        on_change=keep,
        args=(draft, name),
    )


def _assessor(draft: Draft, place: Any, last: str) -> None:
    """Who measures today is who is here, not who measured last time."""
    if "assessor" not in draft.head:
        st.session_state[draft.key("assessor")] = state.who()
    _text(draft, place, "assessor", state.who())
    if last:
        place.caption(f"last time: {plain(last)}")
