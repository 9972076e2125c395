"""How a save's refusals name values, people and moments."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from casebook.domain.sides import Side
from casebook.domain.visits import Value

MOST_LISTED = 12
NOTHING_STORED = "Nothing was stored."


def named(metric: str, side: Side) -> str:
    """A value's place: its metric and side."""
    return metric if side is Side.NONE else f"{metric} {side}"


def said(value: Value) -> str:
    """What a value says."""
    if value.mean is None:
        return f"missing, {value.missing_reason}"
    if value.trials:
        return " ".join(f"{trial:g}" for trial in value.trials)
    return f"{value.mean:g} (mean of {value.n_trials})"


def listed(names: Iterable[str]) -> str:
    """The first names of a list, and how many more."""
    given = list(names)
    if not given:
        return "no values"
    more = f" and {len(given) - MOST_LISTED} more" if len(given) > MOST_LISTED else ""
    return ", ".join(given[:MOST_LISTED]) + more


def who(by: str) -> str:
    """Whoever saved."""
    return f"'{by}'" if by else "somebody (no name given)"


def when(at: datetime) -> str:
    """A moment, for a refusal."""
    return f"{at:%Y-%m-%d %H:%M} UTC"
