"""Metrics from marked points: computed from files, looked at, and stored as a visit's values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from casebook.catalogue.loader import starter_metrics
from casebook.catalogue.units import convert
from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.marking import (
    MarkedValue,
    Marks,
    MarkSettings,
    Measured,
)
from casebook.domain.metrics import Metric
from casebook.domain.visits import Conditions, Value, Visit, VisitKind, value_of_trials
from casebook.intake.marks import read_marks
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.recording import VisitSaved, find_visit, record_visit
from casebook.statistics.geometry_measure import measure

# More digits than any mark can tell, and few enough to read.
DECIMALS = 4

# What may be said of the marking: field, lowest, highest, unit in words.
RANGES: tuple[tuple[str, float, float, str], ...] = (
    ("point_sd_px", 0.01, 200.0, "pixels"),
    ("event_sd_frames", 0.0, 50.0, "frames"),
    ("tilt_sd_deg", 0.0, 20.0, "degrees"),
    ("px_per_cm_sd", 0.0, 100.0, "pixels a cm"),
    ("speed_km_h", 0.5, 45.0, "km/h"),
    ("speed_sd_km_h", 0.0, 5.0, "km/h"),
    ("frames_per_s", 10.0, 2000.0, "frames a second"),
    ("last_frame", 0.0, 1e7, "frames"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksRead:
    """What files of marks came to.

    Parameters
    ----------
    measured : Measured
        In the units of `metrics`.
    metrics : dict of str to Metric
        By key: the casebook's, and the starter catalogue's for what it does not have.
    kept : frozenset of str
        Keys of the metrics that the casebook's catalogue has and uses.
    """

    marks: Marks
    settings: MarkSettings
    measured: Measured
    metrics: Mapping[str, Metric]
    kept: frozenset[str] = frozenset()

    @property
    def unlikely(self) -> tuple[MarkedValue, ...]:
        """Values whose mean lies outside the plausible range of their metric."""
        return tuple(
            value
            for value in self.measured.values
            if not self.metrics[value.metric].plausible_low
            <= value.mean
            <= self.metrics[value.metric].plausible_high
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ForVisit:
    """The visit that the values belong to.

    Parameters
    ----------
    conditions : Conditions
        Of a new visit; speed and frame rate come from the marks where they are known there.
    add : bool
        To put the values into a visit that stands, whose conditions they do not change.
    """

    runner: str
    visited_on: date
    session: int = 1
    kind: VisitKind = VisitKind.REVIEW
    conditions: Conditions = field(default_factory=Conditions)
    note: str = ""
    next_due_on: date | None = None
    add: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksSaved:
    """What a save came to.

    Parameters
    ----------
    left_out : tuple of str
        Metrics that this casebook's catalogue does not have, or has switched off.
    """

    saved: VisitSaved
    left_out: tuple[str, ...]


def read_files(
    paths: Sequence[Path], settings: MarkSettings, *, casebook: Casebook | None = None
) -> MarksRead:
    """Read files of marks and compute what they tell; nothing is stored.

    Parameters
    ----------
    paths : sequence of Path
        Tables of points and of moments, in any order.
    settings : MarkSettings
    casebook : Casebook or None
        Its catalogue is used; without one the starter's.

    Raises
    ------
    InputRefused
        With every cell that can't be taken, or every setting out of its range; for a metric
        whose unit in this casebook measures something else.
    """
    _check_settings(settings)
    marks = read_marks(paths, last_frame=settings.last_frame)
    starter = {metric.key: metric for metric in starter_metrics()}
    own = {} if casebook is None else {metric.key: metric for metric in list_metrics(casebook)}
    metrics = starter | own
    return MarksRead(
        marks=marks,
        settings=settings,
        measured=_in_units_of(measure(marks, settings), starter, metrics),
        metrics=metrics,
        kept=frozenset(own),
    )


def _in_units_of(
    measured: Measured, starter: Mapping[str, Metric], metrics: Mapping[str, Metric]
) -> Measured:
    """The same in the casebook's own units, in the order in which a clinician looks."""
    factors = {
        key: convert(1.0, starter[key].unit, metrics[key].unit, metric=key)
        for key in {value.metric for value in measured.values}
    }

    def place(metric: str) -> int:
        return metrics[metric].position

    return replace(
        measured,
        values=tuple(
            sorted(
                (_times(value, factors[value.metric]) for value in measured.values),
                key=lambda value: (place(value.metric), value.side),
            )
        ),
        asymmetries=tuple(
            replace(
                one,
                value=one.value * factors[one.metric],
                sd=_product(one.sd, factors[one.metric]),
                sd_if_independent=_product(one.sd_if_independent, factors[one.metric]),
            )
            for one in sorted(measured.asymmetries, key=lambda one: place(one.metric))
        ),
    )


def _times(value: MarkedValue, factor: float) -> MarkedValue:
    return replace(
        value,
        trials=tuple(
            replace(trial, value=trial.value * factor, sd=_product(trial.sd, factor))
            for trial in value.trials
        ),
        mean=value.mean * factor,
        own_sd=_product(value.own_sd, factor),
        shared_sd=_product(value.shared_sd, factor),
        mean_sd=_product(value.mean_sd, factor),
        marking_sd=_product(value.marking_sd, factor),
    )


def _product(number: float | None, factor: float) -> float | None:
    return None if number is None else number * factor


def _check_settings(settings: MarkSettings) -> None:
    problems = []
    for name, low, high, unit in RANGES:
        number = getattr(settings, name)
        if number is not None and not low <= number <= high:
            problems.append(
                Problem(
                    code=f"{name}_out_of_range",
                    column=name,
                    value=f"{number:g}",
                    message=f"{name} is {number:g}; expected {low:g} to {high:g} {unit}.",
                )
            )
    if settings.speed_sd_km_h and settings.speed_km_h is None:
        problems.append(
            Problem(
                code="speed_missing",
                column="speed_sd_km_h",
                value=f"{settings.speed_sd_km_h:g}",
                message="an error of the speed is given and no speed; give both or neither.",
            )
        )
    if problems:
        raise InputRefused(tuple(problems))


def values_to_store(read: MarksRead) -> tuple[tuple[Value, ...], tuple[str, ...]]:
    """The values as they are stored, and keys of metrics that the casebook does not have.

    A value's `marking_sd` is that of one trial, made so that divided by the root of the number
    of trials it never falls below the error of their mean: what all trials share (scale,
    camera, speed, and the rounding to whole frames, which they may share) is counted as often
    as there are trials.
    """
    values, left_out = [], []
    for found in read.measured.values:
        if found.metric not in read.kept:
            left_out.append(found.metric)
            continue
        trials = [round(trial.value, DECIMALS) for trial in found.trials]
        value = value_of_trials(found.metric, found.side, trials)
        values.append(replace(value, marking_sd=found.marking_sd))
    return tuple(values), tuple(dict.fromkeys(left_out))


def save_marks(casebook: Casebook, read: MarksRead, where: ForVisit, *, by: str) -> MarksSaved:
    """Store what was computed as a new visit, or add it to one that stands; all or nothing.

    Parameters
    ----------
    read : MarksRead
        Computed with this casebook's catalogue.
    where : ForVisit
    by : str
        Code of whoever saves.

    Raises
    ------
    NotFound
        For an unknown runner, or no visit to add to.
    InputRefused
        When there is nothing to store, or a value can't be.
    Conflict
        When there is a visit and none was to be added to, or a stored value differs.
    """
    values, left_out = values_to_store(read)
    if not values:
        raise InputRefused(
            (
                Problem(
                    code="nothing_computed",
                    message="the marks gave no value that could be stored; what was missing is "
                    "told frame by frame.",
                ),
            )
        )
    stored = find_visit(casebook, where.runner, where.visited_on, where.session)
    if where.add and stored is None:
        raise NotFound(
            f"There is no visit of '{where.runner}' on {where.visited_on} (session "
            f"{where.session}) to add to. Nothing was stored. Save it as a new visit."
        )
    if not where.add and stored is not None:
        raise Conflict(
            f"The visit of '{where.runner}' on {where.visited_on} (session {where.session}) is "
            "stored already. Nothing was stored. Add to it, or save as another session."
        )
    speed, rate = _speed_and_rate(read, values)
    kept = where.conditions if stored is None else stored.visit.conditions
    conditions = replace(
        kept,
        speed_km_h=kept.speed_km_h if speed is None else speed,
        frames_per_s=kept.frames_per_s if rate is None else rate,
    )
    if stored is None:
        visit = Visit(
            runner=where.runner,
            visited_on=where.visited_on,
            session=where.session,
            kind=where.kind,
            conditions=conditions,
            next_due_on=where.next_due_on,
            note=where.note,
            values=values,
        )
        return MarksSaved(saved=record_visit(casebook, visit, by=by), left_out=left_out)
    # What differs from the stored conditions is refused by the recording, in words.
    visit = replace(stored.visit, conditions=conditions, values=values)
    saved = record_visit(casebook, visit, by=by, expected_revision=stored.revision)
    return MarksSaved(saved=saved, left_out=left_out)


def _speed_and_rate(read: MarksRead, values: Iterable[Value]) -> tuple[float | None, float | None]:
    keys = {value.metric for value in values}
    views = {one.view for one in read.measured.values if one.metric in keys}
    rates = {read.marks.frames_per_s.get(view, read.settings.frames_per_s) for view in views}
    # Two cameras with two rates have no one rate that a visit could be compared by.
    return read.settings.speed_km_h, next(iter(rates)) if len(rates) == 1 else None
