"""The time that all charts of a runner share: visits, programmes along it, complaints."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

SHORTEST_BAR = timedelta(days=3)
STILL_RUNNING = "still running"
STARTS, ENDS = "starts", "ends"
PHASE_NAMES = ("before", "during", "after")

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
        Programmes and complaints; of those outside the time shown, programmes are named all
        the same, and complaints left out.
    about : Bar or None
        The programme whose phases (before, during, after) are named at the head.
    also : tuple of date
        Further days that the time shown must hold, such as those of a programme's weeks.
    """

    visits: tuple[date, ...]
    bars: tuple[Bar, ...] = ()
    marks: tuple[Mark, ...] = ()
    about: Bar | None = None
    also: tuple[date, ...] = ()

    @property
    def span(self) -> tuple[date, date]:
        """First and last day shown: the visits with a little room on either side."""
        days = (*self.visits, *self.also)
        first, last = min(days), max(days)
        room = max(timedelta(days=4), (last - first) * 0.05)
        return first - room, last + room

    def bar_rows(self) -> Rows:
        """Every programme by its start, cut to the time shown, each with a lane of its own."""
        first, last = self.span
        bars = self._by_start()
        return [
            {
                "words": bar.title,
                "dates": _dates(bar),
                "visited_on": local(min(max(bar.start, first), last)),
                "until": local(min(max(bar.end or last, bar.start + SHORTEST_BAR), last)),
                "shown": self._touches(bar),
                "lane": lane,
                "lanes": len(bars),
                "started": local(bar.start),
                "ended": f"{bar.end.day} {bar.end:%B %Y}" if bar.end else STILL_RUNNING,
            }
            for lane, bar in enumerate(bars)
        ]

    def phase_rows(self) -> Rows:
        """The weeks of each programme that touches the time shown, cut to it."""
        first, last = self.span
        return [
            {
                "visited_on": local(max(bar.start, first)),
                "until": local(min(bar.end or last, last)),
            }
            for bar in self._by_start()
            if self._touches(bar)
        ]

    def name_rows(self) -> Rows:
        """Before, during and after the programme that the charts are about, cut to the time."""
        if self.about is None:
            return []
        first, last = self.span
        start = min(max(self.about.start, first), last)
        end = min(max(self.about.end or last, start), last)
        edges = (first, start, end, last)
        return [
            {"words": words, "visited_on": local(since), "until": local(until)}
            for words, since, until in zip(PHASE_NAMES, edges[:-1], edges[1:], strict=True)
            if since < until
        ]

    def edge_rows(self) -> Rows:
        """The day on which each programme starts and the one on which it ends, where shown."""
        first, last = self.span
        return [
            {
                "visited_on": local(day),
                "words": f"{bar.title} {verb}",
                "start": verb == STARTS,
                "lanes": len(self.bars),
            }
            for bar in self._by_start()
            for day, verb in ((bar.start, STARTS), (bar.end, ENDS))
            if day is not None and first <= day <= last
        ]

    def _by_start(self) -> list[Bar]:
        return sorted(self.bars, key=lambda bar: (bar.start, bar.end or date.max))

    def _touches(self, bar: Bar) -> bool:
        first, last = self.span
        return bar.start <= last and (bar.end or last) >= first

    def mark_rows(self) -> Rows:
        """The complaints that began within the time shown, each named on a row of its own."""
        first, last = self.span
        within = [mark for mark in self.marks if first <= mark.day <= last]
        return [
            {
                "words": mark.words,
                "visited_on": local(mark.day),
                "row": row,
                "lanes": len(self.bars),
            }
            for row, mark in enumerate(sorted(within, key=lambda mark: mark.day))
        ]


def _dates(bar: Bar) -> str:
    end = f"end {_short(bar.end)}" if bar.end else STILL_RUNNING
    return f": start {_short(bar.start)}, {end}"


def _short(day: date) -> str:
    return f"{day.day} {day:%b %y}"


def local(day: date) -> str:
    """A day as a chart reads it: with a time of day, since a bare date would be taken as UTC."""
    return datetime.combine(day, time()).isoformat()


def chart_day(day: date) -> dict[str, int]:
    """A day as a scale's domain or an axis takes it."""
    return {"year": day.year, "month": day.month, "date": day.day}
