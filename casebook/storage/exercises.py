"""Reads and writes of the list of exercises."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.domain.exercises import Exercise
from casebook.domain.history import Act, Change, Subject
from casebook.storage import record_fields
from casebook.storage.plan_translation import exercise_columns, exercise_value
from casebook.storage.tables import ExerciseRow


def exercises(session: Session) -> tuple[Exercise, ...]:
    """The whole list, hidden ones too, by position and key."""
    rows = session.scalars(select(ExerciseRow).order_by(ExerciseRow.position, ExerciseRow.key))
    return tuple(exercise_value(row) for row in rows)


def find_exercise(session: Session, key: str, *, to_write: bool = False) -> Exercise | None:
    """An exercise by its key; with `to_write` nobody else can change it until the unit ends."""
    query = select(ExerciseRow).where(ExerciseRow.key == key)
    row = session.scalars(query.with_for_update() if to_write else query).one_or_none()
    return None if row is None else exercise_value(row)


def add_exercise(session: Session, exercise: Exercise) -> Change:
    """Add an exercise; returns what the history is told."""
    row = ExerciseRow(**exercise_columns(exercise))
    session.add(row)
    session.flush()
    return record_fields.recorded(row)


def write_exercise(session: Session, exercise: Exercise, *, reason: str) -> Change:
    """Write all of a stored exercise but its key; returns what the history is told."""
    row = session.scalars(select(ExerciseRow).where(ExerciseRow.key == exercise.key)).one()
    before = record_fields.row_fields(row)
    for name, content in exercise_columns(exercise).items():
        setattr(row, name, content)
    session.flush()
    return record_fields.change(
        Subject.EXERCISE,
        row.id,
        before,
        record_fields.row_fields(row),
        act=Act.AMENDED,
        reason=reason,
    )
