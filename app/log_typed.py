"""What a sheet came to: values to be stored, values to be taken out, and what stands open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.conditions_form import Head
from app.entering import entry_of, sides_of, swap_of
from app.log_draft import Cell
from app.log_sheet import Sheet
from app.words import SIDES
from casebook.domain.history import value_content
from casebook.domain.visits import CONDITION_RANGES, Value, Visit, as_kept

CONDITION_NAMES = (
    *(column for column, *_ in CONDITION_RANGES),
    "surface",
    "footwear",
    "view",
    "assessor",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """The cells of a sheet as they would be saved.

    Parameters
    ----------
    values : tuple of Value
        New ones and those that differ from what is stored.
    removed : tuple of Cell
        Stored values that were taken out.
    changed : int
        How many of `values` stand in place of a stored one.
    open_points : tuple of (label, words)
        What has to be mended or confirmed first.
    """

    values: tuple[Value, ...]
    removed: tuple[Cell, ...]
    changed: int
    open_points: tuple[tuple[str, str], ...]


def typed_cells(sheet: Sheet) -> Typed:
    """Read every typed cell."""
    values: list[Value] = []
    removed: list[Cell] = []
    changed = 0
    open_points: list[tuple[str, str]] = []
    for metric in sheet.metrics:
        for side in sides_of(metric):
            cell = (metric.key, side)
            if cell not in sheet.draft.cells:
                continue
            label = f"{metric.label}, {SIDES[side]}"
            entry = entry_of(sheet.draft, metric, side)
            kept = sheet.kept.get(cell)
            if entry.problem or entry.question:
                open_points.append((label, entry.problem or entry.question))
            elif entry.value is None and kept is not None:
                removed.append(cell)
            elif entry.value is not None and not _same(entry.value, kept):
                values.append(entry.value)
                changed += kept is not None
        swap = swap_of(sheet.draft, metric, dict(sheet.previous), sheet.errors[metric.key])
        if swap is not None and not swap.settled:
            words = "left and right look swapped against the last visit: correct or confirm them."
            open_points.append((metric.label, words))
    known = {metric.key for metric in sheet.metrics}
    open_points += [
        (key, "this metric is switched off in the catalogue: switch it on, or discard the draft.")
        for key in sorted({key for key, _ in sheet.draft.cells} - known)
    ]
    return Typed(
        values=tuple(values),
        removed=tuple(removed),
        changed=changed,
        open_points=tuple(open_points),
    )


def _same(typed: Value, kept: Value | None) -> bool:
    return kept is not None and value_content(as_kept(typed, kept)) == value_content(kept)


def details_typed(head: Head, stored: Visit) -> dict[str, object]:
    """What of the head differs from the stored visit, by column."""
    return {
        name: content
        for name, content in head_columns(head).items()
        if content != stored_columns(stored)[name]
    }


def head_columns(head: Head) -> dict[str, object]:
    """The head by column."""
    return {
        "kind": head.kind,
        "next_due_on": head.next_due_on,
        "note": head.note,
        **{name: getattr(head.conditions, name) for name in CONDITION_NAMES},
    }


def stored_columns(visit: Visit) -> dict[str, object]:
    """The head of a stored visit by column."""
    return {
        "kind": visit.kind,
        "next_due_on": visit.next_due_on,
        "note": visit.note,
        **{name: getattr(visit.conditions, name) for name in CONDITION_NAMES},
    }


def overwritten(details: Mapping[str, object], stored: Visit) -> bool:
    """Whether any of the details stands in place of one that was recorded."""
    before = stored_columns(stored)
    return any(before[name] not in (None, "") for name in details)


def day_of(content: object) -> date | None:
    """A date out of a history field."""
    return date.fromisoformat(content) if isinstance(content, str) else None
