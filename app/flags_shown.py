"""Flags of a runner with what they rest on, and the form that acknowledges one."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app import sidebar, state
from app.messages import calmly, count_words, day_words, plain
from casebook.domain.verdicts import Flag, FlagKind, Verdict, What
from casebook.domain.wording import FLAG_KINDS, ORIGINS, like_for_like_words
from casebook.services.flagging import acknowledge_flag
from casebook.services.keeping import Casebook
from casebook.services.reviewing import Review

SETTLED_SHOWN = 30


def show_flags(casebook: Casebook, review: Review) -> None:
    """Open flags first, then what chance alone would raise, then the settled ones."""
    latest = max((line.visited_on for line in review.visits), default=None)
    if review.open_flags:
        st.subheader(
            f"{count_words(len(review.open_flags), 'open flag')} at the latest visit", anchor=False
        )
    for number, flag in enumerate(review.open_flags):
        _open_flag(casebook, review, flag, number)
    if not review.open_flags:
        st.success(
            f"No open flag at the latest visit ({day_words(latest)}).",
            icon=":material/check_circle:",
        )
    st.caption(_by_chance(review))
    settled = [flag for flag in review.flags if flag not in review.open_flags]
    if settled:
        with st.expander(
            f"Earlier and acknowledged flags ({len(settled)})", icon=":material/history:"
        ):
            for flag in settled[:SETTLED_SHOWN]:
                st.markdown(_settled_words(flag))


def _by_chance(review: Review) -> str:
    n = sum(1 for line in review.visits if not line.reference)
    return (
        f"By chance alone: {count_words(review.tests, 'comparison')} at the latest visit would "
        f"raise {review.expected_false:.2g} false flags on average in a runner who has not "
        f"changed at all, and {review.expected_false_course:.2g} over the "
        f"{count_words(n, 'visit')} since the baseline."
    )


def _open_flag(casebook: Casebook, review: Review, flag: Flag, number: int) -> None:
    with st.container(border=True, key=f"flag_{number}"):
        st.markdown(
            f":red[:material/flag: **{FLAG_KINDS[flag.kind].capitalize()}**]  \n"
            f"{plain(flag.message)}"
        )
        st.caption(_rests_on(review, flag))
        with st.expander("Acknowledge with a reason", icon=":material/check:"):
            _acknowledge(casebook, flag)


def _rests_on(review: Review, flag: Flag) -> str:
    wanted = What.NONE if flag.kind is FlagKind.SYMPTOM_UP else What.ASYMMETRY
    verdict = next(
        (v for v in review.verdicts if v.metric == flag.metric and v.what is wanted), None
    )
    told = [_chance_words(flag)]
    if verdict is not None:
        told += [_error_words(verdict), _baseline_words(verdict)]
    return plain(" ".join(told))


def _chance_words(flag: Flag) -> str:
    if flag.p is None:
        return (
            "How often measurement error alone would show as much is not known: there is no "
            "error figure, or the visits were not like for like."
        )
    share = "fewer than 0.1 %" if flag.p < 0.001 else f"{100 * flag.p:.1f} %"
    return f"Measurement error alone would show as much in {share} of visits."


def _error_words(verdict: Verdict) -> str:
    source = f" ({verdict.error_source})" if verdict.error_source else ""
    return f"Error figure: {ORIGINS[verdict.error_origin]}{source}."


def _baseline_words(verdict: Verdict) -> str:
    alike = like_for_like_words(verdict)
    return (
        f"Compared with the mean of {count_words(verdict.baseline_visits, 'baseline visit')}; "
        f"conditions: {alike}."
    )


def _acknowledge(casebook: Casebook, flag: Flag) -> None:
    key = f"acknowledge_{flag.metric}_{flag.kind}"
    if not state.who():
        sidebar.choose_user(casebook, place=key)
    with st.form(key, border=False):
        reason = st.text_area(
            "Reason: what you make of it, or what you changed",
            key=f"{key}_reason",
            height=80,
            max_chars=2000,
        )
        by = state.who()
        sent = st.form_submit_button(f"Acknowledge as {by}" if by else "Acknowledge")
    if not sent:
        return
    if not by:
        st.error("Say first who you are, so that the acknowledgement is yours.")
        return
    with calmly():
        acknowledge_flag(
            casebook,
            flag.runner,
            flag.visit_date,
            flag.session,
            flag.metric,
            flag.kind,
            reason=reason,
            by=by,
        )
        state.leave_notice("The flag is acknowledged. It is kept below with your reason.")
        st.rerun()


def _settled_words(flag: Flag) -> str:
    words = f"**{day_words(flag.visit_date)}** · {plain(flag.message)}"
    if not flag.acknowledged:
        return f"{words}  \n:gray[not acknowledged; a later visit has taken its place]"
    at: date | None = flag.acknowledged_at.date() if flag.acknowledged_at else None
    return (
        f"{words}  \n:gray[acknowledged by {plain(flag.acknowledged_by)} on {day_words(at)}: "
        f"{plain(flag.acknowledged_reason)}]"
    )
