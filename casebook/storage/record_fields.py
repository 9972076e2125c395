"""Row -> what the history tells of it: one place each, for all who store and for the check.

A record's fields are its columns under their own names, as plain JSON; what is null or an empty
text is no field. Left out are the id (it is the entry's subject), what merely sorts rows by
clinic, and an identity's contents: of these it is told only that they are filled. A visit's
fields hold its `revision`, so that what it was at a revision can be told from its entries, and
each of its values (`value_field`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from enum import Enum
from types import MappingProxyType
from typing import Any, Final, cast

from sqlalchemy import Date, inspect
from sqlalchemy import Enum as SqlEnum

from casebook.domain.history import Act, Change, Subject, Was, value_content, value_field
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    Visit,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.storage import translation
from casebook.storage.tables import (
    AdherenceRow,
    AttachmentRow,
    BlockRow,
    CautionAcknowledgementRow,
    ConsentRow,
    ErrorFigureRow,
    ExerciseRow,
    ExportRunRow,
    FindingRow,
    FlagAcknowledgementRow,
    HypothesisLinkRow,
    HypothesisRow,
    IdentityRow,
    InjuryRow,
    MeasurementSetRow,
    MetricRow,
    PainAcknowledgementRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    RunRow,
    TargetRow,
    UserRow,
    UtcDateTime,
    VisitRow,
)

ROW_OF: Final[Mapping[Subject, type[Row]]] = MappingProxyType(
    {
        Subject.USER: UserRow,
        Subject.METRIC: MetricRow,
        Subject.ERROR_FIGURE: ErrorFigureRow,
        Subject.MEASUREMENT_SET: MeasurementSetRow,
        Subject.RUNNER: RunnerRow,
        Subject.IDENTITY: IdentityRow,
        Subject.CONSENT: ConsentRow,
        Subject.INJURY: InjuryRow,
        Subject.VISIT: VisitRow,
        Subject.ATTACHMENT: AttachmentRow,
        Subject.ACKNOWLEDGEMENT: FlagAcknowledgementRow,
        Subject.PROGRAMME: ProgrammeRow,
        Subject.BLOCK: BlockRow,
        Subject.TARGET: TargetRow,
        Subject.ADHERENCE: AdherenceRow,
        Subject.EXERCISE: ExerciseRow,
        Subject.RUN: RunRow,
        Subject.FINDING: FindingRow,
        Subject.CAUTION: CautionAcknowledgementRow,
        Subject.PAIN: PainAcknowledgementRow,
        Subject.HYPOTHESIS: HypothesisRow,
        Subject.LINK: HypothesisLinkRow,
        Subject.EXPORT: ExportRunRow,
    }
)
SUBJECT_OF: Final = {kind: subject for subject, kind in ROW_OF.items()}

_ALWAYS_OUT = frozenset({"id", "clinic_id"})
_OUT: Final[Mapping[Subject, frozenset[str]]] = MappingProxyType(
    {
        # Counts what was stored about the runner, not what is true of them.
        Subject.RUNNER: frozenset({"revision"}),
        Subject.IDENTITY: frozenset({"runner_id"}),
        Subject.METRIC: frozenset({"revision"}),
        # Whose it is, who added it and when stand in the entry itself; a file's name may hold a
        # runner's.
        Subject.ATTACHMENT: frozenset({"visit_id", "name", "added_at", "added_by"}),
    }
)


def told_columns(subject: Subject) -> tuple[str, ...]:
    """Names of the columns of which the history tells, in the table's order."""
    left_out = _ALWAYS_OUT | _OUT.get(subject, frozenset())
    mapper = inspect(ROW_OF[subject])
    return tuple(one.key for one in mapper.column_attrs if one.key not in left_out)


TOLD: Final = {subject: told_columns(subject) for subject in ROW_OF}


def id_column(subject: Subject) -> str:
    """Name of the column by which an entry refers to a record."""
    return "runner_id" if subject is Subject.IDENTITY else "id"


def plain(content: object) -> Was:
    """A column's content as the history holds it; None for what is null or an empty text."""
    if content is None or content == "":
        return None
    if isinstance(content, Enum):
        return content.value
    if isinstance(content, datetime):
        return content.astimezone(UTC).isoformat()
    if isinstance(content, date):
        return content.isoformat()
    return content


def type_of(subject: Subject, name: str) -> type:
    """Python type of a column's contents."""
    kind: Any = inspect(ROW_OF[subject]).columns[name].type
    if isinstance(kind, SqlEnum) and kind.enum_class is not None:
        return kind.enum_class
    return datetime if isinstance(kind, UtcDateTime) else cast("type", kind.python_type)


def must_be_given(subject: Subject, name: str) -> bool:
    """Whether a column can be neither null nor an empty text."""
    column = inspect(ROW_OF[subject]).columns[name]
    return not column.nullable and column.default is None


def content_of(subject: Subject, name: str, told: Was) -> object:
    """A column's content from what the history holds; the inverse of `plain`."""
    column = inspect(ROW_OF[subject]).columns[name]
    if told is None:
        return None if column.nullable else ""
    kind: Any = column.type
    if isinstance(kind, SqlEnum):
        return kind.enum_class(told) if kind.enum_class else told
    if isinstance(kind, UtcDateTime):
        return datetime.fromisoformat(told)
    return date.fromisoformat(told) if isinstance(kind, Date) else told


def value_of(metric: str, side: Side, told: Mapping[str, Any]) -> Value:
    """A value from what the history holds; the inverse of `value_content`."""
    if "missing" in told:
        return missing_value(metric, side, MissingReason(told["missing"]))
    if "trials" in told:
        value = value_of_trials(metric, side, told["trials"])
        value = replace(value, trial_numbers=tuple(told.get("numbers", ())))
    else:
        value = replace(value_of_mean(metric, side, told["mean"], told["n"]), sd=told.get("sd"))
    return replace(value, marking_sd=told.get("marking_sd"))


def fields_of(subject: Subject, columns: Mapping[str, object]) -> dict[str, Was]:
    """A record's fields from its columns by name; columns that are not given are no fields."""
    told = {
        name: content for name in TOLD[subject] if (content := plain(columns.get(name))) is not None
    }
    return dict.fromkeys(told, True) if subject is Subject.IDENTITY else told


def row_fields(row: Row) -> dict[str, Was]:
    """A row's fields."""
    subject = SUBJECT_OF[type(row)]
    return fields_of(subject, {name: getattr(row, name) for name in TOLD[subject]})


def value_fields(values: Iterable[Value]) -> dict[str, Was]:
    """A visit's values as fields of the visit."""
    return {value_field(value.metric, value.side): value_content(value) for value in values}


def visit_fields(row: VisitRow, values: Iterable[Value]) -> dict[str, Was]:
    """A visit's fields, its values among them."""
    return row_fields(row) | value_fields(values)


def differences(before: Mapping[str, Was], after: Mapping[str, Was]) -> dict[str, tuple[Was, Was]]:
    """What changed from one state of a record to another, field by field."""
    return {
        name: (before.get(name), after.get(name))
        for name in (*before, *(name for name in after if name not in before))
        if before.get(name) != after.get(name)
    }


def change(
    subject: Subject,
    subject_id: int,
    before: Mapping[str, Was],
    after: Mapping[str, Was],
    *,
    act: Act,
    runner_id: int | None = None,
    visit_id: int | None = None,
    reason: str = "",
) -> Change:
    """What is told when a record goes from one state to another."""
    return Change(
        act=act,
        subject=subject,
        subject_id=subject_id,
        fields=differences(before, after),
        runner_id=runner_id,
        visit_id=visit_id,
        reason=reason,
    )


def recorded(
    row: Row, *, runner_id: int | None = None, act: Act = Act.RECORDED, reason: str = ""
) -> Change:
    """What is told when a row is stored that was not there; it must have been flushed.

    Parameters
    ----------
    runner_id : int or None
        Whose it is, for a row that does not say so itself (a programme's block).
    """
    subject = SUBJECT_OF[type(row)]
    return change(
        subject,
        getattr(row, id_column(subject)),
        {},
        row_fields(row),
        act=act,
        runner_id=_runner_of(row, runner_id),
        visit_id=getattr(row, "visit_id", None),
        reason=reason,
    )


def _runner_of(row: Row, runner_id: int | None) -> int | None:
    if isinstance(row, RunnerRow):
        return row.id
    return getattr(row, "runner_id", runner_id)


def visit_recorded(
    visit_id: int, visit: Visit, *, runner_id: int, by: str, at: datetime, act: Act = Act.RECORDED
) -> Change:
    """What is told when a new visit is stored with its values, at revision 1."""
    row = translation.visit_row(visit, runner_id=runner_id, by=by, at=at)
    return change(
        Subject.VISIT,
        visit_id,
        {},
        visit_fields(row, visit.values),
        act=act,
        runner_id=runner_id,
        visit_id=visit_id,
    )


def visit_added_to(
    visit_id: int,
    *,
    runner_id: int,
    revision: tuple[int, int],
    columns: Mapping[str, object],
    values: Iterable[Value],
    act: Act = Act.ADDED,
) -> Change:
    """What is told when a visit gets what it lacked.

    Parameters
    ----------
    revision : (int, int)
        The visit's revision before and from now on.
    columns : mapping of str to object
        Columns that were open until now.
    """
    after = fields_of(Subject.VISIT, columns) | value_fields(values)
    return change(
        Subject.VISIT,
        visit_id,
        {"revision": revision[0]},
        after | {"revision": revision[1]},
        act=act,
        runner_id=runner_id,
        visit_id=visit_id,
    )
