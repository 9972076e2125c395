"""Programmes of a runner: write, copy and change one; its targets, weeks, and what changed."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.messages import day_words, plain, show_caution
from app.plan_unfinished import show_unfinished_plans
from app.programme_charts import show_charts
from app.programme_form import fresh, show_form
from app.programme_kept import begin_anew, draft_to_write
from app.programme_outcome import show_answer, show_measures, told_effect
from app.programme_shown import (
    show_facts,
    show_gaps,
    show_prescription,
    show_targets,
    show_versions,
)
from app.programme_weeks import ROW, show_weeks
from app.which_runner import asked_runner
from casebook.domain.plan_drafts import DraftKind
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.prescribing import (
    StoredPrescription,
    copy_prescription,
    list_prescriptions,
)

NEW, CHANGE = "new", "change"
GONE = (
    "The programme that was to be changed is not there any more. What was typed of it stands "
    "among what is unfinished until you discard it."
)


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    code = asked_runner(casebook, "programme")
    if code is None:
        show_unfinished_plans(casebook, DraftKind.PROGRAMME)
        return
    programmes = list_prescriptions(casebook, code)
    st.title(f"Programmes of {plain(code)}", anchor=False)
    state.show_notice()
    with st.container(horizontal=True, key="programme_links"):
        routes.link("runner", "Back to the runner", icon=":material/directions_run:", runner=code)
        routes.link("hypotheses", "Working hypotheses", icon=":material/psychology:", runner=code)
        routes.link("injuries", "Complaints and cautions", icon=":material/healing:", runner=code)
        routes.link("exercises", "The list of exercises", icon=":material/fitness_center:")
    doing = st.query_params.get("do", "")
    if doing == NEW:
        _write(casebook, code)
        return
    if doing == CHANGE and _is_gone(programmes):
        st.warning(GONE, icon=":material/assignment_late:")
        doing = ""
    if doing != CHANGE:
        show_unfinished_plans(casebook, DraftKind.PROGRAMME, runner=code)
    chosen = _chosen(programmes)
    if chosen is None:
        st.info("No programme is stored yet.", icon=":material/assignment_add:")
        _buttons(casebook, code, None, programmes)
        return
    if doing == CHANGE:
        _change(casebook, chosen)
        return
    st.header(plain(chosen.prescription.programme.title), anchor=False)
    show_facts(casebook, chosen)
    _buttons(casebook, code, chosen, programmes)
    if chosen.prescription.programme.started_on > clock.today():
        show_prescription(chosen)
        show_targets(casebook, chosen)
        show_weeks(casebook, chosen, bars=True)
    else:
        _show_outcome(casebook, chosen)
    show_gaps(chosen)
    show_versions(casebook, chosen)


def _show_outcome(casebook: Casebook, stored: StoredPrescription) -> None:
    """Of one that has begun the answer comes first, then the row for a week, then the rest."""
    told = told_effect(casebook, stored)
    show_answer(told)
    show_targets(casebook, stored)
    show_weeks(casebook, stored, bars=not told.metrics)
    show_charts(told)
    show_measures(told)
    show_caution()
    show_prescription(stored)


def _is_gone(programmes: tuple[StoredPrescription, ...]) -> bool:
    asked = st.query_params.get("programme", "")
    return bool(asked) and asked not in {str(one.programme_id) for one in programmes}


def _chosen(programmes: tuple[StoredPrescription, ...]) -> StoredPrescription | None:
    """The one of the address, else the latest; a choice where there are several."""
    if not programmes:
        return None
    known = {str(one.programme_id): one for one in reversed(programmes)}
    asked = st.query_params.get("programme", "")
    first = asked if asked in known else next(iter(known))
    if len(known) == 1:
        return known[first]
    chosen = st.selectbox(
        "Programme",
        list(known),
        index=list(known).index(first),
        format_func=lambda key: _named(known[key]),
        key=f"programme_chosen_{first}",
    )
    if chosen != first:
        st.query_params["programme"] = str(chosen)
        st.rerun()
    return known[str(chosen)]


def _named(stored: StoredPrescription) -> str:
    programme = stored.prescription.programme
    return f"{programme.title}, from {day_words(programme.started_on)}"


def _buttons(
    casebook: Casebook,
    code: str,
    chosen: StoredPrescription | None,
    programmes: tuple[StoredPrescription, ...],
) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="programme_buttons"):
        if chosen is not None and chosen.prescription.programme.started_on <= clock.today():
            st.markdown(f"[:material/event_available: Enter a week](#{ROW})", width="content")
        if chosen is not None and st.button("Change it", icon=":material/edit:"):
            st.query_params["programme"] = str(chosen.programme_id)
            st.query_params["do"] = CHANGE
            st.rerun()
        if chosen is not None and st.button(
            "Copy it to a new one", icon=":material/content_copy:", key="copy"
        ):
            copy = copy_prescription(casebook, chosen.programme_id, started_on=clock.today())
            # Made on purpose: kept from its first moment, before anything is typed.
            begin_anew(code, copy, injury_id=chosen.injury_id).typing.touched = True
            st.query_params["do"] = NEW
            st.rerun()
        if st.button(
            "Write a new one", icon=":material/add:", type="secondary" if programmes else "primary"
        ):
            st.query_params["do"] = NEW
            st.rerun()


def _write(casebook: Casebook, code: str) -> None:
    draft = draft_to_write(casebook, code, fresh(code))
    st.header("A new programme", anchor=False)
    show_form(casebook, draft)


def _change(casebook: Casebook, stored: StoredPrescription) -> None:
    draft = draft_to_write(casebook, stored.runner, stored.prescription, stored=stored)
    st.header(f"Change '{plain(stored.prescription.programme.title)}'", anchor=False)
    st.caption("What it was stays as an earlier version.")
    show_form(casebook, draft)


show()
