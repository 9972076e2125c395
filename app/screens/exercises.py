"""Exercises: the clinic's own list, from which programmes are written."""

from __future__ import annotations

import streamlit as st

from app import routes, state
from app.exercise_form import BLANK, exercise_fields
from app.messages import calmly, count_words, plain
from app.programme_words import AIMS, usual_dose_words
from casebook.domain.exercises import Exercise
from casebook.services.cataloguing import list_metrics
from casebook.services.exercising import (
    hide_exercise,
    list_exercises,
    load_starter_exercises,
    save_exercise,
)
from casebook.services.keeping import Casebook

OVERVIEW, ONE, ADD = "The list", "One exercise", "Add an exercise"
VIEW, CHOSEN = "exercises_view", "exercises_chosen"


def show() -> None:
    """The page."""
    st.title("Exercises")
    state.show_notice()
    casebook = state.opened_casebook()
    found = list_exercises(casebook, include_hidden=True)
    st.caption(
        "Programmes are written from this list, and it is yours: add what you use, put what "
        "stands there into your own words, hide what you do not use. Nothing is removed, and a "
        "programme that is written already keeps what it says."
    )
    _links()
    if not found:
        st.info("The list is empty.", icon=":material/fitness_center:")
        if st.button("Fill it with the starter list", key="exercises_starter"):
            load_starter_exercises(casebook)
            st.rerun()
    first = ONE if st.query_params.get("exercise") else OVERVIEW
    st.session_state.setdefault(VIEW, first if found else ADD)
    view = st.segmented_control("View", (OVERVIEW, ONE, ADD), key=VIEW, required=True)
    if view == ADD:
        _add(casebook)
    elif view == ONE and found:
        _one(casebook, found)
    else:
        _overview(casebook, found)


def _links() -> None:
    runner = state.last_runner()
    if runner:
        with st.container(horizontal=True, key="exercises_links"):
            routes.link(
                "programme",
                f"Programmes of {plain(runner)}",
                icon=":material/assignment:",
                runner=runner,
            )


def _overview(casebook: Casebook, found: tuple[Exercise, ...]) -> None:
    hidden = sum(not one.active for one in found)
    words = f"{count_words(len(found), 'exercise')}"
    st.markdown(f"{words}, {hidden} of them hidden." if hidden else f"{words}.")
    metrics = {metric.key: metric.label for metric in list_metrics(casebook, include_inactive=True)}
    for aim, heading in AIMS.items():
        members = [one for one in found if one.aim is aim]
        if not members:
            continue
        st.subheader(heading.capitalize(), anchor=False)
        for one in members:
            with st.container(key=f"row_exercise_{one.key}"):
                told, edit = st.columns([6, 1])
                told.markdown(_told(one, metrics))
                edit.button(
                    "Edit",
                    key=f"exercises_edit_{one.key}",
                    icon=":material/edit:",
                    type="tertiary",
                    on_click=_open,
                    args=(one.key,),
                )


def _told(one: Exercise, metrics: dict[str, str]) -> str:
    dose = usual_dose_words(one)
    lines = [
        f"**{plain(one.name)}**{'' if one.active else ' (hidden)'}",
        plain(one.purpose),
        plain(f"Usual dose: {dose}" if dose else "No usual dose is given."),
    ]
    if one.metrics:
        labels = ", ".join(metrics.get(key, key) for key in one.metrics)
        lines.append(f"*Metrics worth a look: {plain(labels)}*")
    return "  \n".join(line for line in lines if line)


def _open(key: str) -> None:
    st.session_state[VIEW] = ONE
    st.session_state[CHOSEN] = key


def _one(casebook: Casebook, found: tuple[Exercise, ...]) -> None:
    known = {one.key: one for one in found}
    if st.session_state.get(CHOSEN) not in known:
        asked = str(st.query_params.get("exercise", ""))
        st.session_state[CHOSEN] = asked if asked in known else next(iter(known))
    key = st.selectbox(
        "Exercise",
        list(known),
        key=CHOSEN,
        format_func=lambda one: f"{known[one].name}{'' if known[one].active else ' (hidden)'}",
    )
    stored = known[key]
    if not stored.active:
        st.info(
            "It is hidden: not offered when a programme is written. Programmes that name it keep "
            "it.",
            icon=":material/visibility_off:",
        )
    with calmly():
        _edit(casebook, stored)
    words, icon = (
        ("Hide it", ":material/visibility_off:")
        if stored.active
        else ("Show it again", ":material/visibility:")
    )
    if st.button(words, key=f"exercises_hide_{key}", icon=icon):
        with calmly():
            saved = hide_exercise(casebook, key, hidden=stored.active, by=state.who())
            _read_again(saved)
            done = "is hidden" if stored.active else "is offered again"
            state.leave_notice(f"'{plain(stored.name)}' {done}.")
            st.rerun()


def _edit(casebook: Casebook, stored: Exercise) -> None:
    # What the fields were filled from: if somebody saves in between, the save is refused and
    # says what differs, instead of the fields changing under the hands of who fills them in.
    read, turn = st.session_state.setdefault(_kept(stored.key), (stored, 0))
    if read != stored:
        st.warning("Somebody else has saved this exercise since you opened it.")
        if st.button("Read it again", key=f"{_kept(stored.key)}_again"):
            _read_again(stored)
            st.rerun()
    typed = exercise_fields(
        read,
        list_metrics(casebook, include_inactive=True),
        name=f"exercise_{stored.key}_{turn}",
        new=False,
    )
    if typed is not None:
        saved = save_exercise(casebook, typed, read=read, by=state.who())
        _read_again(saved)
        state.leave_notice(f"'{plain(saved.name)}' is saved.")
        st.rerun()


def _kept(key: str) -> str:
    return f"exercises_read_{key}"


def _read_again(stored: Exercise) -> None:
    """Fill the fields anew, from this."""
    _, turn = st.session_state[_kept(stored.key)]
    st.session_state[_kept(stored.key)] = (stored, turn + 1)


def _add(casebook: Casebook) -> None:
    turn = st.session_state.setdefault("exercises_added", 0)
    with calmly():
        typed = exercise_fields(
            BLANK,
            list_metrics(casebook),
            name=f"exercise_new_{turn}",
            new=True,
        )
        if typed is not None:
            saved = save_exercise(casebook, typed, read=None, by=state.who())
            st.session_state["exercises_added"] = turn + 1
            state.leave_notice(
                f"'{plain(saved.name)}' is added, and offered when a programme is written."
            )
            st.rerun()


show()
