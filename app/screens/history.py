"""History: who changed what of a runner, when and why, and what it was before."""

from __future__ import annotations

import streamlit as st

from app import routes, sidebar, state
from app.history_shown import VisitPlace, show_entry, show_striking_out, visit_words
from app.messages import count_words, plain
from app.record_form import show_record_form
from app.which_runner import asked_runner
from casebook.services.keeping import Casebook
from casebook.services.telling_history import ToldEntry, of_visit, runner_history

AT_ONCE = 20
EVERYTHING = "everything"


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    code = asked_runner(casebook, "history")
    if code is None:
        return
    entries = runner_history(casebook, code)
    st.title(f"History of {plain(code)}", anchor=False)
    state.show_notice()
    st.markdown(
        "Nothing stored is overwritten: what was amended or struck out stands here, with who, "
        "when and why. Newest first."
    )
    with st.container(horizontal=True, key="history_links"):
        routes.link("runner", "Back to the runner", icon=":material/directions_run:", runner=code)
        routes.link("log_visit", "Log or amend a visit", icon=":material/edit_note:", runner=code)
    if not state.who():
        sidebar.choose_user(casebook, place="history")
    place = _chosen_visit(entries)
    if place is None:
        show_record_form(casebook, code)
    else:
        entries = of_visit(entries, *place)
        show_striking_out(casebook, code, place)
    _show_entries(casebook, entries, f"{code}_{place}")


def _chosen_visit(entries: tuple[ToldEntry, ...]) -> VisitPlace | None:
    places = sorted({entry.visit for entry in entries if entry.visit is not None}, reverse=True)
    by_text = {_written(place): place for place in places}
    asked = st.query_params.get("visit", EVERYTHING)
    options = [EVERYTHING, *by_text]
    chosen = st.selectbox(
        "Show",
        options,
        index=options.index(asked) if asked in options else 0,
        key="history_visit",
        format_func=lambda text: (
            "Everything" if text == EVERYTHING else f"Visit of {visit_words(by_text[text])}"
        ),
    )
    if chosen == EVERYTHING:
        st.query_params.pop("visit", None)
        return None
    st.query_params["visit"] = chosen
    return by_text[chosen]


def _written(place: VisitPlace) -> str:
    day, session = place
    return f"{day.isoformat()}.{session}"


def _show_entries(casebook: Casebook, entries: tuple[ToldEntry, ...], key: str) -> None:
    if not entries:
        st.info("Nothing is told of this yet.", icon=":material/history:")
        return
    wanted = f"history_shown_{key}"
    shown = int(st.session_state.get(wanted, AT_ONCE))
    for number, entry in enumerate(entries[:shown]):
        show_entry(casebook, entry, newest=number == 0)
    left = len(entries) - shown
    if left > 0 and st.button(f"Show earlier ones ({count_words(left, 'entry', 'entries')} more)"):
        st.session_state[wanted] = shown + AT_ONCE
        st.rerun()


show()
