"""Everything held on one runner, out of the store and into another: one walk over the tables.

Which tables belong to a runner is read from their foreign keys, so that a new table comes along
by itself. Its row must have a place among the history's subjects; a test holds that.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime
from functools import cache
from typing import Any, Final

from sqlalchemy import Boolean, Column, Date, Float, Integer, Table, inspect, select
from sqlalchemy import Enum as SqlEnum
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from casebook.domain.history import Change, Subject, Was
from casebook.domain.metrics import Metric
from casebook.domain.people import User
from casebook.domain.whole_record import METRIC, HeldRow, HeldValue
from casebook.storage import bulk, record_fields, translation
from casebook.storage.record_fields import ROW_OF, SUBJECT_OF
from casebook.storage.refusals import refusal
from casebook.storage.tables import (
    MetricRow,
    Row,
    RunnerRow,
    TrialRow,
    UserRow,
    UtcDateTime,
    ValueRow,
    VisitRow,
)

# Values and their trials are handed over as values; who saved a visit again stands in the history.
APART: Final = frozenset({"value", "trial", "visit_save"})
# Numbers of the store itself, which say nothing about the runner.
_OUT: Final = frozenset({"id", "clinic_id", "revision"})
NamedIds = Mapping[str, Mapping[str, int]]
"""Ids of metrics and users by key or code, under the names of their tables."""


@cache
def kinds() -> tuple[Subject, ...]:
    """Kinds of rows that belong to a runner; those referred to before those that refer."""
    found: dict[str, Subject] = {}
    subjects = {_table(subject).name: subject for subject in ROW_OF}
    for table in Row.metadata.sorted_tables:
        parents = {key.column.table.name for key in table.foreign_keys}
        if table.name in subjects and (table.name == "runner" or parents & found.keys()):
            found[table.name] = subjects[table.name]
    return tuple(found.values())


def _table(subject: Subject) -> Table:
    table = ROW_OF[subject].__table__
    assert isinstance(table, Table)  # noqa: S101 - for the type checker
    return table


def columns_of(subject: Subject) -> dict[str, Column[Any]]:
    """Columns that are handed over, by the name of their field or reference."""
    own = record_fields.id_column(subject)
    return {
        _field(column): column
        for column in _table(subject).columns
        if column.key not in _OUT and (column.key != own or _owner(column) is not None)
    }


def _owner(column: Column[Any]) -> str | None:
    """Name of the table that a column refers to."""
    return next((key.column.table.name for key in column.foreign_keys), None)


def _field(column: Column[Any]) -> str:
    return METRIC if _owner(column) == "metric" else column.key


def referred_kind(subject: Subject, name: str) -> Subject | None:
    """The kind that a column refers to, where that belongs to a runner itself."""
    owner = _owner(columns_of(subject)[name])
    return next((one for one in kinds() if _table(one).name == owner), None)


def names_users(subject: Subject) -> tuple[str, ...]:
    """Fields that name a user of the casebook."""
    return tuple(
        name for name, column in columns_of(subject).items() if _owner(column) == "clinic_user"
    )


def keys_of(held: HeldRow) -> Iterator[tuple[str, str]]:
    """Fields of a row that name a metric or a user, each with the table that it stands in."""
    for name, column in columns_of(held.kind).items():
        owner = _owner(column)
        if name in held.fields and owner in {"metric", "clinic_user"}:
            yield name, owner


def rows_of(session: Session, runner_id: int) -> tuple[HeldRow, ...]:
    """Every row of a runner, in the order of `kinds`, and within a kind in that of its id."""
    keys = {
        "metric": _pairs(session, MetricRow.id, MetricRow.key),
        "clinic_user": _pairs(session, UserRow.id, UserRow.code),
    }
    numbers: dict[Subject, dict[int, int]] = {}
    found = []
    for kind in kinds():
        known = {_table(one).name: list(ids) for one, ids in numbers.items()}
        rows = _rows(session, kind, runner_id, known)
        numbers[kind] = {
            getattr(row, record_fields.id_column(kind)): number
            for number, row in enumerate(rows, start=1)
        }
        found += [
            _held(row, kind, number, numbers, keys) for number, row in enumerate(rows, start=1)
        ]
    return tuple(found)


def _rows(
    session: Session, kind: Subject, runner_id: int, known: Mapping[str, list[int]]
) -> list[Row]:
    row = ROW_OF[kind]
    if row is RunnerRow:
        return [session.get_one(RunnerRow, runner_id)]
    # Any reference to the runner's own will do; one that is always filled in finds all.
    link = next(
        column
        for column in _table(kind).columns
        if not column.nullable and (_owner(column) or "") in known
    )
    attribute = getattr(row, link.key)
    order = list(inspect(row).primary_key)
    rows: list[Row] = []
    for part in _parts(known[_owner(link) or ""]):
        rows += session.scalars(select(row).where(attribute.in_(part)).order_by(*order))
    return sorted(rows, key=lambda one: getattr(one, record_fields.id_column(kind)))


def _parts(ids: list[int]) -> Iterator[list[int]]:
    for start in range(0, len(ids), bulk.IDS_AT_ONCE):
        yield ids[start : start + bulk.IDS_AT_ONCE]


def _held(
    row: Row,
    kind: Subject,
    number: int,
    numbers: Mapping[Subject, Mapping[int, int]],
    keys: Mapping[str, Mapping[int, str]],
) -> HeldRow:
    fields: dict[str, Was] = {}
    refs: dict[str, tuple[Subject, int]] = {}
    for name, column in columns_of(kind).items():
        content = getattr(row, column.key)
        owner, parent = _owner(column), referred_kind(kind, name)
        if content is None:
            continue
        if parent is not None:
            refs[name] = (parent, numbers[parent][content])
        elif owner is not None and owner in keys:
            fields[name] = keys[owner][content]
        elif (plain := record_fields.plain(content)) is not None:
            fields[name] = plain
    return HeldRow(kind=kind, number=number, fields=fields, refs=refs)


def values_of(session: Session, runner_id: int) -> tuple[HeldValue, ...]:
    """Every value of a runner with its trials; visits are numbered as in `rows_of`."""
    visits = {
        visit_id: number
        for number, visit_id in enumerate(
            session.scalars(
                select(VisitRow.id).where(VisitRow.runner_id == runner_id).order_by(VisitRow.id)
            ),
            start=1,
        )
    }
    mine = ValueRow.visit_id == VisitRow.id
    trials: defaultdict[int, list[float]] = defaultdict(list)
    for value_id, reading in session.execute(
        select(TrialRow.value_id, TrialRow.reading)
        .join(ValueRow, ValueRow.id == TrialRow.value_id)
        .join(VisitRow, mine)
        .where(VisitRow.runner_id == runner_id)
        .order_by(TrialRow.value_id, TrialRow.number)
    ):
        trials[value_id].append(reading)
    rows = session.execute(
        select(ValueRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == ValueRow.metric_id)
        .join(VisitRow, mine)
        .where(VisitRow.runner_id == runner_id)
        .order_by(ValueRow.visit_id, MetricRow.position, MetricRow.key, ValueRow.side)
    )
    return tuple(
        HeldValue(
            visit=visits[row.visit_id],
            value=translation.stored_value(row, metric=key, trials=trials.get(row.id, ())),
        )
        for row, key in rows
    )


def metrics_of(session: Session, keys: Iterable[str]) -> tuple[Metric, ...]:
    """Metrics by their keys, in the catalogue's order."""
    rows = session.scalars(
        select(MetricRow)
        .where(MetricRow.key.in_(set(keys)))
        .order_by(MetricRow.position, MetricRow.key)
    )
    return tuple(translation.metric_value(row) for row in rows)


def users_of(session: Session, clinic_id: int, codes: Iterable[str]) -> tuple[User, ...]:
    """Users by their codes."""
    rows = session.scalars(
        select(UserRow)
        .where(UserRow.clinic_id == clinic_id, UserRow.code.in_(set(codes)))
        .order_by(UserRow.code)
    )
    return tuple(translation.user_value(row) for row in rows)


def named_ids(session: Session, clinic_id: int) -> NamedIds:
    """Ids of metrics and users by key or code."""
    return {
        "metric": _pairs(session, MetricRow.key, MetricRow.id),
        "clinic_user": _pairs(session, UserRow.code, UserRow.id, UserRow.clinic_id == clinic_id),
    }


def _pairs(session: Session, one: Any, other: Any, *conditions: Any) -> dict[Any, Any]:
    rows = session.execute(select(one, other).where(*conditions))
    # Not dict(rows): a result has keys() and would be taken for a mapping.
    return {key: content for key, content in rows}  # noqa: C416


def wrong_fields(held: HeldRow) -> Iterator[tuple[str, str]]:
    """Fields that its table could not hold, each with what was expected."""
    columns = columns_of(held.kind)
    for name in {*held.fields, *held.refs} - columns.keys():
        yield name, "no such field"
    for name, column in columns.items():
        refers = referred_kind(held.kind, name) is not None
        given = (held.refs if refers else held.fields).get(name)
        if given is None and _must_be_given(column):
            yield name, "something; it may not be left out"
        elif given is not None and not refers:
            try:
                _typed(column, given)
            except (TypeError, ValueError):
                yield name, _expected(column)


def content_of(held: HeldRow) -> dict[str, Any]:
    """Every column of which the history tells, with what stands in it; of references None.

    `wrong_fields` has been asked before.
    """
    columns = columns_of(held.kind)
    content: dict[str, Any] = {}
    for name in record_fields.TOLD[held.kind]:
        column = columns.get(name)
        if column is not None and name in held.fields and _owner(column) is None:
            content[name] = _typed(column, held.fields[name])
        else:
            content[name] = "" if column is not None and _is_text(column) else None
    return content


def _must_be_given(column: Column[Any]) -> bool:
    return not column.nullable and column.default is None and not _is_text(column)


def _typed(column: Column[Any], given: Was) -> object:
    """A field's content as its column takes it."""
    kind: Any = column.type
    if _owner(column) is not None:
        return _a(str, given)
    if isinstance(kind, SqlEnum):
        return kind.enum_class(_a(str, given)) if kind.enum_class else given
    if isinstance(kind, UtcDateTime):
        moment = datetime.fromisoformat(_a(str, given))
        if moment.tzinfo is None:
            raise ValueError
        return moment.astimezone(UTC)
    if isinstance(kind, Date):
        return date.fromisoformat(_a(str, given))
    if isinstance(kind, Boolean):
        return _a(bool, given)
    if isinstance(kind, Integer):
        return _a(int, given)
    if isinstance(kind, Float):
        number = float(_a(int, given)) if isinstance(given, int) else _a(float, given)
        if not math.isfinite(number):
            raise ValueError
        return number
    return _a(str, given) if kind.python_type is str else given


def _a(kind: type, given: Was) -> Any:
    if not isinstance(given, kind) or (kind is not bool and isinstance(given, bool)):
        raise TypeError
    return given


def _expected(column: Column[Any]) -> str:
    kind: Any = column.type
    if _owner(column) is not None:
        return "a key"
    if isinstance(kind, SqlEnum) and kind.enum_class:
        return f"one of {', '.join(one.value for one in kind.enum_class)}"
    for sort, words in (
        (UtcDateTime, "a moment with its zone, as 2026-03-02T10:00:00Z"),
        (Date, "a day, as 2026-03-02"),
        (Boolean, "true or false"),
        (Integer, "a whole number"),
        (Float, "a number"),
    ):
        if isinstance(kind, sort):
            return words
    return "a text"


def add_row(
    session: Session,
    held: HeldRow,
    *,
    clinic_id: int,
    ids: Mapping[tuple[Subject, int], int],
    named: NamedIds,
) -> tuple[int, Change]:
    """Store a row; returns its id and what the history is told.

    Parameters
    ----------
    ids : mapping of (kind, number) to int
        Ids that earlier rows of the record have got.

    Raises
    ------
    InputRefused, Conflict
        Where the database refuses it; `wrong_fields` has been asked before.
    """
    row_type = ROW_OF[held.kind]
    columns: dict[str, object] = {}
    for name, column in columns_of(held.kind).items():
        owner = _owner(column) or ""
        if name in held.refs:
            columns[column.key] = ids[held.refs[name]]
        elif name not in held.fields:
            continue
        elif owner in named:
            columns[column.key] = named[owner][held.fields[name]]
        else:
            columns[column.key] = _typed(column, held.fields[name])
    for column in _table(held.kind).columns:
        if column.key == "clinic_id":
            columns["clinic_id"] = clinic_id
        if column.key not in columns and _is_text(column):
            columns[column.key] = ""
    row = row_type(**columns)
    try:
        session.add(row)
        session.flush()
    except SQLAlchemyError as error:
        raise refusal(error) from error
    runner_id = ids.get((Subject.RUNNER, 1))
    key = getattr(row, record_fields.id_column(SUBJECT_OF[row_type]))
    return key, record_fields.recorded(row, runner_id=runner_id)


def _is_text(column: Column[Any]) -> bool:
    texts = not isinstance(column.type, SqlEnum | UtcDateTime) and column.type.python_type is str
    return texts and not column.nullable
