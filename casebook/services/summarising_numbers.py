"""Which numbers of a case a summary shows, as sentences, as a table and drawn."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import islice

import pandas as pd

from casebook.domain.date_words import day_words
from casebook.domain.metrics import ErrorOrigin, Metric, MetricGroup
from casebook.domain.summaries import (
    Drawing,
    Grid,
    Line,
    Panel,
    Part,
    Phase,
    Points,
    Reader,
    Text,
)
from casebook.domain.summary_words import (
    ORIGINS_OF_CLINIC,
    PLAIN_CALLS,
    is_hollow,
    mdc_words,
    shortened,
    size_words,
    unit_of,
    verdict_words,
)
from casebook.domain.verdicts import Call, Reason, Verdict, What
from casebook.domain.wording import (
    CALLS,
    asymmetry_unit,
    number_words,
    side_words,
    unit_words,
)
from casebook.services.reviewing import Review

MOST_METRICS = {Reader.RUNNER: 4, Reader.REFERRER: 5}
MOST_DRAWN = {Reader.RUNNER: 2, Reader.REFERRER: 3}
MOST_MEASURED = {Reader.RUNNER: 4, Reader.REFERRER: 8}
LONGEST_SOURCE = 160
LONGEST_LABEL = 80
TABLE_PLACES = {
    What.LEFT: "left",
    What.RIGHT: "right",
    What.NONE: "whole body",
    What.ASYMMETRY: "right minus left",
}


def judged_with_error(review: Review) -> int:
    """How many verdicts rest on a known error between like visits."""
    return sum(
        v.error_origin in {ErrorOrigin.OWN, ErrorOrigin.PUBLISHED}
        and v.mdc95 is not None
        and v.reason is not Reason.NOT_LIKE_FOR_LIKE
        for v in review.verdicts
    )


def metrics_shown(review: Review) -> tuple[str, ...]:
    """Keys of the metrics that a summary tells of, what matters most first.

    Flagged ones, then those with a target, then those that moved beyond error, by how many
    times their MDC. A runner's page can't hold them all; how many are left out is told.
    """
    targeted = (target.metric for programme in review.programmes for target in programme.targets)
    moved = sorted(
        (v for v in review.verdicts if v.verdict in {Call.IMPROVED, Call.WORSENED}),
        key=lambda v: -_times_mdc(v),
    )
    keys = (*(flag.metric for flag in review.open_flags), *targeted, *(v.metric for v in moved))
    found = tuple(key for key in dict.fromkeys(keys) if key in review.metrics)
    return found or _first_told(review)


def _first_told(review: Review) -> tuple[str, ...]:
    """Where nothing moved: what the runner reports first, then in the catalogue's order."""
    told = [v.metric for v in review.verdicts if v.verdict is Call.UNCHANGED]
    told.sort(key=lambda key: review.metrics[key].group is not MetricGroup.REPORTED)
    return tuple(dict.fromkeys(told))[:2]


def _times_mdc(verdict: Verdict) -> float:
    if verdict.change is None or not verdict.mdc95:
        return 0.0
    return abs(verdict.change) / verdict.mdc95


def verdicts_shown(review: Review, reader: Reader) -> tuple[Verdict, ...]:
    """The verdicts that stand on the page, metric by metric.

    The runner reads of a side that moved and of the difference; sides that stayed as they were
    are left to the chart.
    """
    chosen = metrics_shown(review)[: MOST_METRICS[reader]]
    by_metric = {key: [v for v in review.verdicts if v.metric == key] for key in chosen}
    if reader is Reader.REFERRER:
        return tuple(v for key in chosen for v in by_metric[key])
    return tuple(v for key in chosen for v in _worth_a_sentence(by_metric[key]))


def _worth_a_sentence(verdicts: Sequence[Verdict]) -> list[Verdict]:
    moved = [
        v
        for v in verdicts
        if v.verdict in {Call.IMPROVED, Call.WORSENED} or v.reason is Reason.NO_BETTER_DIRECTION
    ]
    asymmetry = [v for v in verdicts if v.what is What.ASYMMETRY and v not in moved]
    return [*moved, *asymmetry] or list(verdicts)


def others_words(review: Review, shown: Sequence[Verdict], reader: Reader) -> str:
    """What became of all that is not on the page, in numbers."""
    left = [v for v in review.verdicts if v not in shown]
    if not left:
        return "Nothing else was compared."
    hollow = sum(is_hollow(v) for v in left)
    counted = Counter(v.verdict for v in left if not is_hollow(v))
    calls = PLAIN_CALLS if reader is Reader.RUNNER else CALLS
    told = [f"{counted[call]} {calls[call]}" for call in Call if counted[call]]
    if hollow:
        told.append(f"{hollow} smaller only because the better side fell")
    words = ", ".join(told)
    many = f"{len(left)} other comparison{'' if len(left) == 1 else 's'}"
    if reader is Reader.RUNNER:
        return f"Not on this sheet: {many} ({words})."
    return f"Not in this table: {many} ({words})."


def verdict_grid(review: Review, shown: Sequence[Verdict]) -> list[Part]:
    """The verdicts as a table, and below it where their errors come from."""
    sources = list(dict.fromkeys(_source(v) for v in shown))
    rows = []
    before = ""
    for verdict in shown:
        metric = review.metrics[verdict.metric]
        change = number_words(verdict.change, unit_of(verdict, metric), signed=True)
        rows.append(
            (
                "" if verdict.metric == before else shortened(metric.label, LONGEST_LABEL),
                TABLE_PLACES[verdict.what],
                size_words(verdict.baseline, verdict, metric, Reader.REFERRER),
                size_words(verdict.latest, verdict, metric, Reader.REFERRER),
                change,
                mdc_words(verdict, metric),
                f"{verdict_words(verdict)} [{sources.index(_source(verdict)) + 1}]",
            )
        )
        before = verdict.metric
    columns = ("Metric", "Side", "Baseline", "Latest", "Change", "MDC95", "Verdict [error]")
    notes = "; ".join(f"[{number}] {words}" for number, words in enumerate(sources, 1))
    return [
        Grid(columns=columns, rows=tuple(rows), numbers=frozenset({2, 3, 4, 5})),
        Text(words=f"Where the errors come from: {notes}."),
    ]


def _source(verdict: Verdict) -> str:
    words = ORIGINS_OF_CLINIC[verdict.error_origin]
    if not verdict.error_source:
        return words
    return f"{words}: {shortened(verdict.error_source, LONGEST_SOURCE).rstrip('.')}"


def measured_first(review: Review, reader: Reader) -> list[Part]:
    """Both sides as they were at the start, of the metrics that the summary tells of."""
    keys = metrics_shown(review) if review.verdicts else _most_uneven(review)
    told = [_start_words(review, key, reader) for key in keys[: MOST_MEASURED[reader]]]
    items = tuple(words for words in told if words)
    if not items:
        return []
    words = "At the start" if review.verdicts else "Measured so far"
    return [Text(words=f"{words}:"), Points(items=items)]


def _most_uneven(review: Review) -> tuple[str, ...]:
    """With only a start: targets, what the runner reports, then the most uneven by their error."""
    targeted = [t.metric for programme in review.programmes for t in programme.targets]
    reported = [k for k, metric in review.metrics.items() if metric.group is MetricGroup.REPORTED]
    rows = review.course[
        (review.course["what"] == What.ASYMMETRY.value) & ~review.course["lower_bound"]
    ]
    ranked = rows.assign(size=(rows["value"] / rows["sem"]).abs()).dropna(subset=["size"])
    uneven = ranked.sort_values("size", ascending=False, kind="stable")["metric"]
    keys = dict.fromkeys((*targeted, *reported, *uneven, *review.metrics))
    return tuple(key for key in keys if key in review.metrics)


def _start_words(review: Review, key: str, reader: Reader) -> str:
    metric = review.metrics[key]
    rows = review.course[(review.course["metric"] == key) & review.course["reference"]]
    means = {what: _mean(group) for what, group in rows.groupby("what", sort=False)}
    unit = unit_words(metric.unit)
    sides = [
        f"{what.value} {number_words(means[what.value], unit)}"
        for what in (What.LEFT, What.RIGHT)
        if what.value in means
    ]
    if What.NONE.value in means:
        sides.append(number_words(means[What.NONE.value], unit))
    if not sides:
        return ""
    apart = means.get(What.ASYMMETRY.value)
    told = f"{metric.label}: {', '.join(sides)}"
    if apart is None:
        return told
    if reader is Reader.RUNNER:
        return f"{told} ({side_words(apart)})" if apart else told
    shown = number_words(apart, asymmetry_unit(metric.asymmetry_form, metric.unit), signed=True)
    return f"{told} (right minus left {shown}, {side_words(apart)})"


def _mean(group: pd.DataFrame) -> float:
    known = group["baseline"].dropna()
    return float(known.iloc[0]) if len(known) else float(group["value"].mean())


def drawings(review: Review, keys: Sequence[str], reader: Reader) -> list[Drawing]:
    """The metrics shown first, drawn over all visits: both sides, and the difference beside."""
    drawn = (_drawing(review, key) for key in keys)
    return list(islice((one for one in drawn if one is not None), MOST_DRAWN[reader]))


def _drawing(review: Review, key: str) -> Drawing | None:
    metric = review.metrics[key]
    rows = review.course[review.course["metric"] == key]
    lines = {what: line for what in What if (line := _line(rows, what)) is not None}
    if all(len(line.days) < 2 for line in lines.values()):
        return None
    panels = [
        *_value_panel(metric, rows, lines),
        *_asymmetry_panel(metric, rows, lines),
    ]
    return Drawing(
        title=metric.label,
        panels=tuple(panels),
        phases=tuple(
            Phase(
                title=shortened(one.title, LONGEST_LABEL),
                started_on=one.started_on,
                ended_on=one.ended_on,
            )
            for one in sorted(review.programmes, key=lambda one: one.started_on)
        ),
        told="; ".join(_told(panel) for panel in panels) + ".",
    )


LINE_NAMES = {
    What.LEFT: "left",
    What.RIGHT: "right",
    What.NONE: "",
    What.ASYMMETRY: "",
}


def _line(rows: pd.DataFrame, what: What) -> Line | None:
    own = rows[(rows["what"] == what.value) & rows["value"].notna()]
    if own.empty:
        return None
    return Line(
        name=LINE_NAMES[what],
        days=tuple(day.date() for day in own["visited_on"]),
        values=tuple(float(value) for value in own["value"]),
        reference=tuple(bool(part) for part in own["reference"]),
        unlike=tuple(reason == Reason.NOT_LIKE_FOR_LIKE for reason in own["reason"]),
    )


def _value_panel(metric: Metric, rows: pd.DataFrame, lines: dict[What, Line]) -> list[Panel]:
    sides = [lines[what] for what in (What.LEFT, What.RIGHT, What.NONE) if what in lines]
    if not sides:
        return []
    unit = unit_words(metric.unit)
    what = "Left and right" if len(sides) == 2 else "Value"
    return [
        Panel(
            title=f"{what} ({unit})" if unit else what,
            lines=tuple(sides),
            band=_band(rows, What.NONE) if What.NONE in lines else None,
        )
    ]


def _asymmetry_panel(metric: Metric, rows: pd.DataFrame, lines: dict[What, Line]) -> list[Panel]:
    if What.ASYMMETRY not in lines:
        return []
    unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
    title = "Right minus left"
    return [
        Panel(
            title=f"{title} ({unit})" if unit else title,
            lines=(lines[What.ASYMMETRY],),
            band=_band(rows, What.ASYMMETRY),
            zero=True,
        )
    ]


def _band(rows: pd.DataFrame, what: What) -> tuple[float, float] | None:
    """Baseline and reach of error at the latest visit that has a known one."""
    own = rows[
        (rows["what"] == what.value)
        & rows["mdc95"].notna()
        & rows["baseline"].notna()
        & ~rows["lower_bound"]
    ]
    if own.empty:
        return None
    last = own.iloc[-1]
    baseline, reach = float(last["baseline"]), float(last["mdc95"])
    if not (math.isfinite(baseline) and math.isfinite(reach)):
        return None
    return baseline - reach, baseline + reach


def _told(panel: Panel) -> str:
    parts = [
        f"{f'{line.name} ' if line.name else ''}{number_words(line.values[0])} on "
        f"{day_words(line.days[0])} and {number_words(line.values[-1])} on "
        f"{day_words(line.days[-1])}"
        for line in panel.lines
    ]
    return f"{panel.title}: {', '.join(parts)}"
