"""What is being typed of a working hypothesis, kept while one looks at another page."""

from __future__ import annotations

from dataclasses import dataclass, field

import streamlit as st

from app.programme_draft import Typing
from casebook.domain.hypotheses import Link, Role
from casebook.services import clock
from casebook.services.hypothesising import StoredHypothesis
from casebook.services.prescribing import StoredPrescription


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


def draft_of(programme: StoredPrescription, stored: StoredHypothesis | None) -> HypothesisDraft:
    """The draft of a hypothesis on a programme; begun from what is stored, or from its targets."""
    name = f"hypothesis_{programme.programme_id}_{stored.number if stored else 0}"
    draft: HypothesisDraft | None = st.session_state.get(f"draft_of_{name}")
    if draft is None:
        draft = HypothesisDraft(typing=Typing(name), stored=stored)
        for link in stored.latest.links if stored else ():
            draft.add(link)
        if not draft.links:
            _from_targets(draft, programme)
        st.session_state[f"draft_of_{name}"] = draft
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
