"""Findings at visits, and who has seen what they and a programme's pain call for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.domain.cautions import CautionAction, Finding, PainReason
from casebook.domain.history import Act, Change, Subject
from casebook.domain.injuries import Injury
from casebook.domain.programmes import AdherenceWeek
from casebook.storage import record_fields, translation
from casebook.storage.tables import (
    AdherenceRow,
    CautionAcknowledgementRow,
    FindingRow,
    InjuryRow,
    PainAcknowledgementRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    UserRow,
    VisitRow,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFindings:
    """What was found at one visit; what was not asked is not in it."""

    visit_id: int
    visited_on: date
    session: int
    findings: Mapping[Finding, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Who has seen a prompt or flag, when, why it needs no more, and what was done.

    Parameters
    ----------
    action : CautionAction or None
        None for a flag of pain, where nothing else is asked.
    """

    action: CautionAction | None
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeWeeks:
    """The weeks of a programme with the complaint that it is for, None where it is for none."""

    runner_id: int
    programme_id: int
    title: str
    injury: Injury | None
    weeks: tuple[AdherenceWeek, ...]


def findings_of_runner(session: Session, runner_id: int) -> tuple[VisitFindings, ...]:
    """What was found at a runner's visits, newest first; visits without any left out."""
    rows = session.execute(
        select(VisitRow.id, VisitRow.visited_on, VisitRow.session, FindingRow)
        .join(FindingRow, FindingRow.visit_id == VisitRow.id)
        .where(VisitRow.runner_id == runner_id)
        .order_by(VisitRow.visited_on.desc(), VisitRow.session.desc(), FindingRow.id)
    )
    visits: dict[tuple[int, date, int], dict[Finding, bool]] = {}
    for visit_id, visited_on, number, row in rows:
        visits.setdefault((visit_id, visited_on, number), {})[row.finding] = row.present
    return tuple(
        VisitFindings(visit_id=key[0], visited_on=key[1], session=key[2], findings=found)
        for key, found in visits.items()
    )


def findings_of_clinic(session: Session, clinic_id: int) -> tuple[tuple[int, VisitFindings], ...]:
    """What was there at the visits of a clinic's runners, with the runner's id, newest first."""
    rows = session.execute(
        select(
            VisitRow.runner_id,
            VisitRow.id,
            VisitRow.visited_on,
            VisitRow.session,
            FindingRow.finding,
        )
        .join(FindingRow, FindingRow.visit_id == VisitRow.id)
        .join(RunnerRow, RunnerRow.id == VisitRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id, FindingRow.present)
        .order_by(VisitRow.visited_on.desc(), VisitRow.session.desc(), FindingRow.id)
    )
    visits: dict[tuple[int, int, date, int], dict[Finding, bool]] = {}
    for runner_id, visit_id, visited_on, number, finding in rows:
        visits.setdefault((runner_id, visit_id, visited_on, number), {})[finding] = True
    return tuple(
        (
            runner_id,
            VisitFindings(visit_id=visit_id, visited_on=visited_on, session=number, findings=found),
        )
        for (runner_id, visit_id, visited_on, number), found in visits.items()
    )


def save_findings(
    session: Session,
    runner_id: int,
    visit_id: int,
    findings: Mapping[Finding, bool],
    *,
    reason: str,
) -> list[Change]:
    """Store findings of a visit or write over them; returns what the history is told."""
    stored = {
        row.finding: row
        for row in session.scalars(select(FindingRow).where(FindingRow.visit_id == visit_id))
    }
    told = []
    for finding, present in findings.items():
        row = stored.get(finding)
        if row is None:
            row = FindingRow(visit_id=visit_id, finding=finding, present=present)
            session.add(row)
            session.flush()
            told.append(record_fields.recorded(row, runner_id=runner_id))
        elif row.present != present:
            before = record_fields.row_fields(row)
            row.present = present
            session.flush()
            told.append(
                record_fields.change(
                    Subject.FINDING,
                    row.id,
                    before,
                    record_fields.row_fields(row),
                    act=Act.AMENDED,
                    runner_id=runner_id,
                    visit_id=visit_id,
                    reason=reason,
                )
            )
    return told


def remove_findings_of_visit(
    session: Session, runner_id: int, visit_id: int, *, act: Act, reason: str
) -> list[Change]:
    """Remove what was found at a visit and who has seen its prompts; returns what is told."""
    told = []
    for kind in (CautionAcknowledgementRow, FindingRow):
        rows: Iterable[Row] = session.scalars(
            select(kind).where(kind.visit_id == visit_id).order_by(kind.id)
        ).all()
        told += _removed(session, rows, runner_id, act=act, reason=reason)
    return told


def reopen_cautions(
    session: Session, runner_id: int, visit_id: int, rules: Iterable[str], *, reason: str
) -> list[Change]:
    """Take back that prompts were seen, since what they rest on was changed."""
    kind = CautionAcknowledgementRow
    rows = session.scalars(
        select(kind).where(kind.visit_id == visit_id, kind.rule.in_(sorted(rules)))
    ).all()
    return _removed(session, rows, runner_id, act=Act.STRUCK_OUT, reason=reason)


def reopen_pain(
    session: Session, runner_id: int, programme_id: int, weeks: Iterable[date], *, reason: str
) -> list[Change]:
    """Take back that flags of weeks were seen, since what they rest on was changed."""
    kind = PainAcknowledgementRow
    rows = session.scalars(
        select(kind).where(kind.programme_id == programme_id, kind.week_start.in_(list(weeks)))
    ).all()
    return _removed(session, rows, runner_id, act=Act.STRUCK_OUT, reason=reason)


def _removed(
    session: Session, rows: Iterable[Row], runner_id: int, *, act: Act, reason: str
) -> list[Change]:
    told = []
    for row in rows:
        subject = record_fields.SUBJECT_OF[type(row)]
        told.append(
            record_fields.change(
                subject,
                int(getattr(row, record_fields.id_column(subject))),
                record_fields.row_fields(row),
                {},
                act=act,
                runner_id=runner_id,
                visit_id=getattr(row, "visit_id", None),
                reason=reason,
            )
        )
        session.delete(row)
    session.flush()
    return told


def cautions_seen(session: Session, runner_id: int) -> dict[tuple[int, str], Seen]:
    """Who has seen which prompt of a runner, by visit id and rule."""
    rows = session.execute(
        select(CautionAcknowledgementRow, UserRow.code)
        .join(UserRow, UserRow.id == CautionAcknowledgementRow.acknowledged_by)
        .join(VisitRow, VisitRow.id == CautionAcknowledgementRow.visit_id)
        .where(VisitRow.runner_id == runner_id)
    )
    return {
        (row.visit_id, row.rule): Seen(
            action=row.action, reason=row.reason, by=code, at=row.acknowledged_at
        )
        for row, code in rows
    }


def recent_weeks_of_clinic(
    session: Session, clinic_id: int, since: date
) -> tuple[ProgrammeWeeks, ...]:
    """Programmes of a clinic's runners with a week from `since` on in which pain was told."""
    told = (AdherenceRow.pain_during > 0) | (AdherenceRow.pain_morning_after > 0)
    recent = select(AdherenceRow.programme_id).where(AdherenceRow.week_start >= since, told)
    programmes = session.execute(
        select(ProgrammeRow, RunnerRow.code, InjuryRow)
        .join(RunnerRow, RunnerRow.id == ProgrammeRow.runner_id)
        .outerjoin(InjuryRow, InjuryRow.id == ProgrammeRow.injury_id)
        .where(RunnerRow.clinic_id == clinic_id, ProgrammeRow.id.in_(recent))
        .order_by(ProgrammeRow.started_on, ProgrammeRow.title)
    ).all()
    weeks: dict[int, list[AdherenceWeek]] = {row.id: [] for row, _, _ in programmes}
    for week in session.scalars(
        select(AdherenceRow)
        .where(AdherenceRow.programme_id.in_(list(weeks)))
        .order_by(AdherenceRow.week_start)
    ):
        weeks[week.programme_id].append(translation.week_value(week))
    return tuple(
        ProgrammeWeeks(
            runner_id=row.runner_id,
            programme_id=row.id,
            title=row.title,
            injury=None if injury is None else translation.injury_value(injury, runner=code),
            weeks=tuple(weeks[row.id]),
        )
        for row, code, injury in programmes
    )


def pain_seen_of_clinic(session: Session, clinic_id: int) -> set[tuple[int, date, PainReason]]:
    """Flags of pain of a clinic's runners that somebody has seen: programme id, week and kind."""
    kind = PainAcknowledgementRow
    rows = session.execute(
        select(kind.programme_id, kind.week_start, kind.kind)
        .join(ProgrammeRow, ProgrammeRow.id == kind.programme_id)
        .join(RunnerRow, RunnerRow.id == ProgrammeRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
    )
    return {(programme_id, week_start, reason) for programme_id, week_start, reason in rows}


def prompts_seen(session: Session, clinic_id: int) -> set[tuple[int, str]]:
    """Prompts of a clinic's runners that somebody has seen, by visit id and rule."""
    rows = session.execute(
        select(CautionAcknowledgementRow.visit_id, CautionAcknowledgementRow.rule)
        .join(VisitRow, VisitRow.id == CautionAcknowledgementRow.visit_id)
        .join(RunnerRow, RunnerRow.id == VisitRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
    )
    return {(visit_id, rule) for visit_id, rule in rows}


def pain_seen(session: Session, runner_id: int) -> dict[tuple[int, date, PainReason], Seen]:
    """Who has seen which flag of a runner's weeks, by programme id, week and kind."""
    rows = session.execute(
        select(PainAcknowledgementRow, UserRow.code)
        .join(UserRow, UserRow.id == PainAcknowledgementRow.acknowledged_by)
        .join(ProgrammeRow, ProgrammeRow.id == PainAcknowledgementRow.programme_id)
        .where(ProgrammeRow.runner_id == runner_id)
    )
    return {
        (row.programme_id, row.week_start, row.kind): Seen(
            action=None, reason=row.reason, by=code, at=row.acknowledged_at
        )
        for row, code in rows
    }


def programmes_with_seen_pain(session: Session) -> set[int]:
    """Ids of the programmes of which somebody has seen a flag of pain."""
    return set(session.scalars(select(PainAcknowledgementRow.programme_id).distinct()))


def add_caution_seen(
    session: Session,
    place: tuple[int, str],
    *,
    action: CautionAction,
    reason: str,
    user_id: int,
    at: datetime,
    runner_id: int,
) -> Change:
    """Store that a prompt of a visit was seen; returns what the history is told."""
    row = CautionAcknowledgementRow(
        visit_id=place[0],
        rule=place[1],
        action=action,
        reason=reason,
        acknowledged_by=user_id,
        acknowledged_at=at,
    )
    session.add(row)
    session.flush()
    return record_fields.recorded(row, runner_id=runner_id)


def add_pain_seen(
    session: Session,
    place: tuple[int, date, PainReason],
    *,
    reason: str,
    user_id: int,
    at: datetime,
    runner_id: int,
) -> Change:
    """Store that a flag of a week was seen; returns what the history is told."""
    row = PainAcknowledgementRow(
        programme_id=place[0],
        week_start=place[1],
        kind=place[2],
        reason=reason,
        acknowledged_by=user_id,
        acknowledged_at=at,
    )
    session.add(row)
    session.flush()
    return record_fields.recorded(row, runner_id=runner_id)
