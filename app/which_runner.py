"""Whose page it is: the runner of the address, else the last one opened, else one that is asked."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.messages import show_refusal
from casebook.domain.errors import NotFound
from casebook.services.keeping import Casebook
from casebook.services.registering import get_runner, list_runners


def asked_runner(casebook: Casebook, name: routes.PageName, *, titled: bool = False) -> str | None:
    """Code of the runner whose page it is; None where one is asked for in its place.

    `titled` tells that the page has its title already.
    """
    asked = st.query_params.get("runner") or state.last_runner()
    missing: NotFound | None = None
    if asked:
        try:
            code = get_runner(casebook, asked).code
        except NotFound as found:
            missing = found
        else:
            st.query_params["runner"] = code
            state.remember_runner(code)
            return code
    if not titled:
        st.title(routes.PAGES[name].title)
    if missing is not None:
        show_refusal(missing)
    choose_runner(casebook, name)
    return None


def choose_runner(casebook: Casebook, name: routes.PageName) -> None:
    """Ask for one of the runners; where there is none, lead to where one is added."""
    codes = [runner.code for runner in list_runners(casebook)]
    if not codes:
        show_no_runner()
        return
    chosen = st.selectbox(
        "Runner", codes, index=None, key=f"{name}_runner", placeholder="Type or choose a code"
    )
    if chosen:
        st.query_params["runner"] = chosen
        state.remember_runner(chosen)
        st.rerun()
    routes.link("caseload", "All runners, and to add one", icon=":material/groups:")


def show_no_runner() -> None:
    """Where to begin in a casebook that knows nobody."""
    st.info("No runner is registered yet.", icon=":material/person_add:")
    with st.container(horizontal=True, key="no_runner_links"):
        routes.link("caseload", "Add a runner", icon=":material/groups:")
        routes.link("import_files", "Import tables", icon=":material/upload_file:")
