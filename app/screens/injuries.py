"""A runner's complaints: time lost, what came again, pain, running, cautions, the time line."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from app import routes, state
from app.cautions_form import show_findings_form, show_open_cautions, show_seen_cautions
from app.injury_form import ask_for_complaint, ask_for_run, ask_how_it_went
from app.messages import day_words, plain, show_caution
from app.which_runner import asked_runner
from casebook.charts.injury_course import (
    LONGEST_GAP,
    pain_course,
    running_weeks,
    time_line_chart,
)
from casebook.domain.cautions import HIGHEST_PAIN
from casebook.domain.injuries import Pathology
from casebook.domain.running_load import RECENT_DAYS, LoadWeek, Return
from casebook.domain.time_line import EventKind
from casebook.domain.wording import complaint_words, number_words
from casebook.services import clock
from casebook.services.injury_course import ComplaintCourse, RunnerCourse, runner_course
from casebook.services.keeping import Casebook
from casebook.services.recording import list_visits

FELT = {
    "visit": "on the day of a visit",
    "running": "while running",
    "rest": "at rest",
    "during": "in sessions",
    "morning after": "next morning",
}
RUNNING_INJURY = {
    True: "By the consensus definition it counts as a running-related injury",
    False: "By the consensus definition it does not count as a running-related injury",
    None: (
        "Whether it counts as a running-related injury is not recorded: enter below for how long "
        "it limited running"
    ),
}
EVENT_ICONS = {
    EventKind.ONSET: ":material/healing:",
    EventKind.VISIT: ":material/event:",
    EventKind.CAUTION: ":material/warning:",
    EventKind.PAIN: ":material/warning:",
    EventKind.HYPOTHESIS: ":material/psychology:",
    EventKind.PROGRAMME_START: ":material/assignment:",
    EventKind.PROGRAMME_END: ":material/assignment_turned_in:",
    EventKind.TARGET_DUE: ":material/flag_circle:",
    EventKind.FIRST_RUN: ":material/directions_run:",
    EventKind.LONG_RUN: ":material/directions_run:",
    EventKind.FULLY_BACK: ":material/check_circle:",
}
WEEKS_SHOWN, EVENTS_SHOWN = 26, 20


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    code = asked_runner(casebook, "injuries")
    if code is None:
        return
    course = runner_course(casebook, code)
    st.title(f"Complaints of {plain(code)}", anchor=False)
    state.show_notice()
    with st.container(horizontal=True, key="injuries_links"):
        routes.link("runner", "Back to the runner", icon=":material/directions_run:", runner=code)
        routes.link("programme", "Programmes", icon=":material/assignment:", runner=code)
        routes.link("history", "History", icon=":material/history:", runner=code)
    show_open_cautions(casebook, code)
    with st.expander("Findings that may call for a referral", icon=":material/emergency:"):
        show_findings_form(casebook, code, _visits(casebook, code))
    show_seen_cautions(casebook, code)
    _show_complaints(casebook, code, course)
    _show_running(casebook, code, course)
    _show_time_line(course)
    show_caution()


def _show_complaints(casebook: Casebook, code: str, course: RunnerCourse) -> None:
    st.subheader("Complaints", anchor=False)
    if not course.complaints:
        st.caption("None is on record.")
    for one in reversed(course.complaints):
        with st.container(border=True, key=f"complaint_{one.injury_id}"):
            _show_complaint(casebook, code, one)
    with st.expander("Add a complaint", icon=":material/add:"):
        ask_for_complaint(casebook, code)


def _show_complaint(casebook: Casebook, code: str, one: ComplaintCourse) -> None:
    injury = one.complaint.injury
    st.markdown(f"**{plain(complaint_words(injury))}**, began {day_words(injury.onset_on)}")
    facts = [
        f"Time lost: {one.loss_words}",
        f"Against earlier complaints: {one.succession_words}",
        RUNNING_INJURY[one.running_injury],
        *_return_words(one.back, injury.returned_on is not None),
    ]
    if injury.returned_on:
        facts.append(f"First run again entered: {day_words(injury.returned_on)}")
    st.markdown("\n".join(f"- {plain(fact)}" for fact in facts))
    if one.pain:
        bone = injury.pathology is Pathology.BONE_STRESS
        st.vega_lite_chart(
            spec=pain_course(
                [(point.on, point.pain, FELT[point.what]) for point in one.pain],
                limit=None if bone else HIGHEST_PAIN,
                palette=state.palette(),
            ),
            theme=None,
            key=f"pain_chart_{one.injury_id}",
        )
        st.caption(
            "While running and at rest: as told at a visit. No line joins entries more than "
            f"{LONGEST_GAP.days // 7} weeks apart. "
            + (
                "No limit is drawn: with a bone stress injury no pain is the limit."
                if bone
                else f"Broken line: {HIGHEST_PAIN:g} of 10, the usual limit of the pain-monitoring "
                "model; it was never meant for a suspected bone stress injury."
            )
        )
    with st.expander("Enter how it went", icon=":material/edit:"):
        ask_how_it_went(casebook, code, one)


def _return_words(back: Return, entered: bool) -> list[str]:
    told = []
    if back.first_run_on is not None:
        days = f", {back.days_to_first_run} days after it began" if not entered else ""
        told.append(f"First run on record since: {day_words(back.first_run_on)}{days}")
    told.append(
        f"Fully back to training and racing: {day_words(back.full_return_on)}"
        if back.full_return_on
        else "Fully back to training and racing: no day entered"
    )
    if back.usual_km_a_week is not None:
        reached = (
            f"reached again in the week of {day_words(back.back_to_usual_on)}"
            if back.back_to_usual_on
            else "not reached again yet"
        )
        told.append(
            f"Usual before it: {number_words(back.usual_km_a_week, 'km')} a week; {reached}"
        )
    return told


def _show_running(casebook: Casebook, code: str, course: RunnerCourse) -> None:
    st.subheader("Running by the week", anchor=False)
    if course.weeks:
        shown = course.weeks[-WEEKS_SHOWN:]
        longest = course.longest_recent_km
        st.markdown(
            f"Longest run of the last {RECENT_DAYS} days: "
            + (f"**{number_words(longest, 'km')}**." if longest is not None else "none on record.")
        )
        st.vega_lite_chart(
            spec=running_weeks(shown, palette=state.palette()), theme=None, key="running_weeks"
        )
        st.caption(
            "Bars: kilometres of the week; none where a run's distance is not known. Diamonds: the "
            f"longest run of the week. The latest {len(shown)} weeks."
        )
        with (
            st.expander("The weeks in numbers", icon=":material/table:"),
            st.container(key="weeks_table_running"),
        ):
            st.table(
                pd.DataFrame([_week(week) for week in reversed(shown)]),
                border="horizontal",
                hide_index=True,
            )
    else:
        st.caption("No run is on record.")
    with st.expander("Enter a run", icon=":material/add:"):
        ask_for_run(casebook, code)


def _week(week: LoadWeek) -> dict[str, str]:
    beyond = week.beyond_recent_pct
    return {
        "Week of": day_words(week.week_start),
        "Runs": str(week.runs),
        "Distance": _known(week.distance_km, "km"),
        "Longest run": _known(week.longest_km, "km"),
        f"Against the longest of the {RECENT_DAYS} days before": (
            "–" if beyond is None else f"{beyond:+.0f} %".replace("-", "−")
        ),
        "Load (minutes × effort)": _known(week.load, ""),
    }


def _known(number: float | None, unit: str) -> str:
    return "not known" if number is None else number_words(number, unit)


def _show_time_line(course: RunnerCourse) -> None:
    st.subheader("Time line", anchor=False)
    if not course.events:
        st.caption("Nothing is on record.")
        return
    st.vega_lite_chart(
        spec=time_line_chart(course.events, until=clock.today(), palette=state.palette()),
        theme=None,
        key="time_line",
    )
    if not all(event.end_known for event in course.events):
        st.caption("**?** It is resolved; when it ended is not on record.")
    newest = list(reversed(course.events))
    lines = [
        f"- {EVENT_ICONS[event.kind]} **{day_words(event.on)}** {plain(event.words)}"
        for event in newest
    ]
    st.markdown("\n".join(lines[:EVENTS_SHOWN]))
    if len(lines) > EVENTS_SHOWN:
        with st.expander(f"Earlier ({len(lines) - EVENTS_SHOWN})"):
            st.markdown("\n".join(lines[EVENTS_SHOWN:]))


def _visits(casebook: Casebook, code: str) -> list[tuple[date, int]]:
    return [(one.visit.visited_on, one.visit.session) for one in list_visits(casebook, code)]


show()
