"""What is being typed for a runner's visit, kept apart from the widgets until it is saved."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import streamlit as st

from app.state import Key
from casebook.domain.metrics import Metric
from casebook.domain.side_swap import looks_swapped
from casebook.domain.sides import Side
from casebook.domain.typed_entry import Entry, read_entry
from casebook.domain.visits import Value
from casebook.services.recording import StoredVisit

Cell = tuple[str, Side]
SIDES = (Side.LEFT, Side.RIGHT)


@dataclass(slots=True)
class Draft:
    """Everything typed for one runner's next save; it outlives reruns and other pages."""

    runner: str
    serial: int
    cells: dict[Cell, str] = field(default_factory=dict)
    confirmed: set[tuple[Cell, str]] = field(default_factory=set)
    head: dict[str, object] = field(default_factory=dict)
    conflict: str = ""

    def key(self, *parts: str) -> str:
        """Key of a widget of this draft, never shared with another runner or an earlier save."""
        return "_".join(("log", self.runner.encode().hex(), str(self.serial), *parts))


def draft_of(runner: str) -> Draft:
    """The draft of a runner, begun where there is none."""
    drafts: dict[str, Draft] = st.session_state.setdefault(Key.DRAFTS, {})
    return drafts.setdefault(runner, Draft(runner=runner, serial=0))


def drop_draft(draft: Draft) -> None:
    """Begin anew after a save."""
    st.session_state[Key.DRAFTS][draft.runner] = Draft(runner=draft.runner, serial=draft.serial + 1)


def seeded(draft: Draft, name: str, start: object) -> str:
    """Key of a widget of the visit's head, holding what was typed before or `start`.

    A widget that was off the screen for a run has lost its text; the draft has it still.
    """
    key = draft.key(name)
    st.session_state.setdefault(key, draft.head.get(name, start))
    return key


def keep(draft: Draft, name: str) -> None:
    """Take over what a widget of the head holds."""
    draft.head[name] = st.session_state[draft.key(name)]


def keep_cell(draft: Draft, cell: Cell) -> None:
    """Take over what a cell of the grid holds."""
    draft.cells[cell] = st.session_state[draft.key(*cell)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Previous:
    """The latest earlier value of a metric and side, and when it was taken."""

    value: Value
    visited_on: date
    at_last_visit: bool


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
                )
    return found


def sides_of(metric: Metric) -> tuple[Side, ...]:
    """The cells that a metric's row has."""
    return SIDES if metric.sided else (Side.NONE,)


def entry_of(draft: Draft, metric: Metric, side: Side) -> Entry:
    """A cell as it is understood; its question is settled once the same text was confirmed."""
    text = draft.cells.get((metric.key, side), "")
    entry = read_entry(text, metric, side)
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
    left, right = (read_entry(draft.cells.get((metric.key, s), ""), metric, s).value for s in SIDES)
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
