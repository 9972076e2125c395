"""The course of one metric over a runner's visits: its sides, and below it their asymmetry."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import altair as alt
import pandas as pd

from casebook.charts.palette import Palette
from casebook.charts.styling import AnyChart, styled
from casebook.domain.verdicts import Call
from casebook.domain.wording import CALLS, number_words

SIDE_HEIGHT = 220
ASYMMETRY_HEIGHT = 140
STRIP = 18
# Both panels reserve the same room for their labels, so that the visits stand in line.
AXIS_ROOM = 46
SIDES = ("left", "right", "none")
SIDE_WORDS = {"left": "Left", "right": "Right", "none": "Whole body"}
SHAPES = ["triangle-left", "triangle-right", "circle"]
DASHES = [[1, 0], [6, 3], [1, 0]]
# Cuts a programme's title where its bar ends, whatever width the chart has on the screen.
WITHIN_BAR = alt.expr(
    "max(1, scale('x', toDate(datum.until)) - scale('x', toDate(datum.visited_on)) - 8)"
)
SHORTEST_BAR = timedelta(days=3)


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
        Every visit's day, in order.
    bars, marks
        Programmes and complaints that touch the time shown.
    """

    visits: tuple[date, ...]
    bars: tuple[Bar, ...] = ()
    marks: tuple[Mark, ...] = field(default=())

    @property
    def span(self) -> tuple[date, date]:
        """First and last day shown: the visits with a little room on either side."""
        first, last = min(self.visits), max(self.visits)
        room = max(timedelta(days=4), (last - first) * 0.05)
        return first - room, last + room


def side_course(course: pd.DataFrame, axis: TimeAxis, *, unit: str, palette: Palette) -> AnyChart:
    """Left and right by visit, with the baseline's band, programmes and complaints.

    Parameters
    ----------
    course : DataFrame
        One metric, one row a visit and side: `what` ('left', 'right', 'none', 'asymmetry';
        the last is left out), `visited_on` (datetime64), `value` (in the metric's unit), `n`
        (trials), `reference` (bool; part of the baseline, drawn hollow), `baseline` and
        `mdc95` (in the metric's unit, NaN where there is none: at a visit the band reaches
        that far from the baseline), `verdict` (code, '' where there is none), `flagged`
        (bool).
    axis : TimeAxis
    unit : str
        In words, for the axis title and the tooltip.
    palette : Palette
    """
    sides = course[course["what"].isin(SIDES)]
    shown = _in_words(sides, unit)
    bands = _bands(sides, axis)
    low, high = _extent(shown, bands)
    floor = low - (high - low) * STRIP * 1.5 / SIDE_HEIGHT if axis.bars else low
    present = [side for side in SIDES if side in set(sides["what"])]
    look = _side_look(present, palette)
    base = alt.Chart(shown).encode(
        x=_time(axis),
        y=alt.Y(
            "value:Q",
            title=unit or None,
            scale=alt.Scale(domain=[floor, high], nice=False, zero=False),
            axis=_value_axis(),
        ),
    )
    line = base.mark_line(strokeWidth=2).encode(color=look["color"], strokeDash=look["strokeDash"])
    point = base.mark_point(size=110, strokeWidth=2, opacity=1).encode(
        color=look["color"],
        shape=look["shape"],
        fill=alt.when("!datum.reference")
        .then(look["fill"])
        .otherwise(alt.value(palette.background)),
        tooltip=_tooltip("Side"),
    )
    layers = [
        *_time_layers(axis, palette),
        *_band_layers(bands, look["color"]),
        line,
        point,
    ]
    if "asymmetry" not in set(course["what"]):
        layers += _flag_layers(base, palette)
    return styled(alt.layer(*layers).properties(height=SIDE_HEIGHT), palette)


def asymmetry_course(
    course: pd.DataFrame, axis: TimeAxis, *, unit: str, palette: Palette
) -> AnyChart:
    """Right minus left by visit, with the baseline's band; flagged visits are ringed.

    Parameters
    ----------
    course : DataFrame
        One metric; columns as for `side_course`, of which the rows 'asymmetry' are drawn.
    axis : TimeAxis
    unit : str
        In words, of the asymmetry's form.
    palette : Palette
    """
    rows = course[course["what"] == "asymmetry"]
    shown = _in_words(rows, unit)
    bands = _bands(rows, axis)
    low, high = _extent(shown, bands, zero=True)
    base = alt.Chart(shown).encode(
        x=_time(axis),
        y=alt.Y(
            "value:Q",
            title=f"right − left{f', {unit}' if unit else ''}",
            scale=alt.Scale(domain=[low, high], nice=False),
            axis=_value_axis(),
        ),
    )
    colour = alt.value(palette.neutral)
    line = base.mark_line(strokeWidth=2).encode(color=colour)
    point = base.mark_point(size=80, strokeWidth=2, shape="diamond", opacity=1).encode(
        color=colour,
        fill=alt.when("!datum.reference")
        .then(alt.value(palette.neutral))
        .otherwise(alt.value(palette.background)),
        tooltip=_tooltip(""),
    )
    zero = (
        alt.Chart(pd.DataFrame({"value": [0.0]}))
        .mark_rule(strokeWidth=1, color=palette.muted)
        .encode(y="value:Q")
    )
    layers = [zero, *_band_layers(bands, colour), line, point, *_flag_layers(base, palette)]
    return styled(alt.layer(*layers).properties(height=ASYMMETRY_HEIGHT), palette)


def _in_words(rows: pd.DataFrame, unit: str) -> pd.DataFrame:
    known = rows[rows["value"].notna()]
    return pd.DataFrame(
        {
            "visited_on": known["visited_on"],
            "value": known["value"],
            "n": known["n"],
            "reference": known["reference"],
            "flagged": known["flagged"],
            "Side": known["what"].map(SIDE_WORDS).fillna(""),
            "Value": [number_words(value, unit) for value in known["value"]],
            "Meaning": [
                _meaning(*row) for row in zip(known["reference"], known["verdict"], strict=True)
            ],
        }
    )


def _meaning(reference: bool, verdict: str) -> str:
    if reference:
        return "part of the baseline"
    return CALLS[Call(verdict)] if verdict else ""


def _bands(rows: pd.DataFrame, axis: TimeAxis) -> pd.DataFrame:
    """Baseline and reach at every visit, and at both ends of the time shown."""
    first, last = (pd.Timestamp(day) for day in axis.span)
    parts = []
    compared = rows[rows["baseline"].notna()]
    for what, side in compared.sort_values("visited_on", kind="stable").groupby("what"):
        reach = side["mdc95"].bfill().ffill().to_list()
        baseline = float(side["baseline"].iloc[0])
        parts.append(
            pd.DataFrame(
                {
                    "Side": SIDE_WORDS.get(str(what), ""),
                    "visited_on": [first, *side["visited_on"], last],
                    "value": baseline,
                    "mdc": [reach[0], *reach, reach[-1]],
                }
            )
        )
    if not parts:
        return pd.DataFrame({"Side": [], "visited_on": [], "value": [], "mdc": []})
    bands = pd.concat(parts, ignore_index=True)
    return bands.assign(low=bands["value"] - bands["mdc"], high=bands["value"] + bands["mdc"])


def _flag_layers(base: alt.Chart, palette: Palette) -> list[alt.Chart]:
    flagged = base.transform_filter("datum.flagged")
    ring = flagged.mark_point(
        size=420, shape="circle", strokeWidth=2.5, color=palette.attention, filled=False, opacity=1
    ).encode(tooltip=_tooltip(""))
    word = flagged.mark_text(
        text="flag", dy=-19, fontWeight=600, fontSize=12, color=palette.attention
    )
    return [ring, word]


def _tooltip(side: str) -> list[alt.Tooltip]:
    shown = [alt.Tooltip("Side:N", title="Side")] if side else []
    return [
        alt.Tooltip("visited_on:T", title="Visit", format="%-d %B %Y"),
        *shown,
        alt.Tooltip("Value:N", title="Mean" if side else "Right minus left"),
        alt.Tooltip("n:N", title="Trials"),
        alt.Tooltip("Meaning:N", title="Against baseline"),
    ]


def _side_look(sides: list[str], palette: Palette) -> dict[str, Any]:
    names = [SIDE_WORDS[side] for side in sides]
    places = [SIDES.index(side) for side in sides]
    colours = [(palette.left, palette.right, palette.neutral)[place] for place in places]
    legend = alt.Legend(title=None) if len(sides) > 1 else None

    def scale(choices: list[Any]) -> alt.Scale:
        return alt.Scale(domain=names, range=choices)

    return {
        "color": alt.Color("Side:N", scale=scale(colours), legend=legend),
        "fill": alt.Fill("Side:N", scale=scale(colours), legend=legend),
        "shape": alt.Shape("Side:N", scale=scale([SHAPES[p] for p in places]), legend=legend),
        "strokeDash": alt.StrokeDash(
            "Side:N", scale=scale([DASHES[p] for p in places]), legend=legend
        ),
    }


def _day(day: date) -> alt.DateTime:
    return alt.DateTime(year=day.year, month=day.month, date=day.day)


def _time(axis: TimeAxis) -> alt.X:
    first, last = axis.span
    return alt.X(
        "visited_on:T",
        title=None,
        scale=alt.Scale(domain=[_day(first), _day(last)], nice=False),
        axis=alt.Axis(
            values=[_day(day) for day in axis.visits],
            format="%-d %b %y",
            labelOverlap="greedy",
            labelSeparation=8,
            labelFlush=True,
            grid=False,
        ),
    )


def _value_axis() -> alt.Axis:
    return alt.Axis(
        minExtent=AXIS_ROOM, maxExtent=AXIS_ROOM, tickCount=5, domain=False, titlePadding=4
    )


def _extent(
    points: pd.DataFrame, bands: pd.DataFrame, *, zero: bool = False
) -> tuple[float, float]:
    reach = bands["mdc"].fillna(0.0)
    everything = pd.concat(
        [
            points["value"],
            bands["value"] - reach,
            bands["value"] + reach,
            pd.Series([0.0] if zero else [], dtype=float),
        ]
    ).dropna()
    if everything.empty:
        return 0.0, 1.0
    low, high = float(everything.min()), float(everything.max())
    room = (high - low) * 0.14 or abs(high) * 0.1 or 1.0
    return low - room, high + room


def _band_layers(bands: pd.DataFrame, colour: Any) -> list[alt.Chart]:
    if bands.empty:
        return []
    base = alt.Chart(bands).encode(x="visited_on:T", color=colour)
    band = (
        base.transform_filter("isValid(datum.low)")
        .mark_area(opacity=0.14, strokeWidth=0, line=False)
        .encode(y="low:Q", y2="high", fill=_as_fill(colour))
    )
    middle = base.mark_line(strokeWidth=1, strokeDash=[2, 3], opacity=0.8).encode(y="value:Q")
    return [band, middle]


def _as_fill(colour: Any) -> Any:
    if isinstance(colour, alt.Color):
        return alt.Fill("Side:N", scale=colour["scale"], legend=colour["legend"])
    return colour


def _time_layers(axis: TimeAxis, palette: Palette) -> list[alt.Chart]:
    first, last = axis.span
    layers: list[alt.Chart] = []
    bars = [bar for bar in axis.bars if bar.start <= last and (bar.end or last) >= first]
    if bars:
        layers += _bar_layers(bars, axis, palette)
    marks = [mark for mark in axis.marks if first <= mark.day <= last]
    if marks:
        layers += _mark_layers(marks, palette)
    return layers


def _bar_layers(bars: list[Bar], axis: TimeAxis, palette: Palette) -> list[alt.Chart]:
    first, last = axis.span
    shown = pd.DataFrame(
        {
            "words": [bar.title for bar in bars],
            "visited_on": pd.to_datetime([max(bar.start, first) for bar in bars]),
            "until": pd.to_datetime(
                [min(max(bar.end or last, bar.start + SHORTEST_BAR), last) for bar in bars]
            ),
            "started": pd.to_datetime([bar.start for bar in bars]),
            "ended": [f"{bar.end:%d %b %Y}" if bar.end else "still running" for bar in bars],
        }
    )
    base = alt.Chart(shown).encode(
        x="visited_on:T",
        tooltip=[
            alt.Tooltip("words:N", title="Programme"),
            alt.Tooltip("started:T", title="Started", format="%-d %B %Y"),
            alt.Tooltip("ended:N", title="Ended"),
        ],
    )
    bar = base.mark_rect(color=palette.programme, cornerRadius=3).encode(
        x2="until", y=_above_foot(STRIP), y2=_above_foot(0)
    )
    word = base.mark_text(
        align="left", dx=5, fontSize=11, color=palette.programme_text, limit=WITHIN_BAR
    ).encode(text="words:N", y=_above_foot(STRIP / 2))
    return [bar, word]


def _above_foot(pixels: float) -> Any:
    # Not from a height known here: the page may give the chart another one.
    return alt.value(alt.expr(f"height - {pixels:g}"))


def _mark_layers(marks: list[Mark], palette: Palette) -> list[alt.Chart]:
    shown = pd.DataFrame(
        {
            "words": [mark.words for mark in marks],
            "visited_on": pd.to_datetime([mark.day for mark in marks]),
        }
    )
    base = alt.Chart(shown).encode(
        x="visited_on:T",
        tooltip=[
            alt.Tooltip("words:N", title="Complaint"),
            alt.Tooltip("visited_on:T", title="Began", format="%-d %B %Y"),
        ],
    )
    rule = base.mark_rule(color=palette.attention, strokeDash=[1, 3], strokeWidth=1.5)
    cross = base.mark_point(
        shape="cross", size=80, color=palette.attention, filled=True, opacity=1
    ).encode(y=alt.value(4))
    word = base.mark_text(
        align="left", baseline="middle", dx=9, fontSize=11, color=palette.attention, limit=180
    ).encode(text="words:N", y=alt.value(4))
    return [rule, cross, word]
