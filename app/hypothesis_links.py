"""One prediction of a working hypothesis, asked for in one box."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app.hypothesis_draft import HypothesisDraft
from app.programme_words import PLACES, direction_words, directions_of, places_of, unit_on
from app.typed_boxes import Boxes
from app.words import metric_words
from casebook.domain.errors import InputRefused
from casebook.domain.hypotheses import ROLES, Link, Role
from casebook.domain.metrics import Metric

ROLE_HELP = (
    "Driver: what you think it starts from. Expected to follow: what should move once the driver "
    "does. The programme should change it: a direct aim. Should stay still: what would speak "
    "against you if it moved."
)


def ask_prediction(
    draft: HypothesisDraft,
    boxes: Boxes,
    metrics: dict[str, Metric],
    slot: int,
    position: int,
    due_on: date | None,
) -> Link | None:
    """The boxes of one prediction; None, and what lacks among the problems, until it is said."""
    start, typing = draft.links[slot], draft.typing
    noted = len(boxes.problems)

    def part(name: str) -> str:
        return f"link_{slot}_{name}"

    with st.container(border=True, key=f"link_{typing.name}_{slot}"):
        row = st.columns([3, 3, 2])
        only_driver = Role.DRIVER if position == 1 and start is None else None
        role = typing.choice(
            row[0], f"Prediction {position}", part("role"), list(Role), ROLES,
            start.role if start else only_driver,
        )  # fmt: skip
        words = {key: metric_words(metric) for key, metric in metrics.items()}
        key = typing.choice(
            row[1], "Metric", part("metric"), list(metrics), words,
            start.metric if start else None, placeholder="Type or choose",
        )  # fmt: skip
        metric = metrics.get(key or "")
        places = places_of(metric) if metric else ()
        place = typing.choice(
            row[2], "On", part(f"on_{len(places)}"), places, PLACES,
            start.on if start else (places[0] if len(places) == 1 else None),
        )  # fmt: skip
        second = st.columns([3, 2, 3])
        still = role is Role.STILL
        ways = directions_of(place) if place and not still else ()
        way = typing.choice(
            second[0], "Which way", part(f"way_{len(ways)}"), ways, direction_words(place),
            start.direction if start else None, disabled=still,
            placeholder="Stays as it is" if still else "Choose",
        )  # fmt: skip
        unit = unit_on(metric, place) if metric and place else ""
        asked = "Still means within" if still else "By how much"
        amount = boxes.number(
            second[1],
            f"{asked} ({unit})" if unit else asked,
            key=typing.key(part("amount")),
            start=start.amount if start else None,
            low=1e-9,
            help="Blank takes the measurement error." if still else None,
        )
        due = boxes.day(
            second[2],
            "By when",
            key=typing.key(part("due")),
            start=start.due_on if start else due_on,
        ).value
        third = st.columns([5, 2], vertical_alignment="bottom")
        why = typing.text(third[0], "Why", part("why"), start.why if start else "", max_chars=500)
        third[1].button(
            "Take it out",
            key=f"do_out_link_{typing.name}_{slot}",
            icon=":material/remove:",
            on_click=draft.take_out,
            args=(slot,),
        )
    boxes.problems[noted:] = [f"Prediction {position}, {one}" for one in boxes.problems[noted:]]
    lacking = [
        label
        for label, lacks in (
            ("its part", role is None),
            ("metric", metric is None),
            ("on what", place is None),
            ("which way", way is None and not still),
            ("by how much", amount is None and not still),
            ("by when", due is None),
        )
        if lacks
    ]
    if lacking or role is None or metric is None or place is None or due is None:
        boxes.problems.append(f"Prediction {position}: not said yet: {', '.join(lacking)}.")
        return None
    if not still and (way is None or amount is None):
        return None
    try:
        return Link(
            position=position,
            role=role,
            metric=metric.key,
            on=place,
            direction=None if still else way,
            amount=amount,
            due_on=due,
            why=why,
        )
    except InputRefused as refusal:
        boxes.problems.append(str(refusal))
        return None
