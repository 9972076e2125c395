"""A runner's whole record into a casebook that does not know the runner: all of it, or nothing.

Everything is held to the rules of whoever stores such a thing by hand, and told to the history as
one import, so that it can be undone as a whole. What the other casebook did with the record, and
attached files, do not come along: the history of this casebook tells what was done in it.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from casebook.domain.errors import CasebookError, Conflict, InputRefused, Problem
from casebook.domain.history import Change, Subject
from casebook.domain.hypotheses import Link
from casebook.domain.metrics import Metric
from casebook.domain.people import User, clean_by, clean_code
from casebook.domain.programmes import TargetOn
from casebook.domain.visits import Conditions, Value, Visit, VisitKind
from casebook.domain.whole_record import METRIC, HeldRow, WholeRecord
from casebook.intake.fhir_in import LARGEST_BYTES, ReadRecord, read_bundle
from casebook.intake.fhir_places import field_place
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.services.record_rules import record_problems
from casebook.services.visit_rules import date_problems, value_rule_problems
from casebook.storage import catalogue, history, import_runs, people, record_fields, visits
from casebook.storage import whole_record as store
from casebook.storage.session import Unit, writing

NOTHING_STORED: Final = "Nothing was stored."
# Who recorded a visit, and when, is told of this casebook.
_OWN: Final = frozenset({"recorded_at", "recorded_by"})
# Days that cannot lie ahead and that no rule of a record looks at.
_PAST: Final = frozenset({"visited_on", "written_on", "week_start"})
_SAME_IN_A_METRIC: Final = ("unit", "scale", "sided", "grades", "sign_convention")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordStored:
    """What an import of a record came to.

    Parameters
    ----------
    rows : dict of str to int
        How many of each kind were stored.
    new_metrics, new_users : tuple of str
        Keys that the catalogue had not, and codes of persons who were not known; these are
        switched off as users.
    history, files : int
        Entries of the other casebook's history and names of files, which are not taken over.
    run_id : int
        Number of the import, to undo it.
    """

    runner: str
    rows: Mapping[str, int]
    values: int
    new_metrics: tuple[str, ...]
    new_users: tuple[str, ...]
    history: int
    files: int
    run_id: int


@dataclass(slots=True, kw_only=True)
class _Storing:
    """The unit of work and what the record has got in it so far."""

    unit: Unit
    clinic_id: int
    read: ReadRecord
    by: str
    at: datetime
    ids: dict[tuple[Subject, int], int] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, row: HeldRow, name: str, words: str) -> None:
        """Tell what is wrong with a field of a row."""
        place = self.read.places.get((row.kind, row.number), row.kind.value)
        where = f", field {field_place(row.kind, name)}" if name else ""
        self.problems.append(Problem(code="record_field", message=f"{place}{where}: {words}"))

    def refuse(self, name: str) -> None:
        """Raise what was found, if anything was."""
        if self.problems:
            raise InputRefused(tuple(replace(one, file=name) for one in self.problems))


def import_record(casebook: Casebook, path: Path, *, by: str = "") -> RecordStored:
    """Store the record of a Bundle that `casebook record` wrote.

    Parameters
    ----------
    by : str
        Code of whoever imports; empty where it is not known.

    Raises
    ------
    InputRefused
        With every problem found, each with its entry and field.
    Conflict
        When a runner with this code is registered already.
    """
    by = clean_by(by)
    content = _content(path)
    read = read_bundle(content, name=path.name)
    record = read.record
    with writing(casebook.engine, alone=True) as unit:
        storing = _Storing(
            unit=unit, clinic_id=casebook.clinic_id, read=read, by=by, at=clock.now()
        )
        rows = _checked(storing, record, path.name)
        _refuse_known(storing, record.code)
        new_metrics = _add_metrics(storing, record.metrics)
        new_users = _add_users(storing, record.users)
        storing.refuse(path.name)
        _add_all(storing, record, rows)
        storing.refuse(path.name)
        added = len(rows) + len(record.values)
        file = {
            "name": path.name,
            "sha256": hashlib.sha256(content).hexdigest(),
            "table": "record",
        }
        run_id = import_runs.add_run(
            unit, casebook.clinic_id, at=storing.at, by=by, files=[file], added=added
        )
        history.append(unit, storing.changes, by=by, at=storing.at, import_run_id=run_id)
        unit.commit()
    return RecordStored(
        runner=record.code,
        rows=dict(Counter(row.kind.value for row in rows)),
        values=len(record.values),
        new_metrics=new_metrics,
        new_users=new_users,
        history=len(record.history),
        files=len(record.of_kind(Subject.ATTACHMENT)),
        run_id=run_id,
    )


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise InputRefused(
            (
                Problem(
                    code="file_unreadable",
                    file=str(path),
                    message=f"it cannot be read ({error.strerror or error}). Check the path.",
                ),
            )
        ) from error


def _refuse_known(storing: _Storing, code: str) -> None:
    if people.find_runner(storing.unit, storing.clinic_id, code) is not None:
        raise Conflict(
            f"A runner '{code}' is registered already, and a whole record is only taken by a "
            f"casebook that does not know the runner. {NOTHING_STORED} Import it into another "
            "casebook, or single tables with 'casebook import'."
        )


def _checked(storing: _Storing, record: WholeRecord, name: str) -> list[HeldRow]:
    """The rows that are stored, each with its reference to the runner; or every problem."""
    known = {(row.kind, row.number) for row in record.rows}
    rows = []
    for row in record.rows:
        if row.kind is Subject.ATTACHMENT:
            continue
        if row.kind not in store.kinds():
            storing.wrong(row, "", f"'{row.kind}' is nothing that is held on a runner")
            continue
        rows.append(_of_the_runner(row))
        _check_fields(storing, rows[-1], known)
    storing.refuse(name)
    metrics = {metric.key: metric for metric in record.metrics}
    for row in rows:
        _check_days(storing, row)
        _check_rules(storing, row, metrics)
    storing.refuse(name)
    return sorted(rows, key=lambda one: (store.kinds().index(one.kind), one.number))


def _check_rules(storing: _Storing, row: HeldRow, metrics: Mapping[str, Metric]) -> None:
    """What whoever stores such a row by hand is held to."""
    if row.kind is Subject.VISIT:
        return  # held to its rules together with its values
    columns = store.content_of(row)
    for problem in record_problems(row.kind, columns, runner=storing.read.record.code):
        storing.wrong(row, problem.column, problem.message)
    metric = metrics.get(row.fields.get(METRIC, ""))
    if metric is None or "what" not in columns:
        return
    if metric.sided == (columns["what"] is TargetOn.NONE):
        expected = "left, right or asymmetry" if metric.sided else "none"
        storing.wrong(row, "what", f"is '{columns['what']}'; expected {expected}")
    if row.kind is Subject.LINK:
        names = ("position", "role", "due_on", "direction", "amount", "why")
        try:
            Link(
                metric=metric.key,
                on=columns["what"],
                **{one: columns[one] for one in names},
            )
        except InputRefused as refused:
            for problem in refused.problems:
                storing.wrong(row, problem.column, problem.message)


def _of_the_runner(row: HeldRow) -> HeldRow:
    fields = {one: told for one, told in row.fields.items() if one not in _OWN}
    owner = {"runner_id": (Subject.RUNNER, 1)} if "runner_id" in store.columns_of(row.kind) else {}
    return replace(row, fields=fields, refs={**row.refs, **owner})


def _check_fields(storing: _Storing, row: HeldRow, known: set[tuple[Subject, int]]) -> None:
    columns = store.columns_of(row.kind)
    for column, ref in row.refs.items():
        wanted = store.referred_kind(row.kind, column) if column in columns else None
        if wanted is not None and (ref[0] is not wanted or ref not in known):
            storing.wrong(row, column, f"refers to a {ref[0]}; expected a {wanted}")
    for column, expected in store.wrong_fields(row):
        if column not in _OWN:
            told = row.fields.get(column)
            is_now = "is missing" if told is None else f"is {str(told)[:60]!r}"
            storing.wrong(row, column, f"{is_now}; expected {expected}")


def _check_days(storing: _Storing, row: HeldRow) -> None:
    today = clock.today()
    for name in _PAST & row.fields.keys():
        day = date.fromisoformat(row.fields[name])
        if day > today:
            storing.wrong(row, name, f"is {day}, which lies in the future (today is {today})")


def _add_metrics(storing: _Storing, metrics: tuple[Metric, ...]) -> tuple[str, ...]:
    """Add the metrics that the catalogue has not; tell of those that mean another thing here."""
    added = []
    for metric in metrics:
        found = catalogue.find_metric(storing.unit, metric.key)
        if found is None:
            storing.changes.append(catalogue.add_metric(storing.unit, metric))
            added.append(metric.key)
            continue
        for name in _SAME_IN_A_METRIC:
            here, there = getattr(found[0], name), getattr(metric, name)
            if here != there:
                storing.problems.append(
                    Problem(
                        code="metric_differs",
                        column=name,
                        value=str(there)[:60],
                        message=f"the metric '{metric.key}' of the record has another {name} "
                        f"('{str(there)[:60]}') than this casebook's catalogue "
                        f"('{str(here)[:60]}'), so that its values mean another thing. "
                        f"{NOTHING_STORED} Give one of the two a key of its own.",
                    )
                )
    return tuple(added)


def _add_users(storing: _Storing, users: tuple[User, ...]) -> tuple[str, ...]:
    """Add persons whom the record names, switched off: they are no users of this casebook."""
    known = {user.code for user in people.users(storing.unit, storing.clinic_id)}
    added = []
    for user in users:
        code = clean_code(user.code, column="Practitioner.identifier")
        if code not in known:
            away = replace(user, code=code, active=False)
            storing.changes.append(people.add_user(storing.unit, storing.clinic_id, away))
            added.append(code)
    return tuple(added)


def _add_all(storing: _Storing, record: WholeRecord, rows: list[HeldRow]) -> None:
    named = store.named_ids(storing.unit, storing.clinic_id)
    values: dict[int, list[Value]] = {}
    places: dict[int, list[str]] = {}
    for held, place in zip(record.values, storing.read.value_places, strict=True):
        values.setdefault(held.visit, []).append(held.value)
        places.setdefault(held.visit, []).append(place)
    for row in rows:
        try:
            _refuse_unnamed(row, named)
            if row.kind is Subject.VISIT:
                _add_visit(storing, row, values.get(row.number, []), places.get(row.number, []))
                continue
            key, told = store.add_row(
                storing.unit,
                row,
                clinic_id=storing.clinic_id,
                ids=storing.ids,
                named=named,
            )
        except CasebookError as refusal:
            # The database's own refusal ends the unit: nothing after it can be tried.
            _tell(storing, row, refusal)
            return
        storing.ids[row.kind, row.number] = key
        storing.changes.append(told)


def _tell(storing: _Storing, row: HeldRow, refusal: CasebookError) -> None:
    if not isinstance(refusal, InputRefused):
        storing.wrong(row, "", str(refusal))
        return
    columns = store.columns_of(row.kind)
    for problem in refusal.problems:
        name = problem.column if problem.column in columns else ""
        storing.wrong(row, name, problem.message)


def _refuse_unnamed(row: HeldRow, named: store.NamedIds) -> None:
    for name, keys in store.keys_of(row):
        if row.fields[name] not in named[keys]:
            raise InputRefused(
                (
                    Problem(
                        code="unknown_key",
                        message=f"field {field_place(row.kind, name)}: '{row.fields[name]}' stands "
                        "in no entry of the record; expected a CodeSystem's concept or a "
                        "Practitioner for it.",
                    ),
                )
            )


def _add_visit(storing: _Storing, row: HeldRow, values: list[Value], places: list[str]) -> None:
    unit, runner_id = storing.unit, storing.ids[Subject.RUNNER, 1]
    visit = _visit(row, storing.read.record.code, values)
    metrics = visits.known_metrics(unit, (value.metric for value in values))
    problems = [
        *date_problems(visit, visits.birth_date_of(unit, runner_id), clock.today()),
        *_value_problems(visit, metrics, places),
    ]
    if problems:
        raise InputRefused(tuple(problems))
    visit_id = visits.add_visit(unit, runner_id, visit, by=storing.by, at=storing.at)
    if visit_id is None:
        raise InputRefused(
            (
                Problem(
                    code="visit_twice",
                    message=f"a visit on {visit.visited_on}, session {visit.session}, stands in "
                    "an earlier entry, too; give one of them another session.",
                ),
            )
        )
    visits.add_values(unit, visit_id, visit.values, metrics, saved_in=1)
    storing.ids[Subject.VISIT, row.number] = visit_id
    storing.changes.append(
        record_fields.visit_recorded(
            visit_id, visit, runner_id=runner_id, by=storing.by, at=storing.at
        )
    )


def _value_problems(
    visit: Visit, metrics: Mapping[str, visits.KnownMetric], places: list[str]
) -> Iterator[Problem]:
    where = {
        (value.metric, value.side): place for value, place in zip(visit.values, places, strict=True)
    }
    for value in visit.values:
        alone = replace(visit, values=(value,))
        for problem in value_rule_problems(alone, metrics):
            # What was measured while a metric was in use stays so.
            if problem.code != "inactive_metric":
                place = where[value.metric, value.side]
                yield replace(problem, message=f"{place}: {problem.message}")
    if len(where) < len(visit.values):
        yield from (one for one in value_rule_problems(visit, metrics) if one.code == "value_twice")


def _visit(row: HeldRow, code: str, values: list[Value]) -> Visit:
    told: Mapping[str, Any] = row.fields
    names = Conditions.__dataclass_fields__
    due = told.get("next_due_on")
    return Visit(
        runner=code,
        visited_on=date.fromisoformat(told["visited_on"]),
        kind=VisitKind(told["kind"]),
        session=told.get("session", 1),
        conditions=Conditions(**{name: told[name] for name in names if name in told}),
        next_due_on=None if due is None else date.fromisoformat(due),
        note=told.get("note", ""),
        values=tuple(values),
    )
