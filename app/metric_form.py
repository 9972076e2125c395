"""Fields for a metric of the catalogue."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from app.choices import choose
from app.typed_boxes import Boxes
from app.words import BETTER, FORMS, GROUPS, SCALES
from casebook.domain.metrics import (
    AsymmetryForm,
    Better,
    Condition,
    FloorKind,
    Metric,
    MetricGroup,
    Scale,
)
from casebook.domain.wording import CONDITIONS

FLOORS = {
    FloorKind.READING: "the smallest step that can be read",
    FloorKind.INTERVAL: "the camera's frame rate (a time between two frames)",
}

SIGN = "Sign convention: what a positive number means"

BLANK = Metric(
    key="new_metric",
    label="New metric",
    group=MetricGroup.TABLE,
    unit="deg",
    scale=Scale.INTERVAL,
    sided=True,
    sign_convention="",
    better=Better.NONE,
    plausible_low=0.0,
    plausible_high=100.0,
    resolution=1.0,
    asymmetry_form=AsymmetryForm.DIFFERENCE,
)


def metric_fields(start: Metric, *, name: str, locked: bool, new: bool) -> Metric | None:
    """Show the fields and, once sent, give the metric as typed.

    Parameters
    ----------
    start : Metric
        What the fields hold at first.
    name : str
        Keeps the widgets of two forms apart.
    locked : bool
        Values are stored: unit, scale and sides can no longer change.
    new : bool
        The key is asked for too.

    Raises
    ------
    InputRefused
        When what was typed is no metric; every field that is wrong is named.
    """
    boxes = Boxes()
    with st.form(f"metric_{name}"):
        typed = {
            **_identity(boxes, start, name, new=new),
            **_measure(start, name, locked=locked, new=new),
            **_comparison(boxes, start, name),
            **_limits(boxes, start, name),
            **_notes(start, name),
        }
        sent = st.form_submit_button("Add metric" if new else "Save metric", type="primary")
    if not sent:
        return None
    if new and not typed["sign_convention"]:
        boxes.problems.append(f"{SIGN}: it is blank; say which way is positive.")
    if boxes.refuse():
        return None
    # Made anew, so that the metric's own checks run over all fields together.
    return replace(start, **typed)


def _identity(boxes: Boxes, start: Metric, name: str, *, new: bool) -> dict[str, Any]:
    typed: dict[str, Any] = {}
    left, right = st.columns(2)
    if new:
        typed["key"] = left.text_input(
            "Key in files",
            placeholder="e.g. calf_raise_height",
            help="Small letters, digits and underscores. It is never renamed.",
            key=f"{name}_key",
        ).strip()
    # Without a key the label begins the row, so that no place stays empty beside it.
    first, second = (right, left) if new else (left, right)
    typed["label"] = first.text_input(
        "Label in plain words", value="" if new else start.label, key=f"{name}_label"
    ).strip()
    typed["group"] = choose(
        second, "Where it is read", MetricGroup, GROUPS, start=start.group, key=f"{name}_group"
    )
    typed["position"] = boxes.whole(
        first,
        "Place within the grid",
        start=start.position,
        required=True,
        key=f"{name}_position",
        help="Smaller numbers come first within their group.",
    )
    typed["active"] = second.checkbox(
        "In use",
        help="Off: it is left out of the logging grid; stored values stay.",
        value=start.active,
        key=f"{name}_active",
    )
    return typed


def _measure(start: Metric, name: str, *, locked: bool, new: bool) -> dict[str, Any]:
    if locked:
        st.caption("Values are stored under this metric: unit, scale and sides stay as they are.")
    left, middle, right = st.columns([2, 3, 2])
    return {
        "unit": left.text_input(
            "Unit (UCUM code)",
            value=start.unit,
            disabled=locked,
            help="deg, cm, mm, ms, N, N/kg, %, 1; braces are words, as in {steps}/min",
            key=f"{name}_unit",
        ).strip(),
        "scale": choose(
            middle, "Scale", Scale, SCALES, start=start.scale, key=f"{name}_scale", disabled=locked
        ),
        "sided": right.checkbox(
            "Left and right are read apart",
            value=start.sided,
            disabled=locked,
            key=f"{name}_sided",
        ),
        "sign_convention": st.text_input(
            SIGN if not new else f"{SIGN} (required)",
            value=start.sign_convention,
            key=f"{name}_sign",
        ).strip(),
        "grades": tuple(
            line.strip()
            for line in st.text_area(
                "For a grade: what 0, 1, 2, … mean, one a line",
                value="\n".join(start.grades),
                key=f"{name}_grades",
                height=90,
            ).splitlines()
            if line.strip()
        ),
    }


def _comparison(boxes: Boxes, start: Metric, name: str) -> dict[str, Any]:
    left, right = st.columns(2)
    typed: dict[str, Any] = {
        "better": choose(
            left, "Which way is better", Better, BETTER, start=start.better, key=f"{name}_better"
        ),
        "asymmetry_form": choose(
            right,
            "How the sides are compared",
            AsymmetryForm,
            FORMS,
            start=start.asymmetry_form,
            key=f"{name}_form",
        ),
        "target_low": boxes.number(
            left, "Better range, from", start=start.target_low, key=f"{name}_target_low"
        ),
        "target_high": boxes.number(
            right, "Better range, to", start=start.target_high, key=f"{name}_target_high"
        ),
        "important_change": boxes.number(
            left,
            "Smallest change that matters to the runner (if known)",
            start=start.important_change,
            key=f"{name}_important",
        ),
    }
    typed["sensitive_to"] = tuple(
        right.multiselect(
            "No verdict when these differ between visits",
            list(Condition),
            default=list(start.sensitive_to),
            format_func=CONDITIONS.__getitem__,
            key=f"{name}_sensitive",
        )
    )
    return typed


def _limits(boxes: Boxes, start: Metric, name: str) -> dict[str, Any]:
    left, right = st.columns(2)
    return {
        "plausible_low": boxes.number(
            left, "Plausible from", start=start.plausible_low, required=True, key=f"{name}_low"
        ),
        "plausible_high": boxes.number(
            right, "Plausible to", start=start.plausible_high, required=True, key=f"{name}_high"
        ),
        "resolution": boxes.number(
            left,
            "Smallest step that can be read (0 where only the camera limits it)",
            start=start.resolution,
            low=0.0,
            required=True,
            key=f"{name}_resolution",
        ),
        "floor_kind": choose(
            right,
            "What limits a single reading",
            FloorKind,
            FLOORS,
            start=start.floor_kind,
            key=f"{name}_floor",
        ),
        "usual_trials": boxes.whole(
            left,
            "Usual trials a side",
            start=start.usual_trials,
            low=1,
            required=True,
            key=f"{name}_trials",
        ),
    }


def _notes(start: Metric, name: str) -> dict[str, Any]:
    return {
        "notes": st.text_area("Notes", value=start.notes, key=f"{name}_notes", height=80),
        "sources": st.text_area("Sources", value=start.sources, key=f"{name}_sources", height=80),
    }
