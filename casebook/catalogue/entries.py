"""Entries of a readable file, whatever they describe: read, checked, each problem in its place."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, replace
from enum import StrEnum
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.exercises import Exercise
from casebook.domain.metrics import ErrorFigure, Metric

# Where a file leaves the order to us: behind what has a place of its own.
LAST_POSITION = 999

Made = TypeVar("Made", Metric, ErrorFigure, Exercise)


class Unfit(ValueError):
    """A field's value is not of the expected kind; its text says what is expected."""


def text_field(given: object) -> str:
    """A text."""
    if not isinstance(given, str):
        raise Unfit("a text in quotes")
    return given


def number_field(given: object) -> float:
    """A finite number."""
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        raise Unfit("a number")
    return float(given)


def whole_field(given: object) -> int:
    """A whole number."""
    if isinstance(given, bool) or not isinstance(given, int):
        raise Unfit("a whole number")
    return given


def truth_field(given: object) -> bool:
    """True or false."""
    if not isinstance(given, bool):
        raise Unfit("true or false")
    return given


def one_of(kind: type[StrEnum]) -> Callable[[object], StrEnum]:
    """A reader of one of an enumeration's values."""

    def read(given: object) -> StrEnum:
        if not isinstance(given, str) or given not in set(kind):
            raise Unfit(f"one of {', '.join(kind)}")
        return kind(given)

    return read


def several(read_one: Callable[[object], Any]) -> Callable[[object], tuple[Any, ...]]:
    """A reader of a list."""

    def read(given: object) -> tuple[Any, ...]:
        if not isinstance(given, list):
            raise Unfit("a list in square brackets")
        try:
            return tuple(read_one(item) for item in given)
        except Unfit as unfit:
            raise Unfit(f"a list in square brackets, each entry {unfit}") from None

    return read


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One `[[...]]` of a file: where it begins and what stands in it."""

    file: str
    row: int | None
    name: str
    content: Mapping[str, object]

    def problem(self, code: str, message: str, *, column: str = "", value: object = "") -> Problem:
        """A problem of this entry, told where it stands."""
        return Problem(
            code=code, message=message, file=self.file, row=self.row, column=column,
            value=str(value),
        )  # fmt: skip


def starter_text(name: str) -> str:
    """A file that comes with the product."""
    return resources.files("casebook.catalogue").joinpath(name).read_text(encoding="utf-8")


def file_text(path: Path) -> str:
    """A clinic's own file, as text."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        why = f"it can't be read ({error.strerror})"
    except UnicodeDecodeError:
        why = "it is no text in UTF-8; save it as UTF-8"
    raise InputRefused(
        (Problem(code="file_unreadable", file=path.name, message=f"{why}; check the path."),)
    )


def entries_of(text: str, file: str, *, table: str, name_field: str) -> list[Entry]:
    """The entries of a file that holds one kind of them; refuses any other file."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputRefused(
            (
                Problem(
                    code="file_not_toml",
                    file=file,
                    message=f"it is not written as expected: {error}. Expected TOML with one "
                    f"[[{table}]] for each entry, text in quotes.",
                ),
            )
        ) from None
    found = content.get(table)
    others = [name for name in content if name != table]
    if others or not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        what = f"holds '{others[0]}'" if others else f"holds no [[{table}]]"
        raise InputRefused(
            (
                Problem(
                    code="file_of_another_kind",
                    file=file,
                    message=f"it {what}; expected nothing but [[{table}]] entries.",
                ),
            )
        )
    rows = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if re.match(rf"\s*\[\[\s*{table}\s*\]\]", line)
    ]
    # A file may also list its entries inline; then there is no line to name.
    places: list[int | None] = [*rows] if len(rows) == len(found) else [None] * len(found)
    return [
        Entry(file=file, row=row, name=f"{table} '{one.get(name_field, '?')}'", content=one)
        for row, one in zip(places, found, strict=True)
    ]


def doubles(entries: Sequence[Entry]) -> list[Problem]:
    """A problem for each entry whose key stands before it already."""
    first: dict[object, int | None] = {}
    problems = []
    for entry in entries:
        key = entry.content.get("key")
        if not isinstance(key, str):
            continue
        if key in first:
            problems.append(
                entry.problem(
                    "key_twice",
                    f"{entry.name}: the key stands twice (first in row {first[key]}); "
                    "expected every key once.",
                    column="key",
                    value=key,
                )
            )
        else:
            first[key] = entry.row
    return problems


def take_up(
    entry: Entry,
    kind: type[Made],
    readers: Mapping[str, Callable[[object], Any]],
    **defaults: object,
) -> tuple[Made | None, list[Problem]]:
    """What an entry describes, or everything that is wrong with it."""
    required = {field.name for field in fields(kind) if field.default is MISSING}
    problems = [
        entry.problem(
            "field_unknown",
            f"{entry.name}: the field '{name}' (given as '{entry.content[name]}') is not known; "
            f"expected one of {', '.join(readers)}.",
            column=name,
            value=entry.content[name],
        )
        for name in entry.content
        if name not in readers
    ]
    problems.extend(
        entry.problem(
            "field_missing",
            f"{entry.name}: the field '{name}' is missing; it must be given.",
            column=name,
        )
        for name in readers
        if name in required and name not in entry.content
    )
    taken: dict[str, Any] = dict(defaults)
    for name, read in readers.items():
        if name not in entry.content:
            continue
        given = entry.content[name]
        try:
            taken[name] = read(given)
        except Unfit as unfit:
            problems.append(
                entry.problem(
                    "field_unfit",
                    f"{entry.name}: {name} is '{given}'; expected {unfit}.",
                    column=name,
                    value=given,
                )
            )
    if problems:
        return None, problems
    try:
        return kind(**taken), []
    except InputRefused as refusal:
        return None, at_entry(entry, refusal)


def placed(entry: Entry, check: Callable[[], object]) -> list[Problem]:
    """What a check refuses, told where the entry stands."""
    try:
        check()
    except InputRefused as refusal:
        return at_entry(entry, refusal)
    return []


def at_entry(entry: Entry, refusal: InputRefused) -> list[Problem]:
    """A refusal's problems, told where the entry stands."""
    return [replace(problem, file=entry.file, row=entry.row) for problem in refusal.problems]
