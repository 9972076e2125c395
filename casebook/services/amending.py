"""Amending a visit: what it was stays in the history, with who, when and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem, refuse
from casebook.domain.history import (
    Act,
    Change,
    Subject,
    Was,
    metric_and_side,
    value_content,
    value_field,
)
from casebook.domain.people import clean_by
from casebook.domain.replaying import REVISION
from casebook.domain.sides import Side
from casebook.domain.visits import CONDITION_RANGES, Conditions, Value, Visit, as_kept
from casebook.services import clock
from casebook.services.meanwhile import changed_meanwhile
from casebook.services.opened import Casebook
from casebook.services.recording import TEXT_CONDITIONS, VisitSaved
from casebook.services.registering import get_runner_row
from casebook.services.visit_rules import date_problems, settled, value_rule_problems
from casebook.services.visit_words import NOTHING_STORED, listed, named
from casebook.storage import acknowledging, history, people, record_fields, visits
from casebook.storage.session import writing

LONGEST_REASON = 2000
CONDITIONS = (*(column for column, *_ in CONDITION_RANGES), *TEXT_CONDITIONS)
NEVER_OPEN = ("kind", "visited_on", "session")
DETAILS = (*CONDITIONS, *NEVER_OPEN, "next_due_on", "note")
# What no number of the visit was taken under; the rest decides what is compared with what.
BESIDE_THE_NUMBERS = frozenset({"next_due_on", "note", REVISION})


def asked_reason(reason: str) -> str:
    """A reason, trimmed.

    Raises
    ------
    InputRefused
        When there is none, or it is longer than 2,000 characters.
    """
    words = reason.strip()
    if not 1 <= len(words) <= LONGEST_REASON:
        raise refuse(
            "reason_missing",
            f"What is stored is changed with a reason of 1 to {LONGEST_REASON} characters; "
            f"{len(words)} were given. Say why. {NOTHING_STORED}",
            column="reason",
            value=words[:40],
        )
    return words


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitChange:
    """What is to change about a visit; the rest of it stays.

    Parameters
    ----------
    values : sequence of Value
        Values to stand from now on, whether there was one in their place or not.
    removed : sequence of (metric key, Side)
        Values to be struck out: they leave the visit and stand in the history only.
    details : mapping of str to object
        Columns by name (`DETAILS`): a condition, `kind`, `visited_on`, `session`,
        `next_due_on` or `note`. None or '' empties one.
    """

    values: Sequence[Value] = ()
    removed: Sequence[tuple[str, Side]] = ()
    details: Mapping[str, object] = field(default_factory=dict)


def amend_visit(
    casebook: Casebook,
    runner: str,
    visited_on: date,
    session: int,
    change: VisitChange,
    *,
    expected_revision: int,
    reason: str,
    by: str,
) -> VisitSaved:
    """Change a stored visit; all of it or nothing.

    Only what is given changes. What an acknowledged flag rested on opens the flag again.

    Parameters
    ----------
    expected_revision : int
        The visit's revision as it was shown.
    reason : str
        Why. Not needed where something is merely added.

    Raises
    ------
    NotFound
        For a runner or visit that does not exist, or a value to be struck out that is not there.
    InputRefused
        With every problem found, or without a reason.
    VisitChangedMeanwhile
        When somebody else saved the visit after `expected_revision`, with what they changed
        field by field; it is saved again with its `shown_revision`.
    Conflict
        When the day and session are those of another visit.
    """
    by = clean_by(by)
    details, places = change.details, tuple(change.removed)
    _refuse_details(details)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        stored = get_visit(unit, runner_id, known.code, visited_on, session)
        visit = settled(replace(stored.visit, values=tuple(change.values)))
        visit = _with_details(visit, details)
        visit = replace(visit, values=_as_marked(visit.values, stored.visit.values))
        metrics = visits.known_metrics(
            unit, (*(v.metric for v in visit.values), *(metric for metric, _ in places))
        )
        _refuse_problems(unit, stored, visit, places, metrics)
        given: dict[str, Was] = {
            **{name: record_fields.plain(content) for name, content in details.items()},
            **record_fields.value_fields(visit.values),
            **dict.fromkeys(value_field(*place) for place in places),
        }
        if stored.revision != expected_revision:
            raise changed_meanwhile(unit, stored, given, expected_revision)
        _refuse_absent(stored, places)
        written = write_visit(
            unit,
            stored,
            replace(change, values=visit.values),
            metrics,
            reason=reason,
            by=by,
            at=clock.now(),
        )
        if written.told:
            people.bump_runner(unit, runner_id)
            history.append(unit, written.told, by=by, at=clock.now())
            unit.commit()
    return written.saved


def _as_marked(given: Iterable[Value], stored: Iterable[Value]) -> tuple[Value, ...]:
    """What stays of marked points keeps their error, and trials their numbers."""
    kept = {(value.metric, value.side): value for value in stored}
    values = []
    for value in given:
        was = kept.get((value.metric, value.side))
        values.append(value if was is None else as_kept(value, was))
    return tuple(values)


def get_visit(
    unit: Session, runner_id: int, code: str, visited_on: date, session: int
) -> visits.KeptVisit:
    """A visit that nobody else can change until the unit ends.

    Raises
    ------
    NotFound
    """
    stored = visits.find_visit(unit, runner_id, code, visited_on, session, to_add=True)
    if stored is None:
        raise NotFound(
            f"There is no visit of '{code}' on {visited_on} (session {session}). "
            f"{NOTHING_STORED} Check the day and the session."
        )
    return stored


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitWritten:
    """What a change came to, and what the history is told of it."""

    saved: VisitSaved
    told: list[Change]


def write_visit(
    unit: Session,
    stored: visits.KeptVisit,
    wanted: VisitChange,
    metrics: Mapping[str, visits.KnownMetric],
    *,
    act: Act | None = None,
    reason: str,
    by: str,
    at: datetime,
) -> VisitWritten:
    """Write a change to a visit; the caller tells the history, last in its unit.

    Parameters
    ----------
    act : Act or None
        None: added, struck out or amended, as the change has it.
    """
    fields = stored.fields
    values = [
        value
        for value in wanted.values
        if fields.get(value_field(value.metric, value.side)) != value_content(value)
    ]
    columns = {
        name: content
        for name, content in wanted.details.items()
        if fields.get(name) != record_fields.plain(content)
    }
    saved = VisitSaved(visit_id=stored.visit_id, revision=stored.revision, added=0)
    if not (values or columns or wanted.removed):
        return VisitWritten(saved=saved, told=[])
    revision = stored.revision + 1
    after = {
        **fields,
        **{name: record_fields.plain(content) for name, content in columns.items()},
        **record_fields.value_fields(values),
        **dict.fromkeys(value_field(*place) for place in wanted.removed),
        REVISION: revision,
    }
    differences = record_fields.differences(fields, after)
    act = act or _act(differences)
    if act is not Act.ADDED:
        reason = asked_reason(reason)
    replaced = [
        (value.metric, value.side)
        for value in values
        if value_field(value.metric, value.side) in fields
    ]
    visits.remove_values(unit, stored.visit_id, (*replaced, *wanted.removed), metrics)
    visits.add_values(unit, stored.visit_id, values, metrics, saved_in=revision)
    contents = {name: _content(name, content) for name, content in columns.items()}
    visits.add_save(unit, stored.visit_id, revision, contents, by=by, at=at)
    told = Change(
        act=act,
        subject=Subject.VISIT,
        subject_id=stored.visit_id,
        fields=differences,
        runner_id=stored.runner_id,
        visit_id=stored.visit_id,
        reason=reason.strip(),
    )
    reopened = _reopened(unit, stored, differences, metrics, reason=reason, contents=contents)
    return VisitWritten(
        saved=VisitSaved(visit_id=stored.visit_id, revision=revision, added=len(values)),
        told=[told, *reopened],
    )


def _content(name: str, content: object) -> object:
    try:
        return record_fields.content_of(Subject.VISIT, name, record_fields.plain(content))
    except (ValueError, TypeError) as error:
        raise refuse(
            "content",
            f"{name} is '{content}', which no visit's {name} can be. {NOTHING_STORED}",
            column=name,
            value=content,
        ) from error


def _act(differences: Mapping[str, tuple[Was, Was]]) -> Act:
    changed = [pair for name, pair in differences.items() if name != REVISION]
    if all(was is None for was, _ in changed):
        return Act.ADDED
    return Act.STRUCK_OUT if all(now is None for _, now in changed) else Act.AMENDED


def _reopened(
    unit: Session,
    stored: visits.KeptVisit,
    differences: Mapping[str, tuple[Was, Was]],
    metrics: Mapping[str, visits.KnownMetric],
    *,
    reason: str,
    contents: Mapping[str, object],
) -> list[Change]:
    """Take back the acknowledgements that rest on what was changed."""
    places = [metric_and_side(name) for name in differences]
    touched = {place[0] for place in places if place is not None}
    # What fills in an open condition changes no number that a flag rests on.
    under = _act(differences) is not Act.ADDED and any(
        place is None and name not in BESIDE_THE_NUMBERS
        for name, place in zip(differences, places, strict=True)
    )
    if not touched and not under:
        return []
    visit = stored.visit
    was = (visit.visited_on, visit.session)
    moved: dict[str, Any] = dict(contents)
    now = (moved.get("visited_on", was[0]), moved.get("session", was[1]))
    return acknowledging.reopen(
        unit,
        stored.runner_id,
        min(was, now),
        None if under else [metrics[key].metric_id for key in touched],
        reason=rests_on(stored, reason) if reason.strip() else acknowledging.added_to(*was),
    )


def rests_on(stored: visits.KeptVisit, reason: str) -> str:
    """Why an acknowledgement was taken back."""
    return (
        f"It rested on the visit of {stored.visit.visited_on} (session {stored.visit.session}), "
        f"which was changed: {reason.strip()}"
    )


def _refuse_details(details: Mapping[str, object]) -> None:
    problems = [
        Problem(
            code="unknown_detail",
            column=name,
            message=f"'{name}' is nothing of a visit that can be amended; expected one of "
            f"{', '.join(DETAILS)}.",
        )
        for name in details
        if name not in DETAILS
    ] + [
        Problem(
            code="detail_open",
            column=name,
            message=f"every visit has its {name}; give another, or leave it as it is.",
        )
        for name in NEVER_OPEN
        if name in details and details[name] in (None, "")
    ]
    if problems:
        raise InputRefused(tuple(problems))


def _with_details(visit: Visit, details: Mapping[str, object]) -> Visit:
    contents = {name: _content(name, content) for name, content in details.items()}
    under = {name: contents.pop(name) for name in CONDITIONS if name in contents}
    conditions: Conditions = replace(visit.conditions, **under)  # type: ignore[arg-type]
    return replace(visit, conditions=conditions, **contents)  # type: ignore[arg-type]


def _refuse_problems(
    unit: Session,
    stored: visits.KeptVisit,
    visit: Visit,
    places: Sequence[tuple[str, Side]],
    metrics: Mapping[str, visits.KnownMetric],
) -> None:
    born = visits.birth_date_of(unit, stored.runner_id)
    kept = {value.metric for value in stored.visit.values}
    problems = [
        *date_problems(visit, born, clock.today()),
        *(
            problem
            for problem in value_rule_problems(visit, metrics)
            # One that was switched off since can still be put right.
            if not (problem.code == "inactive_metric" and problem.value in kept)
        ),
    ]
    both = {(value.metric, value.side) for value in visit.values} & set(places)
    problems += [
        Problem(
            code="value_and_removed",
            column=metric,
            message=f"{named(metric, side)} is given and struck out at once; do one of the two.",
        )
        for metric, side in sorted(both)
    ]
    if problems:
        raise InputRefused(tuple(problems))
    there, here = (visit.visited_on, visit.session), stored.visit
    if there != (here.visited_on, here.session) and visits.find_visit(
        unit, stored.runner_id, visit.runner, *there
    ):
        raise Conflict(
            f"'{visit.runner}' has another visit on {there[0]} (session {there[1]}). "
            f"{NOTHING_STORED} Choose another session of that day."
        )


def _refuse_absent(stored: visits.KeptVisit, places: Sequence[tuple[str, Side]]) -> None:
    absent = [named(*place) for place in places if value_field(*place) not in stored.fields]
    if absent:
        raise NotFound(
            f"The visit of '{stored.visit.runner}' on {stored.visit.visited_on} has no value of "
            f"{listed(absent)} to be struck out. {NOTHING_STORED}"
        )
