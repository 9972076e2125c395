"""The logging grid: a row a metric, left and right side by side, one tab stop a cell."""

from __future__ import annotations

from itertools import groupby

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.entering import Cell, Draft, Previous, entry_of, keep_cell, sides_of, swap_of
from app.messages import count_words, day_words, plain
from app.words import GROUPS, SIDES, STEPPED, reading_words, step_words
from casebook.domain.metrics import Better, Metric, MetricGroup
from casebook.domain.sides import Side
from casebook.domain.typed_entry import read_entry, write_entry
from casebook.domain.visits import Value
from casebook.domain.wording import MISSING_REASONS, number_words, unit_words

HOW = (
    "One cell a side: every trial, as `4.1 4.4 3.9`; or a mean with its number of trials, as "
    "`4.1 n=7`; or why there is none: `not done`, `painful`, `not visible`, `equipment`. "
    "The Tab key goes on to the next cell; a cell left blank is not stored."
)
SIDE_SIGNS = {Side.LEFT: ":blue[◀ left]", Side.RIGHT: ":orange[▶ right]", Side.NONE: "● whole body"}
GROUP_ORDER = list(MetricGroup)


def in_order(metrics: tuple[Metric, ...]) -> list[Metric]:
    """Metrics in the order in which a clinician looks."""
    return sorted(metrics, key=lambda m: (GROUP_ORDER.index(m.group), m.position, m.label))


def show_grid(
    draft: Draft,
    metrics: list[Metric],
    previous: dict[Cell, Previous],
    stored: dict[Cell, Value],
    *,
    errors: dict[str, float],
    explained: bool,
) -> None:
    """Every row, under the heading of its group.

    Parameters
    ----------
    draft : Draft
        Takes up what is typed.
    metrics : list of Metric
        In order.
    previous : dict
        Latest earlier value by metric and side.
    stored : dict
        Values that this visit has already; their cells are closed.
    errors : dict
        By metric, how far error alone may move one side.
    explained : bool
        Say under each label what a positive number means and what is usual. Not a tooltip:
        that would be one more stop of the Tab key in every row.
    """
    st.caption(HOW)
    for group, members in groupby(metrics, key=lambda metric: metric.group):
        st.subheader(GROUPS[group], anchor=False)
        for metric in members:
            with st.container(key=f"row_{metric.key}"):
                name, cells = st.columns([2, 3], vertical_alignment="top", gap="small")
                name.markdown(_label(metric))
                if explained:
                    name.caption(_explanation(metric))
                _cells(cells, draft, metric, previous, stored)
                _ask_sides(cells, draft, metric, previous, errors[metric.key])


def _label(metric: Metric) -> str:
    unit = unit_words(metric.unit)
    return f"**{plain(metric.label)}**{f' ({plain(unit)})' if unit else ''}"


def _cells(
    place: DeltaGenerator,
    draft: Draft,
    metric: Metric,
    previous: dict[Cell, Previous],
    stored: dict[Cell, Value],
) -> None:
    for column, side in zip(place.columns(2, wrap=False), sides_of(metric), strict=False):
        with column.container(gap=None):
            _cell(draft, metric, side, previous.get((metric.key, side)), stored)


def _explanation(metric: Metric) -> str:
    lines = [plain(metric.sign_convention)]
    lines += [f"{grade} = {plain(words)}" for grade, words in enumerate(metric.grades)]
    unit = unit_words(metric.unit)
    lines.append(
        f"Plausible: {number_words(metric.plausible_low)} to "
        f"{number_words(metric.plausible_high, unit)}. Usual: "
        f"{count_words(metric.usual_trials, 'trial')}."
    )
    if metric.better is Better.RANGE:
        lines.append(
            f"Aim: {number_words(metric.target_low)} to {number_words(metric.target_high, unit)}."
        )
    return "\n\n".join(line for line in lines if line)


def _cell(
    draft: Draft,
    metric: Metric,
    side: Side,
    previous: Previous | None,
    stored: dict[Cell, Value],
) -> None:
    cell = (metric.key, side)
    label = f"{metric.label}, {SIDES[side]}"
    if cell in stored:
        _closed_cell(draft, metric, side, label, stored[cell])
        return
    key = draft.key(*cell)
    st.session_state.setdefault(key, draft.cells.get(cell, ""))
    st.caption(SIDE_SIGNS[side])
    st.text_input(
        label,
        key=key,
        label_visibility="collapsed",
        autocomplete="off",
        on_change=keep_cell,
        args=(draft, cell),
    )
    entry = entry_of(draft, metric, side)
    if entry.problem:
        st.caption(f":red[:material/error: {plain(entry.problem)}]")
    else:
        st.caption(_beside(metric, entry.value, previous))
    _question(draft, metric, side)


def _ask_sides(
    place: DeltaGenerator,
    draft: Draft,
    metric: Metric,
    previous: dict[Cell, Previous],
    error: float,
) -> None:
    swap = swap_of(draft, metric, previous, error)
    if swap is None:
        return
    left, right = (plain(reading_words(number, metric)) for number in swap.last)
    key = draft.key(*swap.cell, "sides", swap.text.encode().hex())

    def settle() -> None:
        keep_or_not = draft.confirmed.add if st.session_state[key] else draft.confirmed.discard
        keep_or_not((swap.cell, swap.text))

    st.session_state.setdefault(key, swap.settled)
    place.warning(
        f"**Left and right look swapped** against the visit of {day_words(swap.visited_on)} "
        f"(left {left}, right {right}). Correct them, or confirm below.",
        icon=":material/swap_horiz:",
    )
    place.checkbox("Left is left and right is right: keep them.", key=key, on_change=settle)


def _question(draft: Draft, metric: Metric, side: Side) -> None:
    cell = (metric.key, side)
    text = draft.cells.get(cell, "")
    question = read_entry(text, metric, side).question
    if not question:
        return

    key = draft.key(*cell, "sure", text.encode().hex())

    def settle() -> None:
        (draft.confirmed.add if st.session_state[key] else draft.confirmed.discard)((cell, text))

    st.session_state.setdefault(key, (cell, text) in draft.confirmed)
    st.checkbox(f"{plain(question)} Yes, keep it.", key=key, on_change=settle)


def _closed_cell(draft: Draft, metric: Metric, side: Side, label: str, value: Value) -> None:
    st.caption(SIDE_SIGNS[side])
    st.text_input(
        f"{label} (stored)",
        value=write_entry(value),
        key=draft.key(metric.key, side, "stored"),
        label_visibility="collapsed",
        disabled=True,
    )
    typed = draft.cells.get((metric.key, side), "").strip()
    words = "stored"
    if typed:
        words += f"; you typed {plain(typed)}, which is not saved"
    st.caption(words)


def _beside(metric: Metric, value: Value | None, previous: Previous | None) -> str:
    unit = unit_words(metric.unit)
    now = ""
    if value is not None and value.missing_reason is not None:
        now = f"missing: {MISSING_REASONS[value.missing_reason]}. "
    elif value is not None and value.mean is not None and value.n_trials > 1:
        now = f"**{plain(reading_words(value.mean, metric))}** of {value.n_trials}. "
    if previous is None or previous.value.mean is None:
        return f"{now}first time"
    was = f"was {plain(reading_words(previous.value.mean, metric))}"
    if not previous.at_last_visit:
        was += f" ({day_words(previous.visited_on)})"
    if value is None or value.mean is None:
        return now + was
    difference = value.mean - previous.value.mean
    change = (
        step_words(difference, signed=True)
        if metric.scale in STEPPED
        else number_words(difference, unit, signed=True)
    )
    return f"{now}{was}, **change {plain(change)}**"
