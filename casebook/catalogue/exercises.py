"""Exercises from a readable file, read as metrics are: every problem reported, none half-taken."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from casebook.catalogue.loader import (
    LAST_POSITION,
    _doubles,
    _entries,
    _file_text,
    _made,
    _number,
    _one_of,
    _several,
    _starter_text,
    _text,
    _truth,
    _whole,
    starter_metrics,
)
from casebook.domain.errors import InputRefused
from casebook.domain.exercises import Exercise
from casebook.domain.programmes import Aim

STARTER_EXERCISES = "starter_exercises.toml"

EXERCISE_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "key": _text,
    "name": _text,
    "aim": _one_of(Aim),
    "purpose": _text,
    "how": _text,
    "sided": _truth,
    "equipment": _text,
    "dose": _text,
    "dose_source": _text,
    "sets": _whole,
    "repetitions": _whole,
    "hold_s": _number,
    "sessions_per_week": _number,
    "progress": _text,
    "ease": _text,
    "metrics": _several(_text),
    "position": _whole,
    "active": _truth,
}
# The reader is typed for metrics and error figures; an exercise is made the same way.
_make: Any = _made


def starter_exercises() -> tuple[Exercise, ...]:
    """The exercises that come with the product."""
    keys = {metric.key for metric in starter_metrics()}
    found = _exercises(_starter_text(STARTER_EXERCISES), STARTER_EXERCISES, keys)
    return tuple(replace(exercise, starter=True) for exercise in found)


def load_exercises_file(path: Path, metric_keys: Collection[str]) -> tuple[Exercise, ...]:
    """Exercises from a file of `[[exercise]]` entries (TOML).

    Parameters
    ----------
    path : Path
        A file written like `starter_exercises.toml`.
    metric_keys : collection of str
        Keys of the catalogue, which `metrics` may name.

    Raises
    ------
    InputRefused
        With every problem of the file: what can't be read, unknown or missing fields, a key
        given twice, a value of the wrong kind, a metric that the catalogue does not have, a
        dose without a source.
    """
    return _exercises(_file_text(path), path.name, metric_keys)


def _exercises(text: str, file: str, metric_keys: Collection[str]) -> tuple[Exercise, ...]:
    entries = _entries(text, file, table="exercise", name_field="key")
    problems = list(_doubles(entries))
    found: list[Exercise] = []
    for number, entry in enumerate(entries):
        exercise, wrong = _make(entry, Exercise, EXERCISE_FIELDS, position=LAST_POSITION + number)
        problems.extend(wrong)
        if exercise is None:
            continue
        found.append(exercise)
        problems.extend(
            entry.problem(
                "unknown_metric",
                f"{entry.name}: the catalogue has no metric '{key}'; expected the key of one.",
                column="metrics",
                value=key,
            )
            for key in exercise.metrics
            if key not in metric_keys
        )
    if problems:
        raise InputRefused(tuple(problems))
    return tuple(found)
