"""The form of one measurement set: its name, when it is used, and its metrics by view."""

from __future__ import annotations

import streamlit as st

from app import state
from app.messages import calmly, plain
from app.words import GROUPS, metric_words
from casebook.domain.measurement_sets import LONGEST_NAME, MeasurementSet
from casebook.domain.metrics import Metric, MetricGroup
from casebook.services.keeping import Casebook
from casebook.services.measurement_sets import StoredSet, save_set


def set_form(casebook: Casebook, metrics: tuple[Metric, ...], stored: StoredSet | None) -> None:
    """Make a set, or change one that stands."""
    name = f"set_{stored.set_id}" if stored else "set_new"
    now = stored.set if stored else None
    with st.form(name, border=False, enter_to_submit=False):
        first, second = st.columns([1, 2])
        called = first.text_input(
            "Name", now.name if now else "", key=f"{name}_name", max_chars=LONGEST_NAME
        )
        purpose = second.text_input(
            "When it is used", now.purpose if now else "", key=f"{name}_purpose", max_chars=300
        )
        chosen = [
            key
            for group in MetricGroup
            for key in _of_group(name, group, metrics, now.metrics if now else ())
        ]
        active = st.checkbox(
            "Offered when a visit is logged",
            now.active if now else True,
            key=f"{name}_active",
            help="Switched off, it stays as it is and is not offered; nothing recorded changes.",
        )
        sent = st.form_submit_button("Save the set" if now else "Add the set", type="primary")
    if not sent:
        return
    with calmly():
        wanted = MeasurementSet(
            name=called.strip(), purpose=purpose.strip(), metrics=tuple(chosen), active=active
        )
        saved = save_set(casebook, wanted, by=state.who(), read=stored)
        state.leave_notice(f"The set '{plain(saved.set.name)}' is saved.")
        for key in [key for key in st.session_state if str(key).startswith(f"{name}_")]:
            del st.session_state[key]
        st.rerun()


def _of_group(
    name: str, group: MetricGroup, metrics: tuple[Metric, ...], now: tuple[str, ...]
) -> list[str]:
    known = {metric.key: metric for metric in metrics if metric.group is group}
    return list(
        st.multiselect(
            GROUPS[group],
            list(known),
            default=[key for key in now if key in known],
            format_func=lambda key: metric_words(known[key]),
            key=f"{name}_{group.value}",
            placeholder="None; type or choose a metric",
            help="They are read in the order in which they stand here.",
        )
    )
