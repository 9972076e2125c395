"""How many runners have each grade, as seen and as predicted, by the kind of programme."""

from __future__ import annotations

import altair as alt

from casebook.charts.drawing import Spec, with_rows
from casebook.charts.palette import Palette
from casebook.charts.styling import styled
from casebook.charts.time_axis import Rows
from casebook.domain.audit_growth import CohortGrades, GradeShare

ROW = 46
BARS, WORDS = "bars", "words"
GROUPS = {"": "", "injury": "injury, ", "performance": "performance, "}
# How far the lowest and the highest grade stand from the background, and from where on words on
# a bar are written in the background's colour.
FAINTEST, STRONGEST, DARK = 0.18, 0.9, 0.7
# Narrower parts have no room for the grade in words, and for its number alone.
ROOM_FOR_WORDS, ROOM_FOR_A_NUMBER = 0.4, 0.05


def grade_shares(grades: CohortGrades, *, palette: Palette) -> Spec:
    """Stacked shares of the grades, a bar as seen and one as predicted for each group.

    Parameters
    ----------
    grades : CohortGrades
    palette : Palette

    Returns
    -------
    dict
        A Vega-Lite specification that fills its container's width.
    """
    rows = [
        row
        for group, shares in grades.groups
        for name, parts in (
            (f"{GROUPS[group]}seen", _seen(shares)),
            (f"{GROUPS[group]}predicted", [share.predicted for share in shares]),
        )
        if parts is not None
        for row in _bar(name, shares, parts)
    ]
    names = list(dict.fromkeys(row["Bar"] for row in rows))
    count = len(grades.groups[0][1])
    step = (STRONGEST - FAINTEST) / max(count - 1, 1)
    strengths = [FAINTEST + step * place for place in range(count)]
    keys = [_grade(share) for share in grades.groups[0][1]]
    y = alt.Y("Bar:N", sort=names, title=None, axis=alt.Axis(labelLimit=200))
    tooltip = ["Bar:N", "Grade:N", "Runners:N", "Share:N"]
    bars = alt.Chart(alt.NamedData(BARS)).encode(y=y, tooltip=tooltip)
    bar = bars.mark_bar(stroke=palette.background, strokeWidth=1.5).encode(
        x=alt.X(
            "from:Q",
            title="share of runners, %",
            scale=alt.Scale(domain=[0, 100], nice=False),
            axis=alt.Axis(tickCount=5, grid=False),
        ),
        x2="to:Q",
        color=alt.Color(
            "Grade:N",
            scale=alt.Scale(
                domain=keys,
                range=[_blend(palette.background, palette.accent, one) for one in strengths],
            ),
            legend=None,
        ),
    )
    dark = [key for key, one in zip(keys, strengths, strict=True) if one > DARK]
    words = alt.Chart(alt.NamedData(WORDS)).encode(y=y, tooltip=tooltip)
    word = words.mark_text(fontSize=12).encode(
        x="middle:Q",
        text="words:N",
        color=alt.when(alt.FieldOneOfPredicate(field="Grade", oneOf=dark))
        .then(alt.value("#ffffff"))
        .otherwise(alt.value(palette.text)),
    )
    chart = styled(alt.layer(bar, word).properties(height=ROW * len(names)), palette)
    return with_rows(chart.to_dict(), {BARS: rows, WORDS: rows})


def _grade(share: GradeShare) -> str:
    return f"grade {share.grade:.0f}"


def _words(share: GradeShare, part: float) -> str:
    if part > ROOM_FOR_WORDS:
        return _grade(share)
    return f"{share.grade:.0f}" if part > ROOM_FOR_A_NUMBER else ""


def _seen(shares: tuple[GradeShare, ...]) -> list[float] | None:
    """Shares of the grades; None where a number is withheld: the rest would not be of all."""
    numbers = [share.count.n for share in shares if share.count.n is not None]
    if len(numbers) < len(shares):
        return None
    return [number / max(sum(numbers), 1) for number in numbers]


def _bar(name: str, shares: tuple[GradeShare, ...], parts: list[float]) -> Rows:
    rows: Rows = []
    done = 0.0
    for share, part in zip(shares, parts, strict=True):
        rows.append(
            {
                "Bar": name,
                "Grade": _grade(share),
                "from": 100 * done,
                "to": 100 * (done + part),
                "middle": 100 * (done + part / 2),
                "words": _words(share, part),
                "Runners": "withheld" if share.count.n is None else str(share.count.n),
                "Share": f"{100 * part:.0f} %",
            }
        )
        done += part
    return rows


def _blend(first: str, second: str, part: float) -> str:
    ends = [[int(one[at : at + 2], 16) for at in (1, 3, 5)] for one in (first, second)]
    mixed = [round(a + part * (b - a)) for a, b in zip(*ends, strict=True)]
    return "#" + "".join(f"{one:02x}" for one in mixed)
