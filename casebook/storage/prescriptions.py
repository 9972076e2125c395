"""Programmes with all that was filled in about them: read, written, and as they once were."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Entry, Subject, Was
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import AdherenceWeek
from casebook.domain.replaying import apply
from casebook.storage import history, plan_translation, record_fields, translation
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    MetricRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    TargetRow,
)

# What a version of a programme is made of; weeks are what was done, not what was prescribed.
PARTS: Final = (Subject.PROGRAMME, Subject.BLOCK, Subject.TARGET)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptProgramme:
    """A programme as it is stored; `runner` is the code of whose it is."""

    programme_id: int
    runner_id: int
    runner: str
    injury_id: int | None
    prescription: Prescription


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldVersion:
    """What a programme was after one unit of work; who made it so, when and why."""

    at: datetime
    by: str
    reason: str
    prescription: Prescription


def programmes_of(session: Session, runner_id: int) -> tuple[KeptProgramme, ...]:
    """A runner's programmes by start and title."""
    return _kept(session, ProgrammeRow.runner_id == runner_id)


def find_programme(
    session: Session, clinic_id: int, programme_id: int, *, to_write: bool = False
) -> KeptProgramme | None:
    """A programme by its id; with `to_write` nobody else can change it until the unit ends."""
    if to_write:
        session.get(ProgrammeRow, programme_id, with_for_update=True)
    found = _kept(session, (ProgrammeRow.id == programme_id) & (RunnerRow.clinic_id == clinic_id))
    return found[0] if found else None


def _kept(session: Session, condition: Any) -> tuple[KeptProgramme, ...]:
    rows = session.execute(
        select(ProgrammeRow, RunnerRow.code)
        .join(RunnerRow, RunnerRow.id == ProgrammeRow.runner_id)
        .where(condition)
        .order_by(ProgrammeRow.started_on, ProgrammeRow.title)
        .execution_options(populate_existing=True)
    ).all()
    ids = [row.id for row, _ in rows]
    blocks = _by_programme(session.scalars(select(BlockRow).where(BlockRow.programme_id.in_(ids))))
    weeks = _by_programme(
        session.scalars(
            select(AdherenceRow)
            .where(AdherenceRow.programme_id.in_(ids))
            .order_by(AdherenceRow.week_start)
        )
    )
    targets: defaultdict[int, list[tuple[str, Mapping[str, Any]]]] = defaultdict(list)
    for row, key in session.execute(
        select(TargetRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == TargetRow.metric_id)
        .where(TargetRow.programme_id.in_(ids))
        .order_by(TargetRow.due_on, MetricRow.position, TargetRow.what)
    ):
        targets[row.programme_id].append((key, _columns(row)))
    return tuple(
        KeptProgramme(
            programme_id=row.id,
            runner_id=row.runner_id,
            runner=code,
            injury_id=row.injury_id,
            prescription=plan_translation.prescription_value(
                code,
                _columns(row),
                [_columns(block) for block in blocks[row.id]],
                targets[row.id],
                [translation.week_value(week) for week in weeks[row.id]],
            ),
        )
        for row, code in rows
    )


def _by_programme(rows: Iterable[Any]) -> defaultdict[int, list[Any]]:
    grouped: defaultdict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.programme_id].append(row)
    return grouped


def _columns(row: Row) -> dict[str, Any]:
    return {column.key: getattr(row, column.key) for column in type(row).__mapper__.column_attrs}


def add_programme(
    session: Session,
    runner_id: int,
    injury_id: int | None,
    prescription: Prescription,
    metric_ids: Mapping[str, int],
) -> tuple[int, list[Change]]:
    """Store a new programme with its parts; returns its id and what the history is told."""
    row = ProgrammeRow(
        runner_id=runner_id,
        injury_id=injury_id,
        **plan_translation.programme_columns(prescription),
    )
    rows: list[Row] = [row]
    session.add(row)
    session.flush()
    rows += [
        BlockRow(
            programme_id=row.id,
            **plan_translation.block_columns(block, prescription.detail_of(block)),
        )
        for block in prescription.programme.blocks
    ]
    rows += [
        TargetRow(
            programme_id=row.id,
            metric_id=metric_ids[target.metric],
            **plan_translation.target_columns(target),
        )
        for target in prescription.programme.targets
    ]
    session.add_all(rows)
    session.flush()
    return row.id, [record_fields.recorded(one, runner_id=runner_id) for one in rows]


def write_programme(
    session: Session,
    kept: KeptProgramme,
    wanted: Prescription,
    injury_id: int | None,
    metric_ids: Mapping[str, int],
    *,
    reason: str,
) -> list[Change]:
    """Make a stored programme what is wanted; returns what the history is told.

    Blocks stay in their places: what stands at a position is written over, what is left over
    leaves. Weeks of adherence are not touched.
    """
    writer = _Writer(session=session, runner_id=kept.runner_id, reason=reason, told=[])
    row = session.get_one(ProgrammeRow, kept.programme_id)
    columns = plan_translation.programme_columns(wanted) | {"injury_id": injury_id}
    writer.write(row, columns)
    blocks = {
        one.position: one
        for one in session.scalars(
            select(BlockRow).where(BlockRow.programme_id == row.id).order_by(BlockRow.position)
        )
    }
    writer.make(
        BlockRow,
        blocks,
        {
            block.position: {"programme_id": row.id}
            | plan_translation.block_columns(block, wanted.detail_of(block))
            for block in wanted.programme.blocks
        },
    )
    targets = {
        (one.metric_id, one.what): one
        for one in session.scalars(
            select(TargetRow).where(TargetRow.programme_id == row.id).order_by(TargetRow.id)
        )
    }
    writer.make(
        TargetRow,
        targets,
        {
            (metric_ids[target.metric], target.what): {
                "programme_id": row.id,
                "metric_id": metric_ids[target.metric],
            }
            | plan_translation.target_columns(target)
            for target in wanted.programme.targets
        },
    )
    return writer.told


@dataclass(slots=True, kw_only=True)
class _Writer:
    session: Session
    runner_id: int
    reason: str
    told: list[Change]

    def make(
        self, kind: type[Row], stored: Mapping[Any, Row], wanted: Mapping[Any, dict[str, Any]]
    ) -> None:
        for key, row in stored.items():
            if key not in wanted:
                self._tell(row, record_fields.row_fields(row), {}, Act.STRUCK_OUT)
                self.session.delete(row)
        self.session.flush()
        for key, columns in wanted.items():
            if key in stored:
                self.write(stored[key], columns)
                continue
            row = kind(**columns)
            self.session.add(row)
            self.session.flush()
            self.told.append(
                record_fields.recorded(row, runner_id=self.runner_id, reason=self.reason)
            )

    def write(self, row: Row, columns: Mapping[str, Any]) -> None:
        before = record_fields.row_fields(row)
        for name, content in columns.items():
            setattr(row, name, content)
        self.session.flush()
        after = record_fields.row_fields(row)
        if after != before:
            self._tell(row, before, after, Act.AMENDED)

    def _tell(
        self, row: Row, before: Mapping[str, Was], after: Mapping[str, Was], act: Act
    ) -> None:
        subject = record_fields.SUBJECT_OF[type(row)]
        self.told.append(
            record_fields.change(
                subject,
                getattr(row, "id"),  # noqa: B009 - every row here has one, its base class not
                before,
                after,
                act=act,
                runner_id=self.runner_id,
                reason=self.reason,
            )
        )


def versions_of(
    session: Session, runner_id: int, runner: str
) -> dict[int, tuple[ToldVersion, ...]]:
    """Every version of a runner's programmes by programme, oldest first, as the history has it.

    A version is what a programme was after a unit of work that changed what it prescribes,
    whoever changed it in whatever way. Weeks are left out of it.
    """
    entries = history.entries_of_subjects(session, runner_id, PARTS)
    keys = {one: key for one, key in session.execute(select(MetricRow.id, MetricRow.key))}  # noqa: C416
    states: dict[tuple[Subject, int], dict[str, Was]] = {}
    found: defaultdict[int, list[ToldVersion]] = defaultdict(list)
    for _, group in groupby(entries, key=lambda one: (one.at, one.by, one.import_run_id)):
        unit = list(group)
        touched = set(_touched(unit, states))
        for programme_id in sorted(touched):
            prescription = _as_told(programme_id, states, keys, runner)
            known = found[programme_id]
            if prescription is None or (known and known[-1].prescription == prescription):
                continue
            reasons = dict.fromkeys(one.reason for one in unit if one.reason)
            known.append(
                ToldVersion(
                    at=unit[0].at,
                    by=unit[0].by,
                    reason="; ".join(reasons),
                    prescription=prescription,
                )
            )
    return {key: tuple(versions) for key, versions in found.items() if versions}


def _touched(
    entries: Sequence[Entry], states: dict[tuple[Subject, int], dict[str, Was]]
) -> Iterator[int]:
    """Bring the states on by the entries of one unit; yields the programmes that they are of."""
    for entry in entries:
        key = entry.subject, entry.subject_id
        state = states.setdefault(key, {})
        before = state.get("programme_id")
        apply(state, entry.fields)
        if entry.subject is Subject.PROGRAMME:
            yield entry.subject_id
        else:
            yield from (one for one in (before, state.get("programme_id")) if one is not None)


def _as_told(
    programme_id: int,
    states: Mapping[tuple[Subject, int], Mapping[str, Was]],
    keys: Mapping[int, str],
    runner: str,
) -> Prescription | None:
    programme = states.get((Subject.PROGRAMME, programme_id))
    if not programme:
        return None
    parts = [
        (subject, _contents(subject, state))
        for (subject, _), state in states.items()
        if subject is not Subject.PROGRAMME and state.get("programme_id") == programme_id
    ]
    targets = [
        (keys[columns["metric_id"]], columns)
        for subject, columns in parts
        if subject is Subject.TARGET
    ]
    return plan_translation.prescription_value(
        runner,
        _contents(Subject.PROGRAMME, programme),
        [columns for subject, columns in parts if subject is Subject.BLOCK],
        sorted(targets, key=lambda one: (one[1]["due_on"], one[0], one[1]["what"])),
    )


def _contents(subject: Subject, state: Mapping[str, Was]) -> dict[str, Any]:
    return {
        name: record_fields.content_of(subject, name, state.get(name))
        for name in record_fields.TOLD[subject]
    }


def prescribed_only(prescription: Prescription) -> Prescription:
    """A programme without its weeks and in the order of a version, to be compared with one."""
    programme = prescription.programme
    return replace(
        prescription,
        version=1,
        changes=(),
        programme=replace(
            programme,
            adherence=(),
            targets=tuple(
                sorted(programme.targets, key=lambda one: (one.due_on, one.metric, one.what))
            ),
        ),
    )


def find_week(session: Session, programme_id: int, week: AdherenceWeek) -> AdherenceRow | None:
    """The stored week of the same start."""
    return session.scalar(
        select(AdherenceRow).where(
            AdherenceRow.programme_id == programme_id, AdherenceRow.week_start == week.week_start
        )
    )


def save_week(
    session: Session, kept: KeptProgramme, week: AdherenceWeek, *, reason: str
) -> Change | None:
    """Store a week or write over it; returns what the history is told, None for no change."""
    columns = {
        name: getattr(week, name)
        for name in (
            "week_start",
            "sessions_planned",
            "sessions_done",
            "pain_during",
            "pain_morning_after",
            "comment",
        )
    }
    row = find_week(session, kept.programme_id, week)
    if row is None:
        row = AdherenceRow(programme_id=kept.programme_id, **columns)
        session.add(row)
        session.flush()
        return record_fields.recorded(row, runner_id=kept.runner_id)
    writer = _Writer(session=session, runner_id=kept.runner_id, reason=reason, told=[])
    writer.write(row, columns)
    return writer.told[0] if writer.told else None
