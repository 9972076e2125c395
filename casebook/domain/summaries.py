"""A summary of one case: what it says, before anything is typeset or drawn on a page.

The same value becomes the file and the page, so that the two can't say different things.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TypeAlias


class Reader(StrEnum):
    """Who reads it: the runner in plain words, or who referred them with numbers and errors."""

    RUNNER = "runner"
    REFERRER = "referrer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A paragraph; a strong one is set off."""

    words: str
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Short sentences, one below the other."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Pairs of what it is and what it says."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table; the columns in `numbers`, counted from 0, stand to the right."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One course within a panel, an element a visit; `name` is spelled out beside it.

    `reference` tells which visits are part of the baseline; those are drawn hollow. `unlike`
    tells which were not like for like with it; those are drawn as crosses, off the line.
    """

    name: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    reference: tuple[bool, ...]
    unlike: tuple[bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A small chart: one or two lines in the unit that `title` names.

    Parameters
    ----------
    band : (float, float) or None
        Between these a value differs from the baseline by no more than measurement error
        (95 %); None where that is not known, or where two lines would each have their own.
    zero : bool
        True draws the line at zero, at which both sides are alike.
    """

    title: str
    lines: tuple[Line, ...]
    band: tuple[float, float] | None = None
    zero: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A programme along the time axis; without an end it runs on."""

    title: str
    started_on: date
    ended_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """The course of one metric, drawn: panels side by side over the same days.

    `told` says in words what it shows, for who can't see it.
    """

    title: str
    panels: tuple[Panel, ...]
    phases: tuple[Phase, ...]
    told: str


Part: TypeAlias = Text | Points | Facts | Grid | Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading and what stands under it."""

    heading: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """One case on one or two pages.

    Parameters
    ----------
    title : str
    made : str
        For whom, by which clinic and on which day.
    sections : tuple of Section
    foot : str
        Stands at the foot of every page: it names the runner as the title does.
    """

    reader: Reader
    title: str
    made: str
    sections: tuple[Section, ...]
    foot: str

    def texts(self) -> tuple[str, ...]:
        """Everything that it says in words, in the order in which it is read."""
        return (self.title, self.made, *(words for one in self.sections for words in _said(one)))


def _said(section: Section) -> Iterator[str]:
    yield section.heading
    for part in section.parts:
        yield from said_by(part)


def said_by(part: Part) -> Iterator[str]:
    """What a part says in words, in the order in which it is read."""
    if isinstance(part, Text):
        yield part.words
    elif isinstance(part, Points):
        yield from part.items
    elif isinstance(part, Facts):
        for what, words in part.rows:
            yield from (what, words)
    elif isinstance(part, Grid):
        yield from part.columns
        for row in part.rows:
            yield from row
    else:
        yield part.title
        yield from (panel.title for panel in part.panels)
        yield part.told
