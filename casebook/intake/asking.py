"""The words in which an import's questions are put: labels and units, never keys and codes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np

from casebook.domain import wording
from casebook.domain.metrics import Metric, Scale
from casebook.domain.visits import MissingReason
from casebook.intake.cells import Cell
from casebook.intake.context import Context
from casebook.intake.visit_rows import REASON_NAMES, Readings, VisitRows

CONDITION_WORDS = {
    "kind": "kind of visit",
    "speed_km_h": "running speed",
    "surface": "surface",
    "incline_pct": "incline",
    "footwear": "footwear",
    "view": "camera view",
    "frames_per_s": "frame rate",
    "assessor": "assessor",
    "pain_today": "pain on the day",
    "next_due": "next visit due",
    "note": "note",
}
CONDITION_UNITS = {
    "speed_km_h": "km/h",
    "incline_pct": "%",
    "frames_per_s": "frames a second",
    "pain_today": "on the 0-10 scale",
}
CLOSE = frozenset({"°", "%"})


def visit_about(context: Context, rows: VisitRows, row: int) -> tuple[str, str, str]:
    """Runner, day and session of a row's visit, as codes."""
    day = date.fromordinal(int(rows.day[row]))
    return (runner_code(context, int(rows.runner[row])), day.isoformat(), str(rows.session[row]))


def runner_code(context: Context, number: int) -> str:
    """Code of a runner of the visit tables."""
    return list(context.runners)[number]


def visit_title(about: tuple[str, ...]) -> str:
    """A visit in words, from its codes."""
    runner, day, session = about[:3]
    which = "" if session == "1" else f" (session {session})"
    return f"Runner {runner}, visit on {day}{which}"


def value_title(metric: Metric, side: str, trial: int = 0) -> str:
    """A metric on a side in words."""
    words = metric.label if side == "none" else f"{metric.label}, {side}"
    return f"{words}, trial {trial}" if trial else words


def with_unit(number: float, unit: str) -> str:
    """A number to its last digit, with its unit in words."""
    return f"{number:.10g}{'' if unit in CLOSE or not unit else ' '}{unit}"


def reading_words(metric: Metric, number: float) -> str:
    """One reading; a grade with its description."""
    grade = int(number) if number == np.floor(number) else -1
    if metric.scale is Scale.GRADE and 0 <= grade < len(metric.grades):
        return f"{grade} ({metric.grades[grade]})"
    return with_unit(number, wording.unit_words(metric.unit))


def content_words(metric: Metric, content: Mapping[str, Any]) -> str:
    """A value, as the history holds it, in words."""
    if "missing" in content:
        return f"missing: {wording.MISSING_REASONS[MissingReason(content['missing'])]}"
    if "trials" in content:
        return ", ".join(reading_words(metric, number) for number in content["trials"])
    return f"{reading_words(metric, content['mean'])} (a mean of {content['n']})"


def read_words(metric: Metric, readings: Readings, reading: int) -> str:
    """A reading of the files in words."""
    reason = int(readings.reason[reading])
    if reason >= 0:
        return content_words(metric, {"missing": REASON_NAMES[reason]})
    number, n = float(readings.value[reading]), int(readings.n[reading])
    return content_words(metric, {"mean": number, "n": n} if n else {"trials": [number]})


def condition_words(name: str, content: Cell | StrEnum) -> str:
    """A condition of a visit in words."""
    if name == "kind":
        return str(content).replace("_", " ")
    if isinstance(content, int | float):
        return with_unit(float(content), CONDITION_UNITS.get(name, ""))
    return str(content)


def place_words(context: Context, rows: VisitRows, row: int) -> str:
    """Where a row stands, in words."""
    return f"row {rows.line[row]} of {context.problems.files[int(rows.file[row])]}"
