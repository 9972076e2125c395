"""A stamp of what is stored, so that a face can tell whether what it read still stands."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from casebook.storage.tables import (
    AdherenceRow,
    ErrorFigureRow,
    FlagAcknowledgementRow,
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    VisitRow,
)


def freshness(session: Session) -> tuple[object, ...]:
    """Counts and revisions; equal stamps mean that nothing a review shows has changed.

    Rows are never deleted, and each kind of change either adds a row or raises a revision:
    an error figure is retired by giving it an instant, which the count of those shows.
    """
    counted = (
        AdherenceRow.week_start,
        FlagAcknowledgementRow.id,
        ErrorFigureRow.id,
        ErrorFigureRow.retired_at,
        InjuryRow.id,
        MetricRow.id,
        ProgrammeRow.id,
        RunnerRow.id,
        TargetRow.id,
        VisitRow.id,
    )
    summed = (MetricRow.revision, RunnerRow.revision, VisitRow.revision)
    parts = [
        *(select(func.count(column)).scalar_subquery() for column in counted),
        *(select(func.sum(column)).scalar_subquery() for column in summed),
    ]
    return tuple(session.execute(select(*parts)).one())
