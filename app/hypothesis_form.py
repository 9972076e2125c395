"""The form of a working hypothesis: driver, consequences, what should change or stay still."""

from __future__ import annotations

from datetime import date
from typing import Any

import streamlit as st

from app import sidebar, state
from app.hypothesis_draft import HypothesisDraft, draft_of, forget, keep
from app.hypothesis_links import ROLE_HELP, ask_prediction
from app.messages import calmly, day_words, plain
from app.plan_kept import show_kept
from app.typed_boxes import Boxes
from casebook.domain.hypotheses import (
    KINDS,
    LEAST_SURE,
    MOST_SURE,
    Hypothesis,
    HypothesisKind,
)
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.hypothesising import (
    StoredHypothesis,
    amend_hypothesis,
    write_hypothesis,
)
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription

SURE = "How sure are you that all of it will be seen? (%)"
SURE_HELP = (
    "That every driver, consequence and change moves as predicted beyond error, and all that "
    "should stay still does. 50 means as likely as not; nobody is certain, so 1 to 99."
)


def show_hypothesis_form(
    casebook: Casebook,
    programme: StoredPrescription,
    stored: StoredHypothesis | None = None,
) -> None:
    """Write a hypothesis on a programme, or a new version of one with a reason."""
    _form(casebook, programme, draft_of(casebook, programme, stored))


def _form(casebook: Casebook, programme: StoredPrescription, draft: HypothesisDraft) -> None:
    typing, boxes = draft.typing, Boxes(kept=draft.typing.keep)
    typing.restore()
    start: Hypothesis | None = draft.stored.latest if draft.stored else None
    _say_when_it_counts(programme)
    first = st.columns([2, 4])
    kind = typing.choice(
        first[0], "What is the driver?", "kind", list(HypothesisKind), KINDS,
        start.kind if start else None,
    )  # fmt: skip
    driver = typing.text(
        first[1],
        "The driver, in your words",
        "driver",
        start.driver if start else "",
        placeholder="e.g. weak right hip abductors let the pelvis drop on the left",
        max_chars=500,
    )
    leads_to = typing.text(
        st.container(),
        "What it is thought to lead to",
        "leads_to",
        start.leads_to if start else "",
        max_chars=500,
    )
    st.markdown("##### Predictions")
    st.caption(ROLE_HELP)
    if draft.stored is None and any(draft.links.values()):
        st.caption("Taken over from the programme's targets: say which of them is the driver.")
    metrics = {metric.key: metric for metric in list_metrics(casebook)}
    due = _usual_due(programme)
    links = [
        ask_prediction(draft, boxes, metrics, slot, position, due)
        for position, slot in enumerate(draft.links, start=1)
    ]
    st.button(
        "Add a prediction", key=f"do_link_{typing.name}", icon=":material/add:", on_click=draft.add
    )
    sure = boxes.whole(
        st.columns([2, 3])[0],
        SURE,
        key=typing.key("sure"),
        start=start.sureness_pct if start else None,
        low=LEAST_SURE,
        high=MOST_SURE,
        help=SURE_HELP,
    )
    for label, answer in (("What is the driver?", kind), ("The driver, in your words", driver)):
        if not answer:
            boxes.problems.append(f"{label}: not said yet.")
    if sure is None and not any(SURE in problem for problem in boxes.problems):
        boxes.problems.append(f"{SURE}: type a number from {LEAST_SURE} to {MOST_SURE}.")
    given: dict[str, Any] = {
        "kind": kind,
        "driver": driver,
        "leads_to": leads_to,
        "links": tuple(link for link in links if link is not None),
        "sureness_pct": sure,
    }
    _finish(casebook, programme, draft, boxes, given)


def _say_when_it_counts(programme: StoredPrescription) -> None:
    starts = programme.prescription.programme.started_on
    if starts < clock.today():
        st.warning(
            f"The programme started on {day_words(starts)}. What is written now is kept and "
            "shown, and never scored as a prediction.",
            icon=":material/lock_clock:",
        )
    else:
        st.caption(
            f":material/lock: Frozen when the programme starts ({day_words(starts)}): what is "
            "written up to that day is scored, and nobody can alter it afterwards."
        )


def _usual_due(programme: StoredPrescription) -> date | None:
    known = programme.prescription.programme
    dates = [target.due_on for target in known.targets]
    return max(dates, default=known.ended_on)


def _finish(
    casebook: Casebook,
    programme: StoredPrescription,
    draft: HypothesisDraft,
    boxes: Boxes,
    given: dict[str, Any],
) -> None:
    typing, by = draft.typing, state.who()
    reason = ""
    if draft.stored is not None:
        reason = typing.text(
            st.container(), "Reason for the new version", "reason", "", max_chars=2000
        )
    if not by:
        sidebar.choose_user(casebook, place=typing.name)
        by = state.who()
    verb = "Write it down" if draft.stored is None else "Write the new version"
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
            _close(casebook, draft)
            st.rerun()
    keep(casebook, programme, draft)
    show_kept(typing)
    if not store or boxes.refuse():
        return
    if not by:
        st.error("Say first who you are: a hypothesis is somebody's.")
        return
    with calmly():
        if draft.stored is None:
            stored = write_hypothesis(casebook, programme.programme_id, by=by, **given)
        else:
            before = draft.stored.latest
            changes = {name: new for name, new in given.items() if getattr(before, name) != new}
            stored = amend_hypothesis(
                casebook,
                programme.programme_id,
                draft.stored.number,
                expected_version=before.version,
                reason=reason,
                by=by,
                **(changes or {"driver": before.driver}),
            )
        _close(casebook, draft)
        state.leave_notice(
            f"Written down, dated today: version {stored.latest.version} of "
            f"'{plain(stored.latest.driver)}'."
        )
        st.rerun()


def _close(casebook: Casebook, draft: HypothesisDraft) -> None:
    st.query_params.pop("write", None)
    st.query_params.pop("amend", None)
    forget(casebook, draft)
