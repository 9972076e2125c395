"""The form of one exercise of the clinic's list: what it is, its usual dose, what it may change."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from app.choices import choose
from app.programme_words import AIMS
from app.typed_boxes import Boxes
from app.words import metric_words
from casebook.domain.exercises import (
    LONGEST_EXERCISE_NAME,
    LONGEST_EXERCISE_TEXT,
    MOST,
    NO_SOURCE,
    Exercise,
    key_of,
)
from casebook.domain.metrics import Metric
from casebook.domain.programmes import Aim

BLANK = Exercise(key="new_exercise", name="New exercise", aim=Aim.STRENGTH, how="To be said.")
NAME, HOW, SOURCE = "Name", "How it is done, so that somebody else could", "Who says so"
LARGEST_PLACE = 100_000


def exercise_fields(
    start: Exercise, metrics: tuple[Metric, ...], *, name: str, new: bool
) -> Exercise | None:
    """Show the fields and, once sent, give the exercise as typed.

    Parameters
    ----------
    start : Exercise
        What the fields hold at first.
    metrics : tuple of Metric
        What can be named as worth a look.
    name : str
        Keeps the widgets of two forms apart.
    new : bool
        The fields begin blank, and a key is asked for.

    Raises
    ------
    InputRefused
        When what was typed is no exercise; every field that is wrong is named.
    """
    boxes = Boxes()
    with st.form(f"exercise_{name}", enter_to_submit=False):
        typed = {
            **_what(boxes, start, name, new=new),
            **_dose(boxes, start, name),
            **_rules(start, metrics, name),
        }
        with st.expander("Place in the list" + (" and key in files" if new else "")):
            typed |= _place(boxes, start, name, new=new)
        sent = st.form_submit_button(
            "Add the exercise" if new else "Save the exercise", type="primary"
        )
    if not sent:
        return None
    if new:
        typed["key"] = typed["key"] or key_of(typed["name"])
        if typed["name"] and not typed["key"]:
            boxes.problems.append(
                "Key in files: none can be made of the name; type one of small letters, digits "
                "and underscores."
            )
    if boxes.refuse():
        return None
    return replace(start, **typed)


def _what(boxes: Boxes, start: Exercise, name: str, *, new: bool) -> dict[str, Any]:
    first, second, third = st.columns([3, 2, 2], vertical_alignment="bottom")
    called = first.text_input(
        NAME,
        "" if new else start.name,
        key=f"{name}_name",
        max_chars=LONGEST_EXERCISE_NAME,
        autocomplete="off",
    ).strip()
    aim = choose(second, "Works on", Aim, AIMS, start=start.aim, key=f"{name}_aim")
    sided = third.checkbox("Left and right are done apart", start.sided, key=f"{name}_sided")
    purpose = _text("What it is for", start.purpose, f"{name}_purpose")
    how = st.text_area(
        HOW,
        "" if new else start.how,
        key=f"{name}_how",
        height=110,
        max_chars=LONGEST_EXERCISE_TEXT,
    ).strip()
    boxes.problems += [
        f"{label}: it is blank." for label, text in ((NAME, called), (HOW, how)) if not text
    ]
    return {"name": called, "aim": aim, "sided": sided, "purpose": purpose, "how": how} | {
        "equipment": _text("Equipment ('none' is an answer)", start.equipment, f"{name}_equipment")
    }


def _dose(boxes: Boxes, start: Exercise, name: str) -> dict[str, Any]:
    st.markdown("**Usual dose**")
    st.caption(
        "A new programme is filled in with these numbers, to be changed for the runner. Leave "
        "blank what is decided for each runner."
    )
    columns = st.columns(4)
    whole = {"sets": "Sets", "repetitions": "Repetitions"}
    typed: dict[str, Any] = {
        part: boxes.whole(
            columns[at], label, start=getattr(start, part), low=1, high=MOST[part],
            key=f"{name}_{part}",
        )
        for at, (part, label) in enumerate(whole.items())
    }  # fmt: skip
    parts = {"hold_s": "Hold (s)", "sessions_per_week": "Sessions a week"}
    typed |= {
        part: boxes.number(
            columns[2 + at], label, start=getattr(start, part), low=0.1, high=MOST[part],
            key=f"{name}_{part}",
        )
        for at, (part, label) in enumerate(parts.items())
    }  # fmt: skip
    typed["dose"] = _text("The dose in words", start.dose, f"{name}_dose")
    typed["dose_source"] = _text(
        SOURCE,
        start.dose_source,
        f"{name}_dose_source",
        help=f"A publication, or '{NO_SOURCE}'. Needed where a dose is given.",
    )
    if any(typed[part] for part in typed if part != "dose_source") and not typed["dose_source"]:
        boxes.problems.append(
            f"{SOURCE}: it is blank, and a dose is given. Name the source, or write '{NO_SOURCE}'."
        )
    return typed


def _rules(start: Exercise, metrics: tuple[Metric, ...], name: str) -> dict[str, Any]:
    left, right = st.columns(2)
    known = {metric.key: metric for metric in metrics}
    return {
        "progress": _text("How it is made harder", start.progress, f"{name}_progress", left),
        "ease": _text("What calls for easing off", start.ease, f"{name}_ease", right),
        "metrics": tuple(
            st.multiselect(
                "Metrics worth a look",
                list(known),
                default=[key for key in start.metrics if key in known],
                format_func=lambda key: metric_words(known[key]),
                key=f"{name}_metrics",
                placeholder="None; type or choose a metric",
                help="Hints for a target, no promise that they will change.",
            )
        ),
    }


def _place(boxes: Boxes, start: Exercise, name: str, *, new: bool) -> dict[str, Any]:
    left, right = st.columns(2)
    position = boxes.whole(
        left,
        "Place in the list",
        start=None if new else start.position,
        low=0,
        high=LARGEST_PLACE,
        key=f"{name}_position",
        help="Smaller numbers come first. Blank: where it is now, a new one behind the others.",
    )
    typed: dict[str, Any] = {"position": start.position if position is None else position}
    if new:
        typed["key"] = right.text_input(
            "Key in files",
            key=f"{name}_key",
            placeholder="made of the name",
            help="Small letters, digits and underscores. It is never renamed.",
            autocomplete="off",
        ).strip()
    return typed


def _text(label: str, start: str, key: str, place: Any = None, **more: Any) -> str:
    text = (place or st).text_input(
        label, start, key=key, max_chars=LONGEST_EXERCISE_TEXT, autocomplete="off", **more
    )
    return str(text or "").strip()
