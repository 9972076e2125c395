"""Metrics and error figures from a readable file; every problem is reported, none half-taken.

The starter catalogue and a clinic's own file are read by the same functions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import Any

from casebook.catalogue.entries import (
    LAST_POSITION,
    doubles,
    entries_of,
    file_text,
    number_field,
    one_of,
    placed,
    several,
    starter_text,
    take_up,
    text_field,
    truth_field,
    whole_field,
)
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


METRIC_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "key": text_field,
    "label": text_field,
    "group": one_of(MetricGroup),
    "unit": text_field,
    "scale": one_of(Scale),
    "sided": truth_field,
    "plane": text_field,
    "view": text_field,
    "phase": text_field,
    "sign_convention": text_field,
    "better": one_of(Better),
    "target_low": number_field,
    "target_high": number_field,
    "plausible_low": number_field,
    "plausible_high": number_field,
    "resolution": number_field,
    "floor_kind": one_of(FloorKind),
    "usual_trials": whole_field,
    "asymmetry_form": one_of(AsymmetryForm),
    "important_change": number_field,
    "sensitive_to": several(one_of(Condition)),
    "grades": several(text_field),
    "notes": text_field,
    "sources": text_field,
    "position": whole_field,
    "active": truth_field,
}
FIGURE_FIELDS: Mapping[str, Callable[[object], Any]] = {
    "metric": text_field,
    "applies_to": one_of(AppliesTo),
    "origin": one_of(ErrorOrigin),
    "between_sd": number_field,
    "within_sd": number_field,
    "sem": number_field,
    "sem_trials": whole_field,
    "grade_step": whole_field,
    "published_as": text_field,
    "published_level": number_field,
    "averaged": text_field,
    "population": text_field,
    "source": text_field,
}


@cache
def starter_metrics() -> tuple[Metric, ...]:
    """The metrics that come with the product, in the order in which a clinician looks."""
    text = starter_text(STARTER_METRICS)
    return tuple(replace(metric, starter=True) for metric in _metrics(text, STARTER_METRICS))


@cache
def starter_figures() -> tuple[ErrorFigure, ...]:
    """The published error figures that come with the product."""
    return _figures(starter_text(STARTER_FIGURES), STARTER_FIGURES, starter_metrics())


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
    return _metrics(file_text(path), path.name)


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
    return _figures(file_text(path), path.name, metrics)


def _metrics(text: str, file: str) -> tuple[Metric, ...]:
    entries = entries_of(text, file, table="metric", name_field="key")
    problems = list(doubles(entries))
    metrics = []
    for number, entry in enumerate(entries):
        made, wrong = take_up(entry, Metric, METRIC_FIELDS, position=LAST_POSITION + number)
        problems.extend(wrong)
        if made is not None:
            metrics.append(made)
            problems.extend(placed(entry, partial(check_ucum, made.unit, metric=made.key)))
    if problems:
        raise InputRefused(tuple(problems))
    return tuple(metrics)


def _figures(text: str, file: str, metrics: Sequence[Metric]) -> tuple[ErrorFigure, ...]:
    by_key = {metric.key: metric for metric in metrics}
    problems: list[Problem] = []
    figures: dict[tuple[str, AppliesTo, ErrorOrigin], ErrorFigure] = {}
    for entry in entries_of(text, file, table="figure", name_field="metric"):
        figure, wrong = take_up(entry, ErrorFigure, FIGURE_FIELDS)
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
            problems.extend(placed(entry, partial(check_figure_fits, figure, metric)))
            figures[identity] = figure
    if problems:
        raise InputRefused(tuple(problems))
    return tuple(figures.values())
