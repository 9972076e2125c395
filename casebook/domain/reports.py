"""A report on a cohort: what it says, before anything is typeset or drawn on a page.

The same value becomes the file and the page, so that the two can't say different things. Its
sections, tables and figures carry numbers, so that a text written from it can point to them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeAlias

from casebook.domain.summaries import Facts, Grid, Points, Text, said_by


class Drawn(StrEnum):
    """How a series is drawn.

    A BAND lies between `y` and `high`; a REACH is a level stroke from `x` to `high` at each y; a
    STAIR keeps its height until the next x.
    """

    LINE = "line"
    STAIR = "stair"
    BAND = "band"
    REACH = "reach"
    DOTS = "dots"


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One series of a plot; all tuples are of one length, or empty where they may be.

    Parameters
    ----------
    look : int, 0 to 3
        Series of one look belong together (a line and its band). Looks differ by dash and mark as
        well as by colour.
    name : str
        Written beside the last point where not empty, of DOTS at the right edge.
    marks : tuple of str
        Written beside each of the DOTS.
    faint : bool
        Lies behind, as a single course does behind the mean, or a limit behind the points.
    """

    drawn: Drawn
    x: tuple[float, ...]
    y: tuple[float, ...]
    high: tuple[float, ...] = ()
    look: int = 0
    name: str = ""
    faint: bool = False
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A chart of series over one pair of axes.

    Parameters
    ----------
    title : str
        What it shows, without its number.
    x_words : tuple of (float, str)
        Ticks along x in words; empty for round numbers.
    y_words : tuple of (float, str)
        Lines of a list, from below, each with its name; the plot is as tall as they need.
    x_range, y_range : (float, float) or None
        None takes what the series span.
    below : tuple of (str, tuple of (float, str))
        Rows of words under the axis, such as numbers at risk.
    note : str
        Source and caution, below.
    told : str
        What it shows, for who can't see it.
    """

    title: str
    x_title: str
    y_title: str
    series: tuple[Series, ...]
    told: str
    x_words: tuple[tuple[float, str], ...] = ()
    y_words: tuple[tuple[float, str], ...] = ()
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None
    below: tuple[tuple[str, tuple[tuple[float, str], ...]], ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table with its title, and a note with its source and caution."""

    title: str
    grid: Grid
    note: str = ""


ReportPart: TypeAlias = Text | Points | Facts | Table | Plot


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """A numbered section."""

    heading: str
    parts: tuple[ReportPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A report: `made` tells by which clinic and for which day; `foot` stands on every page."""

    title: str
    made: str
    chapters: tuple[Chapter, ...]
    foot: str

    def texts(self) -> tuple[str, ...]:
        """Everything that it says in words, in the order in which it is read, with numbers."""
        said = [self.title, self.made]
        for chapter in numbered(self):
            said.append(chapter.heading)
            said += [words for part in chapter.parts for words in _said_by(part)]
        return tuple(said)


def numbered(report: Report) -> tuple[Chapter, ...]:
    """Its sections with their numbers, and those of tables and figures, in their titles.

    Examples
    --------
    >>> plot = Plot(title="Courses", x_title="", y_title="", series=(), told="")
    >>> one = Chapter(heading="Outcome", parts=(plot,))
    >>> found = numbered(Report(title="", made="", chapters=(one,), foot=""))
    >>> found[0].heading, found[0].parts[0].title
    ('1. Outcome', 'Figure 1. Courses')
    """
    tables = figures = 0
    found = []
    for place, chapter in enumerate(report.chapters, 1):
        parts: list[ReportPart] = []
        for part in chapter.parts:
            if isinstance(part, Table):
                tables += 1
                parts.append(replace(part, title=f"Table {tables}. {part.title}"))
            elif isinstance(part, Plot):
                figures += 1
                parts.append(replace(part, title=f"Figure {figures}. {part.title}"))
            else:
                parts.append(part)
        found.append(Chapter(heading=f"{place}. {chapter.heading}", parts=tuple(parts)))
    return tuple(found)


def _said_by(part: ReportPart) -> Iterator[str]:
    if isinstance(part, Table):
        yield part.title
        yield from said_by(part.grid)
        yield part.note
    elif isinstance(part, Plot):
        yield from (part.title, part.told, part.note)
    else:
        yield from said_by(part)
