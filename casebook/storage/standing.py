"""Everything that stands in the store, as the history would tell it; read piece by piece."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from sqlalchemy import Connection, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute

from casebook.domain.history import Subject, Was
from casebook.storage import record_fields
from casebook.storage.record_fields import ROW_OF, TOLD
from casebook.storage.tables import (
    AdherenceRow,
    AttachmentRow,
    BlockRow,
    CautionAcknowledgementRow,
    FindingRow,
    FlagAcknowledgementRow,
    HistoryRow,
    HypothesisLinkRow,
    HypothesisRow,
    MeasurementSetMetricRow,
    MetricRow,
    PainAcknowledgementRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    VisitRow,
)

ROWS_AT_ONCE = 2_000
# Visits whose values are held at a time.
VISITS_AT_ONCE = 250


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A record that stands, with the fields that the history should make of it."""

    subject_id: int
    runner_id: int | None
    visit_id: int | None
    fields: Mapping[str, Was]


# Subjects in an order in which a reader can follow them; visits apart, for there are many.
SMALL: Final = tuple(subject for subject in ROW_OF if subject is not Subject.VISIT)

_OWNER: Final[Mapping[Subject, Any]] = {
    Subject.RUNNER: RunnerRow.id,
    Subject.BLOCK: ProgrammeRow.runner_id,
    Subject.TARGET: ProgrammeRow.runner_id,
    Subject.ADHERENCE: ProgrammeRow.runner_id,
    Subject.ACKNOWLEDGEMENT: VisitRow.runner_id,
    Subject.ATTACHMENT: VisitRow.runner_id,
    Subject.FINDING: VisitRow.runner_id,
    Subject.CAUTION: VisitRow.runner_id,
    Subject.PAIN: ProgrammeRow.runner_id,
    Subject.LINK: HypothesisRow.runner_id,
}
_PARENT: Final[Mapping[Subject, tuple[type, Any, Any]]] = {
    Subject.BLOCK: (ProgrammeRow, ProgrammeRow.id, BlockRow.programme_id),
    Subject.TARGET: (ProgrammeRow, ProgrammeRow.id, TargetRow.programme_id),
    Subject.ADHERENCE: (ProgrammeRow, ProgrammeRow.id, AdherenceRow.programme_id),
    Subject.ACKNOWLEDGEMENT: (VisitRow, VisitRow.id, FlagAcknowledgementRow.visit_id),
    Subject.ATTACHMENT: (VisitRow, VisitRow.id, AttachmentRow.visit_id),
    Subject.FINDING: (VisitRow, VisitRow.id, FindingRow.visit_id),
    Subject.CAUTION: (VisitRow, VisitRow.id, CautionAcknowledgementRow.visit_id),
    Subject.PAIN: (ProgrammeRow, ProgrammeRow.id, PainAcknowledgementRow.programme_id),
    Subject.LINK: (HypothesisRow, HypothesisRow.id, HypothesisLinkRow.hypothesis_id),
}


def small_records(connection: Connection, subject: Subject) -> Iterator[Standing]:
    """Every record of a subject but visits, by id."""
    row = ROW_OF[subject]
    key: InstrumentedAttribute[int] = getattr(row, record_fields.id_column(subject))
    owner = _OWNER.get(subject, getattr(row, "runner_id", None))
    names = TOLD[subject]
    given = [key, *(getattr(row, name) for name in names)]
    more = [one for one in (owner, getattr(row, "visit_id", None)) if one is not None]
    # Each under a label of its own: a column may be wanted twice.
    query: Select[Any] = select(*(one.label(f"c{at}") for at, one in enumerate([*given, *more])))
    if subject in _PARENT:
        parent, one, other = _PARENT[subject]
        query = query.outerjoin_from(row, parent, one == other)
    metrics = _metrics_of_sets(connection) if subject is Subject.MEASUREMENT_SET else {}
    rows = connection.execute(query.order_by(key).execution_options(yield_per=ROWS_AT_ONCE))
    for record in rows:
        rest = list(record[len(given) :])
        runner_id = rest.pop(0) if owner is not None else None
        columns = dict(zip(names, record[1 : len(given)], strict=True))
        fields = record_fields.fields_of(subject, columns)
        if subject is Subject.MEASUREMENT_SET:
            fields["metrics"] = metrics.get(record[0], [])
        yield Standing(
            subject_id=record[0],
            runner_id=runner_id,
            visit_id=rest[0] if rest else None,
            fields=fields,
        )


def _metrics_of_sets(connection: Connection) -> dict[int, list[str]]:
    found: defaultdict[int, list[str]] = defaultdict(list)
    query = (
        select(MeasurementSetMetricRow.set_id, MetricRow.key)
        .join(MetricRow, MetricRow.id == MeasurementSetMetricRow.metric_id)
        .order_by(MeasurementSetMetricRow.set_id, MeasurementSetMetricRow.position)
    )
    for set_id, key in connection.execute(query):
        found[set_id].append(key)
    return found


def visit_ranges(connection: Connection) -> Iterator[tuple[int, int]]:
    """First and last id of stretches that hold every visit stored or told of."""
    start: int | None = None
    while (start := _next_visit(connection, start)) is not None:
        stop = start + VISITS_AT_ONCE - 1
        yield start, stop
        start = stop + 1


def _next_visit(connection: Connection, start: int | None) -> int | None:
    queries = (select(func.min(VisitRow.id)), select(func.min(HistoryRow.visit_id)))
    if start is not None:
        queries = (
            queries[0].where(VisitRow.id >= start),
            queries[1].where(HistoryRow.visit_id >= start),
        )
    found = [connection.execute(query).scalar_one() for query in queries]
    return min((one for one in found if one is not None), default=None)


# Past the toolkit to the driver: there may be millions of rows, and they are only compared.
_VALUES = """SELECT v.visit_id, v.id, m.key, v.side, v.n_trials, v.mean, v.sd, v.missing_reason,
        v.marking_sd
    FROM value v JOIN metric m ON m.id = v.metric_id
    WHERE v.visit_id BETWEEN {} AND {}"""
# In the order of the values' own index, so that nothing needs to be sorted.
_TRIALS = """SELECT t.value_id, t.number, t.reading FROM value v JOIN trial t ON t.value_id = v.id
    WHERE v.visit_id BETWEEN {} AND {}
    ORDER BY v.visit_id, v.metric_id, v.side, t.number"""


def _rows(connection: Connection, query: str, first: int, last: int) -> Iterator[tuple[Any, ...]]:
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    with connection.exec_driver_sql(query.format(mark, mark), (first, last)) as result:
        yield from cast("Iterable[tuple[Any, ...]]", result.cursor)


def visits_between(connection: Connection, first: int, last: int) -> Iterator[Standing]:
    """Every visit of a stretch of ids, by id, its values among its fields."""
    names = TOLD[Subject.VISIT]
    query = (
        select(VisitRow.id, *(getattr(VisitRow, name) for name in names))
        .where(VisitRow.id.between(first, last))
        .order_by(VisitRow.id)
    )
    values = _value_fields(connection, first, last)
    for row in connection.execute(query):
        columns = dict(zip(names, row[1:], strict=True))
        yield Standing(
            subject_id=row[0],
            runner_id=columns["runner_id"],
            visit_id=row[0],
            fields=record_fields.fields_of(Subject.VISIT, columns) | values.get(row[0], {}),
        )


def _trials(connection: Connection, first: int, last: int) -> dict[int, dict[str, Was]]:
    """By value its trials, and their numbers where these have gaps, as `value_content` has them."""
    held: dict[int, dict[str, Was]] = {}
    for value_id, number, reading in _rows(connection, _TRIALS, first, last):
        if value_id in held:
            readings = held[value_id]["trials"]
            readings.append(reading)
        else:
            readings = [reading]
            held[value_id] = {"trials": readings}
        if "numbers" in held[value_id]:
            held[value_id]["numbers"].append(number)
        elif number != len(readings):
            # The first that is not where it would stand without a gap.
            held[value_id]["numbers"] = [*range(1, len(readings)), number]
    return held


def _value_fields(connection: Connection, first: int, last: int) -> dict[int, dict[str, Was]]:
    trials = _trials(connection, first, last)
    found: defaultdict[int, dict[str, Was]] = defaultdict(dict)
    rows = _rows(connection, _VALUES, first, last)
    for visit_id, value_id, key, side, n, mean, sd, missing, marking_sd in rows:
        # As `value_content` has it, without the value in between.
        held: dict[str, Was]
        if missing is not None:
            held = {"missing": missing}
        else:
            if value_id in trials:
                held = trials[value_id]
            else:
                held = {"mean": mean, "n": n}
                if sd is not None:
                    held["sd"] = sd
            if marking_sd is not None:
                held["marking_sd"] = marking_sd
        found[visit_id][f"value:{key}:{side}"] = held
    return found
