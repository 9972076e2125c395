"""Tables of records held against what is stored, and then stored.

A record is named by its natural key. What is stored stays: a blank in the file keeps it, an
equal cell is the same fact, a cell that was left open is filled in, another one is a conflict.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from casebook.domain.decisions import Asked, Choice
from casebook.domain.errors import Problem
from casebook.domain.history import Act, Change, Subject
from casebook.domain.metrics import ErrorFigure
from casebook.domain.people import Sex
from casebook.intake.collecting import Collector
from casebook.intake.columns import TableKind
from casebook.intake.nearest import hint
from casebook.intake.records import Record, error_figure
from casebook.services.deciding_records import ask_record, ask_twice
from casebook.services.importing_shapes import IDENTITY, SHAPES
from casebook.storage import bulk, catalogue, record_fields
from casebook.storage.tables import (
    IdentityRow,
    InjuryRow,
    ProgrammeRow,
    Row,
)

Key = tuple[Any, ...]


@dataclass(slots=True, kw_only=True)
class Store:
    """The unit of work and what is known of the store, growing as records are written."""

    session: Session
    clinic_id: int
    problems: Collector
    warnings: Collector
    asked: Asked
    metric_ids: dict[str, int]
    runner_ids: dict[str, int]
    injuries: dict[tuple[int, date], list[int]] = field(default_factory=dict)
    programmes: dict[tuple[int, str], dict[date, int]] = field(default_factory=dict)
    visits: dict[tuple[str, date, int], int] = field(default_factory=dict)
    touched: set[int] = field(default_factory=set)
    changes: list[Change] = field(default_factory=list)
    at: datetime

    def tell(
        self,
        row: type[Row],
        row_id: int,
        before: Mapping[str, Any],
        after: Mapping[str, Any],
        *,
        act: Act,
        runner: str = "",
        reason: str = "",
    ) -> None:
        """Note for the history what a record's columns were and are."""
        subject = record_fields.SUBJECT_OF[row]
        self.changes.append(
            record_fields.change(
                subject,
                row_id,
                record_fields.fields_of(subject, before),
                record_fields.fields_of(subject, after),
                act=act,
                runner_id=row_id if subject is Subject.RUNNER else self.runner_ids.get(runner),
                visit_id=after.get("visit_id"),
                reason=reason,
            )
        )


@dataclass(slots=True, kw_only=True)
class Count:
    """Records of one file: added (or filled in), stored already, left out by a decision."""

    added: int = 0
    unchanged: int = 0
    left_out: int = 0


Counts = dict[int, Count]


def store_records(store: Store, kind: TableKind, records: list[Record], counts: Counts) -> None:
    """Write the new records of a kind; report those that differ from what is stored.

    What is written rests within the unit of work: the caller rolls it back when anything at
    all was refused.
    """
    if kind is TableKind.ERROR_FIGURES:
        _store_figures(store, records, counts)
        return
    _learn(store, kind, records)
    resolved = [
        (record, parent, attributes)
        for record in records
        if (parent := _parent(store, record)) is not None
        and (attributes := _attributes(store, record)) is not None
    ]
    shape = SHAPES[kind]
    seen: dict[Key, Record] = {}
    kept = {
        (row[shape.parent.key], *(row[name] for name in shape.key)): row
        for row in bulk.rows_of(store.session, shape.parent, {parent for _, parent, _ in resolved})
    }
    new: list[tuple[Record, int, dict[str, Any]]] = []
    keys = [
        (parent, *(attributes[name] for name in shape.key)) for _, parent, attributes in resolved
    ]
    stays = settle_twice(
        store, [(key, one[0]) for key, one in zip(keys, resolved, strict=True)], counts
    )
    for key, (record, parent, attributes), staying in zip(keys, resolved, stays, strict=True):
        if not staying:
            continue
        if key in seen:
            tell_twice(store, record, seen[key], next(iter(shape.renamed), shape.key[0]))
            continue
        seen[key] = record
        if key not in kept:
            new.append((record, parent, attributes))
            continue
        _compare(store, record, kept[key], attributes, counts.setdefault(record.file, Count()))
    _insert(store, kind, new, counts)


def settle_twice(store: Store, keyed: list[tuple[Key, Record]], counts: Counts) -> list[bool]:
    """Which of the records stay, where several are about the same thing and that was decided."""
    groups: dict[Key, list[int]] = {}
    for at, (key, _) in enumerate(keyed):
        groups.setdefault(key, []).append(at)
    stays = [True] * len(keyed)
    for group in groups.values():
        if len(group) < 2:
            continue
        records = [keyed[at][1] for at in group]
        decision = store.asked.ask(ask_twice(records, store.problems.files))
        if decision is None:
            continue
        kept = {Choice.FIRST: group[0], Choice.LAST: group[-1]}.get(decision.choice)
        for at, record in zip(group, records, strict=True):
            if at != kept:
                stays[at] = False
                counts.setdefault(record.file, Count()).left_out += 1
    return stays


def tell_twice(store: Store, record: Record, first: Record, column: str) -> None:
    """Report a second row about the same thing."""
    same = first.file == record.file
    where = f"row {first.line}" + ("" if same else f" of {store.problems.files[first.file]}")
    store.problems.add(
        record.file,
        record.problem(
            "duplicate_row",
            f"row {record.line} and {where} are about the same thing; keep one of them.",
            column,
        ),
    )


def _parent(store: Store, record: Record) -> int | None:
    """Id of what a record belongs to; reports an unknown one."""
    if record.kind in {TableKind.USERS, TableKind.RUNNERS}:
        return store.clinic_id
    code = record.cells["runner"]
    runner_id = store.runner_ids.get(code)
    if runner_id is None:
        store.problems.add(record.file, unknown_runner(record, store.runner_ids))
        return None
    if record.kind is TableKind.FINDINGS:
        return _visit(store, record)
    if "programme" not in record.cells:
        return runner_id
    return _programme(store, record, runner_id)


def _visit(store: Store, record: Record) -> int | None:
    code, day, number = (
        record.cells["runner"],
        record.cells["visit_date"],
        record.cells["session"] or 1,
    )
    found = store.visits.get((code, day, number))
    if found is None:
        store.problems.add(
            record.file,
            record.problem(
                "unknown_visit",
                f"'{code}' has no visit on {day} (session {number}), stored or in this import. "
                "Import the table of visits with this one, or correct the day.",
                "visit_date",
            ),
        )
    return found


def unknown_runner(record: Record, known: Iterable[str]) -> Problem:
    """Refusal of a record about somebody who is not registered."""
    code = record.cells["runner"]
    return record.problem(
        "unknown_runner",
        f"there is no runner '{code}' in the casebook or in a table of runners or visits of "
        f"this import.{hint(code, known)} Register the runner first, or correct the code.",
        "runner",
    )


def _programme(store: Store, record: Record, runner_id: int) -> int | None:
    title, started = record.cells["programme"], record.cells["programme_started_on"]
    found = store.programmes.get((runner_id, title), {})
    if started is not None:
        found = {day: key for day, key in found.items() if day == started}
    if len(found) == 1:
        return next(iter(found.values()))
    who = record.cells["runner"]
    if found:
        days = ", ".join(str(day) for day in sorted(found))
        problem = record.problem(
            "programme_ambiguous",
            f"'{who}' has several programmes '{title}', started on {days}; say which in the "
            "column programme_started_on.",
            "programme",
        )
    else:
        titles = [name for key, name in store.programmes if key == runner_id]
        problem = record.problem(
            "unknown_programme",
            f"'{who}' has no programme '{title}'"
            f"{'' if started is None else f' started on {started}'}.{hint(title, titles)} "
            "Import the table of programmes with this one, or correct the title.",
            "programme",
        )
    store.problems.add(record.file, problem)
    return None


def _attributes(store: Store, record: Record) -> dict[str, Any] | None:
    """Attributes of the row, None for a blank cell; reports what cannot be resolved."""
    shape = SHAPES[record.kind]
    attributes = {
        name: cell
        for column, cell in record.cells.items()
        if (name := shape.renamed.get(column, column)) in {*shape.key, *shape.defaults}
    }
    if record.kind is TableKind.TARGETS:
        attributes["metric_id"] = store.metric_ids[record.cells["metric"]]
    if record.kind is TableKind.RUNS and attributes["number"] is None:
        attributes["number"] = 1
    if record.kind is TableKind.RUNNERS and attributes["birth_year"] is None:
        exact = record.cells["birth_date"]
        attributes["birth_year"] = None if exact is None else exact.year
    if record.kind is TableKind.PROGRAMMES:
        onset = record.cells["injury_onset_on"]
        attributes["injury_id"] = None
        if onset is not None:
            runner_id = store.runner_ids[record.cells["runner"]]
            found = store.injuries.get((runner_id, onset), [])
            if len(found) != 1:
                store.problems.add(record.file, _no_injury(record, onset, len(found)))
                return None
            attributes["injury_id"] = found[0]
    return attributes


def _no_injury(record: Record, onset: date, number: int) -> Problem:
    has = f"{number} complaints" if number else "no complaint"
    return record.problem(
        "unknown_injury" if not number else "injury_ambiguous",
        f"'{record.cells['runner']}' has {has} with the onset {onset}; expected one. Import the "
        "table of injuries with this one, correct the date, or leave the cell blank.",
        "injury_onset_on",
    )


@dataclass(slots=True, kw_only=True)
class _Held:
    """A record held against its stored row: what is filled in, what gives way and why."""

    fills: dict[str, Any] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    left_out: bool = False

    @property
    def act(self) -> Act:
        return Act.AMENDED if self.reasons else Act.ADDED

    @property
    def reason(self) -> str:
        return "; ".join(dict.fromkeys(self.reasons))


def _compare(
    store: Store, record: Record, row: dict[str, Any], attributes: dict[str, Any], count: Count
) -> None:
    """Hold a record against its stored row; fill in what was left open or gives way."""
    shape = SHAPES[record.kind]
    held = _hold(store, record, row, {name: attributes[name] for name in shape.defaults})
    identity, kept = _Held(), {}
    if record.kind is TableKind.RUNNERS:
        given = {name: record.cells[name] for name in IDENTITY}
        rows = bulk.rows_of(store.session, IdentityRow.runner_id, [row["id"]])
        kept = rows[0] if rows else {}
        identity = _hold(store, record, {**dict.fromkeys(IDENTITY), **kept}, given)
    if held.left_out or identity.left_out:
        count.left_out += 1
        return
    runner = record.cells.get("runner", "")
    if held.fills:
        bulk.fill_row(store.session, shape.row.id, row["id"], held.fills)  # type: ignore[attr-defined]
        after = {**row, **held.fills}
        store.tell(
            shape.row, row["id"], row, after, act=held.act, runner=runner, reason=held.reason
        )
    if identity.fills and kept:
        bulk.fill_row(store.session, IdentityRow.runner_id, row["id"], identity.fills)
        after = {**kept, **identity.fills}
        store.tell(IdentityRow, row["id"], kept, after, act=Act.ADDED, runner=runner)
    elif identity.fills:
        _add_identities(store, [(row["id"], identity.fills)])
    if held.fills or identity.fills:
        count.added += 1
        _touch(store, record)
    else:
        count.unchanged += 1


def _hold(
    store: Store, record: Record, row: Mapping[str, Any], attributes: Mapping[str, Any]
) -> _Held:
    columns = {name: column for column, name in SHAPES[record.kind].renamed.items()}
    columns["injury_id"] = "injury_onset_on"
    held = _Held()
    for name, given in attributes.items():
        stored = row[name]
        if given is None or given == stored:
            continue
        open_until_now = stored is None or stored in {"", Sex.NOT_RECORDED}
        if open_until_now:
            held.fills[name] = given
            continue
        column = columns.get(name, name)
        question = ask_record(
            record,
            store.problems.files[record.file],
            column,
            stored,
            record.cells.get(column, given),
        )
        decision = store.asked.ask(question)
        if decision is None:
            _tell_conflict(store, record, column, name, stored, given)
        elif decision.choice is Choice.TAKE:
            held.fills[name] = given
            held.reasons.append(decision.reason)
        elif decision.choice is Choice.LEAVE_OUT:
            held.left_out = True
    return held


def _tell_conflict(
    store: Store, record: Record, column: str, name: str, stored: object, given: object
) -> None:
    hidden = name in IDENTITY or name == "injury_id"
    said = (
        "is stored as something else" if hidden else f"is stored as {stored} and given as {given}"
    )
    store.problems.add(
        record.file,
        record.problem(
            "conflict",
            f"{column} {said}; nothing stored gives way unless you decide so. Decide, correct the "
            "file, or leave the cell blank.",
            column,
        ),
    )


def _add_identities(store: Store, given: list[tuple[int, dict[str, Any]]]) -> None:
    rows: list[dict[str, Any]] = [
        {
            "runner_id": key,
            **{name: IDENTITY[name] if cell is None else cell for name, cell in cells.items()},
        }
        for key, cells in given
        if any(cell is not None for cell in cells.values())
    ]
    bulk.insert_keyed(store.session, IdentityRow, rows)
    codes = {key: code for code, key in store.runner_ids.items()}
    for row in rows:
        key = int(row["runner_id"])
        store.tell(IdentityRow, key, {}, row, act=Act.RECORDED, runner=codes[key])


def _insert(
    store: Store,
    kind: TableKind,
    new: list[tuple[Record, int, dict[str, Any]]],
    counts: Counts,
) -> None:
    shape = SHAPES[kind]
    rows = [
        {
            shape.parent.key: parent,
            **{
                name: shape.defaults.get(name) if cell is None else cell
                for name, cell in attributes.items()
            },
        }
        for _, parent, attributes in new
    ]
    if kind is TableKind.RUNNERS:
        rows = [{**row, "registered_on": row["registered_on"] or store.at.date()} for row in rows]
    ids = bulk.insert_rows(store.session, shape.row, rows)
    for (record, _, _), row, key in zip(new, rows, ids, strict=True):
        counts.setdefault(record.file, Count()).added += 1
        _remember(store, record, key)
        _touch(store, record)
        runner = record.cells.get("runner", "")
        store.tell(shape.row, key, {}, row, act=Act.RECORDED, runner=runner)
    if kind is TableKind.RUNNERS:
        _add_identities(
            store,
            [
                (key, {name: record.cells[name] for name in IDENTITY})
                for (record, _, _), key in zip(new, ids, strict=True)
            ],
        )


def _remember(store: Store, record: Record, key: int) -> None:
    """Know a new row by what later tables refer to."""
    cells = record.cells
    if record.kind is TableKind.RUNNERS:
        store.runner_ids[cells["runner"]] = key
    elif record.kind is TableKind.INJURIES:
        place = (store.runner_ids[cells["runner"]], cells["onset_on"])
        store.injuries.setdefault(place, []).append(key)
    elif record.kind is TableKind.PROGRAMMES:
        title = (store.runner_ids[cells["runner"]], cells["title"])
        store.programmes.setdefault(title, {})[cells["started_on"]] = key


def _touch(store: Store, record: Record) -> None:
    runner_id = store.runner_ids.get(record.cells.get("runner", ""))
    if runner_id is not None:
        store.touched.add(runner_id)


def _learn(store: Store, kind: TableKind, records: list[Record]) -> None:
    """Read the stored complaints or programmes that the records may refer to."""
    runner_ids = {
        store.runner_ids[record.cells["runner"]]
        for record in records
        if record.cells.get("runner") in store.runner_ids
    }
    if kind is TableKind.PROGRAMMES:
        store.injuries = {}
        for row in bulk.rows_of(store.session, InjuryRow.runner_id, runner_ids):
            store.injuries.setdefault((row["runner_id"], row["onset_on"]), []).append(row["id"])
    if kind in {TableKind.BLOCKS, TableKind.TARGETS, TableKind.ADHERENCE}:
        store.programmes = {}
        for row in bulk.rows_of(store.session, ProgrammeRow.runner_id, runner_ids):
            place = (row["runner_id"], row["title"])
            store.programmes.setdefault(place, {})[row["started_on"]] = row["id"]


def _store_figures(store: Store, records: list[Record], counts: Counts) -> None:
    """Adopt error figures; the one that another replaces is retired and kept."""
    seen: dict[Key, Record] = {}
    figures = [error_figure(record) for record in records]
    slots: list[Key] = [(one.metric, one.applies_to, one.origin) for one in figures]
    stays = settle_twice(store, list(zip(slots, records, strict=True)), counts)
    for record, figure, slot, staying in zip(records, figures, slots, stays, strict=True):
        if not staying:
            continue
        if slot in seen:
            same = seen[slot].file == record.file
            where = "" if same else f" of {store.problems.files[seen[slot].file]}"
            store.problems.add(
                record.file,
                record.problem(
                    "duplicate_row",
                    f"row {record.line} and row {seen[slot].line}{where} are figures of the same "
                    "metric, kind and origin; keep one of them.",
                    "metric",
                ),
            )
            continue
        seen[slot] = record
        count = counts.setdefault(record.file, Count())
        if _adopt(store, record, figure):
            count.added += 1
        else:
            count.unchanged += 1


def _adopt(store: Store, record: Record, figure: ErrorFigure) -> bool:
    in_force = [
        replace(one, adopted_at=None, retired_at=None)
        for one in catalogue.figures(store.session, figure.metric, include_retired=False)
        if (one.applies_to, one.origin) == (figure.applies_to, figure.origin)
    ]
    if in_force == [figure]:
        return False
    if in_force:
        catalogue.retire_figure(
            store.session,
            figure.metric,
            figure.applies_to,
            figure.origin,
            at=store.at,
            told=store.changes,
        )
        store.warnings.add(
            record.file,
            record.problem(
                "figure_replaced",
                f"the {figure.origin} error figure of {figure.metric} ({figure.applies_to}) in "
                f"force so far ('{in_force[0].source[:60]}') is retired and kept.",
                "metric",
            ),
        )
    catalogue.add_figure(store.session, figure, at=store.at, told=store.changes)
    return True
