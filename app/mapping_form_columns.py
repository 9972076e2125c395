"""One box a column: what it holds, the likeliest answers first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import streamlit as st

from app.messages import plain
from casebook.catalogue.units import unit_words
from casebook.domain.metrics import Metric
from casebook.intake.header_parts import take_apart
from casebook.intake.mapping import (
    COUNT,
    NOTHING,
    READING,
    REASON,
    TABLE_OF,
    TIDY_NAMES,
    UNDECIDED,
    VISIT_NAMES,
    ColumnUse,
    RowIs,
    WordUse,
)
from casebook.intake.proposing_columns import unit_fits
from casebook.intake.proposing_evidence import USED_UNITS, ColumnProposal

SIDES_SHORT = {"left": "left", "right": "right"}
NOT_SURE = "Not sure: please choose"
# What a column says of a visit or of its row, in words.
HOLDS_WORDS = {
    "runner": "Runner's code",
    "visit_date": "Date of the visit",
    "session": "Number of the session on that day",
    "kind": "Kind of visit (baseline, review, …)",
    "speed_km_h": "Running speed at the visit",
    "surface": "Surface",
    "incline_pct": "Incline (%)",
    "footwear": "Footwear",
    "view": "Camera view",
    "frames_per_s": "Frames a second",
    "assessor": "Who measured",
    "pain_today": "Pain today (0 to 10)",
    "next_due": "Next visit due",
    "note": "Note on the visit",
    "metric": "Name of the metric",
    "side": "Side (left, right)",
    "trial": "Number of the trial",
    "value": "The value",
    "n_trials": "Number of trials of a mean",
    "unit": "Unit of the value",
    "missing_reason": "Why the value is missing",
    "programme": "Title of the programme",
    "programme_started_on": "Start of the programme",
    "week_start": "First day of the week",
    "sessions_planned": "Sessions planned",
    "sessions_done": "Sessions done",
    "pain_during": "Pain during (0 to 10)",
    "pain_morning_after": "Pain the morning after (0 to 10)",
    "comment": "Comment",
    "run_date": "Day of the run",
    "number": "Number of the run on that day",
    "distance_km": "Distance (km)",
    "minutes": "Minutes",
    "effort": "Effort (0 to 10)",
    NOTHING: "Leave this column out",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Where a column's box stands, and what it can offer.

    Parameters
    ----------
    key : str
        Of its widgets; no other column of the page has it.
    metrics : dict of str to Metric
        The catalogue by key.
    row_is : RowIs
    """

    key: str
    metrics: dict[str, Metric]
    row_is: RowIs


def holds_words(use: ColumnUse, metrics: dict[str, Metric]) -> str:
    """What a column holds, in words."""
    if use.holds == UNDECIDED:
        return NOT_SURE
    if not use.is_of_metric:
        words = HOLDS_WORDS.get(use.holds, use.holds)
        words += f", trial {use.trial}" if use.trial else ""
        return f"{words}, in {unit_words(use.unit) or use.unit}" if use.unit else words
    metric = metrics.get(use.metric)
    words = metric.label if metric else use.metric
    words += f", {SIDES_SHORT[use.side]}" if use.side in SIDES_SHORT else ""
    words += f", trial {use.trial}" if use.trial else ""
    words += {COUNT: ": number of trials", REASON: ": why it is missing"}.get(use.holds, "")
    if not use.unit or (metric and metric.unit not in USED_UNITS):
        return words  # a unit that is the only one in use need not be told
    unit = unit_words(use.unit) or use.unit
    # 'in in' would read as a slip.
    return f"{words}, in {'inches' if unit == 'in' else unit}"


def grouped(
    columns: Iterable[ColumnProposal], apart: Iterable[str] = ()
) -> list[list[ColumnProposal]]:
    """Columns that differ in side and trial only are asked about in one.

    Parameters
    ----------
    apart : iterable of str
        Headers that somebody wants to answer for alone.
    """
    alone = set(apart)
    groups: dict[object, list[ColumnProposal]] = {}
    for column in columns:
        header = column.use.header
        parts = take_apart(header)
        together = parts.side and not parts.repeat and not parts.doubt and header not in alone
        key = (parts.words, parts.unit, parts.scale, parts.counts) if together else header
        groups.setdefault(key, []).append(column)
    return list(groups.values())


def ask_columns(box: Box, group: list[ColumnProposal]) -> list[ColumnUse]:
    """Ask what a column holds, or several alike; `UNDECIDED` until somebody says it."""
    column = group[0]
    header = column.use.header
    side = take_apart(header).side
    several = len(group) > 1
    options = [
        use for use in _options(box, column) if not several or use.side in {"", "none", side}
    ]
    samples = ", ".join(column.samples)
    more = f" and {', '.join(_end(one.use.header, header) for one in group[1:])}"
    chosen = st.selectbox(
        f"**{plain(header)}**"
        + (plain(more[:60]) if several else "")
        + (f" · {plain(samples[:60])}" if samples else ""),
        options,
        index=None,
        format_func=lambda use: holds_words(
            replace(use, side="", trial=0) if several else use, box.metrics
        ),
        key=box.key,
        placeholder=NOT_SURE,
        help=plain(column.why) if column.why else None,
    )
    if chosen is None:
        return [ColumnUse(header=one.use.header) for one in group]
    use = _with_unit(box, chosen, column)
    return [_for(one.use.header, use, box) for one in group] if several else [use]


def _end(header: str, first: str) -> str:
    """What is different in a name, from where it differs on."""
    same = next(
        (n for n, (a, b) in enumerate(zip(header, first, strict=False)) if a != b), len(first)
    )
    start = max(header.rfind(" ", 0, same), header.rfind("_", 0, same)) + 1
    return header[start:] or header


def _for(header: str, use: ColumnUse, box: Box) -> ColumnUse:
    if not use.is_of_metric:
        return replace(use, header=header)
    parts = take_apart(header)
    sided = box.metrics[use.metric].sided
    return replace(use, header=header, side=parts.side if sided else "none", trial=parts.trial)


def _options(box: Box, column: ColumnProposal) -> list[ColumnUse]:
    header = column.use.header
    leave = ColumnUse(header=header, holds=NOTHING)
    first = [*column.candidates, *([column.use] if column.use.holds != UNDECIDED else [])]
    first += [] if leave in first else [leave]
    return list(dict.fromkeys([*first, *_all(box, header)]))


def _all(box: Box, header: str) -> Iterable[ColumnUse]:
    parts = take_apart(header)
    names = list(VISIT_NAMES)
    if box.row_is in TABLE_OF:
        for name in TABLE_OF[box.row_is].names:
            yield ColumnUse(header=header, holds=name)
        return
    if box.row_is is RowIs.VALUE:
        names = [*TIDY_NAMES, *names]
    elif box.row_is is RowIs.SIDE:
        names = ["side", "trial", *names]
    else:
        names = [*names, "trial"]
    for name in names:
        yield ColumnUse(header=header, holds=name, trial=parts.trial if name == "value" else 0)
    if box.row_is is RowIs.VALUE:
        return
    for metric in box.metrics.values():
        sides = ("left", "right") if metric.sided else ("none",)
        if metric.sided and box.row_is is RowIs.SIDE:
            sides = ("", *sides)
        for side in sides:
            yield ColumnUse(
                header=header,
                holds=COUNT if parts.counts else READING,
                metric=metric.key,
                side=side,
                trial=parts.trial,
                unit=parts.unit if unit_fits(parts.unit, metric) == "yes" else "",
            )


def _with_unit(box: Box, chosen: ColumnUse, column: ColumnProposal) -> ColumnUse:
    """Ask for the unit as well, where the name says none and more than one is in use."""
    metric = box.metrics.get(chosen.metric)
    if chosen.holds != READING or metric is None or chosen.unit or chosen in column.candidates:
        return chosen
    units = USED_UNITS.get(metric.unit, ())
    if len(units) < 2:
        return chosen
    unit = st.selectbox(
        f"Unit of {plain(chosen.header)}",
        units,
        index=None,
        key=f"{box.key}_unit_{metric.key}",
        placeholder="Choose the unit",
    )
    return replace(chosen, unit=unit) if unit else ColumnUse(header=chosen.header)


def ask_word(box: Box, proposed: WordUse, candidates: Iterable[WordUse], why: str) -> WordUse:
    """Ask which metric a word in the metric column is."""
    word = proposed.word
    parts = take_apart(word)
    everything = [
        WordUse(
            word=word,
            metric=metric.key,
            side=side,
            unit=parts.unit if unit_fits(parts.unit, metric) == "yes" else "",
        )
        for metric in box.metrics.values()
        for side in (("", "left", "right") if metric.sided else ("",))
    ]
    leave = WordUse(word=word, metric=NOTHING)
    chosen: WordUse | None = st.selectbox(
        f"**{plain(word)}**",
        list(dict.fromkeys([*candidates, leave, *everything])),
        index=None,
        format_func=lambda use: _word_words(use, box.metrics),
        key=box.key,
        placeholder=NOT_SURE,
        help=plain(why) if why else None,
    )
    return chosen or WordUse(word=word)


def _word_words(use: WordUse, metrics: dict[str, Metric]) -> str:
    if use.metric == NOTHING:
        return "Leave these rows out"
    column = ColumnUse(
        header=use.word, holds=READING, metric=use.metric, side=use.side, unit=use.unit
    )
    return holds_words(column, metrics)
