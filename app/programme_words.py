"""Plain words for a programme: its codes, its dose, and one exercise in a line."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from app.messages import day_words, plain
from casebook.domain.exercises import Exercise
from casebook.domain.metrics import Metric
from casebook.domain.prescriptions import SUPERVISIONS, BlockDetail, Delivery, Mode, Tailoring
from casebook.domain.programme_versions import SIDES
from casebook.domain.programmes import (
    Aim,
    Block,
    Programme,
    ProgrammeKind,
    TargetDirection,
    TargetOn,
)
from casebook.domain.wording import asymmetry_unit, unit_words

KINDS = {ProgrammeKind.INJURY: "for a complaint", ProgrammeKind.PERFORMANCE: "for performance"}
AIMS = {
    Aim.STRENGTH: "strength",
    Aim.MOTOR_CONTROL: "motor control",
    Aim.MOBILITY: "mobility",
    Aim.GAIT_RETRAINING: "gait retraining",
    Aim.LOAD: "training load",
}
MODES = {Mode.INDIVIDUAL: "alone", Mode.GROUP: "in a group"}
DELIVERIES = {
    Delivery.IN_PERSON: "in person",
    Delivery.REMOTE: "remote",
    Delivery.BOTH: "in person and remote",
}
TAILORINGS = {
    Tailoring.GENERIC: "the same for everybody",
    Tailoring.TAILORED: "fitted to the runner",
}
PLACES = {
    TargetOn.LEFT: "left",
    TargetOn.RIGHT: "right",
    TargetOn.NONE: "whole body",
    # Without a side in it: who types 'right' means the right side.
    TargetOn.ASYMMETRY: "asymmetry of the sides",
}
DIRECTIONS = {
    TargetDirection.UP: "up",
    TargetDirection.DOWN: "down",
    TargetDirection.TOWARDS_ZERO: "towards zero (a smaller difference)",
}
# An asymmetry is signed right minus left.
ASYMMETRY_DIRECTIONS = {
    **DIRECTIONS,
    TargetDirection.UP: "up (towards the right being larger)",
    TargetDirection.DOWN: "down (towards the left being larger)",
}


def places_of(metric: Metric) -> tuple[TargetOn, ...]:
    """Where a target on a metric can be set."""
    if not metric.sided:
        return (TargetOn.NONE,)
    return (TargetOn.ASYMMETRY, TargetOn.LEFT, TargetOn.RIGHT)


def directions_of(place: TargetOn) -> tuple[TargetDirection, ...]:
    """Which ways it can move there."""
    if place is TargetOn.ASYMMETRY:
        return (TargetDirection.TOWARDS_ZERO, TargetDirection.UP, TargetDirection.DOWN)
    return (TargetDirection.UP, TargetDirection.DOWN)


def direction_words(place: TargetOn | None) -> Mapping[TargetDirection, str]:
    """The ways in words; of an asymmetry with the side that they lead to."""
    return ASYMMETRY_DIRECTIONS if place is TargetOn.ASYMMETRY else DIRECTIONS


def unit_on(metric: Metric, place: TargetOn) -> str:
    """The unit in words in which an amount stands there."""
    if place is TargetOn.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def dates_words(programme: Programme, today: date) -> str:
    """From when to when it runs."""
    if programme.ended_on is None:
        end = "no end set"
    elif programme.ended_on < today:
        end = f"ended {day_words(programme.ended_on)}"
    else:
        end = f"to {day_words(programme.ended_on)}"
    start = "starts" if programme.started_on > today else "from"
    return f"{start} {day_words(programme.started_on)}, {end}"


def usual_dose_words(exercise: Exercise) -> str:
    """The usual dose of an exercise, in its own words or else by its numbers; '' without any."""
    dose = exercise.dose or ", ".join(
        part
        for part in (
            *_sets_words(exercise.sets, exercise.repetitions),
            f"hold {exercise.hold_s:g} s" if exercise.hold_s else "",
            f"{exercise.sessions_per_week:g} sessions a week" if exercise.sessions_per_week else "",
        )
        if part
    )
    return f"{dose} (source: {exercise.dose_source})" if dose else ""


def dose_words(block: Block, detail: BlockDetail) -> str:
    """The dose in one line; '' where nothing of it was filled in."""
    parts = [
        *_sets_words(block.sets, block.repetitions),
        f"load {block.load}" if block.load else "",
        f"hold {block.hold_s:g} s" if block.hold_s else "",
        f"tempo {detail.tempo.words}" if detail.tempo else "",
        f"rest between sets {detail.rest_s:g} s" if detail.rest_s is not None else "",
        f"{block.sessions_per_week:g} sessions a week" if block.sessions_per_week else "",
    ]
    return ", ".join(part for part in parts if part)


def _sets_words(sets: int | None, repetitions: int | None) -> tuple[str, ...]:
    if sets and repetitions:
        return (f"{sets} × {repetitions}",)
    return (f"{sets} sets" if sets else "", f"{repetitions} repetitions" if repetitions else "")


def block_heading(block: Block) -> str:
    """What is done, on which side, and what for."""
    side = SIDES[block.side]
    on = "" if side == "no side" else f", {side}"
    return f"{block.exercise or 'Exercise without a name'}{on} ({AIMS[block.aim]})"


def block_lines(block: Block, detail: BlockDetail) -> str:
    """One exercise with everything that was filled in about it, as Markdown."""
    told = [
        dose_words(block, detail) or "no dose filled in",
        detail.instructions,
        f"Harder: {_both(detail.progress_when, detail.progress_how)}",
        f"Ease off: {detail.ease_when}" if detail.ease_when else "",
        f"Equipment: {detail.equipment}" if detail.equipment else "",
        SUPERVISIONS[detail.supervision].capitalize() if detail.supervision else "",
    ]
    if not (detail.progress_when or detail.progress_how):
        told[2] = ""
    lines = "  \n   ".join(plain(line) for line in told if line)
    return f"{block.position}. **{plain(block_heading(block))}**  \n   {lines}"


def _both(when: str, how: str) -> str:
    return f"{when.rstrip('.')}: {how}" if when and how else when or how
