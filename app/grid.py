"""The logging grid: a row a metric, left and right side by side, one tab stop a cell.

Each row is a fragment of its own: a typed cell draws its row and the count below, and nothing
else of the page.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from itertools import groupby

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.errors import StreamlitAPIException

from app.entering import (
    Previous,
    entry_of,
    read_cell,
    sides_of,
    stored_text,
    swap_of,
)
from app.log_draft import Cell, keep_cell, keep_sure, seeded_cell
from app.log_sheet import Sheet
from app.messages import calmly, count_words, day_words, plain
from app.words import GROUPS, SIDES, reading_words
from casebook.domain.measurement_sets import in_looking_order
from casebook.domain.metrics import Better, Metric, MetricGroup, Scale
from casebook.domain.reach import Reach
from casebook.domain.sides import Side
from casebook.domain.typed_entry import MISSING_KEYS, MISSING_WORDS, Entry
from casebook.domain.visits import MissingReason
from casebook.domain.wording import (
    CONDITIONS,
    MISSING_REASONS,
    number_words,
    plausible_words,
    so_far_words,
    unit_words,
)
from casebook.services.so_far import so_far

FINISH = "log_finish"
HOW = (
    "Every trial, as `4.1 4.4 3.9`; or a mean with its number of trials, as `4.1 n=7`; with "
    "another unit behind it where you read one, as `12 in`. Why there is none: "
    + ", ".join(f"`{MISSING_KEYS[one]}` {MISSING_REASONS[one]}" for one in MissingReason)
    + ". **Ctrl+↓** goes to the first open cell, **Enter** or Tab to the next, **Ctrl+Enter** "
    "saves; a blank cell is not stored."
)
SIDE_SIGNS = {Side.LEFT: ":blue[◀ left]", Side.RIGHT: ":orange[▶ right]", Side.NONE: "● whole body"}
NO_FIGURE = "no error figure"


def in_order(metrics: tuple[Metric, ...]) -> list[Metric]:
    """Metrics in the order in which a clinician looks."""
    return in_looking_order(metrics)


def show_grid(sheet: Sheet) -> None:
    """Every row that is shown, under the heading of its group."""
    st.caption(HOW)
    for group, members in groupby(sheet.shown, key=lambda metric: metric.group):
        st.subheader(GROUPS[group], anchor=False)
        for metric in members:
            with st.container(key=f"row_{metric.key}"):
                # A name for each row, so that a callback can ask for it and the count alone.
                st.fragment(_row, key=_row_name(metric))(sheet, metric)


def _row_name(metric: Metric) -> str:
    return f"row_{metric.key}"


def _row(sheet: Sheet, metric: Metric) -> None:
    with calmly():
        name, cells = st.columns([2, 3], vertical_alignment="top", gap="small")
        name = name.container(gap=None)
        name.markdown(_label(metric))
        with name.container(horizontal=True, vertical_alignment="center", gap="small"):
            about = _about(sheet, metric)
            if about:
                st.caption(about, width="content")
            _choose(sheet, metric)
        if sheet.explained:
            name.caption(_explanation(metric))
        for column, side in zip(cells.columns(2, wrap=False), sides_of(metric), strict=False):
            with column.container(gap=None):
                _cell(sheet, metric, side)
        _ask_sides(sheet, metric, cells)
        _undrawn(sheet).discard(_row_name(metric))


def _undrawn(sheet: Sheet) -> set[str]:
    """Rows typed in and not drawn since.

    A quick hand leaves the next cell while its row is still being drawn, which ends that drawing:
    the row is asked for again with the next one.
    """
    rows: set[str] = st.session_state.setdefault(sheet.draft.name("undrawn"), set())
    return rows


def _draw_row_and_count(sheet: Sheet, metric: Metric) -> None:
    rows = _undrawn(sheet)
    rows.add(_row_name(metric))
    # Where the whole page is drawn anyway no row is known by its name.
    with suppress(StreamlitAPIException):
        st.rerun([*sorted(rows), FINISH])


def _label(metric: Metric) -> str:
    unit = unit_words(metric.unit)
    return f"**{plain(metric.label)}**{f' ({plain(unit)})' if unit else ''}"


def _about(sheet: Sheet, metric: Metric) -> str:
    """What holds for both cells of a row: said once."""
    parts = []
    if metric.scale is Scale.GRADE:
        parts.append(", ".join(f"{grade} {words}" for grade, words in enumerate(metric.grades)))
    else:
        parts.append(f"plausible {plausible_words(metric)}")
    if metric.key not in sheet.figures:
        parts.append(NO_FIGURE)
    different = [CONDITIONS[one] for one in metric.sensitive_to if one in sheet.unlike]
    if different and any((metric.key, side) in sheet.previous for side in sides_of(metric)):
        parts.append(f"not like for like with the last visit: {', '.join(different)}")
    return plain(" · ".join(parts))


def _explanation(metric: Metric) -> str:
    lines = [plain(metric.sign_convention)]
    lines.append(f"Usual: {count_words(metric.usual_trials, 'trial')}.")
    if metric.better is Better.RANGE:
        unit = unit_words(metric.unit)
        lines.append(
            f"Aim: {number_words(metric.target_low)} to {number_words(metric.target_high, unit)}."
        )
    return "\n\n".join(line for line in lines if line)


def _cell(sheet: Sheet, metric: Metric, side: Side) -> None:
    cell = (metric.key, side)
    label = f"{metric.label}, {SIDES[side]}"
    stored = stored_text(dict(sheet.kept), cell)
    key = seeded_cell(sheet.draft, cell, stored)
    asked = side is Side.NONE and metric.group is MetricGroup.REPORTED
    st.caption("● answer" if asked else SIDE_SIGNS[side])
    # A grade, too, is typed: a list that opens late would drop what a quick hand leaves behind.
    st.text_input(
        label,
        key=key,
        label_visibility="collapsed",
        autocomplete="off",
        on_change=_take,
        args=(sheet, metric, cell, stored),
    )
    text = sheet.draft.cells.get(cell, stored)
    entry = (
        entry_of(sheet.draft, metric, side)
        if cell in sheet.draft.cells
        else read_cell(stored, metric, side)
    )
    if entry.problem:
        st.caption(f":red[:material/error: {plain(entry.problem)}]")
    else:
        st.caption(_beside(sheet, metric, entry, sheet.previous.get(cell)))
    if stored and text != stored:
        st.caption(f":material/edit: stored: {plain(stored)}")
    if cell in sheet.draft.cells:
        _ask_if_sure(sheet, metric, side)


def _take(sheet: Sheet, metric: Metric, cell: Cell, stored: str) -> None:
    text = str(st.session_state[sheet.draft.name(*cell)] or "")
    keep_cell(sheet.draft, sheet.casebook, cell, text, stored=stored, ground=sheet.ground)
    _draw_row_and_count(sheet, metric)


def _choose(sheet: Sheet, metric: Metric) -> None:
    """A grade by its words, or why there is no value, without typing."""
    sides = sides_of(metric)
    grades = metric.grades if metric.scale is Scale.GRADE else ()
    texts = {str(grade): f"{grade} · {words}" for grade, words in enumerate(grades)}
    reasons = {MISSING_WORDS[one]: MISSING_REASONS[one] for one in MissingReason}
    # Short enough to stand within a window: a graded row's reasons for one side are typed.
    singly = texts if grades and len(sides) > 1 else texts | reasons
    choices: dict[tuple[Side | None, str], str] = {
        (side, text): f"{SIDES[side]}: {words}" for side in sides for text, words in singly.items()
    }
    if len(sides) > 1:
        choices |= {(None, text): f"both: {words}" for text, words in reasons.items()}
    key = f"why_{sheet.draft.name(metric.key)}"
    listed = {f"{side or 'both'}:{text}": (side, text) for side, text in choices}

    def take() -> None:
        wanted, text = listed[str(st.session_state[f"{key}_menu"])]
        for side in sides:
            if wanted in {None, side}:
                cell = (metric.key, side)
                stored = stored_text(dict(sheet.kept), cell)
                keep_cell(
                    sheet.draft, sheet.casebook, cell, text, stored=stored, ground=sheet.ground
                )
        _draw_row_and_count(sheet, metric)

    with st.container(key=key, width="content"):
        st.menu_button(
            "Choose" if grades else "Why missing",
            list(listed),
            format_func=lambda one: choices[listed[one]],
            key=f"{key}_menu",
            type="tertiary",
            on_click=take,
        )


def _ask_sides(sheet: Sheet, metric: Metric, place: DeltaGenerator) -> None:
    draft = sheet.draft
    swap = swap_of(draft, metric, dict(sheet.previous), sheet.errors[metric.key])
    if swap is None:
        return
    left, right = (plain(reading_words(number, metric)) for number in swap.last)
    place.warning(
        f"**Left and right look swapped** against the visit of {day_words(swap.visited_on)} "
        f"(left {left}, right {right}). Correct them, or confirm below.",
        icon=":material/swap_horiz:",
    )
    with place:
        _sure_box(
            sheet, metric, swap.cell, swap.text, "Left is left and right is right: keep them."
        )


def _ask_if_sure(sheet: Sheet, metric: Metric, side: Side) -> None:
    cell = (metric.key, side)
    text = sheet.draft.cells.get(cell, "")
    question = read_cell(text, metric, side).question
    if question:
        _sure_box(sheet, metric, cell, text, f"{plain(question)} Yes, keep it.")


def _sure_box(sheet: Sheet, metric: Metric, cell: Cell, text: str, words: str) -> None:
    draft = sheet.draft
    key = draft.name(*cell, "sure", text.encode().hex())

    def settle() -> None:
        keep_sure(
            draft,
            sheet.casebook,
            cell,
            text,
            sure=bool(st.session_state[key]),
            ground=sheet.ground,
        )
        _draw_row_and_count(sheet, metric)

    st.session_state.setdefault(key, (cell, text) in draft.confirmed)
    st.checkbox(words, key=key, on_change=settle)


def _worth_telling(metric: Metric, entry: Entry) -> bool:
    """Whether the value reads otherwise than what was typed."""
    several = entry.value is not None and entry.value.n_trials > 1
    return several or bool(entry.unit) or metric.scale is Scale.GRADE


def _beside(sheet: Sheet, metric: Metric, entry: Entry, previous: Previous | None) -> str:
    value = entry.value
    now = ""
    if value is not None and value.missing_reason is not None:
        now = f"missing: {MISSING_REASONS[value.missing_reason]}. "
    elif value is not None and value.mean is not None and _worth_telling(metric, entry):
        told = plain(reading_words(value.mean, metric))
        now = f"= **{told}**" if entry.unit else f"**{told}**"
        now += f" of {value.n_trials}. " if value.n_trials > 1 else ". "
    if previous is None or previous.value.mean is None:
        # Of a runner who was never seen before it is said once, at the top.
        return f"{now}first time" if sheet.earlier else now
    was = f"was {plain(reading_words(previous.value.mean, metric))}"
    if not previous.at_last_visit:
        was += f" ({day_words(previous.visited_on)})"
    told_so_far = value and so_far(
        metric,
        sheet.figures.get(metric.key),
        value,
        previous.value,
        frames_per_s=(sheet.frames_per_s, previous.frames_per_s),
    )
    if not told_so_far:
        return now + was
    if sheet.unlike.intersection(metric.sensitive_to) and told_so_far.limit is not None:
        # The row says in what the visits differ; no call is made of such a change.
        told_so_far = replace(told_so_far, reach=Reach.UNLIKE)
    return f"{now}{was} · **{plain(so_far_words(told_so_far, metric))}**"
