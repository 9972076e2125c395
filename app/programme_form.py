"""The form that writes a programme or changes one: its head, exercises, targets, delivery."""

from __future__ import annotations

from datetime import date
from typing import Any

import streamlit as st

from app import routes, sidebar, state
from app.messages import calmly, plain, show_refusal
from app.plan_kept import show_kept
from app.programme_blocks import edit_blocks
from app.programme_draft import ProgrammeDraft
from app.programme_kept import forget, keep
from app.programme_targets import edit_targets
from app.programme_words import DELIVERIES, KINDS, MODES, TAILORINGS
from app.typed_boxes import Boxes
from casebook.domain.errors import CasebookError
from casebook.domain.prescriptions import (
    LONGEST_TITLE,
    MOST_WEEKS,
    Delivery,
    Mode,
    Prescription,
    ProgrammeDetail,
    Tailoring,
)
from casebook.domain.programme_versions import changes_between
from casebook.domain.programmes import Programme, ProgrammeKind
from casebook.domain.wording import complaint_words
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.prescribing import (
    change_prescription,
    list_injuries_of,
    list_prescriptions,
    prescribe,
    reporting_gaps,
)

NEW_TITLE = "New programme"
NO_COMPLAINT = 0
TEXTS = (
    ("provider", "Who teaches it, and with what training (a role, no name)"),
    ("setting", "Where it is done"),
    ("materials", "What the runner is given (a sheet, a video)"),
    ("home_part", "The part done at home"),
    ("other_parts", "What belongs to it and is no exercise (advice, taping, insoles)"),
    ("starting_level", "How the first level was chosen"),
    ("tailoring", "What was fitted to the runner, and why"),
    ("motivation", "How keeping to it is encouraged"),
    ("fidelity_plan", "How it is checked that it is done as meant"),
    ("fidelity_actual", "How well it was done"),
    ("modifications", "What was changed while it ran"),
    ("adverse_events", "What went wrong, or 'none'"),
)


def fresh(runner: str) -> Prescription:
    """A programme in which nothing is filled in yet, from today."""
    return Prescription(
        programme=Programme(runner=runner, title=NEW_TITLE, started_on=clock.today())
    )


def show_form(casebook: Casebook, draft: ProgrammeDraft) -> None:
    """The whole form; what is typed is kept as a draft, until stored or dropped."""
    draft.typing.restore()
    boxes = Boxes(kept=draft.typing.keep)
    head, weeks, injury_id = _head(casebook, draft, boxes)
    _tell_of_others(casebook, draft, head["started_on"], head["ended_on"])
    blocks = edit_blocks(casebook, draft, boxes)
    metrics = {metric.key: metric for metric in list_metrics(casebook)}
    targets = edit_targets(casebook, draft, metrics, boxes, head.get("started_on"))
    detail = _delivery(draft)
    wanted = None
    if not boxes.problems:
        try:
            wanted = Prescription(
                programme=Programme(
                    runner=draft.runner,
                    blocks=tuple(block for block, _ in blocks),
                    targets=targets,
                    adherence=draft.start.programme.adherence if draft.stored else (),
                    **head,
                ),
                detail=ProgrammeDetail(planned_weeks=weeks, **detail),
                block_details=tuple(detail for _, detail in blocks),
                version=draft.start.version,
                changes=draft.start.changes,
            )
        except CasebookError as refusal:
            show_refusal(refusal)
    if wanted is not None:
        st.caption(f":material/checklist: {plain(reporting_gaps(wanted).words)}")
    _finish(casebook, draft, wanted, boxes, injury_id)


def _head(
    casebook: Casebook, draft: ProgrammeDraft, boxes: Boxes
) -> tuple[dict[str, Any], int | None, int | None]:
    """Fields of the programme, its planned weeks, and the complaint that it is for."""
    typing, start = draft.typing, draft.start.programme
    first = st.columns([5, 4, 8])
    title = typing.text(
        first[0],
        "Title",
        "title",
        "" if start.title == NEW_TITLE else start.title,
        max_chars=LONGEST_TITLE,
    )
    kind = typing.choice(first[1], "It is", "kind", list(ProgrammeKind), KINDS, start.kind)
    injuries = dict(list_injuries_of(casebook, draft.runner))
    words = {NO_COMPLAINT: "no complaint"}
    words |= {
        key: f"{complaint_words(injury)}, {injury.onset_on:%b %Y}"
        for key, injury in injuries.items()
    }
    only = next(iter(injuries)) if len(injuries) == 1 else NO_COMPLAINT
    before = draft.injury_id or (NO_COMPLAINT if draft.stored else only)
    injury_id = typing.choice(first[2], "Complaint", "injury", list(words), words, before)
    second = st.columns([2, 2, 2, 2])
    started = boxes.day(
        second[0], "Starts on", key=typing.key("started_on"), start=start.started_on
    ).value
    ended = boxes.day(
        second[1],
        "Ends on (blank: no end set)",
        key=typing.key("ended_on"),
        start=start.ended_on,
        earliest=started,
    ).value
    weeks = boxes.whole(
        second[2],
        "Planned weeks",
        key=typing.key("planned_weeks"),
        start=draft.start.detail.planned_weeks,
        low=1,
        high=MOST_WEEKS,
    )
    rationale = typing.area(
        st.container(), "Why this programme for this runner", "rationale", start.rationale
    )
    if not title:
        boxes.problems.append("Title: it is blank; give the programme a name.")
    if started is None and not any("Starts on" in one for one in boxes.problems):
        boxes.problems.append("Starts on: it is blank; type a day.")
    head = {
        "title": title,
        "kind": kind or start.kind,
        "started_on": started,
        "ended_on": ended,
        "rationale": rationale,
    }
    return head, weeks, injury_id or None


def _tell_of_others(
    casebook: Casebook, draft: ProgrammeDraft, started: date | None, ended: date | None
) -> None:
    """Which other programmes run in the same days: their changes cannot be told apart."""
    mine = None if draft.stored is None else draft.stored.programme_id
    titles = [
        f"'{plain(other.title)}'"
        for one in list_prescriptions(casebook, draft.runner)
        for other in [one.prescription.programme]
        if one.programme_id != mine
        and started is not None
        and (other.ended_on is None or started <= other.ended_on)
        and (ended is None or other.started_on <= ended)
    ]
    if titles:
        st.info(
            f"In the same days: {', '.join(titles)}. What changes beside each of them can't be "
            "told apart. Where one has ended, give it its last day under 'Change it'.",
            icon=":material/call_merge:",
        )


def _delivery(draft: ProgrammeDraft) -> dict[str, Any]:
    typing, detail = draft.typing, draft.start.detail
    with st.expander(
        "How it is delivered: the rest of the published reporting items",
        icon=":material/assignment:",
    ):
        first = st.columns(3)
        mode = typing.choice(
            first[0], "Alone or in a group", "mode", list(Mode), MODES, detail.mode,
            placeholder="Not said",
        )  # fmt: skip
        delivery = typing.choice(
            first[1], "Delivered", "delivery", list(Delivery), DELIVERIES, detail.delivery,
            placeholder="Not said",
        )  # fmt: skip
        tailored = typing.choice(
            first[2], "Exercises", "tailored", list(Tailoring), TAILORINGS, detail.tailored,
            placeholder="Not said",
        )  # fmt: skip
        columns = st.columns(2)
        texts = {
            name: typing.text(columns[at % 2], label, name, getattr(detail, name))
            for at, (name, label) in enumerate(TEXTS)
        }
    return {
        "mode": mode,
        "delivery": delivery,
        "tailored": tailored,
        **texts,
    }


def _finish(
    casebook: Casebook,
    draft: ProgrammeDraft,
    wanted: Prescription | None,
    boxes: Boxes,
    injury_id: int | None,
) -> None:
    typing, by = draft.typing, state.who()
    reason = ""
    if draft.stored is not None:
        if wanted is not None:
            _show_changes(draft, wanted)
        reason = typing.area(st.container(), "Reason for the change", "reason", "", max_chars=2000)
    if not by:
        sidebar.choose_user(casebook, place=typing.name)
        by = state.who()
    verb = "Store the programme" if draft.stored is None else "Store as a new version"
    with st.container(horizontal=True):
        store = st.button(
            f"{verb} as {by}" if by else verb,
            type="primary",
            key=f"do_store_{typing.name}",
            icon=":material/save:",
        )
        leave = st.button("Drop what was typed", key=f"do_drop_{typing.name}")
    typing.remember()
    if leave:
        with calmly():
            forget(casebook, draft)
            st.query_params.pop("do", None)
            st.rerun()
    keep(casebook, draft)
    show_kept(typing)
    if not store or boxes.refuse() or wanted is None:
        return
    if not by:
        st.error("Say first who you are, so that the history can tell who prescribed it.")
        return
    with calmly():
        if draft.stored is None:
            stored = prescribe(casebook, wanted, injury_id=injury_id, by=by)
            state.leave_notice(
                f"The programme '{plain(stored.prescription.programme.title)}' is stored."
            )
        else:
            stored = change_prescription(
                casebook,
                draft.stored.programme_id,
                wanted,
                expected_version=draft.stored.prescription.version,
                reason=reason,
                by=by,
                injury_id=injury_id,
            )
            state.leave_notice(
                f"Stored as version {stored.prescription.version}; the earlier one is kept."
            )
        forget(casebook, draft)
        routes.go("programme", runner=draft.runner, programme=str(stored.programme_id))


def _show_changes(draft: ProgrammeDraft, wanted: Prescription) -> None:
    changes = changes_between(draft.start, wanted)
    if changes:
        st.markdown(
            "**What differs**\n" + "\n".join(f"- {plain(change.words)}" for change in changes)
        )
    else:
        st.caption("Nothing differs from what is stored yet.")
