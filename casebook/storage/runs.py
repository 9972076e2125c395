"""Runs of a runner."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from casebook.domain.history import Change
from casebook.domain.running_load import Run
from casebook.storage import record_fields
from casebook.storage.plan_translation import run_value
from casebook.storage.tables import RunRow


def runs_of(session: Session, runner_id: int) -> tuple[Run, ...]:
    """A runner's runs by day and number."""
    rows = session.scalars(
        select(RunRow).where(RunRow.runner_id == runner_id).order_by(RunRow.run_on, RunRow.number)
    )
    return tuple(run_value(row) for row in rows)


def add_run(session: Session, runner_id: int, run: Run) -> Change:
    """Store a run after the others of its day; returns what the history is told."""
    query = select(func.max(RunRow.number)).where(
        RunRow.runner_id == runner_id, RunRow.run_on == run.on
    )
    row = RunRow(
        runner_id=runner_id,
        run_on=run.on,
        number=(session.scalar(query) or 0) + 1,
        distance_km=run.distance_km,
        minutes=run.minutes,
        effort=run.effort,
    )
    session.add(row)
    session.flush()
    return record_fields.recorded(row)
