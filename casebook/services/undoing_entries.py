"""Undoing one entry of the history: its record is again what it was before."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Final

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, NotFound, refuse
from casebook.domain.history import Act, Change, Entry, Subject, Was, metric_and_side
from casebook.domain.history_words import field_label
from casebook.domain.people import clean_by
from casebook.domain.replaying import REVISION
from casebook.services import clock
from casebook.services.amending import VisitChange, asked_reason, write_visit
from casebook.services.amending_records import removal
from casebook.services.opened import Casebook
from casebook.services.reopening import Resting
from casebook.services.striking_out import remove_visit
from casebook.services.visit_words import NOTHING_STORED
from casebook.storage import acknowledging, history, people, record_fields, records, visits
from casebook.storage.session import writing

# What belongs to the clinic and not to a runner is changed on its own page.
THE_CLINICS: Final = frozenset(
    {
        Subject.USER,
        Subject.METRIC,
        Subject.ERROR_FIGURE,
        Subject.MEASUREMENT_SET,
        Subject.EXERCISE,
    }
)


def undo_entry(casebook: Casebook, number: int, *, reason: str, by: str) -> None:
    """Put back what one entry changed, if nothing has changed it since.

    What was added leaves again; what was struck out is put back, a visit with its values and
    the files that left with it. Nothing leaves the history: an entry more says what was undone.

    Raises
    ------
    NotFound
        When there is no such entry.
    InputRefused
        Without a reason, or for an entry that can't be undone by itself.
    Conflict
        When what it changed has been changed again since, or its place is taken.
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        entry = history.find_entry(unit, number)
        if entry is None:
            raise NotFound(f"The history has no entry {number}. {NOTHING_STORED}")
        why_not = cannot_be_undone(entry)
        if why_not:
            raise refuse("not_undone", f"Entry {number} {why_not} {NOTHING_STORED}", value=number)
        now = clock.now()
        if entry.subject is Subject.VISIT:
            told = _undo_visit(unit, entry, reason=reason, by=by, at=now)
        else:
            place = (entry.subject, entry.subject_id)
            resting = Resting(unit, records.find_record(unit, *place))
            if entry.subject is Subject.FINDING and entry.runner_id and entry.visit_id:
                resting.note_visit(entry.runner_id, entry.visit_id)
            change = _undo_record(unit, entry, reason=reason, by=by, at=now)
            resting.note(records.find_record(unit, entry.subject, change.subject_id))
            told = [change, *resting.opened(reason=reason)]
        if entry.runner_id is not None:
            people.bump_runner(unit, entry.runner_id)
        history.append(unit, told, by=by, at=now)
        unit.commit()


def cannot_be_undone(entry: Entry) -> str:
    """Why an entry can't be undone by itself; empty where it can."""
    if entry.subject in THE_CLINICS:
        return "is about the clinic's own lists: change them where they are kept."
    if entry.subject in {Subject.HYPOTHESIS, Subject.LINK}:
        return "is a prediction, which nobody takes back: write a new version of it."
    if entry.subject is Subject.EXPORT:
        return "tells of files that left the casebook, which nobody can call back."
    if entry.subject is Subject.IDENTITY:
        return "is about a name or birth date, which the history does not hold: amend it instead."
    if entry.subject is Subject.RUNNER and entry.act not in {Act.AMENDED, Act.UNDONE}:
        return "registered the runner: everything told of them rests on it."
    return ""


def _undo_visit(unit: Session, entry: Entry, *, reason: str, by: str, at: datetime) -> list[Change]:
    began, ended = (side is None for side in entry.fields.get(REVISION, (0, 0)))
    stored = visits.find_visit_by_id(unit, entry.subject_id, to_add=True)
    if ended:
        if stored is not None:
            raise _changed_since(entry, ["the visit"])
        return _put_back_visit(unit, entry, reason=reason, by=by, at=at)
    if stored is None:
        raise _changed_since(entry, ["the visit"])
    # The revision counts saves on, whatever they made of the visit.
    _refuse_changed(unit, entry, stored.fields, but=frozenset({REVISION}))
    if began:
        more = [name for name in stored.fields if name not in entry.fields]
        if more:
            raise _changed_since(entry, _labels(unit, more))
        return remove_visit(unit, stored, act=Act.UNDONE, reason=reason)
    values, removed, details = [], [], {}
    for name, (was, _) in entry.fields.items():
        place = metric_and_side(name)
        if name == REVISION:
            continue
        if place is None:
            details[name] = record_fields.content_of(Subject.VISIT, name, was)
        elif was is None:
            removed.append(place)
        else:
            values.append(record_fields.value_of(*place, was))
    keys = [place[0] for name in entry.fields if (place := metric_and_side(name)) is not None]
    _refuse_taken(unit, stored, details)
    return write_visit(
        unit,
        stored,
        VisitChange(values=values, removed=removed, details=details),
        visits.known_metrics(unit, keys),
        act=Act.UNDONE,
        reason=reason,
        by=by,
        at=at,
    ).told


def _refuse_taken(unit: Session, stored: visits.KeptVisit, details: Mapping[str, object]) -> None:
    here = {"visited_on": stored.visit.visited_on, "session": stored.visit.session}
    there = {**here, **{name: details[name] for name in here if name in details}}
    days = visits.visit_days(unit, stored.runner_id)
    if there != here and (there["visited_on"], there["session"]) in days:
        raise _place_taken(there)


def _put_back_visit(
    unit: Session, entry: Entry, *, reason: str, by: str, at: datetime
) -> list[Change]:
    before = {name: was for name, (was, _) in entry.fields.items() if was is not None}
    revision = before[REVISION] + 1
    columns = {
        name: record_fields.content_of(Subject.VISIT, name, before.get(name))
        for name in record_fields.TOLD[Subject.VISIT]
    }
    runner_id = before["runner_id"]
    if (columns["visited_on"], columns["session"]) in visits.visit_days(unit, runner_id):
        raise _place_taken(columns)
    values = [
        record_fields.value_of(*place, told)
        for name, told in before.items()
        if (place := metric_and_side(name)) is not None
    ]
    metrics = visits.known_metrics(unit, (value.metric for value in values))
    # What was acknowledged while the visit was away rested on the others alone.
    reopened = acknowledging.reopen(
        unit,
        runner_id,
        (date.fromisoformat(before["visited_on"]), before["session"]),
        None,
        reason=f"It rested on a record without the visit of {before['visited_on']} (session "
        f"{before['session']}), which was put back: {reason}",
    )
    visits.put_back_visit(unit, entry.subject_id, {**columns, REVISION: revision})
    visits.add_values(unit, entry.subject_id, values, metrics, saved_in=revision)
    visits.add_save(unit, entry.subject_id, revision, {}, by=by, at=at)
    told = record_fields.change(
        Subject.VISIT,
        entry.subject_id,
        {},
        before | {REVISION: revision},
        act=Act.UNDONE,
        runner_id=runner_id,
        visit_id=entry.subject_id,
        reason=reason,
    )
    # The files and findings that left in the same step come back with it.
    attached = [
        _undo_record(unit, other, reason=reason, by=by, at=at)
        for other in history.entries_of_visit(unit, entry.subject_id)
        if other.subject in {Subject.ATTACHMENT, Subject.FINDING}
        and (other.at, other.act) == (entry.at, entry.act)
    ]
    return [*reopened, told, *attached]


def _undo_record(unit: Session, entry: Entry, *, reason: str, by: str, at: datetime) -> Change:
    kept = records.find_record(unit, entry.subject, entry.subject_id, to_write=True)
    now = {} if kept is None else dict(kept.fields)
    _refuse_changed(unit, entry, now, but=frozenset())
    after = now | {name: was for name, (was, _) in entry.fields.items()}
    after = {name: content for name, content in after.items() if content is not None}
    if kept is not None and not after:
        records.remove_record(unit, entry.subject, entry.subject_id)
        return removal(kept, act=Act.UNDONE, reason=reason)
    columns = {
        name: record_fields.content_of(entry.subject, name, was)
        for name, (was, _) in entry.fields.items()
    }
    record_id = entry.subject_id
    if kept is not None:
        records.write_record(unit, entry.subject, record_id, columns)
    else:
        columns |= _beside(unit, entry, after, by=by, at=at)
        record_id = records.put_back(unit, entry.subject, record_id, columns)
    return record_fields.change(
        entry.subject,
        record_id,
        now,
        after,
        act=Act.UNDONE,
        runner_id=entry.runner_id,
        visit_id=entry.visit_id,
        reason=reason,
    )


def _beside(
    unit: Session, entry: Entry, after: Mapping[str, Was], *, by: str, at: datetime
) -> dict[str, object]:
    """Columns of which the history does not tell, and the visit or programme must stand."""
    parent = after.get("visit_id", entry.visit_id)
    if parent is not None and visits.find_visit_by_id(unit, parent) is None:
        raise _changed_since(entry, ["its visit"])
    programme = after.get("programme_id")
    if programme and records.find_record(unit, Subject.PROGRAMME, programme) is None:
        raise _changed_since(entry, ["its programme"])
    if entry.subject is not Subject.ATTACHMENT:
        return {}
    name = f"{str(after['sha256'])[:12]}.{after['kind']}"
    return {"visit_id": entry.visit_id, "name": name, "added_at": at, "added_by": by}


def _refuse_changed(
    unit: Session, entry: Entry, now: Mapping[str, Was], *, but: frozenset[str]
) -> None:
    changed = [
        name
        for name, (_, made) in entry.fields.items()
        if name not in but and now.get(name) != made
    ]
    if changed:
        raise _changed_since(entry, _labels(unit, changed))


def _labels(unit: Session, names: list[str]) -> list[str]:
    places = {place[0] for name in names if (place := metric_and_side(name)) is not None}
    known = visits.known_metrics(unit, places)
    metrics = {key: one.metric for key, one in known.items()}
    return [field_label(name, metrics) for name in names]


def _changed_since(entry: Entry, what: list[str]) -> Conflict:
    more = f" and {len(what) - 5} more" if len(what) > 5 else ""
    return Conflict(
        f"Entry {entry.number} can't be undone: {'; '.join(what[:5])}{more} changed again since. "
        f"{NOTHING_STORED} Undo the later entries first, or amend the record."
    )


def _place_taken(place: Mapping[str, object]) -> Conflict:
    return Conflict(
        f"Another visit stands on {place['visited_on']} (session {place['session']}) by now. "
        f"{NOTHING_STORED} Move or strike out that one first."
    )
