"""Recording visits. Saving adds to what is stored; `amending` changes it, with a reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.history import Change, Subject, Was, value_content
from casebook.domain.people import clean_by
from casebook.domain.visits import CONDITION_RANGES, Value, Visit, as_kept
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.meanwhile import changed_meanwhile
from casebook.services.registering import get_runner_row
from casebook.services.visit_rules import date_problems, settled, value_rule_problems
from casebook.services.visit_words import NOTHING_STORED, listed, named, said, when, who
from casebook.storage import acknowledging, history, people, record_fields, visits
from casebook.storage.session import reading, writing

TEXT_CONDITIONS = ("surface", "footwear", "view", "assessor")


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitSaved:
    """What a save came to: the visit, its revision now, and how many values were added."""

    visit_id: int
    revision: int
    added: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredVisit:
    """A visit as it is stored.

    Parameters
    ----------
    revision : int
        To be handed back as `expected_revision` when something is added.
    recorded_by, recorded_at
        Who saved it first, and when (aware UTC).
    last_saved_by, last_saved_at
        Who saved it last, and when; the same as above after one save.
    """

    visit_id: int
    visit: Visit
    revision: int
    recorded_by: str
    recorded_at: datetime
    last_saved_by: str
    last_saved_at: datetime


def record_visit(
    casebook: Casebook, visit: Visit, *, by: str, expected_revision: int | None = None
) -> VisitSaved:
    """Store a visit with all its values, or add to one that stands; all or nothing.

    Parameters
    ----------
    visit : Visit
        Values in their metrics' own units. What lies outside a plausible range is stored.
    by : str
        Code of whoever saves; empty where it is not known.
    expected_revision : int or None
        None for a new visit. Else the revision that the writer had before them: values not
        yet stored, and conditions not yet recorded, are added if nobody has saved since.

    Raises
    ------
    NotFound
        For a runner who is not registered, or a visit to be added to that does not exist.
    InputRefused
        With every problem found: dates, metrics, sides, readings.
    Conflict
        When somebody else saved this visit, naming who, when and what; or when a stored
        value or condition differs from the one given.
    """
    by = clean_by(by)
    visit = settled(visit)
    with writing(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, visit.runner)
        visit = replace(visit, runner=runner.code)
        metrics = visits.known_metrics(unit, (value.metric for value in visit.values))
        problems = [
            *date_problems(visit, visits.birth_date_of(unit, runner_id), clock.today()),
            *value_rule_problems(visit, metrics),
        ]
        if problems:
            raise InputRefused(tuple(problems))
        stored = visits.find_visit(
            unit,
            runner_id,
            runner.code,
            visit.visited_on,
            visit.session,
            to_add=expected_revision is not None,
        )
        now = clock.now()
        if expected_revision is None:
            saved, told = _save_new(unit, runner_id, visit, stored, metrics, by=by, at=now)
        else:
            saved, told = _add_to(
                unit, visit, stored, metrics, by=by, at=now, expected=expected_revision
            )
        if told:
            people.bump_runner(unit, runner_id)
            history.append(unit, told, by=by, at=now)
        unit.commit()
    return saved


def _save_new(
    unit: Session,
    runner_id: int,
    visit: Visit,
    stored: visits.KeptVisit | None,
    metrics: Mapping[str, visits.KnownMetric],
    *,
    by: str,
    at: datetime,
) -> tuple[VisitSaved, list[Change]]:
    if stored is None:
        visit_id = visits.add_visit(unit, runner_id, visit, by=by, at=at)
        if visit_id is not None:
            added = visits.add_values(unit, visit_id, visit.values, metrics, saved_in=1)
            told = record_fields.visit_recorded(visit_id, visit, runner_id=runner_id, by=by, at=at)
            reopened = _reopened(unit, runner_id, visit, visit.values, metrics)
            return VisitSaved(visit_id=visit_id, revision=1, added=added), [told, *reopened]
        # Somebody else's came in between; theirs is committed by now.
        stored = visits.find_visit(unit, runner_id, visit.runner, visit.visited_on, visit.session)
    raise Conflict(_taken(visit, stored))


def _taken(visit: Visit, stored: visits.KeptVisit | None) -> str:
    what = f"The visit of '{visit.runner}' on {visit.visited_on} (session {visit.session})"
    if stored is None:
        return f"{what} was being saved by somebody else. {NOTHING_STORED} Save again."
    kept = [named(value.metric, value.side) for value in stored.visit.values]
    return (
        f"{what} was already saved by {who(stored.recorded_by)} at {when(stored.recorded_at)}, "
        f"with {listed(kept)}. {NOTHING_STORED} Open that visit to add to it, or save yours as "
        "another session of the day."
    )


def _add_to(
    unit: Session,
    visit: Visit,
    stored: visits.KeptVisit | None,
    metrics: Mapping[str, visits.KnownMetric],
    *,
    by: str,
    at: datetime,
    expected: int,
) -> tuple[VisitSaved, list[Change]]:
    if stored is None:
        raise NotFound(
            f"There is no visit of '{visit.runner}' on {visit.visited_on} (session "
            f"{visit.session}) to add to. {NOTHING_STORED} Save it as a new visit."
        )
    if stored.revision != expected:
        given = _given_fields(visit)
        raise changed_meanwhile(unit, stored, given, expected)
    fresh = _not_yet_stored(visit, stored)
    columns = _not_yet_recorded(visit, stored.visit)
    if not fresh and not columns:
        return VisitSaved(visit_id=stored.visit_id, revision=expected, added=0), []
    revision = expected + 1
    added = visits.add_values(unit, stored.visit_id, fresh, metrics, saved_in=revision)
    visits.add_save(unit, stored.visit_id, revision, columns, by=by, at=at)
    told = record_fields.visit_added_to(
        stored.visit_id,
        runner_id=stored.runner_id,
        revision=(expected, revision),
        columns=columns,
        values=fresh,
    )
    reopened = _reopened(unit, stored.runner_id, visit, fresh, metrics)
    return VisitSaved(visit_id=stored.visit_id, revision=revision, added=added), [told, *reopened]


def _reopened(
    unit: Session,
    runner_id: int,
    visit: Visit,
    added: Iterable[Value],
    metrics: Mapping[str, visits.KnownMetric],
) -> list[Change]:
    """Take back the acknowledgements of flags that did not know what is added now."""
    return acknowledging.reopen(
        unit,
        runner_id,
        (visit.visited_on, visit.session),
        {metrics[value.metric].metric_id for value in added},
        reason=acknowledging.added_to(visit.visited_on, visit.session),
    )


def _given_fields(visit: Visit) -> dict[str, Was]:
    """What was given, as fields; what was left open is none."""
    return record_fields.fields_of(Subject.VISIT, _fields(visit)) | record_fields.value_fields(
        visit.values
    )


def _not_yet_stored(visit: Visit, stored: visits.KeptVisit) -> list[Value]:
    kept = {(value.metric, value.side): value for value in stored.visit.values}
    differing = [
        f"{named(value.metric, value.side)} (stored: {said(kept[value.metric, value.side])}; "
        f"given: {said(value)})"
        for value in visit.values
        if (value.metric, value.side) in kept and not _same(kept[value.metric, value.side], value)
    ]
    if differing:
        raise Conflict(
            f"Saving adds and never changes what is stored, and these differ: "
            f"{'; '.join(differing)}. {NOTHING_STORED} Leave them out, amend the visit with a "
            "reason, or record them as another session."
        )
    return [value for value in visit.values if (value.metric, value.side) not in kept]


def _same(kept: Value, given: Value) -> bool:
    return value_content(kept) == value_content(as_kept(given, kept))


def _not_yet_recorded(visit: Visit, stored: Visit) -> dict[str, object]:
    """Columns that were left open and are given now; raises where both differ."""
    given, kept = _fields(visit), _fields(stored)
    differing = [
        f"{name} (stored: {kept[name]}; given: {given[name]})"
        for name in given
        if not _open(given[name]) and not _open(kept[name]) and given[name] != kept[name]
    ]
    if differing:
        raise Conflict(
            f"Saving adds and never changes what was recorded of the visit, and this differs: "
            f"{'; '.join(differing)}. {NOTHING_STORED} Amend the visit with a reason, or record "
            "another session of that day where the conditions were others."
        )
    return {name: entry for name, entry in given.items() if not _open(entry) and _open(kept[name])}


def _fields(visit: Visit) -> dict[str, object]:
    names = (*(column for column, *_ in CONDITION_RANGES), *TEXT_CONDITIONS)
    return {
        "kind": visit.kind,
        "next_due_on": visit.next_due_on,
        "note": visit.note,
        **{name: getattr(visit.conditions, name) for name in names},
    }


def _open(entry: object) -> bool:
    return entry is None or entry == ""


def find_visit(
    casebook: Casebook, code: str, visited_on: date, session: int = 1
) -> StoredVisit | None:
    """The visit of a runner on a day, with its values, or None.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    """
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        kept = visits.find_visit(unit, runner_id, runner.code, visited_on, session)
    return None if kept is None else _as_stored(kept)


def list_visits(casebook: Casebook, code: str) -> tuple[StoredVisit, ...]:
    """Every visit of a runner, oldest first.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    """
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        found = [
            visits.find_visit(unit, runner_id, runner.code, day, number)
            for day, number in visits.visit_days(unit, runner_id)
        ]
    return tuple(_as_stored(kept) for kept in found if kept is not None)


def _as_stored(kept: visits.KeptVisit) -> StoredVisit:
    return StoredVisit(
        visit_id=kept.visit_id,
        visit=kept.visit,
        revision=kept.revision,
        recorded_by=kept.recorded_by,
        recorded_at=kept.recorded_at,
        last_saved_by=kept.last_saved_by,
        last_saved_at=kept.last_saved_at,
    )
