"""Findings that may call for a referral: asked in one list, prompted, and acknowledged."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from app import sidebar, state
from app.messages import calmly, count_words, day_words, plain
from casebook.domain.cautions import (
    ADVICE,
    CAUTION_ACTIONS,
    FINDINGS,
    PAIN_SOURCES,
    CautionAction,
    Finding,
    Urgency,
)
from casebook.services import clock
from casebook.services.cautioning import (
    RunnerCaution,
    RunnerPain,
    Seen,
    acknowledge_caution,
    acknowledge_pain,
    findings_of,
    list_cautions,
    list_pain_flags,
    record_findings,
)
from casebook.services.keeping import Casebook
from casebook.services.pain_runs import RunnerPainRun, runs_of_pain

LONGEST_REASON = 2000
ACKNOWLEDGE = "Acknowledge with a reason"
OTHERS = "I asked about or looked for all the others: they are not there"


def show_open_cautions(casebook: Casebook, runner: str, *, newest_pain_only: bool = False) -> None:
    """What nobody has acknowledged yet; nothing where there is nothing.

    Weeks in a row with the same flag stand on one card. With `newest_pain_only` the newest of
    them stands for all, and those of long ago in one line: more would hide what else the page has
    to say, and what to do now does not follow from them.
    """
    for caution in list_cautions(casebook, runner):
        _show_caution(casebook, runner, caution)
    runs = runs_of_pain(list_pain_flags(casebook, runner))[::-1]
    recent = [one for one in runs if one.is_recent(clock.today())]
    shown = recent[:1] if newest_pain_only else runs
    for pain in shown:
        _show_pain(casebook, pain)
    if shown:
        st.caption(f"On the limits of pain: {plain(PAIN_SOURCES)}")
    hidden = runs[len(shown) :]
    if hidden:
        count = count_words(sum(len(one.weeks) for one in hidden), "earlier flag")
        st.caption(
            f":material/warning: {count} of pain in a programme's weeks, the latest in the week of "
            f"{day_words(max(one.last_week for one in hidden))}, not acknowledged yet: see "
            "Complaints."
        )


def show_seen_cautions(casebook: Casebook, runner: str) -> None:
    """What was acknowledged, with who, when, what was done and why."""
    told = [
        f"- {day_words(one.visited_on)}: {plain(one.caution.words)}  \n  "
        f":gray[{plain(_seen_words(one.seen))}]"
        for one in list_cautions(casebook, runner, include_seen=True)
        if one.seen is not None
    ]
    told += [
        f"- {plain(one.run.words)}  \n  :gray[{plain(_seen_words(one.seen))}]"
        for one in runs_of_pain(list_pain_flags(casebook, runner, include_seen=True))
        if one.seen is not None
    ]
    if told:
        with st.expander(f"Acknowledged ({len(told)})", icon=":material/history:"):
            st.markdown("\n".join(told))


def _seen_words(seen: Seen) -> str:
    action = f"{CAUTION_ACTIONS[seen.action]}; " if seen.action else ""
    return f"{action}{seen.reason} ({seen.by}, {day_words(seen.at.astimezone().date())})"


def _show_caution(casebook: Casebook, runner: str, one: RunnerCaution) -> None:
    rule = one.caution.rule
    key = f"caution_{rule.key}_{one.visited_on}_{one.session}"
    urgent = rule.urgency is Urgency.AT_ONCE
    with st.container(border=True, key=key):
        icon = ":material/emergency_home:" if urgent else ":material/warning:"
        st.markdown(f":red[{icon} **{plain(one.caution.words)}**]")
        st.caption(
            f"Entered at the visit of {day_words(one.visited_on)}. A prompt, no diagnosis: the "
            f"decision is yours. Source: {plain(rule.sources)}."
        )
        with st.expander("Acknowledge with what was done", icon=":material/check:"):
            given = _asked(casebook, key, actions=True)
            if given is None:
                return
            action, reason = given
            with calmly():
                acknowledge_caution(
                    casebook,
                    runner,
                    one.visited_on,
                    one.session,
                    rule.key,
                    action=action or CautionAction.NOT_NEEDED,
                    reason=reason,
                    by=state.who(),
                )
                state.leave_notice("The prompt is acknowledged. It is kept with your reason.")
                st.rerun()


def _show_pain(casebook: Casebook, one: RunnerPainRun) -> None:
    first = one.run.flags[0]
    key = f"pain_{one.programme_id}_{first.week.week_start}_{first.reason}"
    many = len(one.weeks) > 1
    with st.container(border=True, key=key):
        st.markdown(f":red[:material/warning: **{plain(one.run.words)}**]")
        st.caption(f"Programme '{plain(one.title)}'.")
        title = f"Acknowledge all {len(one.weeks)} weeks with a reason" if many else ACKNOWLEDGE
        with st.expander(title, icon=":material/check:"):
            _ask_about_pain(casebook, one.weeks, key)
        if many:
            with st.expander("Week by week", icon=":material/calendar_view_week:"):
                st.markdown("\n".join(f"- {plain(week.flag.words)}" for week in one.weeks))
                weeks = {week.flag.week.week_start: week for week in one.weeks}
                chosen = st.selectbox(
                    "Acknowledge one week alone",
                    list(weeks),
                    index=None,
                    format_func=lambda day: f"week of {day_words(day)}: {weeks[day].flag.pain:g}",
                    key=f"{key}_week",
                    placeholder="Choose a week",
                )
                if chosen is not None:
                    _ask_about_pain(casebook, (weeks[chosen],), f"{key}_{chosen}_alone")


def _ask_about_pain(casebook: Casebook, weeks: tuple[RunnerPain, ...], key: str) -> None:
    given = _asked(casebook, key, actions=False)
    if given is None:
        return
    with calmly():
        acknowledge_pain(
            casebook,
            weeks[0].programme_id,
            [one.flag.week.week_start for one in weeks],
            weeks[0].flag.reason,
            reason=given[1],
            by=state.who(),
        )
        state.leave_notice(
            "The flag is acknowledged. It is kept with your reason."
            if len(weeks) == 1
            else f"The flags of {len(weeks)} weeks are acknowledged, each with your reason."
        )
        st.rerun()


def _asked(
    casebook: Casebook, key: str, *, actions: bool
) -> tuple[CautionAction | None, str] | None:
    """What was done and why, once both are said; None until then."""
    if not state.who():
        sidebar.choose_user(casebook, place=key)
    by = state.who()
    action = None
    with st.form(f"form_{key}", border=False):
        if actions:
            action = st.radio(
                "What was done",
                list(CautionAction),
                index=None,
                format_func=CAUTION_ACTIONS.__getitem__,
                key=f"{key}_action",
            )
        reason = st.text_area(
            "Reason: what you make of it, or what you arranged",
            key=f"{key}_reason",
            height=80,
            max_chars=LONGEST_REASON,
        )
        sent = st.form_submit_button(f"Acknowledge as {by}" if by else "Acknowledge")
    if not sent:
        return None
    if not by:
        st.error("Say first who you are, so that the acknowledgement is yours.")
    elif actions and action is None:
        st.error("Say what was done.")
    elif not reason.strip():
        st.error("Give a reason: it stands beside the prompt for whoever reads it later.")
    else:
        return action, reason.strip()
    return None


def show_findings_form(casebook: Casebook, runner: str, visits: Sequence[tuple[date, int]]) -> None:
    """One compact list for a visit; what is not asked is not taken for absent."""
    if not visits:
        st.caption("Findings are entered for a visit, and there is none yet.")
        return
    ordered = sorted(visits, reverse=True)
    day, session = st.selectbox(
        "At the visit of",
        ordered,
        format_func=lambda place: (
            day_words(place[0]) + (f", session {place[1]}" if place[1] > 1 else "")
        ),
        key=f"findings_visit_{runner}",
    )
    stored = findings_of(casebook, runner, day, session)
    present = [finding for finding in Finding if stored.get(finding)]
    # Keys of what is stored: after a save the boxes start from that.
    name = f"findings_{runner}_{day}_{session}_{len(stored)}_{'_'.join(present)}"
    absent = sum(not there for there in stored.values())
    st.caption(
        f"Stored of this visit: {len(present)} present, {absent} looked for and not there, "
        f"{len(Finding) - len(stored)} not asked. Some findings, where they are present, bring up "
        f"a prompt: {ADVICE}."
    )
    if not state.who():
        sidebar.choose_user(casebook, place=name)
    by = state.who()
    with st.form(name, border=False):
        chosen = st.pills(
            "Present",
            list(Finding),
            selection_mode="multi",
            default=present,
            format_func=FINDINGS.__getitem__,
            key=f"{name}_present",
        )
        others = st.checkbox(OTHERS, key=f"{name}_others")
        reason = ""
        if stored:
            reason = st.text_input(
                "Reason, where it corrects what is stored",
                key=f"{name}_reason",
                max_chars=LONGEST_REASON,
            )
        sent = st.form_submit_button(f"Store the findings as {by}" if by else "Store the findings")
    if not sent:
        return
    if not by:
        st.error("Say first who you are, then store the findings.")
        return
    given = {Finding(finding): True for finding in chosen}
    given |= {
        finding: False
        for finding in Finding
        if finding not in given and (others or stored.get(finding))
    }
    if not given:
        st.error("Nothing is chosen, and nothing is said to be absent: nothing was stored.")
        return
    with calmly():
        opened = record_findings(
            casebook, runner, day, session, given, by=by, reason=reason.strip()
        )
        state.leave_notice(
            "The findings are stored."
            + (f" Open prompts: {len(opened)}; {ADVICE}." if opened else "")
        )
        st.rerun()
