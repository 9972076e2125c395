"""The cells of a visit's sheet as they are understood, beside what the last visits had."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from app.log_draft import Cell, Draft
from app.words import STEPPED
from casebook.catalogue.units import convert
from casebook.domain.metrics import Metric
from casebook.domain.side_swap import looks_swapped
from casebook.domain.sides import Side
from casebook.domain.typed_entry import Entry, read_entry, write_entry
from casebook.domain.visits import Value
from casebook.domain.wording import unit_words
from casebook.services.recording import StoredVisit

SIDES = (Side.LEFT, Side.RIGHT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Previous:
    """The latest earlier value of a metric and side, and when it was taken."""

    value: Value
    visited_on: date
    at_last_visit: bool
    frames_per_s: float | None


def previous_values(visits: tuple[StoredVisit, ...]) -> dict[Cell, Previous]:
    """For every metric and side the latest value with a number; `visits` oldest first."""
    found: dict[Cell, Previous] = {}
    for place, stored in enumerate(visits, start=1):
        for value in stored.visit.values:
            if value.mean is not None:
                found[value.metric, value.side] = Previous(
                    value=value,
                    visited_on=stored.visit.visited_on,
                    at_last_visit=place == len(visits),
                    frames_per_s=stored.visit.conditions.frames_per_s,
                )
    return found


def sides_of(metric: Metric) -> tuple[Side, ...]:
    """The cells that a metric's row has."""
    return SIDES if metric.sided else (Side.NONE,)


def stored_text(stored: dict[Cell, Value], cell: Cell) -> str:
    """What is stored in a cell, as one would type it; blank where nothing is."""
    return write_entry(stored[cell]) if cell in stored else ""


def read_cell(text: str, metric: Metric, side: Side) -> Entry:
    """A text as it is understood in a cell, a unit behind its numbers converted."""
    if metric.scale in STEPPED:
        return read_entry(text, metric, side)
    entry = read_entry(
        text, metric, side, convert=lambda number, unit: convert(number, unit, metric.unit)
    )
    told = entry.problem.replace(f"'{metric.unit}'", f"'{unit_words(metric.unit)}'")
    return replace(entry, problem=told)


def entry_of(draft: Draft, metric: Metric, side: Side) -> Entry:
    """A typed cell; its question is settled once the same text was confirmed."""
    text = draft.cells.get((metric.key, side), "")
    entry = read_cell(text, metric, side)
    if ((metric.key, side), text) in draft.confirmed:
        return replace(entry, question="")
    return entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """Two cells that fit the last visit better when left and right change places.

    `text` is what stands in both; a confirmation holds for that text only.
    """

    cell: Cell
    text: str
    last: tuple[float, float]
    visited_on: date
    settled: bool


def swap_of(
    draft: Draft, metric: Metric, previous: dict[Cell, Previous], error: float
) -> Swap | None:
    """Whether the two sides of a metric look typed into one another's cell.

    Parameters
    ----------
    error : float
        Change of one side that error alone may bring, in the metric's unit.
    """
    if not metric.sided:
        return None
    left, right = (read_cell(draft.cells.get((metric.key, s), ""), metric, s).value for s in SIDES)
    before = [previous.get((metric.key, side)) for side in SIDES]
    if left is None or right is None or before[0] is None or before[1] is None:
        return None
    last = (before[0].value.mean, before[1].value.mean)
    if left.mean is None or right.mean is None or last[0] is None or last[1] is None:
        return None
    if before[0].visited_on != before[1].visited_on:
        return None
    if not looks_swapped((left.mean, right.mean), (last[0], last[1]), error=error):
        return None
    cell = (metric.key, Side.NONE)
    text = " | ".join(draft.cells.get((metric.key, side), "") for side in SIDES)
    return Swap(
        cell=cell,
        text=text,
        last=(last[0], last[1]),
        visited_on=before[0].visited_on,
        settled=(cell, text) in draft.confirmed,
    )
