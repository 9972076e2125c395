"""The forms of a complaint: a new one, how one went, and a run."""

from __future__ import annotations

import streamlit as st

from app import sidebar, state
from app.choices import choose, choose_knowingly
from app.messages import calmly
from app.typed_boxes import Boxes
from app.words import code_words
from casebook.domain.history import Subject
from casebook.domain.injuries import Course, Injury, Occurrence, Onset, Pathology, Region
from casebook.domain.programme_versions import SIDES
from casebook.domain.running_load import LONGEST_KM, LONGEST_MIN, Run
from casebook.domain.sides import InjurySide
from casebook.services import clock
from casebook.services.amending_records import amend_record
from casebook.services.injury_course import ComplaintCourse
from casebook.services.keeping import Casebook
from casebook.services.registering import record_injury
from casebook.services.running import record_run

YES_NO = {True: "yes", False: "no"}
MOST_DAYS = 3650


def ask_how_it_went(casebook: Casebook, runner: str, one: ComplaintCourse) -> None:
    """Amend where a complaint stands, with a reason."""
    injury = one.complaint.injury
    known = (
        injury.course, injury.returned_on, injury.fully_back_on, injury.days_limited,
        injury.sessions_missed_in_row, injury.consulted,
    )  # fmt: skip
    # Keys of what is stored: after a save, by anybody, the boxes start from that.
    name = f"went_{one.injury_id}_{abs(hash(known))}"
    today = clock.today()
    boxes = Boxes()
    if not state.who():
        sidebar.choose_user(casebook, place=name)
    by = state.who()
    with st.form(name, border=False):
        first = st.columns(3)
        course = choose(
            first[0], "It is", list(Course), code_words, key=f"{name}_course", start=injury.course
        )
        returned = boxes.day(
            first[1],
            "First run again on",
            key=f"{name}_returned",
            start=injury.returned_on,
            earliest=injury.onset_on,
            latest=today,
        ).value
        back = boxes.day(
            first[2],
            "Fully back to training and racing on",
            key=f"{name}_back",
            start=injury.fully_back_on,
            earliest=injury.onset_on,
            latest=today,
        ).value
        second = st.columns(3)
        days = boxes.whole(
            second[0],
            "Days on which it limited running",
            key=f"{name}_days",
            start=injury.days_limited,
            low=0,
            high=MOST_DAYS,
        )
        missed = boxes.whole(
            second[1],
            "Planned sessions limited or missed in a row",
            key=f"{name}_missed",
            start=injury.sessions_missed_in_row,
            low=0,
            high=MOST_DAYS,
        )
        consulted = second[2].selectbox(
            "A health professional was seen",
            [True, False],
            index=None if injury.consulted is None else [True, False].index(injury.consulted),
            format_func=YES_NO.__getitem__,
            key=f"{name}_consulted",
            placeholder="Not asked",
        )
        reason = st.text_input("Reason", key=f"{name}_reason", max_chars=2000)
        sent = st.form_submit_button(f"Store as {by}" if by else "Store")
    if not sent or boxes.refuse():
        return
    wanted: dict[str, object] = {
        "course": course,
        "returned_on": returned,
        "fully_back_on": back,
        "days_limited": days,
        "sessions_missed_in_row": missed,
        "consulted": consulted,
    }
    shown = {column: getattr(injury, column) for column in wanted}
    changed = {column: new for column, new in wanted.items() if new != shown[column]}
    if not changed:
        st.info("Nothing differs from what is stored.")
        return
    with calmly():
        amend_record(
            casebook,
            runner,
            (Subject.INJURY, one.injury_id),
            changed,
            shown={column: shown[column] for column in changed},
            reason=reason,
            by=by,
        )
        state.leave_notice("Stored; what it was stands in the history.")
        st.rerun()


def ask_for_complaint(casebook: Casebook, runner: str) -> None:
    """Store a new complaint."""
    name = f"complaint_new_{runner}"
    boxes = Boxes()
    with st.form(name, border=False):
        first = st.columns(3)
        region = choose_knowingly(first[0], "Where", list(Region), code_words, key=f"{name}_region")
        side = choose_knowingly(first[1], "Side", list(InjurySide), SIDES, key=f"{name}_side")
        pathology = choose_knowingly(
            first[2], "Kind", list(Pathology), code_words, key=f"{name}_pathology"
        )
        second = st.columns(3)
        onset_on = boxes.day(
            second[0], "Began on", key=f"{name}_onset_on", latest=clock.today()
        ).value
        onset = choose(
            second[1], "It began", list(Onset), code_words, key=f"{name}_onset", start=Onset.GRADUAL
        )
        occurrence = choose(
            second[2],
            "As the runner tells it",
            list(Occurrence),
            {Occurrence.FIRST: "the first time", Occurrence.RECURRENT: "had it before"},
            key=f"{name}_occurrence",
        )
        sent = st.form_submit_button("Store the complaint")
    if not sent or boxes.refuse():
        return
    if region is None or side is None or pathology is None or onset_on is None:
        st.error("Say where, which side, what kind and when it began. Nothing was stored.")
        return
    with calmly():
        record_injury(
            casebook,
            Injury(
                runner=runner,
                region=region,
                pathology=pathology,
                side=side,
                onset_on=onset_on,
                onset=onset,
                occurrence=occurrence,
            ),
            by=state.who(),
        )
        for key in [key for key in st.session_state if str(key).startswith(f"{name}_")]:
            del st.session_state[key]
        state.leave_notice("The complaint is stored.")
        st.rerun()


def ask_for_run(casebook: Casebook, runner: str) -> None:
    """Store one run; longer records are imported."""
    stored = st.session_state.get(f"runs_stored_{runner}", 0)
    name = f"run_{runner}_{stored}"
    boxes = Boxes()
    with st.form(name, border=False):
        row = st.columns(4)
        on = boxes.day(
            row[0], "Run on", key=f"{name}_on", start=clock.today(), latest=clock.today()
        ).value
        distance = boxes.number(row[1], "Distance (km)", key=f"{name}_km", low=0, high=LONGEST_KM)
        minutes = boxes.number(row[2], "Minutes", key=f"{name}_min", low=0, high=LONGEST_MIN)
        effort = boxes.number(
            row[3],
            "Effort (0–10)",
            key=f"{name}_effort",
            low=0,
            high=10,
            help="The runner's own rating; minutes times effort is the load of a session.",
        )
        sent = st.form_submit_button("Store the run")
    if not sent or boxes.refuse():
        return
    if on is None or (distance is None and minutes is None):
        st.error("Say the day, and the distance or the minutes. Nothing was stored.")
        return
    with calmly():
        record_run(
            casebook,
            runner,
            Run(on=on, distance_km=distance, minutes=minutes, effort=effort),
            by=state.who(),
        )
        st.session_state[f"runs_stored_{runner}"] = stored + 1
        state.leave_notice("The run is stored.")
        st.rerun()
