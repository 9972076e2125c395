"""How a programme is kept to: one row a week, typed in seconds, and the bars."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import streamlit as st

from app import sidebar, state
from app.messages import calmly, day_words, plain
from app.typed_boxes import Boxes
from casebook.charts.adherence import adherence_bars
from casebook.charts.time_axis import TimeAxis
from casebook.domain.programme_effects import adherence_of
from casebook.domain.programmes import AdherenceWeek
from casebook.services import clock
from casebook.services.adhering import MOST_SESSIONS, next_week, record_week
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription
from casebook.services.reviewing import Review

HOW_TO_READ = (
    "Bars: sessions done; broken outlines: sessions planned; the number above a bar: the "
    "worst pain of that week, 0 to 10, where there was any. Weeks that were not entered are left "
    "blank, not counted as none."
)


def show_weeks(casebook: Casebook, stored: StoredPrescription) -> None:
    """The row for the next week, the bars, and every week in numbers."""
    programme = stored.prescription.programme
    st.subheader("Kept to", anchor=False)
    if programme.started_on > clock.today():
        st.caption(f"Weeks are entered from {day_words(programme.started_on)} on.")
        return
    _ask(casebook, stored)
    show_bars(programme.adherence, key=f"bars_{stored.programme_id}")


def show_bars(
    weeks: tuple[AdherenceWeek, ...], *, key: str, span: tuple[date, date] | None = None
) -> None:
    """The weeks as bars, and folded away in numbers."""
    if not weeks:
        st.caption("No week is entered yet.")
        return
    found = adherence_of(weeks)
    share = f" ({100 * found.share:.0f} %)" if found.share is not None else ""
    st.markdown(
        f"**{found.done} of {found.planned}** planned sessions done{share} in the "
        f"{found.weeks} {'week' if found.weeks == 1 else 'weeks'} entered."
    )
    st.vega_lite_chart(
        spec=adherence_bars(weeks, palette=state.palette(), span=span), theme=None, key=key
    )
    st.caption(HOW_TO_READ)
    with (
        st.expander("The weeks in numbers", icon=":material/table:"),
        st.container(key=f"weeks_table_{key}"),
    ):
        st.table(_table(weeks), border="horizontal", hide_index=True)


def _table(weeks: tuple[AdherenceWeek, ...]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "Week of": day_words(week.week_start),
                "Done of planned": f"{week.sessions_done} of {week.sessions_planned}",
                "Pain during": _pain(week.pain_during),
                "Pain the morning after": _pain(week.pain_morning_after),
                "Comment": plain(week.comment) or "–",
            }
            for week in sorted(weeks, key=lambda one: one.week_start, reverse=True)
        ]
    )


def _pain(pain: float | None) -> str:
    return "not entered" if pain is None else f"{pain:g} of 10"


def _ask(casebook: Casebook, stored: StoredPrescription) -> None:
    proposed = next_week(stored, today=clock.today())
    entered = stored.prescription.programme.adherence
    # A row of its own for every state, so that what was stored last does not stand in the next.
    name = f"week_{stored.programme_id}_{len(entered)}_{proposed.week_start}"
    boxes = Boxes()
    with st.form(name, border=True):
        first = st.columns([3, 2, 2, 2, 2])
        day = boxes.day(
            first[0],
            "Week that begins on",
            key=f"{name}_start",
            start=proposed.week_start,
            latest=clock.today(),
        ).value
        done = boxes.whole(
            first[1],
            "Sessions done",
            key=f"{name}_done",
            start=proposed.sessions_done,
            low=0,
            high=MOST_SESSIONS,
            required=True,
        )
        planned = boxes.whole(
            first[2],
            "of planned",
            key=f"{name}_planned",
            start=proposed.sessions_planned,
            low=0,
            high=MOST_SESSIONS,
            required=True,
        )
        during = boxes.number(first[3], "Pain during (0–10)", key=f"{name}_during", low=0, high=10)
        after = boxes.number(first[4], "Morning after (0–10)", key=f"{name}_after", low=0, high=10)
        second = st.columns([3, 2, 1], vertical_alignment="bottom")
        comment = second[0].text_input("Comment", key=f"{name}_comment", max_chars=500)
        reason = second[1].text_input(
            "Reason, where it corrects a stored week", key=f"{name}_reason", max_chars=2000
        )
        sent = second[2].form_submit_button("Store the week", type="primary")
    if not sent:
        return
    if day is None and not boxes.problems:
        boxes.problems.append("Week that begins on: it is blank; type a day.")
    if boxes.refuse() or day is None or done is None or planned is None:
        return
    if not state.who():
        sidebar.choose_user(casebook, place=name)
        st.error("Say first who you are, then store the week.")
        return
    monday = _begins(day, entered)
    with calmly():
        record_week(
            casebook,
            stored.programme_id,
            AdherenceWeek(
                week_start=monday,
                sessions_planned=planned,
                sessions_done=done,
                pain_during=during,
                pain_morning_after=after,
                comment=comment.strip(),
            ),
            by=state.who(),
            reason=reason.strip(),
        )
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


def show_weeks_under_charts(review: Review) -> None:
    """The weeks of every programme, folded away below the charts and on their time."""
    kept = [one for one in review.programmes if one.adherence]
    if not kept:
        return
    axis = TimeAxis(visits=tuple(sorted({line.visited_on for line in review.visits})))
    with st.expander("How the programmes were kept to", icon=":material/bar_chart:"):
        for number, programme in enumerate(sorted(kept, key=lambda one: one.started_on)):
            st.markdown(f"**{plain(programme.title)}**")
            show_bars(
                programme.adherence, key=f"bars_{review.runner.code}_{number}", span=axis.span
            )
