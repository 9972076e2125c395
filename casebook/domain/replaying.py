"""Replaying entries: what a record was after each of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from casebook.domain.history import Entry, Was

REVISION = "revision"


def apply(state: dict[str, Was], fields: Mapping[str, tuple[Was, Was]]) -> list[str]:
    """Bring a record's state on by one entry; returns the fields that were not as it says.

    Parameters
    ----------
    state : dict of str to plain JSON
        Changed in place; a field that is null is none.
    """
    wrong = []
    for name, (was, now) in fields.items():
        if state.get(name) != was:
            wrong.append(name)
        if now is None:
            state.pop(name, None)
        else:
            state[name] = now
    return wrong


def state_at_revision(entries: Iterable[Entry], revision: int) -> dict[str, Was]:
    """What a visit was at a revision.

    Parameters
    ----------
    entries : iterable of Entry
        The entries whose subject is the visit, oldest first.

    Returns
    -------
    dict of str to plain JSON
        Empty where the visit never had that revision, or not while a history was kept.
    """
    state: dict[str, Was] = {}
    for entry in entries:
        apply(state, entry.fields)
        if state.get(REVISION) == revision:
            return state
    return {}
