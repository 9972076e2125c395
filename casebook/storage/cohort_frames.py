"""SELECT -> frames of what an audit needs of runners beside their values: programmes with their
weeks, complaints, consents. One row a record, for a whole clinic, as plain tuples.
"""

from __future__ import annotations

from typing import Final

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from casebook.domain.injuries import Course, Occurrence, Onset, Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.sides import InjurySide
from casebook.storage.frames import framed, plain_tuples, position
from casebook.storage.tables import (
    AdherenceRow,
    ConsentRow,
    InjuryRow,
    ProgrammeRow,
    RunnerRow,
)

PROGRAMMES: Final = {
    "runner": "int64",
    "programme": "int64",
    "injury": "float64",
    "kind": "int8",
    "started_on": "datetime64[s]",
    "ended_on": "datetime64[s]",
    "weeks": "int64",
    "planned": "int64",
    "done": "int64",
}
WEEKS: Final = {
    "programme": "int64",
    "week_start": "datetime64[s]",
    "planned": "int64",
    "done": "int64",
}
INJURIES: Final = {
    "runner": "int64",
    "injury": "int64",
    "region": "int8",
    "pathology": "int8",
    "side": "int8",
    "onset": "int8",
    "occurrence": "int8",
    "course": "int8",
    "onset_on": "datetime64[s]",
    "returned_on": "datetime64[s]",
    "fully_back_on": "datetime64[s]",
}
CONSENTS: Final = {
    "runner": "int64",
    "purpose": "int8",
    "given_on": "datetime64[s]",
    "withdrawn_on": "datetime64[s]",
}


def programmes_frame(session: Session, clinic_id: int) -> pd.DataFrame:
    """Every programme of a clinic's runners, by runner, start and title.

    Returns
    -------
    DataFrame, one row a programme
        `runner`, `programme` (ids), `injury` (id as float64, NaN where it is for none), `kind`
        (position in `ProgrammeKind`), `started_on`, `ended_on` (datetime64, NaT where it has
        not ended), `weeks` (of adherence that were entered), `planned`, `done` (their sessions).
    """
    weeks = (
        select(
            AdherenceRow.programme_id,
            func.count().label("weeks"),
            func.sum(AdherenceRow.sessions_planned).label("planned"),
            func.sum(AdherenceRow.sessions_done).label("done"),
        )
        .group_by(AdherenceRow.programme_id)
        .subquery()
    )
    query = (
        select(
            ProgrammeRow.runner_id,
            ProgrammeRow.id,
            ProgrammeRow.injury_id,
            position(ProgrammeRow.kind, ProgrammeKind),
            ProgrammeRow.started_on,
            ProgrammeRow.ended_on,
            func.coalesce(weeks.c.weeks, 0),
            func.coalesce(weeks.c.planned, 0),
            func.coalesce(weeks.c.done, 0),
        )
        .join(RunnerRow, RunnerRow.id == ProgrammeRow.runner_id)
        .outerjoin(weeks, weeks.c.programme_id == ProgrammeRow.id)
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(ProgrammeRow.runner_id, ProgrammeRow.started_on, ProgrammeRow.title)
    )
    return framed(plain_tuples(session, query), PROGRAMMES)


def weeks_frame(session: Session, clinic_id: int) -> pd.DataFrame:
    """Every week of adherence of a clinic's programmes, by programme and week.

    Returns
    -------
    DataFrame, one row a week
        `programme` (id), `week_start` (datetime64), `planned`, `done` (its sessions).
    """
    query = (
        select(
            AdherenceRow.programme_id,
            AdherenceRow.week_start,
            AdherenceRow.sessions_planned,
            AdherenceRow.sessions_done,
        )
        .join(ProgrammeRow, ProgrammeRow.id == AdherenceRow.programme_id)
        .join(RunnerRow, RunnerRow.id == ProgrammeRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(AdherenceRow.programme_id, AdherenceRow.week_start)
    )
    return framed(plain_tuples(session, query), WEEKS)


def injuries_frame(session: Session, clinic_id: int) -> pd.DataFrame:
    """Every complaint of a clinic's runners with its course, by runner and onset.

    Returns
    -------
    DataFrame, one row a complaint
        `runner`, `injury` (ids), `region`, `pathology`, `side`, `onset`, `occurrence`, `course`
        (positions in their enums), `onset_on`, `returned_on` (day of the first run),
        `fully_back_on` (datetime64, NaT where not yet).
    """
    query = (
        select(
            InjuryRow.runner_id,
            InjuryRow.id,
            position(InjuryRow.region, Region),
            position(InjuryRow.pathology, Pathology),
            position(InjuryRow.side, InjurySide),
            position(InjuryRow.onset, Onset),
            position(InjuryRow.occurrence, Occurrence),
            position(InjuryRow.course, Course),
            InjuryRow.onset_on,
            InjuryRow.returned_on,
            InjuryRow.fully_back_on,
        )
        .join(RunnerRow, RunnerRow.id == InjuryRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(InjuryRow.runner_id, InjuryRow.onset_on, InjuryRow.id)
    )
    return framed(plain_tuples(session, query), INJURIES)


def consents_frame(session: Session, clinic_id: int) -> pd.DataFrame:
    """Every consent of a clinic's runners, by runner and day.

    Returns
    -------
    DataFrame, one row a consent
        `runner` (id), `purpose` (position in `Purpose`), `given_on`, `withdrawn_on`
        (datetime64, NaT where it stands).
    """
    query = (
        select(
            ConsentRow.runner_id,
            position(ConsentRow.purpose, Purpose),
            ConsentRow.given_on,
            ConsentRow.withdrawn_on,
        )
        .join(RunnerRow, RunnerRow.id == ConsentRow.runner_id)
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(ConsentRow.runner_id, ConsentRow.given_on, ConsentRow.id)
    )
    return framed(plain_tuples(session, query), CONSENTS)
