"""What stands beside every page: which casebook this is, and who works with it."""

from __future__ import annotations

import streamlit as st

from app import state
from app.choices import choose
from app.messages import calmly, plain
from casebook.domain.people import Role, User
from casebook.services.keeping import Casebook, get_clinic_name
from casebook.services.registering import register_user

ROLES = {
    Role.CLINICIAN: "clinician",
    Role.LEAD: "lead clinician",
    Role.DATA_MANAGER: "data manager",
}


def show() -> None:
    """The sidebar; when the casebook cannot be opened, the page itself says why."""
    with st.sidebar:
        casebook = state.opened_casebook()
        choose_user(casebook, place="sidebar")
        with st.expander("Add a user", icon=":material/person_add:"):
            _add_user(casebook)
        clinic = get_clinic_name(casebook)
        st.caption(f":material/inventory_2: **{plain(clinic)}**\n\n{plain(casebook.place)}")
        if "invented" in clinic:
            st.caption(
                ":material/science: **Invented data.** Nobody in this casebook is a real person; "
                "try anything."
            )


def choose_user(casebook: Casebook, *, place: str) -> None:
    """Who works at this screen; `place` keeps two of these apart on one page."""
    users = {user.code: user for user in state.users(casebook)}
    if len(users) == 1 and not state.who():
        state.remember_user(next(iter(users)))
    # Whose address it was (the page for logging keeps it there) after a reload or a restart.
    if not state.who() and st.query_params.get("who") in users:
        state.remember_user(st.query_params["who"])
    codes = list(users)
    key = f"who_{place}"
    if st.session_state.get(key) != (state.who() or None):
        st.session_state[key] = state.who() if state.who() in users else None
    st.selectbox(
        "Who are you?",
        codes,
        index=None,
        key=key,
        format_func=lambda code: _name(users[code]),
        placeholder="Choose" if codes else "Add a user first",
        on_change=lambda: state.remember_user(st.session_state[key]),
    )


def _name(user: User) -> str:
    return f"{user.code} · {user.display_name}" if user.display_name else user.code


def _add_user(casebook: Casebook) -> None:
    with st.form("add_user", border=False, clear_on_submit=False):
        code = st.text_input("Code, such as initials", key="new_user_code")
        name = st.text_input("Name (optional)", key="new_user_name")
        role = choose(st.container(), "Role", Role, ROLES, key="new_user_role")
        sent = st.form_submit_button("Add user")
    if sent:
        with calmly():
            user = User(code=code, display_name=name.strip(), role=role)
            register_user(casebook, user, by=state.who())
            state.remember_user(code.strip())
            st.rerun()
