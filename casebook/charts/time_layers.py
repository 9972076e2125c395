"""What runs along the time of every panel: programmes with their start and end, complaints.

Nothing here rests on colour alone: the weeks of a programme are shaded, its start is a broken and
its end a dotted line, and each programme is named with both dates on a lane of its own, so that
no name can lie on another where one programme follows the next.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from casebook.charts.palette import Palette

BARS, EDGES, PHASES, MARKS = "bars", "edges", "phases", "marks"
NAMES = "names"
LANE = 18
MARK_ROW = 15
START_DASH, END_DASH = [7, 4], [2, 3]
# Wider than the letters are on average, so that a name is cut rather than run out of the chart.
LETTER = 6.0
_HERE = "scale('x', toDate(datum.visited_on))"
_UNTIL = "scale('x', toDate(datum.until))"
_MARK_ROOM = f"{_HERE} + 11 + {LETTER} * length(datum.words)"


def phase_layers(palette: Palette) -> list[alt.Chart]:
    """The weeks of each programme, behind everything else, and a line at its start and its end."""
    weeks = (
        alt.Chart(alt.NamedData(PHASES))
        .mark_rect(color=palette.programme, opacity=0.3)
        .encode(x="visited_on:T", x2="until:T")
    )
    base = alt.Chart(alt.NamedData(EDGES)).encode(
        x="visited_on:T",
        tooltip=[
            alt.Tooltip("words:N", title="Here"),
            alt.Tooltip("visited_on:T", title="On", format="%-d %B %Y"),
        ],
    )
    starts, ends = (
        base.transform_filter(f"{'' if start else '!'}datum.start")
        .mark_rule(strokeWidth=1.5, strokeDash=dash, color=palette.programme_text, opacity=0.75)
        .encode(y=alt.value(0), y2=_lane(0))
        for start, dash in ((True, START_DASH), (False, END_DASH))
    )
    return [weeks, starts, ends]


def name_layers(palette: Palette) -> list[alt.Chart]:
    """Before, during and after one programme, at the head; none where its name has no room."""
    middle = f"({_HERE} + {_UNTIL}) / 2"
    room = f"{_UNTIL} - {_HERE} > {LETTER} * length(datum.words) + 6"
    word = (
        alt.Chart(alt.NamedData(NAMES))
        .mark_text(
            baseline="middle",
            fontSize=11,
            fontStyle="italic",
            color=palette.programme_text,
            text=alt.expr(f"{room} ? datum.words : ''"),
        )
        .encode(x=alt.value(alt.expr(middle)), y=alt.value(7))
    )
    return [word]


def programme_layers(palette: Palette, *, dated: bool) -> list[alt.Chart]:
    """Each programme on its lane at the foot: its bar, and its name.

    Parameters
    ----------
    palette : Palette
    dated : bool
        Whether its dates follow its name, which gives way to them where there is little room.
    """
    dates = "datum.dates" if dated else "''"
    room = f"max(8, floor((width - 12) / {LETTER}) - length({dates}))"
    shown = f"truncate(datum.words, {room}) + {dates}"
    place = f"max(4, min({_HERE} + 5, width - 4 - {LETTER} * length({shown})))"
    base = alt.Chart(alt.NamedData(BARS)).encode(
        tooltip=[
            alt.Tooltip("words:N", title="Programme"),
            alt.Tooltip("started:T", title="Started", format="%-d %B %Y"),
            alt.Tooltip("ended:N", title="Ended"),
        ],
    )
    bar = (
        base.transform_filter("datum.shown")
        .mark_rect(color=palette.programme, cornerRadius=3)
        .encode(x="visited_on:T", x2="until:T", y=_lane(1), y2=_lane(17))
    )
    word = base.mark_text(
        align="left",
        baseline="middle",
        fontSize=11,
        color=palette.programme_text,
        text=alt.expr(shown),
    ).encode(x=alt.value(alt.expr(place)), y=_lane(9))
    return [bar, word]


def mark_layers(palette: Palette) -> list[alt.Chart]:
    """Complaints: a line where each began, and its name on a row of its own at the head."""
    base = alt.Chart(alt.NamedData(MARKS)).encode(
        tooltip=[
            alt.Tooltip("words:N", title="Complaint"),
            alt.Tooltip("visited_on:T", title="Began", format="%-d %B %Y"),
        ],
    )
    row = alt.value(alt.expr(f"4 + {MARK_ROW} * datum.row"))
    rule = base.mark_rule(color=palette.attention, strokeDash=[1, 3], strokeWidth=1.5).encode(
        x="visited_on:T", y=row, y2=_lane(0)
    )
    cross = base.mark_point(
        shape="cross", size=80, color=palette.attention, filled=True, opacity=1
    ).encode(x="visited_on:T", y=row)
    # To the left of its cross where there is no room to its right.
    word = base.mark_text(
        align=alt.expr(f"{_MARK_ROOM} > width ? 'right' : 'left'"),
        baseline="middle",
        fontSize=11,
        color=palette.attention,
        limit=alt.expr(f"{_MARK_ROOM} > width ? max(30, {_HERE} - 9) : width"),
    ).encode(
        x=alt.value(alt.expr(f"{_HERE} + ({_MARK_ROOM} > width ? -9 : 9)")),
        y=row,
        text="words:N",
    )
    return [rule, cross, word]


def _lane(down: float) -> Any:
    """So many pixels down the lane of a row; the first lane is the highest.

    Not from a height known here: the page may give the chart another one.
    """
    return alt.value(alt.expr(f"height - {LANE} * (datum.lanes - (datum.lane || 0)) + {down:g}"))
