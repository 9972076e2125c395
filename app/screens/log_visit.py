"""Log a visit: conditions, then one grid of metrics, left and right side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import streamlit as st

from app import log_keys, sidebar, state
from app.attachments_form import show_attachments
from app.conditions_form import show_conditions, typed_conditions
from app.entering import previous_values
from app.grid import in_order, show_grid
from app.log_draft import Draft, Ground, draft_for, keep, seeded
from app.log_finish import show_finish
from app.log_rows import choose_rows, link_to_sets
from app.log_sheet import Sheet
from app.log_unfinished import show_unfinished
from app.messages import count_words, day_words, plain
from app.typed_boxes import DATE_HELP, day_text, show_problem
from app.which_runner import show_no_runner
from casebook.domain.people import Runner
from casebook.domain.typed_fields import TypedDay, read_day, weekday_words
from casebook.domain.wording import VISIT_KINDS
from casebook.services import clock
from casebook.services.cataloguing import list_figures, list_metrics
from casebook.services.detectable import side_change_by_error
from casebook.services.drafting import find_draft
from casebook.services.keeping import Casebook
from casebook.services.recording import StoredVisit, list_visits
from casebook.services.registering import find_identity, list_runners
from casebook.services.so_far import side_figures, unlike


def show() -> None:
    """The page."""
    st.title("Log a visit")
    state.show_notice()
    log_keys.listen()
    casebook = state.opened_casebook()
    runners = {runner.code: runner for runner in list_runners(casebook)}
    if not runners:
        show_no_runner()
        return
    runner, day, which = st.columns([2, 1, 1])
    chosen = _choose_runner(casebook, runner, runners)
    if chosen is None:
        st.info("Choose the runner who is here.", icon=":material/directions_run:")
        show_unfinished(casebook)
        return
    draft = draft_for(casebook, chosen.code)
    if not state.who():
        sidebar.choose_user(casebook, place="log")
    show_unfinished(casebook, but=draft.key, runner=chosen.code)
    sheet = _sheet(casebook, draft, chosen, day, which)
    if sheet.stored is not None:
        _show_stored_head(sheet.stored)
    show_conditions(sheet)
    sheet = _beside_the_last(sheet)
    sheet = replace(sheet, shown=choose_rows(sheet))
    with st.container(horizontal=True, gap="small", vertical_alignment="center"):
        explained = st.toggle("Explain each metric", key=draft.name("explained"))
        link_to_sets()
    if sheet.earlier:
        st.caption(
            f"'was': at the visit of {day_words(sheet.earlier[-1].visit.visited_on)}, or on "
            "the day that is named; 'so far' is the change since then."
        )
    show_grid(replace(sheet, explained=explained))
    show_finish(sheet)
    if sheet.stored is not None:
        with st.expander("Pictures and documents of this visit", icon=":material/photo_library:"):
            show_attachments(casebook, chosen.code, sheet.visited_on, sheet.session)


def _sheet(casebook: Casebook, draft: Draft, runner: Runner, day: Any, which: Any) -> Sheet:
    visits = list_visits(casebook, runner.code)
    typed = _choose_day(casebook, draft, day, earliest=_first_day(casebook, runner))
    # Until the date is mended the sheet stands as of today, so that nothing typed goes away.
    visited_on = typed.value or clock.today()
    session = _choose_session(casebook, draft, which, visits, visited_on)
    here = (visited_on, session)
    metrics = tuple(in_order(list_metrics(casebook)))
    figures = list_figures(casebook)
    earlier = tuple(v for v in visits if (v.visit.visited_on, v.visit.session) < here)
    stored = next((v for v in visits if (v.visit.visited_on, v.visit.session) == here), None)
    return Sheet(
        casebook=casebook,
        draft=draft,
        visited_on=visited_on,
        day_problem=typed.problem,
        session=session,
        earlier=earlier,
        stored=stored,
        metrics=metrics,
        figures=side_figures(figures),
        errors={
            metric.key: side_change_by_error(
                metric, tuple(figure for figure in figures if figure.metric == metric.key)
            )
            for metric in metrics
        },
        previous=previous_values(earlier),
        kept={(value.metric, value.side): value for value in stored.visit.values} if stored else {},
    )


def _beside_the_last(sheet: Sheet) -> Sheet:
    """The sheet with what its conditions, as they are typed, make of a comparison."""
    now = typed_conditions(sheet.draft)
    if not sheet.earlier:
        return replace(sheet, frames_per_s=now.frames_per_s)
    return replace(
        sheet,
        frames_per_s=now.frames_per_s,
        unlike=unlike(now, sheet.earlier[-1].visit.conditions),
    )


def _choose_runner(casebook: Casebook, place: Any, runners: Mapping[str, Runner]) -> Runner | None:
    asked = st.query_params.get("runner") or _runner_of_draft(casebook)
    if "log_runner" not in st.session_state:
        st.session_state["log_runner"] = asked if asked in runners else None
    chosen: str | None = place.selectbox(
        "Runner", list(runners), index=None, key="log_runner", placeholder="Type or choose a code"
    )
    if chosen:
        st.query_params["runner"] = chosen
        return runners[chosen]
    if asked and asked not in runners:
        st.info(
            f"There is no runner '{plain(asked)}' in this casebook.", icon=":material/search_off:"
        )
    return None


def _runner_of_draft(casebook: Casebook) -> str:
    key = st.query_params.get("draft", "")
    found = find_draft(casebook, key) if key else None
    return str(found.content.get("runner", "")) if found else ""


def _first_day(casebook: Casebook, runner: Runner) -> date:
    """No visit lies before the runner's birth, as far as that is known."""
    identity = find_identity(casebook, runner.code)
    if identity is not None and identity.birth_date is not None:
        return identity.birth_date
    return date(runner.birth_year or 1900, 1, 1)


def _choose_day(casebook: Casebook, draft: Draft, place: Any, *, earliest: date) -> TypedDay:
    today = clock.today()
    text = place.text_input(
        "Date of the visit",
        key=seeded(draft, "visited_on", day_text(today)),
        autocomplete="off",
        help=DATE_HELP,
        on_change=keep,
        args=(draft, casebook, "visited_on", _where_it_was(draft)),
    )
    typed = read_day(text or "", earliest=earliest, latest=today)
    if typed.value is None:
        typed = TypedDay(problem=typed.problem or "It is blank; type the day of the visit.")
        show_problem(place, typed.problem)
    else:
        place.caption(f"{weekday_words(typed.value)}{', today' if typed.value == today else ''}")
    return typed


def _where_it_was(draft: Draft) -> Ground:
    """A date or session that is typed moves the sheet; what it was begun upon stays."""
    return Ground(at=draft.at, revision=draft.opened)


def _choose_session(
    casebook: Casebook,
    draft: Draft,
    place: Any,
    visits: tuple[StoredVisit, ...],
    visited_on: date,
) -> int:
    stored = [v.visit.session for v in visits if v.visit.visited_on == visited_on]
    if not stored:
        return 1
    new = max(stored) + 1
    choices = [*stored, new]
    name = f"session_{visited_on.isoformat()}"
    chosen = place.selectbox(
        "That day has a visit",
        choices,
        key=seeded(draft, name, stored[0]),
        on_change=keep,
        args=(draft, casebook, name, _where_it_was(draft)),
        format_func=lambda number: (
            f"a new session ({number})" if number == new else f"open session {number}"
        ),
    )
    return int(chosen or stored[0])


def _show_stored_head(stored: StoredVisit) -> None:
    visit = stored.visit
    day = day_words(visit.visited_on)
    st.info(
        f"A visit of {day} is already stored ({VISIT_KINDS[visit.kind]}, "
        f"{count_words(len(visit.values), 'value')}"
        f"{', by ' + plain(stored.recorded_by) if stored.recorded_by else ''}), and its values "
        "stand in their cells. What you add is added; what you change or empty is asked its "
        "reason, and what it was stays in the visit's history.",
        icon=":material/inventory:",
    )


show()
