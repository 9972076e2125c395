"""One week of a programme, typed in one row: what was done of what was planned, and the pain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import streamlit as st

from app import sidebar, state
from app.messages import calmly, day_words
from app.programme_draft import Typing
from app.typed_boxes import Boxes
from casebook.domain.programmes import AdherenceWeek
from casebook.services import clock
from casebook.services.adhering import MOST_SESSIONS, next_week, record_week
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription

DAY, DONE, PLANNED = "Week that begins on", "Sessions done", "of planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class _TypedWeek:
    """What stands in the boxes; None where one is blank or can't be read."""

    day: date | None
    done: int | None
    planned: int | None
    during: float | None
    after: float | None


@st.fragment
def ask_week(casebook: Casebook, stored: StoredPrescription) -> None:
    """The row for the next week; what is typed stays until it is stored.

    No form of Streamlit's, which keeps to itself what is typed until it is sent: neither the
    page drawn anew nor a look at another one may lose anything. What was only proposed is not
    kept, so that it follows what others store meanwhile. A fragment, so that no more than this
    row is drawn anew when a box is left.
    """
    name = f"week_{stored.programme_id}"
    typing: Typing = st.session_state.setdefault(f"draft_of_{name}", Typing(name))
    typing.restore()
    boxes = Boxes(kept=typing.keep)
    with st.container(border=True, key=f"row_of_{name}"):
        typed = _numbers(typing, boxes, stored)
        second = st.columns([3, 3, 2.4], vertical_alignment="bottom")
        comment = typing.text(second[0], "Comment", "comment", "", max_chars=500)
        reason = typing.text(
            second[1], "Reason for correcting a stored week", "reason", "", max_chars=2000
        )
        sent = second[2].button(
            "Store the week", key=f"store_{name}", type="primary", shortcut="Ctrl+Enter"
        )
        if sent:
            _store(casebook, stored, typing, boxes, typed, comment=comment, reason=reason)


def _numbers(typing: Typing, boxes: Boxes, stored: StoredPrescription) -> _TypedWeek:
    proposed = next_week(stored, today=clock.today())
    places = st.columns([3, 2, 2, 2, 2])
    return _TypedWeek(
        day=boxes.day(
            places[0],
            DAY,
            key=typing.key("start"),
            start=proposed.week_start,
            latest=clock.today(),
        ).value,
        # Blank, so that no key pressed too early stores sessions that nobody counted.
        done=boxes.whole(places[1], DONE, key=typing.key("done"), low=0, high=MOST_SESSIONS),
        planned=boxes.whole(
            places[2],
            PLANNED,
            key=typing.key("planned"),
            start=proposed.sessions_planned,
            low=0,
            high=MOST_SESSIONS,
        ),
        during=boxes.number(
            places[3], "Pain during (0–10)", key=typing.key("during"), low=0, high=10
        ),
        after=boxes.number(
            places[4], "Morning after (0–10)", key=typing.key("after"), low=0, high=10
        ),
    )


def _store(
    casebook: Casebook,
    stored: StoredPrescription,
    typing: Typing,
    boxes: Boxes,
    typed: _TypedWeek,
    *,
    comment: str,
    reason: str,
) -> None:
    day, done, planned = typed.day, typed.done, typed.planned
    if not boxes.problems:
        boxes.problems += [
            f"{label}: it is blank; type {what}."
            for label, value, what in (
                (DAY, day, "a day"),
                (DONE, done, "a number, 0 where none was done"),
                (PLANNED, planned, "a number"),
            )
            if value is None
        ]
    if boxes.refuse() or day is None or done is None or planned is None:
        return
    if not state.who():
        sidebar.choose_user(casebook, place=typing.name)
        st.error("Say first who you are, then store the week.")
        return
    monday = _begins(day, stored.prescription.programme.adherence)
    with calmly():
        record_week(
            casebook,
            stored.programme_id,
            AdherenceWeek(
                week_start=monday,
                sessions_planned=planned,
                sessions_done=done,
                pain_during=typed.during,
                pain_morning_after=typed.after,
                comment=comment,
            ),
            by=state.who(),
            reason=reason,
        )
        typing.forget()
        state.leave_notice(f"The week of {day_words(monday)} is stored.")
        st.rerun()


def _begins(day: date, entered: tuple[AdherenceWeek, ...]) -> date:
    """The Monday of a day, or the day on which that week was stored to begin."""
    monday = day - timedelta(days=day.weekday())
    same = [
        week.week_start
        for week in entered
        if week.week_start == day
        or week.week_start - timedelta(week.week_start.weekday()) == monday
    ]
    return day if day in same else same[0] if same else monday
