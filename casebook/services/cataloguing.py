"""The catalogue of metrics and the errors with which they are measured."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from casebook.catalogue.loader import starter_figures, starter_metrics
from casebook.catalogue.units import check_ucum
from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.history import Change
from casebook.domain.metrics import (
    AppliesTo,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    check_figure_fits,
)
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.storage import catalogue, history
from casebook.storage.session import Unit, reading, writing

CATALOGUE_EDITED = "edited in the catalogue"
# What stored numbers mean: it can't change under them.
LOCKED_BY_VALUES = ("unit", "scale", "sided")
# What a figure in force is written in.
LOCKED_BY_FIGURES = ("unit", "scale")
LOCKED_BY_ASYMMETRY_FIGURES = ("unit", "scale", "asymmetry_form")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredMetric:
    """A metric as it is stored.

    Attributes
    ----------
    revision : int
        To be handed back on saving, so that two editors can be told apart.
    has_values : bool
        Values are stored: unit, scale and sides can no longer be changed.
    """

    metric: Metric
    revision: int
    has_values: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StarterLoaded:
    """How many metrics and figures the starter catalogue added; none the second time."""

    metrics: int
    figures: int


def load_starter_catalogue(casebook: Casebook) -> StarterLoaded:
    """Add what the store lacks of the starter catalogue; touch nothing that is there.

    A metric that was edited, or switched off, stays so. A figure that was replaced or retired
    does not come back, and none comes to a metric whose unit the clinic has changed.
    """
    now = clock.now()
    with writing(casebook.engine) as unit:
        stored = {m.key: m for m in catalogue.metrics(unit, include_inactive=True)}
        missing = [metric for metric in starter_metrics() if metric.key not in stored]
        told = [catalogue.add_metric(unit, metric) for metric in missing]
        present = stored | {metric.key: metric for metric in missing}
        known = {_slot(f) for f in catalogue.figures(unit, None, include_retired=True)}
        starter = {metric.key: metric for metric in starter_metrics()}
        figures = [
            figure
            for figure in starter_figures()
            if _slot(figure) not in known
            and _same_measure(present[figure.metric], starter[figure.metric])
        ]
        for figure in figures:
            catalogue.add_figure(unit, figure, at=now, told=told)
        if told:
            history.append(unit, told, by="", at=now)
            unit.commit()
    return StarterLoaded(metrics=len(missing), figures=len(figures))


def list_metrics(casebook: Casebook, *, include_inactive: bool = False) -> tuple[Metric, ...]:
    """The catalogue's metrics, in the order in which a clinician looks."""
    with reading(casebook.engine) as unit:
        return catalogue.metrics(unit, include_inactive=include_inactive)


def get_metric(casebook: Casebook, key: str) -> StoredMetric:
    """One metric with its revision.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        return _stored(unit, key)


def save_metric(
    casebook: Casebook,
    metric: Metric,
    *,
    expected_revision: int | None,
    by: str = "",
    reason: str = CATALOGUE_EDITED,
) -> StoredMetric:
    """Add a metric, or change one that nobody else has changed since it was read.

    Parameters
    ----------
    metric : Metric
        `starter` is kept as it is stored; a new metric is never one of the starter's.
    expected_revision : int or None
        The revision that was read; None adds a new metric.
    by : str
        Code of whoever saves; empty where it is not known.
    reason : str
        Why a stored metric is changed, for the history.

    Returns
    -------
    StoredMetric
        As it now stands.

    Raises
    ------
    InputRefused
        For a unit that is no UCUM code; for a unit, scale or sides that differ from those of
        values already stored; for a unit or asymmetry form in which a figure in force is
        written.
    Conflict
        When the key is taken, or somebody else saved the metric in between; says what differs.
    NotFound
        When there is nothing to change.
    """
    check_ucum(metric.unit, metric=metric.key)
    with writing(casebook.engine) as unit:
        if expected_revision is None:
            told = [_add(unit, replace(metric, starter=False))]
        else:
            told = _change(unit, metric, expected_revision, reason)
        saved = _stored(unit, metric.key)
        history.append(unit, told, by=by, at=clock.now())
        unit.commit()
    return saved


def list_figures(
    casebook: Casebook, metric_key: str | None = None, *, include_retired: bool = False
) -> tuple[ErrorFigure, ...]:
    """Error figures of one metric or of all, by metric, what they apply to and origin.

    Raises
    ------
    NotFound
        For a metric that the catalogue does not have.
    """
    with reading(casebook.engine) as unit:
        if metric_key is not None:
            _stored(unit, metric_key)
        return catalogue.figures(unit, metric_key, include_retired=include_retired)


def adopt_figure(casebook: Casebook, figure: ErrorFigure, *, by: str = "") -> ErrorFigure:
    """Put an error figure in force in place of the one of the same metric, kind and origin.

    The one that it replaces is retired and kept. Adopting what is in force changes nothing.

    Parameters
    ----------
    figure : ErrorFigure
        Its instants are not looked at: it is adopted now.
    by : str
        Code of whoever adopts it; empty where it is not known.

    Raises
    ------
    NotFound
        For a metric that the catalogue does not have.
    InputRefused
        For a figure of the asymmetry of a metric that has no asymmetry form.
    """
    now = clock.now()
    figure = _facts(figure)
    with writing(casebook.engine) as unit:
        check_figure_fits(figure, _stored(unit, figure.metric, to_write=True).metric)
        in_force = _figure_in_force(unit, figure)
        if in_force is not None and _facts(in_force) == figure:
            return in_force
        told: list[Change] = []
        catalogue.retire_figure(
            unit, figure.metric, figure.applies_to, figure.origin, at=now, told=told
        )
        adopted = catalogue.add_figure(unit, figure, at=now, told=told)
        history.append(unit, told, by=by, at=now)
        unit.commit()
    return adopted


def retire_figure(
    casebook: Casebook,
    metric_key: str,
    *,
    applies_to: AppliesTo,
    origin: ErrorOrigin,
    by: str = "",
) -> ErrorFigure:
    """Take an error figure out of force; it is kept.

    Raises
    ------
    NotFound
        When there is no such metric, or no such figure in force.
    """
    with writing(casebook.engine) as unit:
        _stored(unit, metric_key, to_write=True)
        now = clock.now()
        told: list[Change] = []
        retired = catalogue.retire_figure(unit, metric_key, applies_to, origin, at=now, told=told)
        if retired is None:
            raise NotFound(
                f"'{metric_key}' has no {origin} error figure of the {applies_to} in force; "
                "nothing was retired."
            )
        history.append(unit, told, by=by, at=now)
        unit.commit()
    return retired


def _slot(figure: ErrorFigure) -> tuple[str, AppliesTo, ErrorOrigin]:
    return figure.metric, figure.applies_to, figure.origin


def _facts(figure: ErrorFigure) -> ErrorFigure:
    return replace(figure, adopted_at=None, retired_at=None)


def _figure_in_force(unit: Unit, figure: ErrorFigure) -> ErrorFigure | None:
    stored = catalogue.figures(unit, figure.metric, include_retired=False)
    return next((one for one in stored if _slot(one) == _slot(figure)), None)


def _same_measure(stored: Metric, starter: Metric) -> bool:
    return (stored.unit, stored.asymmetry_form) == (starter.unit, starter.asymmetry_form)


def _stored(unit: Unit, key: str, *, to_write: bool = False) -> StoredMetric:
    found = catalogue.find_metric(unit, key, to_write=to_write)
    if found is None:
        raise NotFound(
            f"The catalogue has no metric '{key}'. Look up its key in the catalogue, or add it."
        )
    metric, revision, has_values = found
    return StoredMetric(metric=metric, revision=revision, has_values=has_values)


def _add(unit: Unit, metric: Metric) -> Change:
    if catalogue.find_metric(unit, metric.key) is not None:
        raise Conflict(
            f"The catalogue has a metric '{metric.key}' already. Give the new one another key, "
            "or edit the one that stands. Nothing was stored."
        )
    return catalogue.add_metric(unit, metric)


def _change(unit: Unit, metric: Metric, expected_revision: int, reason: str) -> list[Change]:
    stored = _stored(unit, metric.key, to_write=True)
    metric = replace(metric, starter=stored.metric.starter)
    differs = _differing(stored.metric, metric)
    if stored.revision != expected_revision:
        raise Conflict(
            f"Somebody else saved '{metric.key}' in between (revision {stored.revision}, you had "
            f"{expected_revision}). {_difference_words(stored.metric, metric, differs)} Nothing "
            "was stored; read it again and repeat your change."
        )
    if not differs:
        return []
    problems = _locked(unit, stored, metric, differs)
    if problems:
        raise InputRefused(problems)
    revision = stored.revision + 1
    return [catalogue.write_metric(unit, metric, revision=revision, reason=reason)]


def _differing(stored: Metric, given: Metric) -> tuple[str, ...]:
    return tuple(
        field.name
        for field in fields(Metric)
        if getattr(stored, field.name) != getattr(given, field.name)
    )


def _difference_words(stored: Metric, given: Metric, differs: tuple[str, ...]) -> str:
    if not differs:
        return "What is stored is what you gave."
    told = "; ".join(
        f"{name} is stored as '{getattr(stored, name)}', you gave '{getattr(given, name)}'"
        for name in differs
    )
    return f"{told}."


def _locked(
    unit: Unit, stored: StoredMetric, metric: Metric, differs: tuple[str, ...]
) -> tuple[Problem, ...]:
    why: dict[str, str] = {}
    for figure in catalogue.figures(unit, metric.key, include_retired=False):
        by_figure = (
            LOCKED_BY_ASYMMETRY_FIGURES
            if figure.applies_to is AppliesTo.ASYMMETRY
            else LOCKED_BY_FIGURES
        )
        why |= dict.fromkeys(
            by_figure,
            f"a {figure.origin} error figure of the {figure.applies_to} is written in it; retire "
            "that figure first",
        )
    if stored.has_values:
        why |= dict.fromkeys(
            LOCKED_BY_VALUES,
            "values are stored under it; add a new metric instead and switch this one off",
        )
    return tuple(
        Problem(
            code=f"metric_{name}_locked",
            column=name,
            value=str(getattr(metric, name)),
            message=f"metric '{metric.key}': {name} can't be changed from "
            f"'{getattr(stored.metric, name)}' to '{getattr(metric, name)}': {why[name]}.",
        )
        for name in differs
        if name in why
    )
