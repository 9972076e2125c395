"""The time that all charts of a runner share: visits, programmes along it, complaints."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

SHORTEST_BAR = timedelta(days=3)

Row = dict[str, Any]
Rows = list[Row]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A programme along the time axis; without an end it runs on."""

    title: str
    start: date
    end: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A day to be marked along the time axis, such as the onset of a complaint."""

    words: str
    day: date


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeAxis:
    """What all panels of a runner share.

    Parameters
    ----------
    visits : tuple of date
        Every visit's day, in order; at least one.
    bars, marks
        Programmes and complaints; those outside the time shown are left out.
    phase : date or None
        Day on which the baseline ends, since a programme starts.
    """

    visits: tuple[date, ...]
    bars: tuple[Bar, ...] = ()
    marks: tuple[Mark, ...] = ()
    phase: date | None = None

    @property
    def span(self) -> tuple[date, date]:
        """First and last day shown: the visits with a little room on either side."""
        first, last = min(self.visits), max(self.visits)
        room = max(timedelta(days=4), (last - first) * 0.05)
        return first - room, last + room

    def bar_rows(self) -> Rows:
        """The programmes that touch the time shown, cut to it."""
        first, last = self.span
        return [
            {
                "words": bar.title,
                "visited_on": local(max(bar.start, first)),
                "until": local(min(max(bar.end or last, bar.start + SHORTEST_BAR), last)),
                "started": local(bar.start),
                "ended": f"{bar.end.day} {bar.end:%B %Y}" if bar.end else "still running",
            }
            for bar in self.bars
            if bar.start <= last and (bar.end or last) >= first
        ]

    def phase_rows(self) -> Rows:
        """The day that ends the baseline, where it lies within the time shown."""
        first, last = self.span
        if self.phase is None or not first <= self.phase <= last:
            return []
        return [{"visited_on": local(self.phase), "words": "the programme starts"}]

    def mark_rows(self) -> Rows:
        """The complaints that began within the time shown."""
        first, last = self.span
        return [
            {"words": mark.words, "visited_on": local(mark.day)}
            for mark in self.marks
            if first <= mark.day <= last
        ]


def local(day: date) -> str:
    """A day as a chart reads it: with a time of day, since a bare date would be taken as UTC."""
    return datetime.combine(day, time()).isoformat()


def chart_day(day: date) -> dict[str, int]:
    """A day as a scale's domain or an axis takes it."""
    return {"year": day.year, "month": day.month, "date": day.day}
