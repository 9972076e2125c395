"""Measurement sets: which metrics a clinic reads together at a kind of visit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import Metric, MetricGroup

LONGEST_NAME = 100
_ORDER = list(MetricGroup)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementSet:
    """Metrics that are shown together when a visit is logged.

    Parameters
    ----------
    name : str
        What the clinic calls it; at most 100 characters.
    metrics : tuple of str
        Keys of metrics in the order in which they are read; each once.
    purpose : str
        When it is used, in the clinic's words.
    active : bool
        False hides it from the logging page; nothing that was recorded with it changes.

    Raises
    ------
    InputRefused
        For a set without a name or without a metric, and for a metric named twice.
    """

    name: str
    metrics: tuple[str, ...]
    purpose: str = ""
    active: bool = True

    def __post_init__(self) -> None:
        problems = _problems(self)
        if problems:
            raise InputRefused(tuple(problems))


def _problems(one: MeasurementSet) -> list[Problem]:
    twice = sorted({key for key in one.metrics if one.metrics.count(key) > 1})
    checks = (
        (bool(one.name.strip()), "name", one.name, "a measurement set needs a name."),
        (
            len(one.name) <= LONGEST_NAME,
            "name",
            one.name,
            f"the name has {len(one.name)} characters; at most {LONGEST_NAME}.",
        ),
        (
            bool(one.metrics),
            "metrics",
            "",
            f"the set '{one.name}' has no metric; choose at least one, or switch the set off.",
        ),
        (not twice, "metrics", ", ".join(twice), f"named twice: {', '.join(twice)}."),
    )
    return [
        Problem(code=f"set_{column}", column=column, value=value, message=message)
        for fine, column, value, message in checks
        if not fine
    ]


def in_looking_order(metrics: Iterable[Metric], first: Iterable[str] = ()) -> list[Metric]:
    """Metrics in the order in which a clinician looks: group by group.

    Parameters
    ----------
    metrics : iterable of Metric
    first : iterable of str
        Keys that come first within their group, in this order (a set's own order); the others
        follow by their position in the catalogue.
    """
    places = {key: place for place, key in enumerate(first)}
    return sorted(
        metrics,
        key=lambda m: (_ORDER.index(m.group), places.get(m.key, len(places)), m.position, m.label),
    )
