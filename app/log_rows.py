"""Which metrics have a row: a measurement set, what else is asked for, and what is typed."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

from app import routes
from app.log_draft import Draft, keep_head
from app.log_sheet import Sheet
from app.messages import plain
from app.words import metric_words
from casebook.domain.measurement_sets import MeasurementSet, in_looking_order
from casebook.domain.metrics import Metric
from casebook.services.measurement_sets import list_sets

AS_BEFORE = "As at the visits before"
EVERYTHING = "Every metric"


def choose_rows(sheet: Sheet) -> tuple[Metric, ...]:
    """Ask which set is read and what else, and tell the rows in the order of looking."""
    sets = {one.set.name: one.set for one in list_sets(sheet.casebook)}
    known = {metric for metric, _ in sheet.previous} | {metric for metric, _ in sheet.kept}
    choices = [*([AS_BEFORE] if known else []), *sets, EVERYTHING]
    draft = sheet.draft
    wanted = str(draft.head.get("set", choices[0]))
    key = draft.name("set")
    if st.session_state.get(key) not in choices:
        st.session_state[key] = wanted if wanted in choices else choices[0]
    which, more = st.columns([2, 3], vertical_alignment="bottom")
    name = which.selectbox(
        "Measurement set",
        choices,
        key=key,
        on_change=lambda: keep_head(
            draft, sheet.casebook, "set", st.session_state[key], sheet.ground
        ),
    )
    first = next(iter(sets), None)
    keys = _keys_of(sheet, str(name), sets, known, first=first)
    also = _also(sheet, more, keys)
    chosen = sets.get(str(name))
    if chosen is not None and chosen.purpose:
        st.caption(plain(chosen.purpose))
    typed = {metric for metric, _ in draft.cells} | {metric for metric, _ in sheet.kept}
    keys |= also | typed
    order = chosen.metrics if chosen else ()
    return tuple(in_looking_order((m for m in sheet.metrics if m.key in keys), order))


def _keys_of(
    sheet: Sheet,
    name: str,
    sets: dict[str, MeasurementSet],
    known: set[str],
    *,
    first: str | None,
) -> set[str]:
    everything = {metric.key for metric in sheet.metrics}
    if name in sets:
        keys = set(sets[name].metrics)
        # A metric that the clinic just added stands in its first set until it says where.
        return keys | (_homeless(sheet.metrics, sets.values()) if name == first else set())
    return known if name == AS_BEFORE else everything


def _homeless(metrics: Iterable[Metric], sets: Iterable[MeasurementSet]) -> set[str]:
    at_home = {key for one in sets for key in one.metrics}
    return {metric.key for metric in metrics if not metric.starter and metric.key not in at_home}


def _also(sheet: Sheet, place: st.delta_generator.DeltaGenerator, keys: set[str]) -> set[str]:
    draft = sheet.draft
    others = {metric.key: metric for metric in sheet.metrics if metric.key not in keys}
    key = draft.name("also")
    wanted = [one for one in draft.head.get("also", []) if one in others]
    if st.session_state.get(key) != wanted:
        st.session_state[key] = wanted
    place.multiselect(
        "Also show",
        list(others),
        format_func=lambda one: metric_words(others[one]),
        key=key,
        placeholder="Type or choose a metric",
        on_change=_keep_also,
        args=(draft, sheet, key),
    )
    return set(wanted)


def _keep_also(draft: Draft, sheet: Sheet, key: str) -> None:
    keep_head(draft, sheet.casebook, "also", list(st.session_state[key]), sheet.ground)


def link_to_sets() -> None:
    """To the page where sets are made and changed."""
    routes.link("measurement_sets", "Measurement sets", icon=":material/checklist:")
