"""The end of a visit's sheet: when the next one is due, what stands open, and the save."""

from __future__ import annotations

from dataclasses import replace
from typing import NoReturn

import streamlit as st

from app import routes, state
from app.conditions_form import NEXT_DUE, Head, NextDue, ask_next_due, head_problems, typed_head
from app.grid import FINISH
from app.log_conflict import (
    THEIRS,
    YOURS,
    Meanwhile,
    find_meanwhile,
    forget_meanwhile,
    given_up,
    remember,
    show_meanwhile,
)
from app.log_draft import follow, forget, keep, rebase, seeded
from app.log_sheet import Sheet
from app.log_typed import Typed, details_typed, head_columns, overwritten, typed_cells
from app.messages import calmly, count_words, day_words, plain, show_caution
from casebook.domain.errors import Conflict, InputRefused
from casebook.domain.meanwhile import VisitChangedMeanwhile
from casebook.domain.visits import Visit
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.recording import find_visit, record_visit

REASON = "Why is what was stored changed?"


@st.fragment(key=FINISH)
def show_finish(sheet: Sheet) -> None:
    """Next visit, what stands open, reason, and the save; drawn anew with every typed cell."""
    with calmly():
        st.divider()
        due = ask_next_due(sheet)
        typed = typed_cells(sheet)
        open_points = [*_head_points(sheet), *typed.open_points]
        head = None if open_points and head_problems(sheet.draft) else _head(sheet, due)
        told = find_meanwhile(sheet, {} if head is None else head_columns(head))
        _count(sheet, typed, head)
        if open_points:
            _list_open(open_points)
        reason = ""
        if told is not None or _needs_reason(sheet, typed, head):
            reason = _ask_reason(sheet)
        _draft_state(sheet)
        if told is not None:
            chosen = show_meanwhile(sheet, told)
            if st.button(
                "Save with what was chosen",
                type="primary",
                key="save_visit",
                icon=":material/save:",
            ):
                _save_chosen(sheet, told, chosen, due, reason, settled=not open_points)
        elif st.button(
            "Save the changes" if sheet.stored else "Save the visit",
            type="primary",
            key="save_visit",
            icon=":material/save:",
        ):
            _save(sheet, typed, due, reason, settled=not open_points)
        show_caution()


def _head_points(sheet: Sheet) -> list[tuple[str, str]]:
    points = list(head_problems(sheet.draft))
    if sheet.day_problem:
        points.insert(0, ("Date of the visit", sheet.day_problem))
    return points


def _head(sheet: Sheet, due: NextDue) -> Head:
    return typed_head(sheet.draft, due.day)


def _count(sheet: Sheet, typed: Typed, head: Head | None) -> None:
    if sheet.stored is None:
        st.markdown(f"**{count_words(len(typed.values), 'value')}** ready to be saved.")
        return
    details = {} if head is None else details_typed(head, sheet.stored.visit)
    parts = [
        words
        for number, words in (
            (len(typed.values) - typed.changed, "added"),
            (typed.changed, "changed"),
            (len(typed.removed), "struck out"),
            (len(details), "of the head changed"),
        )
        if number
        for words in [f"{number} {words}"]
    ]
    st.markdown(f"To be saved: **{', '.join(parts) or 'nothing yet'}**.")


def _list_open(open_points: list[tuple[str, str]]) -> None:
    listed = "\n".join(f"- **{plain(label)}**: {plain(told)}" for label, told in open_points)
    st.warning(
        f"{count_words(len(open_points), 'field needs', 'fields need')} a look before "
        f"saving:\n\n{listed}",
        icon=":material/edit:",
    )


def _needs_reason(sheet: Sheet, typed: Typed, head: Head | None) -> bool:
    if sheet.stored is None:
        return False
    details = {} if head is None else details_typed(head, sheet.stored.visit)
    return bool(typed.changed or typed.removed or overwritten(details, sheet.stored.visit))


def _ask_reason(sheet: Sheet) -> str:
    return str(
        st.text_input(
            REASON,
            key=seeded(sheet.draft, "reason", ""),
            max_chars=2000,
            placeholder="such as: read from the wrong line",
            on_change=keep,
            args=(sheet.draft, sheet.casebook, "reason", sheet.ground),
        )
    ).strip()


def _draft_state(sheet: Sheet) -> None:
    draft = sheet.draft
    told = st.session_state.pop(draft.name("told"), "")
    if told:
        st.warning(told, icon=":material/group:")
    if draft.trouble:
        st.error(
            f"What you typed last stands on this page only, and is not kept: {plain(draft.trouble)}"
            " It is tried again with the next cell.",
            icon=":material/cloud_off:",
        )
        return
    if not draft.kept:
        return
    kept, away = st.columns([3, 1], vertical_alignment="center")
    kept.caption(
        ":material/cloud_done: Kept as a draft with every cell; it stays until the visit is saved."
    )
    with away.popover("Discard the draft", type="tertiary"):
        st.markdown(f"Take away {count_words(len(draft.cells), 'typed cell')} for good?")
        st.button("Yes, discard", key="discard_draft", on_click=_discard, args=(sheet,))


def _discard(sheet: Sheet) -> None:
    with calmly():
        forget(sheet.casebook, sheet.draft)
        forget_meanwhile(sheet)
        state.leave_notice("The draft is discarded; nothing of it was saved.")
    st.rerun()


def _refused(sheet: Sheet, typed: Typed, due: NextDue, *, settled: bool) -> str:
    if not state.who():
        return "Say first who you are (at the top of this page), so that the visit is yours."
    if not settled:
        return "Nothing was saved: mend the fields named above, or confirm them."
    if sheet.stored is None and not typed.values:
        return (
            "Nothing was entered, so nothing was saved: type at least one value, or why it "
            "could not be measured (`painful`, `not done`, …)."
        )
    if due.problem:
        return f"Nothing was saved. {NEXT_DUE}: {plain(due.problem)}"
    return ""


def _save_chosen(
    sheet: Sheet,
    told: Meanwhile,
    chosen: dict[str, str],
    due: NextDue,
    reason: str,
    *,
    settled: bool,
) -> None:
    if len(chosen) < len(told.to_choose):
        st.error("Nothing was saved: choose theirs or yours for each field above.")
        return
    refused = _refused(sheet, typed_cells(sheet), due, settled=settled)
    if refused or (YOURS in chosen.values() and not reason):
        st.error(refused or f"Nothing was saved. {REASON}")
        return
    ground = replace(sheet.ground, revision=told.revision)
    rebase(sheet.draft, sheet.casebook, ground, given_up(told, chosen))
    forget_meanwhile(sheet)
    fresh = find_visit(sheet.casebook, sheet.draft.runner, sheet.visited_on, sheet.session)
    if fresh is None:
        st.rerun(scope="app")
    now = replace(
        sheet,
        stored=fresh,
        kept={(value.metric, value.side): value for value in fresh.visit.values},
    )
    left = frozenset(name for name, answer in chosen.items() if answer == THEIRS)
    _save(now, typed_cells(now), due, reason, settled=True, left=left)


def _save(
    sheet: Sheet,
    typed: Typed,
    due: NextDue,
    reason: str,
    *,
    settled: bool,
    left: frozenset[str] = frozenset(),
) -> None:
    """Save; `left` are the columns of the head that were left as the other has them."""
    refused = _refused(sheet, typed, due, settled=settled)
    if refused:
        st.error(refused)
        return
    if follow(sheet.casebook, sheet.draft):
        _tell_next(
            sheet,
            "Nothing was saved yet: more was typed into this draft in another window. It stands "
            "above now; look at it and save again.",
        )
    try:
        if sheet.stored is None:
            words = _record(sheet, typed, due)
        else:
            words = _amend(sheet, typed, due, reason, left=left)
    except VisitChangedMeanwhile as told:
        remember(sheet, told)
        st.rerun(scope="app")
    except InputRefused:
        raise
    except Conflict:
        # A new visit that somebody else saved first: the page shows theirs and yours.
        _tell_next(
            sheet,
            "Nothing was saved yet: somebody else saved this visit meanwhile. Theirs and yours "
            "stand above; look at them and save again.",
        )
    if not words:
        return
    forget(sheet.casebook, sheet.draft)
    state.leave_notice(words)
    routes.go("runner", runner=sheet.draft.runner)


def _tell_next(sheet: Sheet, words: str) -> NoReturn:
    st.session_state[sheet.draft.name("told")] = words
    st.rerun(scope="app")


def _record(sheet: Sheet, typed: Typed, due: NextDue) -> str:
    head = typed_head(sheet.draft, due.day)
    saved = record_visit(
        sheet.casebook,
        Visit(
            runner=sheet.draft.runner,
            visited_on=sheet.visited_on,
            session=sheet.session,
            kind=head.kind,
            conditions=head.conditions,
            next_due_on=head.next_due_on,
            note=head.note,
            values=typed.values,
        ),
        by=state.who(),
    )
    return (
        f"The visit of {day_words(sheet.visited_on)} is saved, "
        f"{count_words(saved.added, 'value')} in one go. What it shows stands below."
    )


def _amend(sheet: Sheet, typed: Typed, due: NextDue, reason: str, *, left: frozenset[str]) -> str:
    if sheet.stored is None:
        return ""
    stored = sheet.stored.visit
    head = typed_head(sheet.draft, due.day)
    details = {
        name: content for name, content in details_typed(head, stored).items() if name not in left
    }
    if not (typed.values or typed.removed or details):
        st.error("There is nothing new to save to this visit.")
        return ""
    if (typed.changed or typed.removed or overwritten(details, stored)) and not reason:
        st.error(f"Nothing was saved. {REASON} Say it in the field above.")
        return ""
    amend_visit(
        sheet.casebook,
        stored.runner,
        stored.visited_on,
        stored.session,
        VisitChange(values=typed.values, removed=typed.removed, details=details),
        expected_revision=sheet.draft.opened_on(sheet.ground) or sheet.stored.revision,
        reason=reason,
        by=state.who(),
    )
    changed = typed.changed + len(typed.removed) + len(details)
    added = len(typed.values) - typed.changed
    told = [f"{count_words(added, 'value')} added"] if added else []
    told += [f"{count_words(changed, 'field')} amended"] if changed else []
    return (
        f"The visit of {day_words(sheet.visited_on)} is saved: {', '.join(told)}. What it was "
        "before stays in its history."
    )
