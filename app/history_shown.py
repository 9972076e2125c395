"""Entries of a history in plain words, and the forms that undo one or strike out a visit."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app import state
from app.messages import calmly, count_words, day_words, plain
from casebook.domain.history import Act
from casebook.domain.wording import upper_first
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit
from casebook.services.striking_out import strike_out_visit
from casebook.services.telling_history import ToldEntry
from casebook.services.undoing_entries import undo_entry

# Below so many fields an entry stands open; a whole visit is folded away.
OPEN_UP_TO = 8
LONGEST_REASON = 2000
VisitPlace = tuple[date, int]


def visit_words(place: VisitPlace) -> str:
    """A visit by its day; by its session where that is not the first."""
    day, session = place
    return f"{day_words(day)}, session {session}" if session > 1 else day_words(day)


def show_entry(casebook: Casebook, entry: ToldEntry, *, newest: bool) -> None:
    """One entry: what was done, by whom, when and why, and what it was and is."""
    with st.container(border=True, key=f"entry_{entry.number}"):
        of = f" · visit of {visit_words(entry.visit)}" if entry.visit else ""
        st.markdown(f"**{upper_first(entry.heading)}**{of}")
        at = entry.at.astimezone()
        by = f"by {plain(entry.by)}" if entry.by else "nobody's name given"
        how = " · by an import" if entry.imported else ""
        st.caption(f"{day_words(at.date())}, {at:%H:%M} · {by}{how} · entry {entry.number}")
        if entry.reason:
            st.markdown(f"Why: {plain(entry.reason)}")
        lines = _lines(entry)
        if len(lines) > OPEN_UP_TO and not (newest and len(lines) <= 2 * OPEN_UP_TO):
            with st.expander(count_words(len(lines), "field")):
                st.markdown("\n".join(lines))
        elif lines:
            st.markdown("\n".join(lines))
        if not entry.why_not_undone:
            with st.expander("Undo this", icon=":material/undo:"):
                _undo(casebook, entry)


def _lines(entry: ToldEntry) -> list[str]:
    first = entry.act in {Act.RECORDED, Act.ADOPTED}
    return [
        f"- {plain(one.label)}: {_as_shown(one.now)}"
        if first
        else f"- {plain(one.label)}: was {_as_shown(one.was)}, is now **{_as_shown(one.now)}**"
        for one in entry.fields
    ]


def _as_shown(words: str) -> str:
    """A day as every page writes it; the history itself holds it as in files."""
    try:
        return day_words(date.fromisoformat(words))
    except ValueError:
        return plain(words)


def _undo(casebook: Casebook, entry: ToldEntry) -> None:
    st.caption(
        "Puts back what this entry changed, if nothing has changed it since. The entry stays, and "
        "another says that it was undone."
    )
    reason = _asked(f"undo_{entry.number}", "Undo")
    if reason is None:
        return
    with calmly():
        undo_entry(casebook, entry.number, reason=reason, by=state.who())
        state.leave_notice(f"Entry {entry.number} is undone.")
        st.rerun()


def show_striking_out(casebook: Casebook, runner: str, place: VisitPlace) -> None:
    """The form that strikes out a whole visit; nothing where it is struck out already."""
    stored = find_visit(casebook, runner, *place)
    if stored is None:
        st.info(
            "This visit is struck out, or was moved to another day. Undo the entry that did so "
            "to have it back.",
            icon=":material/strikethrough_s:",
        )
        return
    key = f"strike_{stored.visit_id}"
    # Of what was on the page when the form was opened, not of what somebody saved since.
    seen = st.session_state.setdefault(f"{key}_revision", stored.revision)
    with st.expander("Strike out this visit", icon=":material/strikethrough_s:"):
        st.caption(
            f"The visit leaves the charts and every verdict with its "
            f"{count_words(len(stored.visit.values), 'value')} and attached files; this history "
            "keeps them, and undoing brings them back."
        )
        reason = _asked(key, "Strike out")
        if reason is None:
            return
        st.session_state.pop(f"{key}_revision", None)
        with calmly():
            strike_out_visit(
                casebook, runner, *place, expected_revision=seen, reason=reason, by=state.who()
            )
            state.leave_notice(f"The visit of {visit_words(place)} is struck out.")
            st.rerun()


def _asked(key: str, verb: str) -> str | None:
    """The reason that was typed and sent; None until then."""
    by = state.who()
    with st.form(key, border=False):
        reason = st.text_area("Reason", key=f"{key}_reason", height=80, max_chars=LONGEST_REASON)
        sent = st.form_submit_button(f"{verb} as {by}" if by else verb)
    if not sent:
        return None
    if not by:
        st.error("Say first who you are, so that the history can tell who did it.")
        return None
    if not reason.strip():
        st.error("Give a reason: it stands in the history for whoever reads it later.")
        return None
    return str(reason)
