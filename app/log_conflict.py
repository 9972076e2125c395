"""Somebody else saved this visit meanwhile: what it was, theirs, yours, and a choice each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import streamlit as st

from app.conditions_form import NEXT_DUE, NUMBERS, TEXTS
from app.entering import entry_of
from app.log_draft import Cell, cell_name
from app.log_sheet import Sheet
from app.log_typed import CONDITION_NAMES, day_of, stored_columns
from app.messages import count_words, day_words, plain
from app.words import SIDES, reading_words
from casebook.domain.history import Was, metric_and_side, value_content, value_field
from casebook.domain.meanwhile import FieldMeanwhile, VisitChangedMeanwhile
from casebook.domain.metrics import Metric
from casebook.domain.visit_drafts import head_name
from casebook.domain.visits import MissingReason, VisitKind
from casebook.domain.wording import MISSING_REASONS, VISIT_KINDS

THEIRS, YOURS = "theirs", "yours"
COLUMNS = {**NUMBERS, **TEXTS, "kind": "Kind of visit", "note": "Note", "next_due_on": NEXT_DUE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Meanwhile:
    """What somebody else did to a visit while it was being typed."""

    by: str
    at: datetime | None
    revision: int
    fields: tuple[FieldMeanwhile, ...]

    @property
    def to_choose(self) -> tuple[FieldMeanwhile, ...]:
        """Fields that both changed, and not to the same."""
        return tuple(one for one in self.fields if one.must_choose)


def remember(sheet: Sheet, told: VisitChangedMeanwhile) -> None:
    """Keep what the store told when it refused, for the page to show."""
    st.session_state[sheet.draft.name("meanwhile")] = Meanwhile(
        by=told.by,
        at=told.at,
        revision=told.shown_revision,
        fields=tuple(one for one in told.fields if _label(sheet, one.name)),
    )


def forget_meanwhile(sheet: Sheet) -> None:
    """It is settled."""
    st.session_state.pop(sheet.draft.name("meanwhile"), None)


def find_meanwhile(sheet: Sheet, head: dict[str, Any]) -> Meanwhile | None:
    """What to choose between: told by the store, or seen where a new visit is stored by now.

    Parameters
    ----------
    head : dict
        Columns of the head as typed.
    """
    told: Meanwhile | None = st.session_state.get(sheet.draft.name("meanwhile"))
    if told is not None:
        return told
    stored = sheet.stored
    if stored is None or sheet.draft.opened_on(sheet.ground) or not sheet.draft.kept:
        return None
    fields = [*_cells_of_both(sheet), *_columns_of_both(sheet, head)]
    if not any(one.must_choose for one in fields):
        return None
    return Meanwhile(
        by=stored.last_saved_by,
        at=stored.last_saved_at,
        revision=stored.revision,
        fields=tuple(fields),
    )


def _cells_of_both(sheet: Sheet) -> list[FieldMeanwhile]:
    metrics = {metric.key: metric for metric in sheet.metrics}
    return [
        FieldMeanwhile(
            name=value_field(*cell),
            opened=None,
            stored=value_content(value),
            given=_given(sheet, metrics[cell[0]], cell),
        )
        for cell, value in sheet.kept.items()
        if cell in sheet.draft.cells and cell[0] in metrics
    ]


def _given(sheet: Sheet, metric: Metric, cell: Cell) -> Was:
    value = entry_of(sheet.draft, metric, cell[1]).value
    return None if value is None else value_content(value)


def _columns_of_both(sheet: Sheet, head: dict[str, Any]) -> list[FieldMeanwhile]:
    if sheet.stored is None:
        return []
    stored = stored_columns(sheet.stored.visit)
    return [
        FieldMeanwhile(name=name, opened=None, stored=_json(stored[name]), given=_json(head[name]))
        for name in (*CONDITION_NAMES, "kind", "note", "next_due_on")
        if name in sheet.draft.head
    ]


def _json(content: Any) -> Was:
    if content is None or content == "":
        return None
    return content if isinstance(content, int | float) else str(content)


def show_meanwhile(sheet: Sheet, told: Meanwhile) -> dict[str, str]:
    """Show the fields side by side; returns what was chosen, by the field's name."""
    who = f"**{plain(told.by)}**" if told.by else "Somebody (no name given)"
    when = f" at {told.at.astimezone():%H:%M}" if told.at else ""
    st.warning(
        f"{who} saved this visit{when}, after you opened it. Nothing of yours is lost, and "
        "nothing was saved over theirs.",
        icon=":material/group:",
    )
    chosen: dict[str, str] = {}
    for one in told.to_choose:
        with st.container(border=True):
            answer = st.radio(
                _label(sheet, one.name),
                [THEIRS, YOURS],
                index=None,
                key=sheet.draft.name("choice", str(told.revision), one.name),
                format_func={
                    THEIRS: f"theirs: {_words(sheet, one.name, one.stored)}",
                    YOURS: f"yours: {_words(sheet, one.name, one.given)}",
                }.__getitem__,
                horizontal=True,
            )
            st.caption(f"When you opened it: {_words(sheet, one.name, one.opened)}")
        if answer:
            chosen[one.name] = answer
    theirs = [one for one in told.fields if one.theirs and not one.yours]
    if theirs:
        listed = "\n".join(
            f"- {plain(_label(sheet, one.name))}: {_words(sheet, one.name, one.opened)} → "
            f"**{_words(sheet, one.name, one.stored)}**"
            for one in theirs
        )
        st.markdown(
            f"They also changed {count_words(len(theirs), 'field')} that you left as it was; "
            f"these stay theirs:\n\n{listed}"
        )
    return chosen


def given_up(told: Meanwhile, chosen: dict[str, str]) -> list[str]:
    """Names in the draft of what the user leaves to the other."""
    names = []
    for one in told.to_choose:
        if chosen.get(one.name) == THEIRS:
            place = metric_and_side(one.name)
            names.append(head_name(one.name) if place is None else cell_name(place))
            if one.name == "next_due_on":
                names.append(head_name("no_review"))
    return names


def _label(sheet: Sheet, name: str) -> str:
    place = metric_and_side(name)
    if place is None:
        return COLUMNS.get(name, "")
    labels = {metric.key: metric.label for metric in sheet.metrics}
    return f"{labels.get(place[0], place[0])}, {SIDES[place[1]]}"


def _words(sheet: Sheet, name: str, content: Was) -> str:
    if content is None:
        return "–"
    place = metric_and_side(name)
    if place is None:
        return plain(_column_words(name, content))
    if "missing" in content:
        return MISSING_REASONS[MissingReason(content["missing"])]
    if "trials" in content:
        return plain(" ".join(f"{trial:g}" for trial in content["trials"]))
    metric = next((one for one in sheet.metrics if one.key == place[0]), None)
    mean = reading_words(content["mean"], metric) if metric else f"{content['mean']:g}"
    return plain(f"{mean} (mean of {content['n']})")


def _column_words(name: str, content: Was) -> str:
    if name == "kind":
        return VISIT_KINDS[VisitKind(content)]
    if name == "next_due_on":
        return day_words(day_of(content))
    return f"{content:g}" if isinstance(content, int | float) else str(content)
