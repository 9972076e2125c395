"""Recording visits. What is stored is added to, never changed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.fitting import value_problems
from casebook.domain.people import clean_code
from casebook.domain.sides import Side
from casebook.domain.visits import (
    CONDITION_RANGES,
    Value,
    Visit,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.registering import get_runner_row
from casebook.storage import people, visits
from casebook.storage.session import reading, writing

NOTHING_STORED = "Nothing was stored."
TEXT_CONDITIONS = ("surface", "footwear", "view", "assessor")
MOST_LISTED = 12


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
    by = clean_code(by, column="by") if by.strip() else ""
    visit = _settled(visit)
    with writing(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, visit.runner)
        visit = replace(visit, runner=runner.code)
        metrics = visits.known_metrics(unit, (value.metric for value in visit.values))
        problems = [
            *_date_problems(visit, visits.birth_date_of(unit, runner_id), clock.today()),
            *_value_problems(visit, metrics),
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
        if expected_revision is None:
            saved = _save_new(unit, runner_id, visit, stored, metrics, by=by)
        else:
            saved = _add_to(unit, visit, stored, metrics, by=by, expected=expected_revision)
        if saved.added or expected_revision is None or saved.revision != expected_revision:
            people.bump_runner(unit, runner_id)
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
) -> VisitSaved:
    if stored is None:
        visit_id = visits.add_visit(unit, runner_id, visit, by=by, at=clock.now())
        if visit_id is not None:
            added = visits.add_values(unit, visit_id, visit.values, metrics, saved_in=1)
            return VisitSaved(visit_id=visit_id, revision=1, added=added)
        # Somebody else's came in between; theirs is committed by now.
        stored = visits.find_visit(unit, runner_id, visit.runner, visit.visited_on, visit.session)
    raise Conflict(_taken(visit, stored))


def _taken(visit: Visit, stored: visits.KeptVisit | None) -> str:
    what = f"The visit of '{visit.runner}' on {visit.visited_on} (session {visit.session})"
    if stored is None:
        return f"{what} was being saved by somebody else. {NOTHING_STORED} Save again."
    kept = [_named(value.metric, value.side) for value in stored.visit.values]
    return (
        f"{what} was already saved by {_who(stored.recorded_by)} at {_when(stored.recorded_at)}, "
        f"with {_listed(kept)}. {NOTHING_STORED} Open that visit to add to it, or save yours as "
        "another session of the day."
    )


def _add_to(
    unit: Session,
    visit: Visit,
    stored: visits.KeptVisit | None,
    metrics: Mapping[str, visits.KnownMetric],
    *,
    by: str,
    expected: int,
) -> VisitSaved:
    if stored is None:
        raise NotFound(
            f"There is no visit of '{visit.runner}' on {visit.visited_on} (session "
            f"{visit.session}) to add to. {NOTHING_STORED} Save it as a new visit."
        )
    if stored.revision != expected:
        raise Conflict(_changed_meanwhile(unit, visit, stored, expected))
    fresh = _not_yet_stored(visit, stored)
    columns = _not_yet_recorded(visit, stored.visit)
    if not fresh and not columns:
        return VisitSaved(visit_id=stored.visit_id, revision=expected, added=0)
    revision = expected + 1
    added = visits.add_values(unit, stored.visit_id, fresh, metrics, saved_in=revision)
    visits.add_save(unit, stored.visit_id, revision, columns, by=by, at=clock.now())
    return VisitSaved(visit_id=stored.visit_id, revision=revision, added=added)


def _changed_meanwhile(unit: Session, visit: Visit, stored: visits.KeptVisit, expected: int) -> str:
    theirs = visits.values_saved_after(unit, stored.visit_id, expected)
    return (
        f"The visit of '{visit.runner}' on {visit.visited_on} (session {visit.session}) was "
        f"saved by {_who(stored.last_saved_by)} at {_when(stored.last_saved_at)}, after you "
        f"opened it. They stored {_listed([_named(*one) for one in theirs])}. "
        f"{NOTHING_STORED} Open the visit again, compare, and save what is still missing."
    )


def _not_yet_stored(visit: Visit, stored: visits.KeptVisit) -> list[Value]:
    kept = {(value.metric, value.side): value for value in stored.visit.values}
    differing = [
        f"{_named(value.metric, value.side)} (stored: {_said(kept[value.metric, value.side])}; "
        f"given: {_said(value)})"
        for value in visit.values
        if (value.metric, value.side) in kept and not _same(kept[value.metric, value.side], value)
    ]
    if differing:
        raise Conflict(
            f"A stored value is never changed, and these differ: {'; '.join(differing)}. "
            f"{NOTHING_STORED} Leave them out, or record them as another session."
        )
    return [value for value in visit.values if (value.metric, value.side) not in kept]


def _same(one: Value, other: Value) -> bool:
    return (one.n_trials, one.mean, one.trials, one.missing_reason) == (
        other.n_trials,
        other.mean,
        other.trials,
        other.missing_reason,
    )


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
            f"What was recorded of the visit is never changed, and this differs: "
            f"{'; '.join(differing)}. {NOTHING_STORED} Record another session of that day where "
            "the conditions were others."
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


def _settled(visit: Visit) -> Visit:
    """The visit with n, mean and SD made from the trials, whoever made the values."""
    values: list[Value] = []
    problems: list[Problem] = []
    for value in visit.values:
        try:
            values.append(_settled_value(value))
        except InputRefused as refused:
            problems.extend(refused.problems)
    if problems:
        raise InputRefused(tuple(problems))
    return replace(visit, values=tuple(values))


def _settled_value(value: Value) -> Value:
    marking = value.marking_sd
    if value.trials:
        settled = value_of_trials(value.metric, value.side, value.trials)
        return replace(settled, marking_sd=marking)
    if value.mean is not None:
        settled = value_of_mean(value.metric, value.side, value.mean, value.n_trials)
        return replace(settled, sd=value.sd if value.n_trials > 1 else None, marking_sd=marking)
    if value.missing_reason is not None:
        return missing_value(value.metric, value.side, value.missing_reason)
    raise InputRefused(
        (
            Problem(
                code="value_empty",
                column=value.metric,
                message=f"{_named(value.metric, value.side)} has neither a number nor a reason "
                "why it is missing; give one of them or leave it out.",
            ),
        )
    )


def _date_problems(visit: Visit, born: date | None, today: date) -> Iterator[Problem]:
    day = visit.visited_on
    if day > today:
        yield Problem(
            code="date_in_future",
            column="visit_date",
            value=day.isoformat(),
            message=f"the visit is dated {day}, which lies in the future (today is {today}).",
        )
    if born is not None and day < born:
        yield Problem(
            code="date_before_birth",
            column="visit_date",
            value=day.isoformat(),
            message=f"the visit is dated {day}, before runner '{visit.runner}' was born. Check "
            "the date of the visit and the birth date.",
        )
    if visit.session < 1:
        yield Problem(
            code="session",
            column="session",
            value=str(visit.session),
            message=f"session is {visit.session}; expected 1, 2, ...",
        )
    if visit.next_due_on is not None and visit.next_due_on < day:
        yield Problem(
            code="due_before_visit",
            column="next_due_on",
            value=visit.next_due_on.isoformat(),
            message=f"the next visit is due on {visit.next_due_on}, before this one on {day}.",
        )


def _value_problems(visit: Visit, metrics: Mapping[str, visits.KnownMetric]) -> Iterator[Problem]:
    seen: set[tuple[str, Side]] = set()
    for value in visit.values:
        known = metrics.get(value.metric)
        if known is None:
            yield Problem(
                code="unknown_metric",
                column="metric",
                value=value.metric,
                message=f"'{value.metric}' is not in the catalogue. Check the key, or add the "
                "metric to the catalogue first.",
            )
            continue
        if not known.metric.active:
            yield Problem(
                code="inactive_metric",
                column="metric",
                value=value.metric,
                message=f"'{value.metric}' is switched off in the catalogue; switch it on to "
                "record it.",
            )
        if (value.metric, value.side) in seen:
            yield Problem(
                code="value_twice",
                column="metric",
                value=value.metric,
                message=f"{_named(value.metric, value.side)} is given twice; give all its trials "
                "together.",
            )
        seen.add((value.metric, value.side))
        yield from value_problems(known.metric, value)
        if value.sd is not None and not (math.isfinite(value.sd) and value.sd >= 0):
            yield Problem(
                code="sd",
                column=value.metric,
                value=str(value.sd),
                message=f"{_named(value.metric, value.side)}: the SD is {value.sd}; expected a "
                "number of zero or more.",
            )


def _named(metric: str, side: Side) -> str:
    return metric if side is Side.NONE else f"{metric} {side}"


def _said(value: Value) -> str:
    if value.mean is None:
        return f"missing, {value.missing_reason}"
    if value.trials:
        return " ".join(f"{trial:g}" for trial in value.trials)
    return f"{value.mean:g} (mean of {value.n_trials})"


def _listed(names: Iterable[str]) -> str:
    given = list(names)
    if not given:
        return "no values"
    more = f" and {len(given) - MOST_LISTED} more" if len(given) > MOST_LISTED else ""
    return ", ".join(given[:MOST_LISTED]) + more


def _who(by: str) -> str:
    return f"'{by}'" if by else "somebody (no name given)"


def _when(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"
