"""Reports as one JSON object: the keys that scripts rely on, and never a NaN."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from typing import Any

import typer

from casebook.domain.verdicts import Flag, Verdict


def print_object(report: Mapping[str, Any]) -> None:
    """Print one JSON object and nothing else on standard output."""
    # Where the terminal's own encoding is not UTF-8, escapes keep the object readable by all.
    plain = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    typer.echo(json.dumps(plainly(report), ensure_ascii=plain, allow_nan=False, indent=2))


def plainly(thing: Any) -> Any:
    """A value in JSON's own types; a number that is none becomes null.

    Examples
    --------
    >>> plainly({"mdc95": float("nan"), "on": date(2025, 3, 4), "n": 3})
    {'mdc95': None, 'on': '2025-03-04', 'n': 3}
    """
    if isinstance(thing, Enum):
        return plainly(thing.value)
    if thing is None or isinstance(thing, str | bool | int):
        return thing
    if isinstance(thing, float):
        return thing if math.isfinite(thing) else None
    if isinstance(thing, date):
        return thing.isoformat()
    if is_dataclass(thing) and not isinstance(thing, type):
        return {field.name: plainly(getattr(thing, field.name)) for field in fields(thing)}
    return _plain_parts(thing)


def _plain_parts(thing: Any) -> Any:
    if isinstance(thing, Mapping):
        return {str(key): plainly(value) for key, value in thing.items()}
    return [plainly(part) for part in thing]


def verdict_object(verdict: Verdict) -> dict[str, Any]:
    """A verdict; `like_for_like` is true, or the list of what differs."""
    found: dict[str, Any] = plainly(verdict)
    return found | {"like_for_like": list(verdict.like_for_like) or True}


def flag_object(flag: Flag) -> dict[str, Any]:
    """A flag, with who acknowledged it and why."""
    found: dict[str, Any] = plainly(flag)
    return found
