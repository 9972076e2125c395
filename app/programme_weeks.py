"""How a programme is kept to: the weeks as bars and in numbers."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from app import state
from app.messages import day_words, plain
from app.week_row import ask_week
from casebook.charts.adherence import adherence_bars
from casebook.charts.time_axis import TimeAxis
from casebook.domain.programme_effects import adherence_of
from casebook.domain.programmes import AdherenceWeek
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription
from casebook.services.reviewing import Review

BARS_READ = (
    "Bars: sessions done; broken outlines: sessions planned; the number above a bar: the "
    "worst pain of that week, 0 to 10, where there was any and room to write it. Weeks that were "
    "not entered are left blank, not counted as none."
)
# The place on the page that a link leads to, so that a week is entered within seconds.
ROW = "enter-a-week"


def show_weeks(casebook: Casebook, stored: StoredPrescription, *, bars: bool) -> None:
    """The row for the next week, the bars where no chart has them, and every week in numbers."""
    programme = stored.prescription.programme
    st.subheader("Kept to", anchor=ROW)
    if programme.started_on > clock.today():
        st.caption(f"Weeks are entered from {day_words(programme.started_on)} on.")
        return
    ask_week(casebook, stored)
    show_bars(programme.adherence, key=f"bars_{stored.programme_id}", bars=bars)


def show_bars(
    weeks: tuple[AdherenceWeek, ...],
    *,
    key: str,
    span: tuple[date, date] | None = None,
    bars: bool = True,
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
    if bars:
        draw_bars(weeks, key=key, span=span)
        st.caption(BARS_READ)
    with (
        st.expander("The weeks in numbers", icon=":material/table:"),
        st.container(key=f"weeks_table_{key}"),
    ):
        st.table(_table(weeks), border="horizontal", hide_index=True)


def draw_bars(
    weeks: tuple[AdherenceWeek, ...], *, key: str, span: tuple[date, date] | None = None
) -> None:
    """The bars alone, on the time of a chart above where that is given."""
    st.vega_lite_chart(
        spec=adherence_bars(weeks, palette=state.palette(), span=span), theme=None, key=key
    )


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
