"""The head of a visit: its kind, the conditions, when the next one is due, a note."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import streamlit as st

from app import state
from app.log_draft import BEGUN_BY, Draft, keep, seeded
from app.log_sheet import Sheet
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


def typed_conditions(draft: Draft) -> Conditions:
    """The conditions as they stand in the fields; a number that can't be read is left out."""
    numbers: dict[str, Any] = {name: _typed_number(draft, name).value for name in NUMBERS}
    texts: dict[str, Any] = {name: _typed(draft, name).strip() for name in TEXTS}
    return Conditions(**numbers, **texts)


def typed_head(draft: Draft, next_due_on: date | None) -> Head:
    """The head as it stands in the fields; to be asked for once none of them has a problem.

    Raises
    ------
    InputRefused
        For a condition out of its range.
    """
    return Head(
        kind=VisitKind(_typed(draft, "kind")),
        conditions=typed_conditions(draft),
        next_due_on=next_due_on,
        note=_typed(draft, "note").strip(),
    )


def _typed(draft: Draft, name: str) -> str:
    return str(st.session_state[draft.name(name)])


def show_conditions(sheet: Sheet) -> None:
    """The fields: what is stored, or filled from the last visit and pain asked anew.

    The assessor of a new visit is the user.
    """
    stored = sheet.stored.visit if sheet.stored else None
    last = sheet.earlier[-1].visit if sheet.earlier else None
    with st.expander("Conditions", expanded=stored is None, icon=":material/tune:"):
        if stored is not None:
            st.caption("As they are stored. A change is saved with its reason.")
        else:
            st.caption(
                f"Taken over from the visit of {day_words(last.visited_on)}; change what differs "
                "today. Pain is asked anew, and the assessor is you."
                if last
                else "The first visit of this runner: what is not recorded can't be compared later."
            )
        here = str(sheet.draft.head.get(BEGUN_BY) or state.who())
        start = stored or (last and _taken_over(last, here)) or _first(here)
        before = start.conditions
        first = st.columns(4)
        _pick_kind(sheet, first[0], start.kind)
        _number(sheet, first[1], "speed_km_h", before.speed_km_h)
        _number(sheet, first[2], "incline_pct", before.incline_pct)
        _text(sheet, first[3], "surface", before.surface)
        # The camera's view is told in a few words, which are to be read whole.
        second = st.columns([1, 1.6, 0.9, 0.9])
        _text(sheet, second[0], "footwear", before.footwear)
        _text(sheet, second[1], "view", before.view)
        _number(sheet, second[2], "frames_per_s", before.frames_per_s)
        _text(sheet, second[3], "assessor", before.assessor)
        if last and stored is None and last.conditions.assessor:
            second[3].caption(f"last time: {plain(last.conditions.assessor)}")
        third = st.columns([1, 3])
        _number(sheet, third[0], "pain_today", before.pain_today)
        third[1].text_input(
            "Note",
            key=seeded(sheet.draft, "note", start.note),
            on_change=keep,
            args=(sheet.draft, sheet.casebook, "note", sheet.ground),
        )


def _taken_over(last: Visit, assessor: str) -> Visit:
    return replace(
        last,
        kind=VisitKind.REVIEW,
        note="",
        conditions=replace(last.conditions, pain_today=None, assessor=assessor),
    )


def _first(assessor: str) -> Visit:
    return Visit(
        runner="",
        visited_on=date.min,
        kind=VisitKind.BASELINE,
        conditions=Conditions(assessor=assessor),
    )


def ask_next_due(sheet: Sheet) -> NextDue:
    """When the next visit is due: what is stored, else as far ahead as last time."""
    draft, stored = sheet.draft, sheet.stored
    ahead = _usual_interval(tuple(one.visit for one in sheet.earlier))
    suggested = sheet.visited_on + ahead if ahead else None
    if stored is not None:
        suggested = stored.visit.next_due_on
    due, none = st.columns([1, 2], vertical_alignment="top")
    without = none.checkbox(
        NONE_PLANNED,
        key=seeded(draft, "no_review", stored is not None and suggested is None),
        on_change=keep,
        args=(draft, sheet.casebook, "no_review", sheet.ground),
    )
    text = due.text_input(
        NEXT_DUE,
        key=seeded(draft, "next_due_on", day_text(suggested)),
        autocomplete="off",
        help=DATE_HELP,
        disabled=bool(without),
        on_change=keep,
        args=(draft, sheet.casebook, "next_due_on", sheet.ground),
    )
    if without:
        return NextDue()
    typed = read_day(text or "", earliest=sheet.visited_on)
    if typed.value is not None:
        as_before = stored is None and ahead is not None and typed.value == suggested
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


def _pick_kind(sheet: Sheet, place: Any, start: VisitKind) -> None:
    place.selectbox(
        "Kind of visit",
        [kind.value for kind in VisitKind],
        format_func=lambda kind: VISIT_KINDS[VisitKind(kind)],
        key=seeded(sheet.draft, "kind", start.value),
        on_change=keep,
        args=(sheet.draft, sheet.casebook, "kind", sheet.ground),
    )


def _typed_number(draft: Draft, name: str) -> TypedNumber:
    low, high, unit = RANGES[name]
    return read_number(
        str(st.session_state.get(draft.name(name), "")), low=low, high=high, unit=unit
    )


def _number(sheet: Sheet, place: Any, name: str, start: float | None) -> None:
    place.text_input(
        NUMBERS[name],
        key=seeded(sheet.draft, name, number_text(start)),
        autocomplete="off",
        on_change=keep,
        args=(sheet.draft, sheet.casebook, name, sheet.ground),
    )
    show_problem(place, _typed_number(sheet.draft, name).problem)


def _text(sheet: Sheet, place: Any, name: str, start: str) -> None:
    place.text_input(
        TEXTS[name],
        key=seeded(sheet.draft, name, start),
        max_chars=60,
        on_change=keep,
        args=(sheet.draft, sheet.casebook, name, sheet.ground),
    )
