"""Look-ups and inserts for whole tables at a time, as an import needs them.

Values and trials go through the driver itself: on SQLite by its `executemany`, on PostgreSQL
by COPY. Everything stays within the unit of work that is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray
from psycopg import Error as PostgresError
from sqlalchemy import String, delete, func, insert, select, text, type_coerce, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import InstrumentedAttribute, Session

from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, Value
from casebook.storage.tables import (
    IdentityRow,
    MetricRow,
    Row,
    RunnerRow,
    TrialRow,
    ValueRow,
    VisitRow,
    VisitSaveRow,
)

Whole = NDArray[np.int64]
Real = NDArray[np.float64]
Told = Callable[[int], None]

# Fewer than SQLite's limit of host parameters in one statement.
IDS_AT_ONCE = 1000
ROWS_AT_ONCE = 20_000
OBJECTS_AT_ONCE = 5_000
SIDES = tuple(side.value for side in Side)
REASONS = tuple(reason.value for reason in MissingReason)
# Any fixed number: two imports into one PostgreSQL casebook take turns.
IMPORT_LOCK = 7_206_301
# Tables whose ids SQLite never gives again, as `tables.py` asks.
NEVER_GIVEN_TWICE = (RunnerRow, VisitRow)
# Of SQLite's page cache while importing; an upper bound that small imports never reach.
CACHE_KIB = 32_768


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownRunner:
    """A stored runner; `born` is the earliest day on which the birth can have been."""

    runner_id: int
    born: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptValues:
    """Stored values, in no order.

    Parameters
    ----------
    value_id, visit_id, metric_id, side, n_trials, reason : array of int, shape (n,)
        `side` 0 left, 1 right, 2 none; `reason` -1 where there is a value.
    mean, sd, marking_sd : array of float, shape (n,)
        NaN where there is none.
    """

    value_id: Whole
    visit_id: Whole
    metric_id: Whole
    side: Whole
    n_trials: Whole
    mean: Real
    sd: Real
    marking_sd: Real
    reason: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTrials:
    """Stored trials: value, number and reading, each of shape (n,)."""

    value_id: Whole
    number: Whole
    reading: Real


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueColumns:
    """Values to be stored, each array of shape (n,); codes as in `KeptValues`."""

    visit_id: Whole
    metric_id: Whole
    side: Whole
    n_trials: Whole
    mean: Real
    sd: Real
    reason: Whole
    saved_in: Whole


def begin_bulk(session: Session) -> None:
    """Let no other import write until this unit is over, and make room for many rows."""
    if _is_postgresql(session):
        session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": IMPORT_LOCK})
    else:
        # Every trial looks up its value: with the usual 2 MB the pages would come and go.
        session.execute(text(f"PRAGMA cache_size = -{CACHE_KIB}"))


def known_runners(session: Session, clinic_id: int) -> dict[str, KnownRunner]:
    """Every runner of a clinic by code."""
    rows = session.execute(
        select(RunnerRow.code, RunnerRow.id, RunnerRow.birth_year, IdentityRow.birth_date)
        .outerjoin(IdentityRow, IdentityRow.runner_id == RunnerRow.id)
        .where(RunnerRow.clinic_id == clinic_id)
    )
    return {
        code: KnownRunner(runner_id=key, born=exact or (date(year, 1, 1) if year else None))
        for code, key, year, exact in rows
    }


def identities_of(
    session: Session, runner_ids: Iterable[int]
) -> dict[int, tuple[str, str, date | None]]:
    """Given name, family name and birth date by runner; those without any left out."""
    return {
        row["runner_id"]: (row["given_name"], row["family_name"], row["birth_date"])
        for row in rows_of(session, IdentityRow.runner_id, runner_ids)
    }


def metric_ids(session: Session) -> dict[str, int]:
    """Id of every metric by key."""
    query = select(MetricRow.key, MetricRow.id)
    return {key: metric_id for key, metric_id in session.execute(query)}  # noqa: C416


def rows_of(
    session: Session, column: InstrumentedAttribute[Any], ids: Iterable[int]
) -> list[dict[str, Any]]:
    """Rows that refer by a column to any of some ids, as dictionaries by attribute name."""
    kind = column.class_
    attributes = [attribute.key for attribute in kind.__mapper__.column_attrs]
    return [
        dict(zip(attributes, row, strict=True))
        for part in _parts(ids)
        for row in session.execute(
            select(*(getattr(kind, name) for name in attributes)).where(column.in_(part))
        )
    ]


def values_of(session: Session, visit_ids: Iterable[int]) -> KeptValues:
    """The values of some visits."""
    side, reason = _numbers(SIDES), {**_numbers(REASONS), None: -1}
    whole: list[list[Whole]] = [[] for _ in range(6)]
    real: list[list[Real]] = [[] for _ in range(3)]
    for part in _parts(visit_ids):
        rows = session.execute(
            select(
                ValueRow.id,
                ValueRow.visit_id,
                ValueRow.metric_id,
                ValueRow.n_trials,
                type_coerce(ValueRow.side, String),
                type_coerce(ValueRow.missing_reason, String),
                ValueRow.mean,
                ValueRow.sd,
                ValueRow.marking_sd,
            ).where(ValueRow.visit_id.in_(part))
        ).all()
        # Numbers at once: as Python objects a whole caseload would fill the memory.
        columns: list[Any] = list(zip(*rows, strict=True)) or [()] * 9
        columns[4] = [side[name] for name in columns[4]]
        columns[5] = [reason[name] for name in columns[5]]
        for found, column in zip(whole, columns[:6], strict=True):
            found.append(np.array(column, dtype=np.int64))
        for numbers, column in zip(real, columns[6:], strict=True):
            numbers.append(np.array(column, dtype=np.float64))
    joined = [np.concatenate([np.empty(0, np.int64), *found]) for found in whole]
    mean, sd, marking_sd = (np.concatenate([np.empty(0, np.float64), *part]) for part in real)
    return KeptValues(
        value_id=joined[0],
        visit_id=joined[1],
        metric_id=joined[2],
        n_trials=joined[3],
        side=joined[4],
        reason=joined[5],
        mean=mean,
        sd=sd,
        marking_sd=marking_sd,
    )


def trials_of(session: Session, visit_ids: Iterable[int]) -> KeptTrials:
    """The trials of some visits' values."""
    value_ids, numbers, readings = [], [], []
    for part in _parts(visit_ids):
        rows = session.execute(
            select(TrialRow.value_id, TrialRow.number, TrialRow.reading)
            .join(ValueRow, ValueRow.id == TrialRow.value_id)
            .where(ValueRow.visit_id.in_(part))
        ).all()
        columns: list[Any] = list(zip(*rows, strict=True)) or [()] * 3
        value_ids.append(np.array(columns[0], dtype=np.int64))
        numbers.append(np.array(columns[1], dtype=np.int64))
        readings.append(np.array(columns[2], dtype=np.float64))
    return KeptTrials(
        value_id=np.concatenate([np.empty(0, np.int64), *value_ids]),
        number=np.concatenate([np.empty(0, np.int64), *numbers]),
        reading=np.concatenate([np.empty(0, np.float64), *readings]),
    )


def insert_rows(session: Session, kind: type[Row], rows: Sequence[Mapping[str, Any]]) -> list[int]:
    """Insert rows that have an id of their own; returns the ids, in the same order."""
    if not rows:
        return []
    ids = _next_ids(session, kind, len(rows))
    session.execute(insert(kind), [{"id": key, **row} for key, row in zip(ids, rows, strict=True)])
    return list(ids)


def insert_many(
    session: Session, kind: type[Row], rows: Iterable[Mapping[str, Any]], n: int
) -> Whole:
    """The same for very many rows, of which only some thousands exist at a time."""
    ids = np.array(_next_ids(session, kind, n), dtype=np.int64)
    numbered = ({"id": key, **row} for key, row in zip(ids.tolist(), rows, strict=True))
    while batch := list(islice(numbered, OBJECTS_AT_ONCE)):
        session.execute(insert(kind), batch)
    return ids


def insert_keyed(session: Session, kind: type[Row], rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows whose primary key is given."""
    if rows:
        session.execute(insert(kind), list(rows))


def fill_row(
    session: Session, key: InstrumentedAttribute[int], row_id: int, columns: Mapping[str, Any]
) -> None:
    """Write what a row left open; the caller has seen that it was open."""
    session.execute(
        update(key.class_)
        .where(key == row_id)
        .values(**columns)
        .execution_options(synchronize_session=False)
    )


def insert_values(session: Session, columns: ValueColumns, told: Told) -> Whole:
    """Insert values; returns their ids, in the same order.

    Parameters
    ----------
    told : callable
        Given how many rows were written since the last call.
    """
    n = len(columns.visit_id)
    ids = np.array(_next_ids(session, ValueRow, n), dtype=np.int64)
    names = ("id", "visit_id", "metric_id", "side", "n_trials", "mean", "sd")
    side, reason = np.array(SIDES, dtype=object), np.array([*REASONS, None], dtype=object)
    # Slices, so that only some thousands of rows are Python objects at a time.
    batches = (
        list(
            zip(
                ids[part].tolist(),
                columns.visit_id[part].tolist(),
                columns.metric_id[part].tolist(),
                side[columns.side[part]].tolist(),
                columns.n_trials[part].tolist(),
                _or_none(columns.mean[part]),
                _or_none(columns.sd[part]),
                reason[columns.reason[part]].tolist(),
                columns.saved_in[part].tolist(),
                strict=True,
            )
        )
        for part in _slices(n)
    )
    write_batches(session, "value", (*names, "missing_reason", "saved_in"), batches, told)
    return ids


def insert_trials(session: Session, trials: KeptTrials, told: Told) -> None:
    """Insert trials; they come fastest in ascending order of value and number."""
    batches = (
        list(
            zip(
                trials.value_id[part].tolist(),
                trials.number[part].tolist(),
                trials.reading[part].tolist(),
                strict=True,
            )
        )
        for part in _slices(len(trials.value_id))
    )
    write_batches(session, "trial", ("value_id", "number", "reading"), batches, told)


def rewrite_summaries(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write n, mean and SD of values that have got further trials."""
    if rows:
        session.execute(update(ValueRow), list(rows))


def replace_values(
    session: Session, values: Mapping[int, tuple[Value, Mapping[int, float], int]]
) -> None:
    """Write values over stored ones.

    Parameters
    ----------
    values : mapping of int to (Value, mapping, int)
        By id: the value, its trials by number, the revision that brings it.
    """
    for part in _parts(values):
        session.execute(
            delete(TrialRow).where(TrialRow.value_id.in_(part)),
            execution_options={"synchronize_session": False},
        )
    if values:
        session.execute(
            update(ValueRow),
            [
                {
                    "id": key,
                    "n_trials": value.n_trials,
                    "mean": value.mean,
                    "sd": value.sd,
                    "missing_reason": value.missing_reason,
                    "marking_sd": value.marking_sd,
                    "saved_in": saved_in,
                }
                for key, (value, _, saved_in) in values.items()
            ],
        )
    trials = [
        {"value_id": key, "number": number, "reading": reading}
        for key, (_, by_number, _) in values.items()
        for number, reading in by_number.items()
    ]
    if trials:
        session.execute(insert(TrialRow), trials)


def bump_runners(session: Session, runner_ids: Iterable[int]) -> None:
    """Count that something about runners was stored."""
    for part in _parts(runner_ids):
        session.execute(
            update(RunnerRow)
            .where(RunnerRow.id.in_(part))
            .values(revision=RunnerRow.revision + 1)
            .execution_options(synchronize_session=False)
        )


def bump_visits(session: Session, visits: Mapping[int, int], *, by: str, at: datetime) -> None:
    """Count one more save of visits; `visits` gives the new revision of each."""
    if not visits:
        return
    session.execute(
        update(VisitRow),
        [{"id": key, "revision": revision} for key, revision in visits.items()],
    )
    session.execute(
        insert(VisitSaveRow),
        [
            {"visit_id": key, "revision": revision, "saved_at": at, "saved_by": by}
            for key, revision in visits.items()
        ],
    )


def write_batches(
    session: Session,
    table: str,
    columns: Sequence[str],
    batches: Iterable[list[tuple[Any, ...]]],
    told: Told,
) -> None:
    """Write batches of rows through the driver, within the session's transaction."""
    connection = session.connection()
    quoted = connection.dialect.identifier_preparer.quote
    listed = ", ".join(quoted(column) for column in columns)
    if not _is_postgresql(session):
        marks = ", ".join("?" * len(columns))
        # Names come from the tables above, never from a file.
        statement = f"INSERT INTO {table} ({listed}) VALUES ({marks})"  # noqa: S608
        for batch in batches:
            connection.exec_driver_sql(statement, batch)
            told(len(batch))
        return
    statement = f"COPY {table} ({listed}) FROM STDIN"
    driver: Any = connection.connection.driver_connection
    try:
        with driver.cursor() as cursor, cursor.copy(statement) as copy:
            for batch in batches:
                for row in batch:
                    copy.write_row(row)
                told(len(batch))
    except PostgresError as error:
        # As the toolkit would have wrapped it, so that it is refused in the same words.
        raise DBAPIError.instance(
            statement, None, error, PostgresError, connection_invalidated=driver.closed
        ) from error


def _next_ids(session: Session, kind: type[Row], n: int) -> Sequence[int]:
    """Ids for new rows; nobody else can be given the same ones."""
    if _is_postgresql(session):
        sequence = f"pg_get_serial_sequence('{kind.__tablename__}', 'id')"
        statement = text(f"SELECT nextval({sequence}) FROM generate_series(1, :n)")  # noqa: S608
        return list(session.scalars(statement, {"n": n}))
    # SQLite's unit of work took the only write lock at its start.
    start = session.scalar(select(func.max(kind.__table__.c.id))) or 0
    if kind in NEVER_GIVEN_TWICE:
        given = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        start = max(start, session.scalar(given, {"name": kind.__tablename__}) or 0)
    return range(start + 1, start + n + 1)


def _is_postgresql(session: Session) -> bool:
    return session.get_bind().dialect.name == "postgresql"


def _parts(ids: Iterable[int]) -> Iterator[list[int]]:
    listed = sorted({int(key) for key in ids})
    for start in range(0, len(listed), IDS_AT_ONCE):
        yield listed[start : start + IDS_AT_ONCE]


def _slices(n: int) -> Iterator[slice]:
    for start in range(0, n, ROWS_AT_ONCE):
        yield slice(start, start + ROWS_AT_ONCE)


def _numbers(names: Sequence[str]) -> dict[str | None, int]:
    return {name: number for number, name in enumerate(names)}


def _or_none(numbers: Real) -> list[float | None]:
    return [None if number != number else number for number in numbers.tolist()]  # noqa: PLR0124
