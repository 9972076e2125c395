"""The refusal that the second of two people at one visit gets."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy.orm import Session

from casebook.domain.history import Subject, Was, metric_and_side
from casebook.domain.meanwhile import FieldMeanwhile, VisitChangedMeanwhile
from casebook.domain.replaying import REVISION, state_at_revision
from casebook.services.visit_words import NOTHING_STORED, listed, named, when, who
from casebook.storage import history, visits


def changed_meanwhile(
    unit: Session, stored: visits.KeptVisit, given: Mapping[str, Was], expected: int
) -> VisitChangedMeanwhile:
    """What to tell somebody who opened a visit at a revision that is no longer the last.

    Parameters
    ----------
    given : mapping of str to plain JSON
        The fields that they gave; None for one that they emptied or struck out.
    """
    entries = history.entries_of_record(unit, Subject.VISIT, stored.visit_id)
    opened = state_at_revision(entries, expected)
    names = sorted({*opened, *stored.fields, *given} - {REVISION})
    seen = [
        FieldMeanwhile(
            name=name,
            opened=opened.get(name),
            stored=stored.fields.get(name),
            given=given.get(name, opened.get(name)),
        )
        for name in names
    ]
    changed = tuple(one for one in seen if one.theirs or one.yours)
    visit = stored.visit
    return VisitChangedMeanwhile(
        words=(
            f"The visit of '{visit.runner}' on {visit.visited_on} (session {visit.session}) was "
            f"saved by {who(stored.last_saved_by)} at {when(stored.last_saved_at)}, after you "
            f"opened it. {_theirs(changed)} {NOTHING_STORED} Compare, choose, and save again."
        ),
        fields=changed,
        shown_revision=stored.revision,
        by=stored.last_saved_by,
        at=stored.last_saved_at,
    )


def _theirs(fields: tuple[FieldMeanwhile, ...]) -> str:
    told = []
    for verb, chosen in (
        ("stored", [one for one in fields if one.theirs and one.opened is None]),
        ("changed", [one for one in fields if one.theirs and None not in (one.opened, one.stored)]),
        ("struck out", [one for one in fields if one.theirs and one.stored is None]),
    ):
        if chosen:
            told.append(f"{verb} {listed(_name(one.name) for one in chosen)}")
    return f"They {', '.join(told)}." if told else "They stored no values."


def _name(field: str) -> str:
    place = metric_and_side(field)
    return field if place is None else named(*place)
