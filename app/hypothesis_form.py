"""The form of a working hypothesis: driver, consequences, what should change or stay still."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import streamlit as st

from app import sidebar, state
from app.messages import calmly, day_words, plain
from app.programme_draft import Typing
from app.programme_words import PLACES, direction_words, directions_of, places_of, unit_on
from app.typed_boxes import Boxes
from app.words import metric_words
from casebook.domain.errors import InputRefused
from casebook.domain.hypotheses import (
    KINDS,
    LEAST_SURE,
    MOST_SURE,
    ROLES,
    Hypothesis,
    HypothesisKind,
    Link,
    Role,
)
from casebook.domain.metrics import Metric
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
ROLE_HELP = (
    "Driver: what you think it starts from. Expected to follow: what should move once the driver "
    "does. The programme should change it: a direct aim. Should stay still: what would speak "
    "against you if it moved."
)


@dataclass(slots=True)
class HypothesisDraft:
    """A hypothesis that is being written; `stored` is the one that gets a new version."""

    typing: Typing
    stored: StoredHypothesis | None
    links: dict[int, Link | None] = field(default_factory=dict)

    def add(self, link: Link | None = None) -> None:
        """One more prediction."""
        self.links[self.typing.slot()] = link

    def take_out(self, slot: int) -> None:
        """Take a prediction out."""
        self.links.pop(slot)
        self.typing.forget("link", slot)


def show_hypothesis_form(
    casebook: Casebook,
    programme: StoredPrescription,
    stored: StoredHypothesis | None = None,
) -> None:
    """Write a hypothesis on a programme, or a new version of one with a reason."""
    number = stored.number if stored else 0
    name = f"hypothesis_{programme.programme_id}_{number}"
    draft: HypothesisDraft | None = st.session_state.get(f"draft_of_{name}")
    if draft is None:
        draft = HypothesisDraft(typing=Typing(name), stored=stored)
        for link in stored.latest.links if stored else ():
            draft.add(link)
        if not draft.links:
            _from_targets(draft, programme)
        st.session_state[f"draft_of_{name}"] = draft
    _form(casebook, programme, draft)


def _from_targets(draft: HypothesisDraft, programme: StoredPrescription) -> None:
    """The programme's targets are what it should change; which is the driver is asked."""
    for target in programme.prescription.programme.targets:
        if target.due_on > clock.today():
            draft.add(
                Link(
                    position=1,
                    role=Role.CHANGE,
                    metric=target.metric,
                    on=target.what,
                    direction=target.direction,
                    amount=target.amount,
                    due_on=target.due_on,
                )
            )
    if not draft.links:
        draft.add()


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
        _edit(draft, boxes, metrics, slot, position, due)
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
    typing.remember()


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


def _edit(
    draft: HypothesisDraft,
    boxes: Boxes,
    metrics: dict[str, Metric],
    slot: int,
    position: int,
    due_on: date | None,
) -> Link | None:
    start, typing = draft.links[slot], draft.typing
    noted = len(boxes.problems)

    def part(name: str) -> str:
        return f"link_{slot}_{name}"

    with st.container(border=True, key=f"link_{typing.name}_{slot}"):
        row = st.columns([2, 3, 2])
        only_driver = Role.DRIVER if position == 1 and start is None else None
        role = typing.choice(
            row[0], f"Prediction {position}", part("role"), list(Role), ROLES,
            start.role if start else only_driver,
        )  # fmt: skip
        words = {key: metric_words(metric) for key, metric in metrics.items()}
        key = typing.choice(
            row[1], "Metric", part("metric"), list(metrics), words,
            start.metric if start else None, placeholder="Type or choose",
        )  # fmt: skip
        metric = metrics.get(key or "")
        places = places_of(metric) if metric else ()
        place = typing.choice(
            row[2], "On", part(f"on_{len(places)}"), places, PLACES,
            start.on if start else (places[0] if places else None),
        )  # fmt: skip
        second = st.columns([2, 2, 3])
        still = role is Role.STILL
        ways = directions_of(place) if place and not still else ()
        way = typing.choice(
            second[0], "Which way", part(f"way_{len(ways)}"), ways, direction_words(place),
            start.direction if start else None, disabled=still,
            placeholder="Stays as it is" if still else "Choose",
        )  # fmt: skip
        unit = unit_on(metric, place) if metric and place else ""
        asked = "Still means within" if still else "By how much"
        amount = boxes.number(
            second[1],
            f"{asked} ({unit})" if unit else asked,
            key=typing.key(part("amount")),
            start=start.amount if start else None,
            low=1e-9,
            help="Blank takes the measurement error." if still else None,
        )
        due = boxes.day(
            second[2],
            "By when",
            key=typing.key(part("due")),
            start=start.due_on if start else due_on,
        ).value
        third = st.columns([5, 2], vertical_alignment="bottom")
        why = typing.text(third[0], "Why", part("why"), start.why if start else "", max_chars=500)
        third[1].button(
            "Take it out",
            key=f"do_out_link_{typing.name}_{slot}",
            icon=":material/remove:",
            on_click=draft.take_out,
            args=(slot,),
        )
    boxes.problems[noted:] = [f"Prediction {position}, {one}" for one in boxes.problems[noted:]]
    lacking = [
        label
        for label, lacks in (
            ("its part", role is None),
            ("metric", metric is None),
            ("on what", place is None),
            ("which way", way is None and not still),
            ("by how much", amount is None and not still),
            ("by when", due is None),
        )
        if lacks
    ]
    if lacking or role is None or metric is None or place is None or due is None:
        boxes.problems.append(f"Prediction {position}: not said yet: {', '.join(lacking)}.")
        return None
    if not still and (way is None or amount is None):
        return None
    try:
        return Link(
            position=position,
            role=role,
            metric=metric.key,
            on=place,
            direction=None if still else way,
            amount=amount,
            due_on=due,
            why=why,
        )
    except InputRefused as refusal:
        boxes.problems.append(str(refusal))
        return None


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
        if st.button("Drop what was typed", key=f"do_drop_{typing.name}"):
            _close(typing)
            st.rerun()
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
        _close(typing)
        state.leave_notice(
            f"Written down, dated today: version {stored.latest.version} of "
            f"'{plain(stored.latest.driver)}'."
        )
        st.rerun()


def _close(typing: Typing) -> None:
    st.query_params.pop("write", None)
    st.query_params.pop("amend", None)
    typing.forget()
    st.session_state.pop(f"draft_of_{typing.name}", None)
