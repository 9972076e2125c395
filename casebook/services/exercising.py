"""The clinic's list of exercises: added to, edited, hidden; none is ever removed."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

from casebook.catalogue.exercises import exercise_entries, starter_exercises, taken_exercises
from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.exercises import Exercise
from casebook.domain.people import clean_by
from casebook.intake.exercise_table import read_exercise_table
from casebook.intake.nearest import hint
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.services.visit_words import NOTHING_STORED
from casebook.storage import bulk, exercises, history
from casebook.storage.session import Unit, reading, writing

EDITED = "edited in the list of exercises"
HIDDEN, SHOWN = "no longer offered for programmes", "offered for programmes again"


def load_starter_exercises(casebook: Casebook) -> int:
    """Add what the list lacks of the starter's; returns how many. What is there stays."""
    with writing(casebook.engine) as unit:
        stored = {one.key for one in exercises.exercises(unit)}
        missing = [one for one in starter_exercises() if one.key not in stored]
        if missing:
            told = [exercises.add_exercise(unit, one) for one in missing]
            history.append(unit, told, by="", at=clock.now())
            unit.commit()
    return len(missing)


def list_exercises(casebook: Casebook, *, include_hidden: bool = False) -> tuple[Exercise, ...]:
    """The list in its order."""
    with reading(casebook.engine) as unit:
        found = exercises.exercises(unit)
    return tuple(one for one in found if one.active or include_hidden)


def get_exercise(casebook: Casebook, key: str) -> Exercise:
    """One exercise by its key.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        return _get(unit, key)


def save_exercise(
    casebook: Casebook, exercise: Exercise, *, read: Exercise | None, by: str
) -> Exercise:
    """Add an exercise, or change one that nobody else has changed since it was read.

    Parameters
    ----------
    read : Exercise or None
        As the writer had it before them; None adds a new one, behind the others unless it has a
        position. The key is never renamed.

    Raises
    ------
    InputRefused
        For a renamed key or a metric that the catalogue does not have.
    Conflict
        When the key is taken, or somebody else changed it in between.
    NotFound
        When there is nothing to change.
    """
    by = clean_by(by)
    if read is not None and read.key != exercise.key:
        raise InputRefused(
            (
                Problem(
                    code="exercise_key_renamed",
                    column="key",
                    value=exercise.key,
                    message=f"the key '{read.key}' can't be renamed, since programmes name it; "
                    "change the name instead, or add a new exercise.",
                ),
            )
        )
    with writing(casebook.engine) as unit:
        _refuse_unknown_metrics(unit, exercise)
        stored = exercises.find_exercise(unit, exercise.key, to_write=True)
        if read is None:
            if stored is not None:
                raise Conflict(
                    f"The list has an exercise '{exercise.key}' already. Give the new one another "
                    f"key, or edit the one that stands. {NOTHING_STORED}"
                )
            last = max((one.position for one in exercises.exercises(unit)), default=0)
            exercise = replace(exercise, starter=False, position=exercise.position or last + 1)
            told = exercises.add_exercise(unit, exercise)
        else:
            stored = _get(unit, exercise.key)
            _refuse_changed(read, stored)
            exercise = replace(exercise, starter=stored.starter)
            if exercise == stored:
                return stored
            told = exercises.write_exercise(unit, exercise, reason=_why(stored, exercise))
        history.append(unit, [told], by=by, at=clock.now())
        unit.commit()
    return exercise


def hide_exercise(casebook: Casebook, key: str, *, hidden: bool = True, by: str) -> Exercise:
    """Offer an exercise no more, or again; programmes that name it keep it.

    Raises
    ------
    NotFound
    """
    read = get_exercise(casebook, key)
    return save_exercise(casebook, replace(read, active=not hidden), read=read, by=by)


def import_exercises(casebook: Casebook, path: Path, *, by: str) -> int:
    """Add or change exercises from a file; all of it or nothing. Returns how many differ.

    Parameters
    ----------
    path : Path
        A table (CSV) or, ending in .toml, a file of `[[exercise]]` entries. What it does not
        speak of stays as it is.

    Raises
    ------
    InputRefused
        With every problem of the file.
    """
    by = clean_by(by)
    if path.suffix.casefold() == ".toml":
        entries = exercise_entries(path)
    else:
        entries = read_exercise_table(path)
    with writing(casebook.engine) as unit:
        stored = {one.key: one for one in exercises.exercises(unit)}
        told = []
        for one in taken_exercises(entries, bulk.metric_ids(unit), stored.values()):
            if one.key not in stored:
                told.append(exercises.add_exercise(unit, one))
            elif one != stored[one.key]:
                told.append(exercises.write_exercise(unit, one, reason=f"from {path.name}"))
        if told:
            history.append(unit, told, by=by, at=clock.now())
            unit.commit()
    return len(told)


def _why(before: Exercise, after: Exercise) -> str:
    if replace(after, active=before.active) != before:
        return EDITED
    return SHOWN if after.active else HIDDEN


def _get(unit: Unit, key: str) -> Exercise:
    found = exercises.find_exercise(unit, key)
    if found is None:
        near = hint(key, [one.key for one in exercises.exercises(unit)])
        raise NotFound(f"The list has no exercise '{key}'.{near} {NOTHING_STORED}")
    return found


def _refuse_changed(read: Exercise, stored: Exercise) -> None:
    differing = [
        field.name
        for field in fields(Exercise)
        if getattr(read, field.name) != getattr(stored, field.name)
    ]
    if differing:
        raise Conflict(
            f"Somebody else changed the exercise '{read.name}' after you opened it "
            f"({', '.join(differing)}). {NOTHING_STORED} Look at it again, then change it."
        )


def _refuse_unknown_metrics(unit: Unit, exercise: Exercise) -> None:
    known = bulk.metric_ids(unit)
    problems = tuple(
        Problem(
            code="unknown_metric",
            column="metrics",
            value=key,
            message=f"the exercise '{exercise.key}' names the metric '{key}', which is not in the "
            f"catalogue.{hint(key, known)}",
        )
        for key in exercise.metrics
        if key not in known
    )
    if problems:
        raise InputRefused(problems)
