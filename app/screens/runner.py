"""Runner: what is flagged, what changed beyond error, and the course of it."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app import routes, state
from app.attachments_form import show_attachments_of_runner
from app.cautions_form import show_open_cautions
from app.consent_form import show_consents
from app.courses_shown import show_courses
from app.flags_shown import show_flags
from app.messages import count_words, day_words, plain, show_caution
from app.programme_weeks import show_weeks_under_charts
from app.record_download import show_record_download
from app.verdicts_shown import show_summary, show_table
from app.which_runner import asked_runner
from app.why_shown import any_unfolded, why_of_a_row
from app.words import due_words, runner_words
from casebook.domain.wording import VISIT_KINDS, complaint_words, number_words
from casebook.services import clock
from casebook.services.reviewing import Review, VisitLine, review_runner


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    code = asked_runner(casebook, "runner")
    if code is None:
        return
    norms = state.clinic_baselines(casebook) if any_unfolded() else None
    review = review_runner(casebook, code, norms=norms)
    _heading(review, clock.today())
    state.show_notice()
    show_open_cautions(casebook, review.runner.code, newest_pain_only=True)
    if not review.visits:
        st.info("No visit is stored yet. Log the first one.", icon=":material/edit_note:")
        show_consents(casebook, review.runner.code)
        show_record_download(casebook, review.runner.code)
        return
    if review.verdicts:
        show_summary(review)
        show_flags(casebook, review)
        show_caution()
    else:
        st.info(
            "Only baseline visits are stored. Verdicts come with the next visit.",
            icon=":material/flag_circle:",
        )
    show_courses(review)
    show_weeks_under_charts(review)
    if review.verdicts:
        why_of_a_row(review, show_table(review))
    _about(review)
    show_attachments_of_runner(
        casebook,
        review.runner.code,
        [(line.visited_on, line.session) for line in review.visits],
    )
    show_consents(casebook, review.runner.code)
    show_record_download(casebook, review.runner.code)


def _heading(review: Review, today: date) -> None:
    runner = review.runner
    st.title(plain(runner.code), anchor=False)
    lines = [plain(runner_words(runner))]
    lines += [f"**{plain(complaint_words(injury))}**" for injury in review.injuries]
    st.markdown(" · ".join(lines))
    if review.visits:
        last = review.visits[-1]
        due = due_words(last.next_due_on, today)
        late = last.next_due_on is not None and last.next_due_on < today
        st.markdown(
            f"{count_words(len(review.visits), 'visit')}, the latest on "
            f"{day_words(last.visited_on)} ({VISIT_KINDS[last.kind]}) · next due: "
            f"{f':material/schedule: **{due}**' if late else due}"
        )
    with st.container(horizontal=True, key="runner_links"):
        routes.link("log_visit", "Log a visit", icon=":material/edit_note:", runner=runner.code)
        routes.link("programme", "Programmes", icon=":material/assignment:", runner=runner.code)
        routes.link("hypotheses", "Hypotheses", icon=":material/psychology:", runner=runner.code)
        routes.link("injuries", "Complaints", icon=":material/healing:", runner=runner.code)
        routes.link("history", "History", icon=":material/history:", runner=runner.code)
        routes.link("summary", "Summary", icon=":material/summarize:", runner=runner.code)
        routes.link("caseload", "All runners", icon=":material/groups:")


def _about(review: Review) -> None:
    with st.expander("Visits, programmes and complaints", icon=":material/event_note:"):
        st.markdown("**Visits**")
        st.markdown(
            "\n".join(
                f"- {day_words(line.visited_on)}"
                f"{f', session {line.session}' if line.session > 1 else ''}: "
                f"{VISIT_KINDS[line.kind]}{' (part of the baseline)' if line.reference else ''}"
                f"{_conditions_of(line)}"
                for line in reversed(review.visits)
            )
        )
        if review.programmes:
            st.markdown("**Programmes**")
        for programme in review.programmes:
            until = f"to {day_words(programme.ended_on)}" if programme.ended_on else "still running"
            st.markdown(
                f"- {plain(programme.title)}, from {day_words(programme.started_on)} {until}. "
                f"{plain(programme.rationale)}"
            )
        if review.injuries:
            st.markdown("**Complaints**")
        for injury in review.injuries:
            back = (
                f", back to running {day_words(injury.returned_on)}" if injury.returned_on else ""
            )
            st.markdown(
                f"- {plain(complaint_words(injury))}, began {day_words(injury.onset_on)}{back}"
            )


def _conditions_of(line: VisitLine) -> str:
    """What was noted and under what conditions, in one line more."""
    at = line.conditions
    parts = [
        f"**pain {number_words(at.pain_today)}**" if at.pain_today is not None else "",
        f"assessor {plain(at.assessor)}" if at.assessor else "",
        f"{at.speed_km_h:g} km/h" if at.speed_km_h is not None else "",
        f"incline {at.incline_pct:g} %" if at.incline_pct is not None else "",
        *(plain(text) for text in (at.surface, at.footwear, at.view) if text),
        f"{at.frames_per_s:g} frames a second" if at.frames_per_s is not None else "",
    ]
    told = ", ".join(part for part in parts if part)
    note = f"  \n  {plain(line.note)}" if line.note else ""
    return f"  \n  :gray[{told}]{note}" if told else note


show()
