"""What is being typed of a working hypothesis, kept while one looks at another page."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import streamlit as st

from app.plan_kept import asked_plan, boxes_of, forget_kept, keep_plan, leave_kept, take_up
from app.programme_draft import Typing
from casebook.domain.hypotheses import Link, Role
from casebook.domain.plan_drafts import DraftKind, PlanDraft
from casebook.services import clock
from casebook.services.hypothesising import StoredHypothesis
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription

LINK = "link"


@dataclass(slots=True)
class HypothesisDraft:
    """A hypothesis that is being written; `stored` is the one that gets a new version."""

    typing: Typing
    stored: StoredHypothesis | None
    links: dict[int, Link | None] = field(default_factory=dict)

    def add(self, link: Link | None = None) -> None:
        """One more prediction."""
        self.links[self.typing.slot()] = link
        self.typing.touch()

    def take_out(self, slot: int) -> None:
        """Take a prediction out."""
        self.links.pop(slot)
        self.typing.forget("link", slot)
        self.typing.touch()


def draft_of(
    casebook: Casebook, programme: StoredPrescription, stored: StoredHypothesis | None
) -> HypothesisDraft:
    """The draft of a hypothesis on a programme.

    The one that the address names, else this session's, else begun from what is stored or from
    the programme's targets.
    """
    name = f"hypothesis_{programme.programme_id}_{stored.number if stored else 0}"
    held: HypothesisDraft | None = st.session_state.get(f"draft_of_{name}")
    asked = asked_plan(casebook, held.typing if held else None)
    if asked is not None and _fits(asked[1], programme, stored):
        held = _taken_up(name, *asked, stored, held)
    draft = held or _begun(name, programme, stored)
    draft.typing.keep_now = lambda: keep(casebook, programme, draft)
    st.session_state[f"draft_of_{name}"] = draft
    return draft


def keep(casebook: Casebook, programme: StoredPrescription, draft: HypothesisDraft) -> None:
    """Keep what is typed, as the form holds it."""
    keep_plan(
        casebook,
        draft.typing,
        PlanDraft(
            kind=DraftKind.HYPOTHESIS,
            runner=programme.runner,
            programme_id=programme.programme_id,
            number=draft.stored.number if draft.stored else 0,
            version=draft.stored.latest.version if draft.stored else 0,
            rows=tuple((LINK, slot, "") for slot in draft.links),
            next_row=draft.typing.next_slot,
            boxes=boxes_of(draft.typing),
        ),
    )


def forget(casebook: Casebook, draft: HypothesisDraft) -> None:
    """Drop all that was typed: it is stored, or not wanted any more."""
    forget_kept(casebook, draft.typing)
    draft.typing.forget()
    st.session_state.pop(f"draft_of_{draft.typing.name}", None)


def _begun(
    name: str, programme: StoredPrescription, stored: StoredHypothesis | None
) -> HypothesisDraft:
    draft = HypothesisDraft(typing=Typing(name), stored=stored)
    for link in stored.latest.links if stored else ():
        draft.add(link)
    if not draft.links:
        _from_targets(draft, programme)
    draft.typing.touched = False
    return draft


def _fits(kept: PlanDraft, programme: StoredPrescription, stored: StoredHypothesis | None) -> bool:
    return (kept.kind, kept.programme_id, kept.number) == (
        DraftKind.HYPOTHESIS,
        programme.programme_id,
        stored.number if stored else 0,
    )


def _taken_up(
    name: str,
    key: str,
    kept: PlanDraft,
    stored: StoredHypothesis | None,
    held: HypothesisDraft | None,
) -> HypothesisDraft:
    if held is not None:
        # It stays in the store to go on with.
        leave_kept(held.typing)
        held.typing.forget()
    if stored is not None:
        # As it was when the new version was begun: a newer one since then refuses it.
        seen = tuple(one for one in stored.versions if one.version <= kept.version)
        stored = replace(stored, versions=seen or stored.versions)
    draft = HypothesisDraft(typing=Typing(name), stored=stored)
    take_up(key, kept, draft.typing)
    draft.links = {slot: None for _, slot, _ in kept.rows}
    return draft


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
