"""Exercises from a readable file, read as metrics are: every problem reported, none half-taken."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from casebook.catalogue.entries import (
    LAST_POSITION,
    doubles,
    entries_of,
    file_text,
    number_field,
    one_of,
    several,
    starter_text,
    take_up,
    text_field,
    truth_field,
    whole_field,
)
from casebook.catalogue.loader import starter_metrics
from casebook.domain.errors import InputRefused
from casebook.domain.exercises import Exercise
from casebook.domain.programmes import Aim

STARTER_EXERCISES = "starter_exercises.toml"

EXERCISE_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "key": text_field,
    "name": text_field,
    "aim": one_of(Aim),
    "purpose": text_field,
    "how": text_field,
    "sided": truth_field,
    "equipment": text_field,
    "dose": text_field,
    "dose_source": text_field,
    "sets": whole_field,
    "repetitions": whole_field,
    "hold_s": number_field,
    "sessions_per_week": number_field,
    "progress": text_field,
    "ease": text_field,
    "metrics": several(text_field),
    "position": whole_field,
    "active": truth_field,
}


def starter_exercises() -> tuple[Exercise, ...]:
    """The exercises that come with the product."""
    keys = {metric.key for metric in starter_metrics()}
    found = _exercises(starter_text(STARTER_EXERCISES), STARTER_EXERCISES, keys)
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
    return _exercises(file_text(path), path.name, metric_keys)


def _exercises(text: str, file: str, metric_keys: Collection[str]) -> tuple[Exercise, ...]:
    entries = entries_of(text, file, table="exercise", name_field="key")
    problems = list(doubles(entries))
    found: list[Exercise] = []
    for number, entry in enumerate(entries):
        exercise, wrong = take_up(entry, Exercise, EXERCISE_FIELDS, position=LAST_POSITION + number)
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
