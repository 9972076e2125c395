"""How what was typed of a visit and not saved is named, field by field, in a draft's content."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from casebook.domain.sides import Side

RUNNER: Final = "runner"
CELL, HEAD = "cell", "head"
# Not of the visit, but of the sheet: which rows are shown, and who began it.
OF_THE_SHEET: Final = frozenset({"set", "also", "begun_by"})


def cell_name(metric: str, side: Side) -> str:
    """Name of the field of a metric on a side."""
    return f"{CELL}:{metric}:{side.value}"


def head_name(name: str) -> str:
    """Name of a field of the visit's head."""
    return f"{HEAD}:{name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedField:
    """One field as it was typed.

    Parameters
    ----------
    name : str
        Of the head's field, or the metric's key.
    side : Side or None
        Of a metric; None for a field of the head.
    """

    name: str
    side: Side | None
    typed: str


def typed_fields(content: Mapping[str, Any]) -> tuple[TypedField, ...]:
    """What was typed of the visit: its head first, then its metrics.

    Examples
    --------
    >>> [(one.name, one.typed) for one in typed_fields(
    ...     {"cell:pelvic_drop:left": "4.1 4.4", "head:visited_on": "9 Mar 2026", "at": "x"})]
    [('visited_on', '9 Mar 2026'), ('pelvic_drop', '4.1 4.4')]
    """
    head, cells = [], []
    for field, typed in content.items():
        kind, _, rest = field.partition(":")
        if typed in (None, ""):
            continue
        if kind == HEAD and rest not in OF_THE_SHEET and not rest.startswith("session_"):
            head.append(TypedField(name=rest, side=None, typed=_text(typed)))
        elif kind == CELL:
            metric, _, side = rest.rpartition(":")
            cells.append(TypedField(name=metric, side=Side(side), typed=_text(typed)))
    return (*head, *cells)


def _text(typed: object) -> str:
    if isinstance(typed, bool):
        return "yes" if typed else "no"
    return str(typed)
