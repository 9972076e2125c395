"""Exercises from a readable file, read as metrics are: every problem reported, none half-taken."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from casebook.catalogue.entries import (
    LAST_POSITION,
    Entry,
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
    entries = _entries(starter_text(STARTER_EXERCISES), STARTER_EXERCISES)
    return tuple(replace(exercise, starter=True) for exercise in taken_exercises(entries, keys))


def exercise_entries(path: Path) -> list[Entry]:
    """The entries of a file of `[[exercise]]` (TOML), written like `starter_exercises.toml`.

    Raises
    ------
    InputRefused
        When the file can't be read or holds something else.
    """
    return _entries(file_text(path), path.name)


def taken_exercises(
    entries: Sequence[Entry], metric_keys: Collection[str], stored: Iterable[Exercise] = ()
) -> tuple[Exercise, ...]:
    """What the entries describe; a stored exercise keeps what its entry does not speak of.

    Parameters
    ----------
    entries : sequence of Entry
    metric_keys : collection of str
        Keys of the catalogue, which `metrics` may name.
    stored : iterable of Exercise
        The list as it stands.

    Raises
    ------
    InputRefused
        With every problem of the entries: unknown or missing fields, a key given twice, a value
        of the wrong kind, a metric that the catalogue does not have, a dose without a source.
    """
    known: Mapping[object, Exercise] = {one.key: one for one in stored}
    problems = list(doubles(entries))
    found: list[Exercise] = []
    for number, given in enumerate(entries):
        before = known.get(given.content.get("key"))
        entry = replace(given, content={**_content(before), **given.content})
        exercise, wrong = take_up(entry, Exercise, EXERCISE_FIELDS, position=LAST_POSITION + number)
        problems.extend(wrong)
        if exercise is None:
            continue
        found.append(exercise if before is None else replace(exercise, starter=before.starter))
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


def _entries(text: str, file: str) -> list[Entry]:
    return entries_of(text, file, table="exercise", name_field="key")


def _content(stored: Exercise | None) -> dict[str, object]:
    """A stored exercise as an entry of a file would say it."""
    if stored is None:
        return {}
    said = {
        field.name: getattr(stored, field.name)
        for field in fields(Exercise)
        if field.name in EXERCISE_FIELDS and getattr(stored, field.name) is not None
    }
    return said | {"metrics": list(stored.metrics)}
