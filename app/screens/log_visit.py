"""Log a visit: conditions, then one grid of metrics, left and right side by side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from app import routes, sidebar, state
from app.conditions_form import show_conditions, typed_head
from app.entering import (
    Draft,
    draft_of,
    drop_draft,
    entry_of,
    keep,
    previous_values,
    seeded,
    sides_of,
)
from app.grid import in_order, show_grid
from app.messages import calmly, count_words, day_words, plain, show_caution
from app.words import SIDES
from casebook.domain.errors import Conflict
from casebook.domain.metrics import Metric
from casebook.domain.visits import Value, Visit
from casebook.domain.wording import VISIT_KINDS
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.recording import StoredVisit, list_visits, record_visit
from casebook.services.registering import list_runners


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """What one visit's sheet is made of."""

    casebook: Casebook
    draft: Draft
    visited_on: date
    session: int
    earlier: tuple[StoredVisit, ...]
    stored: StoredVisit | None
    metrics: tuple[Metric, ...]


def show() -> None:
    """The page."""
    st.title("Log a visit")
    state.show_notice()
    casebook = state.opened_casebook()
    runner, day, which = st.columns([2, 1, 1])
    code = _choose_runner(casebook, runner)
    if code is None:
        st.info("Choose the runner who is here.", icon=":material/directions_run:")
        return
    draft = draft_of(code)
    visits = list_visits(casebook, code)
    visited_on = _choose_day(draft, day)
    session = _choose_session(draft, which, visits, visited_on)
    here = (visited_on, session)
    sheet = _Sheet(
        casebook=casebook,
        draft=draft,
        visited_on=visited_on,
        session=session,
        earlier=tuple(v for v in visits if (v.visit.visited_on, v.visit.session) < here),
        stored=next((v for v in visits if (v.visit.visited_on, v.visit.session) == here), None),
        metrics=list_metrics(casebook),
    )
    if not state.who():
        sidebar.choose_user(casebook, place="log")
    if sheet.stored is not None:
        _show_stored_head(sheet.stored)
    else:
        show_conditions(draft, sheet.earlier[-1].visit if sheet.earlier else None, visited_on)
    _show_sheet(sheet)


def _choose_runner(casebook: Casebook, place: Any) -> str | None:
    codes = [runner.code for runner in list_runners(casebook)]
    asked = st.query_params.get("runner")
    if "log_runner" not in st.session_state:
        st.session_state["log_runner"] = asked if asked in codes else None
    chosen: str | None = place.selectbox(
        "Runner", codes, index=None, key="log_runner", placeholder="Type or choose a code"
    )
    if chosen:
        st.query_params["runner"] = chosen
    return chosen


def _choose_day(draft: Draft, place: Any) -> date:
    today = clock.today()
    chosen = place.date_input(
        "Date of the visit",
        key=seeded(draft, "visited_on", today),
        max_value=today,
        min_value=date(1950, 1, 1),
        format="DD/MM/YYYY",
        on_change=keep,
        args=(draft, "visited_on"),
    )
    return chosen if isinstance(chosen, date) else today


def _choose_session(
    draft: Draft, place: Any, visits: tuple[StoredVisit, ...], visited_on: date
) -> int:
    stored = [v.visit.session for v in visits if v.visit.visited_on == visited_on]
    if not stored:
        return 1
    new = max(stored) + 1
    choices = [*stored, new]
    key = draft.key("session", visited_on.isoformat())
    chosen = place.selectbox(
        "That day has a visit",
        choices,
        key=key,
        format_func=lambda number: (
            f"a new session ({number})" if number == new else f"add to session {number}"
        ),
    )
    return int(chosen)


def _show_stored_head(stored: StoredVisit) -> None:
    visit = stored.visit
    day = day_words(visit.visited_on)
    st.info(
        f"A visit of {day} is already stored ({VISIT_KINDS[visit.kind]}, "
        f"{count_words(len(visit.values), 'value')}"
        f"{', by ' + plain(stored.recorded_by) if stored.recorded_by else ''}). What is stored "
        "stays as it is; the cells that are still open can be filled in and are added to it.",
        icon=":material/inventory:",
    )


@st.fragment
def _show_sheet(sheet: _Sheet) -> None:
    """The grid and its save; a typed cell draws anew this part of the page only."""
    with calmly():
        previous = previous_values(sheet.earlier)
        stored = (
            {(value.metric, value.side): value for value in sheet.stored.visit.values}
            if sheet.stored
            else {}
        )
        known = {metric for metric, _ in (*previous, *stored, *sheet.draft.cells)}
        metrics = in_order(sheet.metrics)
        usual = [metric for metric in metrics if metric.key in known]
        with st.container(horizontal=True, gap="large"):
            everything = not usual or st.toggle(
                f"Show all {len(metrics)} metrics",
                key=sheet.draft.key("all_metrics"),
            )
            explained = st.toggle("Explain each metric", key=sheet.draft.key("explained"))
        if sheet.earlier:
            st.caption(
                f"'was': at the visit of {day_words(sheet.earlier[-1].visit.visited_on)}, or on "
                "the day that is named."
            )
        show_grid(
            sheet.draft,
            metrics if everything else usual,
            previous,
            stored,
            explained=explained,
        )
        _finish(sheet, metrics, stored)


def _finish(sheet: _Sheet, metrics: list[Metric], stored: dict[tuple[str, Any], Value]) -> None:
    values: list[Value] = []
    open_points: list[str] = []
    for metric in metrics:
        for side in sides_of(metric):
            if (metric.key, side) in stored:
                continue
            entry = entry_of(sheet.draft, metric, side)
            if entry.problem or entry.question:
                words = entry.problem or entry.question
                open_points.append(f"**{plain(metric.label)}, {SIDES[side]}**: {plain(words)}")
            elif entry.value is not None:
                values.append(entry.value)
    st.divider()
    st.markdown(f"**{count_words(len(values), 'value')}** ready to be saved.")
    if open_points:
        listed = "\n".join(f"- {point}" for point in open_points)
        st.warning(
            f"{count_words(len(open_points), 'cell needs', 'cells need')} a look before "
            f"saving:\n\n{listed}",
            icon=":material/edit:",
        )
    _show_conflict(sheet.draft)
    if st.button("Save the visit", type="primary", key="save_visit", icon=":material/save:"):
        _save(sheet, tuple(values), settled=not open_points)
    show_caution()


def _show_conflict(draft: Draft) -> None:
    if not draft.conflict:
        return
    st.warning(
        f"{plain(draft.conflict)}\n\nEverything you typed is kept on this page.",
        icon=":material/group:",
    )
    if st.button("Show what is stored now", key="show_stored"):
        draft.conflict = ""
        st.rerun(scope="app")


def _save(sheet: _Sheet, values: tuple[Value, ...], *, settled: bool) -> None:
    if not state.who():
        st.error("Say first who you are (at the top of this page), so that the visit is yours.")
        return
    if not settled:
        st.error("Nothing was saved: mend the cells named above, or confirm them.")
        return
    if sheet.stored is not None and not values:
        st.info("There is nothing new to add to this visit.")
        return
    sheet.draft.conflict = ""
    try:
        saved = record_visit(
            sheet.casebook,
            _visit(sheet, values),
            by=state.who(),
            expected_revision=sheet.stored.revision if sheet.stored else None,
        )
    except Conflict as conflict:
        sheet.draft.conflict = str(conflict)
        st.rerun(scope="fragment")
    drop_draft(sheet.draft)
    state.leave_notice(
        f"The visit of {day_words(sheet.visited_on)} is saved, "
        f"{count_words(saved.added, 'value')} in one go. What it shows stands below."
    )
    routes.go("runner", runner=sheet.draft.runner)


def _visit(sheet: _Sheet, values: tuple[Value, ...]) -> Visit:
    if sheet.stored is not None:
        kept = sheet.stored.visit
        return Visit(
            runner=kept.runner,
            visited_on=kept.visited_on,
            session=kept.session,
            kind=kept.kind,
            conditions=kept.conditions,
            next_due_on=kept.next_due_on,
            note=kept.note,
            values=values,
        )

    head = typed_head(sheet.draft)
    return Visit(
        runner=sheet.draft.runner,
        visited_on=sheet.visited_on,
        session=sheet.session,
        kind=head.kind,
        conditions=head.conditions,
        next_due_on=head.next_due_on,
        note=head.note,
        values=values,
    )


show()
