"""Log a visit: conditions, then one grid of metrics, left and right side by side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from app import routes, sidebar, state
from app.conditions_form import (
    NEXT_DUE,
    NextDue,
    ask_next_due,
    head_problems,
    show_conditions,
    typed_head,
)
from app.entering import (
    Cell,
    Draft,
    Previous,
    draft_of,
    drop_draft,
    entry_of,
    keep,
    previous_values,
    seeded,
    sides_of,
    swap_of,
)
from app.grid import in_order, show_grid
from app.messages import calmly, count_words, day_words, plain, show_caution
from app.typed_boxes import DATE_HELP, day_text, show_problem
from app.words import SIDES
from casebook.domain.errors import Conflict
from casebook.domain.metrics import Metric
from casebook.domain.people import Runner
from casebook.domain.typed_fields import TypedDay, read_day, weekday_words
from casebook.domain.visits import Value, Visit
from casebook.domain.wording import VISIT_KINDS
from casebook.services import clock
from casebook.services.cataloguing import list_figures, list_metrics
from casebook.services.detectable import side_change_by_error
from casebook.services.keeping import Casebook
from casebook.services.recording import StoredVisit, list_visits, record_visit
from casebook.services.registering import find_identity, list_runners


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """What one visit's sheet is made of."""

    casebook: Casebook
    draft: Draft
    visited_on: date
    day_problem: str
    session: int
    earlier: tuple[StoredVisit, ...]
    stored: StoredVisit | None
    metrics: tuple[Metric, ...]
    errors: dict[str, float]


def show() -> None:
    """The page."""
    st.title("Log a visit")
    state.show_notice()
    casebook = state.opened_casebook()
    runner, day, which = st.columns([2, 1, 1])
    chosen = _choose_runner(casebook, runner)
    if chosen is None:
        st.info("Choose the runner who is here.", icon=":material/directions_run:")
        return
    draft = draft_of(chosen.code)
    visits = list_visits(casebook, chosen.code)
    typed = _choose_day(draft, day, earliest=_first_day(casebook, chosen))
    # Until the date is mended the sheet stands as of today, so that nothing typed goes away.
    visited_on = typed.value or clock.today()
    session = _choose_session(draft, which, visits, visited_on)
    here = (visited_on, session)
    metrics = list_metrics(casebook)
    sheet = _Sheet(
        casebook=casebook,
        draft=draft,
        visited_on=visited_on,
        day_problem=typed.problem,
        session=session,
        earlier=tuple(v for v in visits if (v.visit.visited_on, v.visit.session) < here),
        stored=next((v for v in visits if (v.visit.visited_on, v.visit.session) == here), None),
        metrics=metrics,
        errors=_errors(casebook, metrics),
    )
    if not state.who():
        sidebar.choose_user(casebook, place="log")
    if sheet.stored is not None:
        _show_stored_head(sheet.stored)
    else:
        show_conditions(draft, sheet.earlier[-1].visit if sheet.earlier else None)
    _show_sheet(sheet)


def _errors(casebook: Casebook, metrics: tuple[Metric, ...]) -> dict[str, float]:
    figures = list_figures(casebook)
    return {
        metric.key: side_change_by_error(
            metric, tuple(figure for figure in figures if figure.metric == metric.key)
        )
        for metric in metrics
    }


def _choose_runner(casebook: Casebook, place: Any) -> Runner | None:
    runners = {runner.code: runner for runner in list_runners(casebook)}
    asked = st.query_params.get("runner")
    if "log_runner" not in st.session_state:
        st.session_state["log_runner"] = asked if asked in runners else None
    chosen: str | None = place.selectbox(
        "Runner", list(runners), index=None, key="log_runner", placeholder="Type or choose a code"
    )
    if chosen:
        st.query_params["runner"] = chosen
    return runners[chosen] if chosen else None


def _first_day(casebook: Casebook, runner: Runner) -> date:
    """No visit lies before the runner's birth, as far as that is known."""
    identity = find_identity(casebook, runner.code)
    if identity is not None and identity.birth_date is not None:
        return identity.birth_date
    return date(runner.birth_year or 1900, 1, 1)


def _choose_day(draft: Draft, place: Any, *, earliest: date) -> TypedDay:
    today = clock.today()
    text = place.text_input(
        "Date of the visit",
        key=seeded(draft, "visited_on", day_text(today)),
        autocomplete="off",
        help=DATE_HELP,
        on_change=keep,
        args=(draft, "visited_on"),
    )
    typed = read_day(text or "", earliest=earliest, latest=today)
    if typed.value is None:
        typed = TypedDay(problem=typed.problem or "It is blank; type the day of the visit.")
        show_problem(place, typed.problem)
    else:
        place.caption(f"{weekday_words(typed.value)}{', today' if typed.value == today else ''}")
    return typed


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
            errors=sheet.errors,
            explained=explained,
        )
        _finish(sheet, metrics, previous, stored)


def _finish(
    sheet: _Sheet,
    metrics: list[Metric],
    previous: dict[Cell, Previous],
    stored: dict[Cell, Value],
) -> None:
    values, open_points = _read_grid(sheet, metrics, previous, stored)
    st.divider()
    due = NextDue()
    if sheet.stored is None:
        due = ask_next_due(sheet.draft, sheet.visited_on, tuple(one.visit for one in sheet.earlier))
        open_points = [
            *((label, problem) for label, problem in head_problems(sheet.draft)),
            *open_points,
        ]
    if sheet.day_problem:
        open_points.insert(0, ("Date of the visit", sheet.day_problem))
    st.markdown(f"**{count_words(len(values), 'value')}** ready to be saved.")
    if open_points:
        listed = "\n".join(f"- **{plain(label)}**: {plain(told)}" for label, told in open_points)
        st.warning(
            f"{count_words(len(open_points), 'field needs', 'fields need')} a look before "
            f"saving:\n\n{listed}",
            icon=":material/edit:",
        )
    _show_conflict(sheet.draft)
    if st.button("Save the visit", type="primary", key="save_visit", icon=":material/save:"):
        _save(sheet, values, due, settled=not open_points)
    show_caution()


def _read_grid(
    sheet: _Sheet,
    metrics: list[Metric],
    previous: dict[Cell, Previous],
    stored: dict[Cell, Value],
) -> tuple[tuple[Value, ...], list[tuple[str, str]]]:
    """The values as typed, and what stands open, by the label of its cell."""
    values: list[Value] = []
    open_points: list[tuple[str, str]] = []
    for metric in metrics:
        for side in sides_of(metric):
            if (metric.key, side) in stored:
                continue
            entry = entry_of(sheet.draft, metric, side)
            if entry.problem or entry.question:
                label = f"{metric.label}, {SIDES[side]}"
                open_points.append((label, entry.problem or entry.question))
            elif entry.value is not None:
                values.append(entry.value)
        swap = swap_of(sheet.draft, metric, previous, sheet.errors[metric.key])
        if swap is not None and not swap.settled:
            words = "left and right look swapped against the last visit: correct or confirm them."
            open_points.append((metric.label, words))
    return tuple(values), open_points


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


def _save(sheet: _Sheet, values: tuple[Value, ...], due: NextDue, *, settled: bool) -> None:
    if not state.who():
        st.error("Say first who you are (at the top of this page), so that the visit is yours.")
        return
    if not settled:
        st.error("Nothing was saved: mend the fields named above, or confirm them.")
        return
    if not values:
        st.error(
            "Nothing was entered, so nothing was saved: type at least one value, or why it "
            "could not be measured (`painful`, `not done`, …)."
            if sheet.stored is None
            else "There is nothing new to add to this visit."
        )
        return
    if due.problem:
        st.error(f"Nothing was saved. {NEXT_DUE}: {plain(due.problem)}")
        return
    sheet.draft.conflict = ""
    try:
        saved = record_visit(
            sheet.casebook,
            _visit(sheet, values, due),
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


def _visit(sheet: _Sheet, values: tuple[Value, ...], due: NextDue) -> Visit:
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

    head = typed_head(sheet.draft, due.day)
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
