"""Striking out a whole visit: it leaves the record and stands in the history only."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.domain.people import clean_by
from casebook.domain.sides import Side
from casebook.services import clock
from casebook.services.amending import VisitChange, amend_visit, asked_reason, get_visit, rests_on
from casebook.services.meanwhile import changed_meanwhile
from casebook.services.opened import Casebook
from casebook.services.recording import VisitSaved
from casebook.services.registering import get_runner_row
from casebook.storage import (
    acknowledging,
    attachments,
    findings,
    history,
    people,
    record_fields,
    visits,
)
from casebook.storage.session import writing


def strike_out_values(
    casebook: Casebook,
    runner: str,
    visited_on: date,
    session: int = 1,
    *,
    removed: Iterable[tuple[str, Side]],
    expected_revision: int,
    reason: str,
    by: str,
) -> VisitSaved:
    """Strike out single values of a visit; as `amend_visit` with nothing else."""
    return amend_visit(
        casebook,
        runner,
        visited_on,
        session,
        VisitChange(removed=tuple(removed)),
        expected_revision=expected_revision,
        reason=reason,
        by=by,
    )


def strike_out_visit(
    casebook: Casebook,
    runner: str,
    visited_on: date,
    session: int = 1,
    *,
    expected_revision: int,
    reason: str,
    by: str,
) -> None:
    """Strike out a visit with its values and attachments; `undo_entry` puts it back.

    Raises
    ------
    NotFound
        For a runner or visit that does not exist.
    InputRefused
        Without a reason.
    VisitChangedMeanwhile
        When somebody else saved it after `expected_revision`.
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        stored = get_visit(unit, runner_id, known.code, visited_on, session)
        if stored.revision != expected_revision:
            raise changed_meanwhile(unit, stored, {}, expected_revision)
        told = remove_visit(unit, stored, act=Act.STRUCK_OUT, reason=reason)
        people.bump_runner(unit, runner_id)
        history.append(unit, told, by=by, at=clock.now())
        unit.commit()


def remove_visit(unit: Session, stored: visits.KeptVisit, *, act: Act, reason: str) -> list[Change]:
    """Remove a visit and what hangs on it; the caller tells the history, last in its unit."""
    since = (stored.visit.visited_on, stored.visit.session)
    reopened = acknowledging.reopen(
        unit, stored.runner_id, since, None, reason=rests_on(stored, reason)
    )
    attached = attachments.remove_attachments_of_visit(
        unit, stored.runner_id, stored.visit_id, act=act, reason=reason
    )
    found = findings.remove_findings_of_visit(
        unit, stored.runner_id, stored.visit_id, act=act, reason=reason
    )
    visits.remove_visit(unit, stored.visit_id)
    visit = record_fields.change(
        Subject.VISIT,
        stored.visit_id,
        stored.fields,
        {},
        act=act,
        runner_id=stored.runner_id,
        visit_id=stored.visit_id,
        reason=reason,
    )
    return [*reopened, *attached, *found, visit]
