"""Metrics and error figures from a readable file; every problem is reported, none half-taken.

The starter catalogue and a clinic's own file are read by the same functions.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, replace
from enum import StrEnum
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from casebook.catalogue.units import check_ucum
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    Condition,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    MetricGroup,
    Scale,
    check_figure_fits,
)

STARTER_METRICS = "starter_metrics.toml"
STARTER_FIGURES = "starter_error_figures.toml"
# Where a file leaves the order to us: behind what has a place of its own.
LAST_POSITION = 999

Made = TypeVar("Made", Metric, ErrorFigure)


class _Unfit(ValueError):
    """A field's value is not of the expected kind; its text says what is expected."""


def _text(given: object) -> str:
    if not isinstance(given, str):
        raise _Unfit("a text in quotes")
    return given


def _number(given: object) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        raise _Unfit("a number")
    return float(given)


def _whole(given: object) -> int:
    if isinstance(given, bool) or not isinstance(given, int):
        raise _Unfit("a whole number")
    return given


def _truth(given: object) -> bool:
    if not isinstance(given, bool):
        raise _Unfit("true or false")
    return given


def _one_of(kind: type[StrEnum]) -> Callable[[object], StrEnum]:
    def read(given: object) -> StrEnum:
        if not isinstance(given, str) or given not in set(kind):
            raise _Unfit(f"one of {', '.join(kind)}")
        return kind(given)

    return read


def _several(read_one: Callable[[object], Any]) -> Callable[[object], tuple[Any, ...]]:
    def read(given: object) -> tuple[Any, ...]:
        if not isinstance(given, list):
            raise _Unfit("a list in square brackets")
        try:
            return tuple(read_one(item) for item in given)
        except _Unfit as unfit:
            raise _Unfit(f"a list in square brackets, each entry {unfit}") from None

    return read


METRIC_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "key": _text,
    "label": _text,
    "group": _one_of(MetricGroup),
    "unit": _text,
    "scale": _one_of(Scale),
    "sided": _truth,
    "plane": _text,
    "view": _text,
    "phase": _text,
    "sign_convention": _text,
    "better": _one_of(Better),
    "target_low": _number,
    "target_high": _number,
    "plausible_low": _number,
    "plausible_high": _number,
    "resolution": _number,
    "floor_kind": _one_of(FloorKind),
    "usual_trials": _whole,
    "asymmetry_form": _one_of(AsymmetryForm),
    "important_change": _number,
    "sensitive_to": _several(_one_of(Condition)),
    "grades": _several(_text),
    "notes": _text,
    "sources": _text,
    "position": _whole,
    "active": _truth,
}
FIGURE_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "metric": _text,
    "applies_to": _one_of(AppliesTo),
    "origin": _one_of(ErrorOrigin),
    "between_sd": _number,
    "within_sd": _number,
    "sem": _number,
    "sem_trials": _whole,
    "grade_step": _whole,
    "published_as": _text,
    "published_level": _number,
    "averaged": _text,
    "population": _text,
    "source": _text,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """One `[[...]]` of a file: where it begins and what stands in it."""

    file: str
    row: int | None
    name: str
    content: Mapping[str, object]

    def problem(self, code: str, message: str, *, column: str = "", value: object = "") -> Problem:
        return Problem(
            code=code, message=message, file=self.file, row=self.row, column=column,
            value=str(value),
        )  # fmt: skip


def starter_metrics() -> tuple[Metric, ...]:
    """The metrics that come with the product, in the order in which a clinician looks."""
    text = _starter_text(STARTER_METRICS)
    return tuple(replace(metric, starter=True) for metric in _metrics(text, STARTER_METRICS))


def starter_figures() -> tuple[ErrorFigure, ...]:
    """The published error figures that come with the product."""
    return _figures(_starter_text(STARTER_FIGURES), STARTER_FIGURES, starter_metrics())


def load_metrics_file(path: Path) -> tuple[Metric, ...]:
    """Metrics from a file of `[[metric]]` entries (TOML).

    Parameters
    ----------
    path : Path
        A file written like `starter_metrics.toml`.

    Raises
    ------
    InputRefused
        With every problem of the file: what can't be read, unknown or missing fields, a key
        given twice, a value of the wrong kind, a unit that is no UCUM code.
    """
    return _metrics(_file_text(path), path.name)


def load_figures_file(path: Path, metrics: Sequence[Metric]) -> tuple[ErrorFigure, ...]:
    """Error figures from a file of `[[figure]]` entries (TOML).

    Parameters
    ----------
    path : Path
        A file written like `starter_error_figures.toml`.
    metrics : sequence of Metric
        The metrics that a figure may belong to.

    Raises
    ------
    InputRefused
        With every problem of the file, as for metrics; a figure must name a known metric and
        its source.
    """
    return _figures(_file_text(path), path.name, metrics)


def _starter_text(name: str) -> str:
    return resources.files("casebook.catalogue").joinpath(name).read_text(encoding="utf-8")


def _file_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        why = f"it can't be read ({error.strerror})"
    except UnicodeDecodeError:
        why = "it is no text in UTF-8; save it as UTF-8"
    raise InputRefused(
        (Problem(code="file_unreadable", file=path.name, message=f"{why}; check the path."),)
    )


def _metrics(text: str, file: str) -> tuple[Metric, ...]:
    entries = _entries(text, file, table="metric", name_field="key")
    problems = list(_doubles(entries))
    metrics = []
    for number, entry in enumerate(entries):
        made, wrong = _made(entry, Metric, METRIC_FIELDS, position=LAST_POSITION + number)
        problems.extend(wrong)
        if made is not None:
            metrics.append(made)
            problems.extend(_placed(entry, partial(check_ucum, made.unit, metric=made.key)))
    if problems:
        raise InputRefused(tuple(problems))
    return tuple(metrics)


def _figures(text: str, file: str, metrics: Sequence[Metric]) -> tuple[ErrorFigure, ...]:
    by_key = {metric.key: metric for metric in metrics}
    problems: list[Problem] = []
    figures: dict[tuple[str, AppliesTo, ErrorOrigin], ErrorFigure] = {}
    for entry in _entries(text, file, table="figure", name_field="metric"):
        figure, wrong = _made(entry, ErrorFigure, FIGURE_FIELDS)
        problems.extend(wrong)
        if figure is None:
            continue
        metric = by_key.get(figure.metric)
        identity = (figure.metric, figure.applies_to, figure.origin)
        if metric is None:
            problems.append(
                entry.problem(
                    "unknown_metric",
                    f"error figure for '{figure.metric}': the catalogue has no such metric; "
                    "expected the key of a metric.",
                    column="metric",
                    value=figure.metric,
                )
            )
        elif identity in figures:
            problems.append(
                entry.problem(
                    "figure_twice",
                    f"error figure for '{figure.metric}': a second {figure.origin} figure of the "
                    f"{figure.applies_to}; expected one of each origin.",
                    column="metric",
                    value=figure.metric,
                )
            )
        else:
            problems.extend(_placed(entry, partial(check_figure_fits, figure, metric)))
            figures[identity] = figure
    if problems:
        raise InputRefused(tuple(problems))
    return tuple(figures.values())


def _entries(text: str, file: str, *, table: str, name_field: str) -> list[_Entry]:
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputRefused(
            (
                Problem(
                    code="file_not_toml",
                    file=file,
                    message=f"it is not written as expected: {error}. Expected TOML with one "
                    f"[[{table}]] for each entry, text in quotes.",
                ),
            )
        ) from None
    found = content.get(table)
    others = [name for name in content if name != table]
    if others or not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        what = f"holds '{others[0]}'" if others else f"holds no [[{table}]]"
        raise InputRefused(
            (
                Problem(
                    code="file_of_another_kind",
                    file=file,
                    message=f"it {what}; expected nothing but [[{table}]] entries.",
                ),
            )
        )
    rows = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if re.match(rf"\s*\[\[\s*{table}\s*\]\]", line)
    ]
    # A file may also list its entries inline; then there is no line to name.
    places: list[int | None] = [*rows] if len(rows) == len(found) else [None] * len(found)
    return [
        _Entry(file=file, row=row, name=f"{table} '{one.get(name_field, '?')}'", content=one)
        for row, one in zip(places, found, strict=True)
    ]


def _doubles(entries: Sequence[_Entry]) -> list[Problem]:
    first: dict[object, int | None] = {}
    problems = []
    for entry in entries:
        key = entry.content.get("key")
        if not isinstance(key, str):
            continue
        if key in first:
            problems.append(
                entry.problem(
                    "key_twice",
                    f"{entry.name}: the key stands twice (first in row {first[key]}); "
                    "expected every key once.",
                    column="key",
                    value=key,
                )
            )
        else:
            first[key] = entry.row
    return problems


def _made(
    entry: _Entry,
    kind: type[Made],
    readers: Mapping[str, Callable[[object], Any]],
    **defaults: object,
) -> tuple[Made | None, list[Problem]]:
    required = {field.name for field in fields(kind) if field.default is MISSING}
    problems = [
        entry.problem(
            "field_unknown",
            f"{entry.name}: the field '{name}' (given as '{entry.content[name]}') is not known; "
            f"expected one of {', '.join(readers)}.",
            column=name,
            value=entry.content[name],
        )
        for name in entry.content
        if name not in readers
    ]
    problems.extend(
        entry.problem(
            "field_missing",
            f"{entry.name}: the field '{name}' is missing; it must be given.",
            column=name,
        )
        for name in readers
        if name in required and name not in entry.content
    )
    taken: dict[str, Any] = dict(defaults)
    for name, read in readers.items():
        if name not in entry.content:
            continue
        given = entry.content[name]
        try:
            taken[name] = read(given)
        except _Unfit as unfit:
            problems.append(
                entry.problem(
                    "field_unfit",
                    f"{entry.name}: {name} is '{given}'; expected {unfit}.",
                    column=name,
                    value=given,
                )
            )
    if problems:
        return None, problems
    try:
        return kind(**taken), []
    except InputRefused as refusal:
        return None, _at(entry, refusal)


def _placed(entry: _Entry, check: Callable[[], object]) -> list[Problem]:
    try:
        check()
    except InputRefused as refusal:
        return _at(entry, refusal)
    return []


def _at(entry: _Entry, refusal: InputRefused) -> list[Problem]:
    return [replace(problem, file=entry.file, row=entry.row) for problem in refusal.problems]
