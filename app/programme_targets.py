"""The targets of a programme that is being written, and whether each could be seen."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import streamlit as st

from app.messages import plain, show_refusal
from app.programme_draft import ProgrammeDraft
from app.programme_words import PLACES, direction_words, directions_of, places_of, unit_on
from app.typed_boxes import Boxes
from app.words import metric_words
from casebook.domain.errors import CasebookError
from casebook.domain.metrics import Metric
from casebook.domain.programmes import Target
from casebook.services.keeping import Casebook
from casebook.services.targeting import TargetPreview, preview_target


def edit_targets(
    casebook: Casebook,
    draft: ProgrammeDraft,
    metrics: dict[str, Metric],
    boxes: Boxes,
    started_on: date | None,
) -> tuple[Target, ...]:
    """Every target with the warning where it could not be seen, and a button that adds one."""
    st.markdown("##### Targets")
    st.caption("What it should change, by how much, and by when. Two or three are plenty.")
    found = [
        _edit(casebook, draft, metrics, boxes, slot, number, started_on)
        for number, slot in enumerate(draft.targets, start=1)
    ]
    st.button(
        "Add a target",
        key=f"do_target_{draft.typing.name}",
        icon=":material/add:",
        on_click=draft.add_target,
    )
    return tuple(target for target in found if target is not None)


def _edit(
    casebook: Casebook,
    draft: ProgrammeDraft,
    metrics: dict[str, Metric],
    boxes: Boxes,
    slot: int,
    number: int,
    started_on: date | None,
) -> Target | None:
    start, typing = draft.targets[slot], draft.typing

    def part(name: str) -> str:
        return f"target_{slot}_{name}"

    noted = len(boxes.problems)
    with st.container(border=True, key=f"target_{typing.name}_{slot}"):
        row = st.columns([3, 2, 2])
        words = {key: metric_words(metric) for key, metric in metrics.items()}
        metric_key = typing.choice(
            row[0],
            f"Target {number}: metric",
            part("metric"),
            list(metrics),
            words,
            start.metric if start else None,
            placeholder="Type or choose",
        )
        metric = metrics.get(metric_key or "")
        places = places_of(metric) if metric else ()
        place = typing.choice(
            row[1],
            "On",
            part(f"what_{len(places)}"),
            places,
            PLACES,
            # Left or right is chosen, never taken for granted.
            start.what if start else (places[0] if len(places) == 1 else None),
        )
        ways = directions_of(place) if place else ()
        way = typing.choice(
            row[2],
            "Which way",
            part(f"way_{len(ways)}"),
            ways,
            direction_words(place),
            start.direction if start else None,
        )
        second = st.columns([2, 3, 2], vertical_alignment="top")
        unit = unit_on(metric, place) if metric and place else ""
        amount = boxes.number(
            second[0],
            f"By how much ({unit})" if unit else "By how much",
            key=typing.key(part("amount")),
            start=start.amount if start else None,
            low=1e-9,
        )
        due = boxes.day(
            second[1],
            "By when",
            key=typing.key(part("due")),
            start=start.due_on if start else _by_when(draft, started_on),
            earliest=started_on,
        ).value
        second[2].space("small")
        second[2].button(
            "Take it out",
            key=f"do_out_target_{typing.name}_{slot}",
            icon=":material/remove:",
            on_click=draft.take_out,
            args=("target", slot),
        )
        boxes.problems[noted:] = [f"Target {number}, {one}" for one in boxes.problems[noted:]]
        lacking = [
            label
            for label, given in (
                ("metric", metric),
                ("on what", place),
                ("which way", way),
                ("by how much", amount),
                ("by when", due),
            )
            if given is None
        ]
        if lacking or metric is None or place is None or way is None or not amount or due is None:
            boxes.problems.append(f"Target {number}: not said yet: {', '.join(lacking)}.")
            return None
        target = Target(metric=metric.key, what=place, direction=way, amount=amount, due_on=due)
        try:
            show_preview(preview_target(casebook, target, runner=draft.runner))
        except CasebookError as refusal:
            show_refusal(refusal)
    return target


def _by_when(draft: ProgrammeDraft, started_on: date | None) -> date | None:
    end = draft.start.programme.ended_on
    weeks = draft.start.detail.planned_weeks
    if end is None and weeks and started_on:
        return started_on + timedelta(weeks=weeks)
    return end


def show_preview(preview: TargetPreview, place: Any = None) -> None:
    """Whether a target could be seen, and how many trials would do."""
    at = place or st
    if preview.warning:
        at.warning(
            plain(" ".join(one for one in (preview.warning, preview.advice) if one)),
            icon=":material/visibility_off:",
        )
    elif preview.advice:
        at.caption(f":material/visibility: {plain(preview.advice)}")
