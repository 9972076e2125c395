"""Drafts: what is typed of a visit, programme or hypothesis, kept in the store until it is saved.

A draft is found by an unguessable key, so that the form comes back after a reload, a restart
of the server or an expired session.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from casebook.domain.plan_drafts import DraftKind, kind_of
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.storage import drafts
from casebook.storage.session import reading, writing


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedDraft:
    """A draft as it is stored.

    Parameters
    ----------
    owner : str
        Code of who began it; empty where it is not known.
    content : mapping of str to JSON
        Field by field what was typed.
    started_at, saved_at : datetime
        Aware UTC.
    """

    key: str
    owner: str
    content: Mapping[str, Any]
    started_at: datetime
    saved_at: datetime

    @property
    def kind(self) -> DraftKind:
        """What is being typed."""
        return kind_of(self.content)


def new_key() -> str:
    """A key that nobody guesses; nothing is stored for it yet."""
    return secrets.token_urlsafe(16)


def keep_typed(casebook: Casebook, key: str, changes: Mapping[str, Any], *, owner: str) -> bool:
    """Keep what was just typed; the draft begins with its first field.

    Returns True where it was begun, also for one that was saved or discarded in another window.

    Parameters
    ----------
    changes : mapping of str to JSON
        The fields that changed and nothing else; None takes a field out.
    owner : str
        Code of who types; kept where the draft has no owner yet.
    """
    with writing(casebook.engine) as unit:
        begun = drafts.write_draft(
            unit, casebook.clinic_id, key, changes, owner=owner, at=clock.now()
        )
        unit.commit()
    return begun


def find_draft(casebook: Casebook, key: str) -> TypedDraft | None:
    """A draft by its key, or None."""
    with reading(casebook.engine) as unit:
        found = drafts.find_draft(unit, casebook.clinic_id, key)
    return None if found is None else _shown(found)


def list_drafts(casebook: Casebook, *kinds: DraftKind) -> tuple[TypedDraft, ...]:
    """The clinic's drafts of these kinds, or all of them; last saved first."""
    with reading(casebook.engine) as unit:
        found = tuple(_shown(one) for one in drafts.drafts(unit, casebook.clinic_id))
    return tuple(one for one in found if not kinds or one.kind in kinds)


def drop_draft(casebook: Casebook, key: str) -> bool:
    """Remove a draft, once what it is of is saved or on purpose; False where there was none."""
    with writing(casebook.engine) as unit:
        gone = drafts.remove_draft(unit, casebook.clinic_id, key)
        unit.commit()
    return gone


def _shown(found: drafts.KeptDraft) -> TypedDraft:
    return TypedDraft(
        key=found.key,
        owner=found.owner,
        content=found.content,
        started_at=found.started_at,
        saved_at=found.saved_at,
    )
