"""Working hypotheses of a runner, written before a programme and scored after each review."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.calibration_shown import show_calibration
from app.hypothesis_form import show_hypothesis_form
from app.hypothesis_shown import show_hypothesis
from app.messages import day_words, plain, show_caution
from app.plan_kept import ASKED, held_key
from app.plan_unfinished import show_unfinished_plans
from app.which_runner import asked_runner
from casebook.domain.plan_drafts import DraftKind
from casebook.services.cataloguing import list_metrics
from casebook.services.hypothesising import ScoredHypothesis, score_hypotheses
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription, list_prescriptions

OF_RUNNER, OVER_A_YEAR = "One runner", "Over a year"
GONE = (
    "The programme that the hypothesis was typed for is not there any more. What was typed stands "
    "among what is unfinished until you discard it."
)


def show() -> None:
    """The page."""
    casebook = state.opened_casebook()
    st.title("Working hypotheses", anchor=False)
    state.show_notice()
    st.markdown(
        "Reasoning written down before a programme and held against what was measured "
        "afterwards. That a prediction held does not show why."
    )
    asked = OVER_A_YEAR if st.query_params.get("view") == "year" else OF_RUNNER
    view = st.segmented_control(
        "View", (OF_RUNNER, OVER_A_YEAR), default=asked, key="hypotheses_view", required=True,
        label_visibility="collapsed",
    )  # fmt: skip
    if view == OVER_A_YEAR:
        st.query_params["view"] = "year"
        show_calibration(casebook)
        return
    st.query_params.pop("view", None)
    code = asked_runner(casebook, "hypotheses", titled=True)
    if code is None:
        show_unfinished_plans(casebook, DraftKind.HYPOTHESIS)
        return
    programmes = list_prescriptions(casebook, code)
    st.header(plain(code), anchor=False)
    with st.container(horizontal=True, key="hypotheses_links"):
        routes.link("runner", "Back to the runner", icon=":material/directions_run:", runner=code)
        routes.link("programme", "Programmes", icon=":material/assignment:", runner=code)
    if not programmes:
        st.info(
            "A hypothesis is written for a programme, and there is none yet.",
            icon=":material/assignment_add:",
        )
        show_unfinished_plans(casebook, DraftKind.HYPOTHESIS, runner=code)
        return
    if _is_gone(programmes):
        st.warning(GONE, icon=":material/assignment_late:")
        for name in ("write", "amend"):
            st.query_params.pop(name, None)
    _show_unfinished(casebook, code)
    _show_all(casebook, code, programmes)
    _show_writing(casebook, programmes)


def _is_gone(programmes: tuple[StoredPrescription, ...]) -> bool:
    """Whether the form asked for is on a programme that was struck out since."""
    asked = [st.query_params.get("write", ""), st.query_params.get("amend", "").partition(".")[0]]
    known = {str(one.programme_id) for one in programmes}
    return any(one and one not in known for one in asked)


def _show_unfinished(casebook: Casebook, code: str) -> None:
    """Those that are not open in one of the forms below."""
    asked = st.query_params
    opened = [f"{asked['write']}_0"] if "write" in asked else []
    opened += [asked["amend"].replace(".", "_")] if "amend" in asked else []
    but = {key for one in opened if (key := held_key(f"hypothesis_{one}"))}
    but |= {asked[ASKED]} if opened and ASKED in asked else set()
    show_unfinished_plans(casebook, DraftKind.HYPOTHESIS, runner=code, but=but)


def _show_all(casebook: Casebook, code: str, programmes: tuple[StoredPrescription, ...]) -> None:
    scored = score_hypotheses(casebook, code)
    if not scored:
        st.caption("None is written yet.")
        return
    metrics = {metric.key: metric for metric in list_metrics(casebook, include_inactive=True)}
    by_id = {one.programme_id: one for one in programmes}
    for one in sorted(scored, key=lambda told: told.stored.programme_started_on, reverse=True):
        key = f"hypothesis_{one.stored.programme_id}_{one.stored.number}"
        with st.container(border=True, key=key):
            show_hypothesis(one, metrics)
            _ask_for_version(casebook, by_id[one.stored.programme_id], one)
    show_caution()


def _ask_for_version(
    casebook: Casebook, programme: StoredPrescription, scored: ScoredHypothesis
) -> None:
    place = f"{scored.stored.programme_id}.{scored.stored.number}"
    if st.query_params.get("amend") != place:
        if st.button("Write a new version", icon=":material/edit:", key=f"do_amend_{place}"):
            st.query_params["amend"] = place
            st.rerun()
        return
    st.divider()
    st.caption("The versions before stay as they are: nobody can alter or remove them.")
    show_hypothesis_form(casebook, programme, scored.stored)


def _show_writing(casebook: Casebook, programmes: tuple[StoredPrescription, ...]) -> None:
    st.subheader("Write one down", anchor=False)
    known = {str(one.programme_id): one for one in reversed(programmes)}
    asked = st.query_params.get("programme", "")
    first = asked if asked in known else next(iter(known))
    chosen = str(
        st.selectbox(
            "For the programme",
            list(known),
            index=list(known).index(first),
            format_func=lambda key: _named(known[key]),
            key="hypothesis_programme",
        )
    )
    if st.query_params.get("write") != chosen:
        if st.button("Write a hypothesis", icon=":material/add:", key="do_write_hypothesis"):
            st.query_params["write"] = chosen
            st.rerun()
        return
    with st.container(border=True, key="writing_hypothesis"):
        show_hypothesis_form(casebook, known[chosen])


def _named(stored: StoredPrescription) -> str:
    programme = stored.prescription.programme
    return f"{programme.title}, from {day_words(programme.started_on)}"


show()
