"""Measurement sets: which metrics are read together, in the clinic's order."""

from __future__ import annotations

import streamlit as st

from app import state
from app.messages import calmly, count_words, plain
from app.set_form import set_form
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.measurement_sets import StoredSet, list_sets, order_sets


def show() -> None:
    """The page."""
    st.title("Measurement sets")
    state.show_notice()
    st.caption(
        "A set says which metrics have a row when a visit is logged. Any other metric can still "
        "be shown beside it, and nothing that is recorded depends on a set. The first is what a "
        "new runner is offered."
    )
    casebook = state.opened_casebook()
    metrics = list_metrics(casebook, include_inactive=True)
    sets = list_sets(casebook, include_inactive=True)
    for place, one in enumerate(sets):
        with st.container(key=f"set_line_{one.set_id}"):
            told, up, down = st.columns([6, 1, 1], vertical_alignment="top")
        with told.expander(
            f"**{plain(one.set.name)}** · {count_words(len(one.set.metrics), 'metric')}"
            f"{'' if one.set.active else ' · switched off'}"
        ):
            set_form(casebook, metrics, one)
        _mover(casebook, sets, place, -1, up, "Up", ":material/arrow_upward:")
        _mover(casebook, sets, place, 1, down, "Down", ":material/arrow_downward:")
    with st.expander("Add a set", icon=":material/playlist_add:", expanded=not sets):
        set_form(casebook, metrics, None)


def _mover(
    casebook: Casebook,
    sets: tuple[StoredSet, ...],
    place: int,
    step: int,
    column: st.delta_generator.DeltaGenerator,
    words: str,
    icon: str,
) -> None:
    column.button(
        words,
        key=f"set_{sets[place].set_id}_{words.lower()}",
        icon=icon,
        type="tertiary",
        disabled=not 0 <= place + step < len(sets),
        on_click=_move,
        args=(casebook, [one.set.name for one in sets], place, step),
    )


def _move(casebook: Casebook, names: list[str], place: int, step: int) -> None:
    names[place], names[place + step] = names[place + step], names[place]
    with calmly():
        order_sets(casebook, names, by=state.who())


show()
