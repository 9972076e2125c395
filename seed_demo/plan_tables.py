"""Programmes with their blocks, targets and weekly adherence; and the clinic's error figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Final

from seed_demo.cases import LOWER_IS_BETTER, Case, Cell, Table, weak_side
from seed_demo.people_tables import NO_COMPLAINT, onset_of
from seed_demo.quantities import FRAMES_PER_S, QUANTITIES
from seed_demo.stories import Course, Move

# These were only advised and sent home, so that a baseline without a programme exists too.
NO_PROGRAMME: Final = frozenset({25, 30, 32})


@dataclass(frozen=True, slots=True)
class Exercise:
    """One line of a programme."""

    aim: str
    name: str
    sets: int
    repetitions: int
    load: str
    hold_s: int | None
    per_week: int


@dataclass(frozen=True, slots=True)
class Theme:
    """A programme for one quantity: its title, why, its exercises, and the amount aimed at."""

    title: str
    rationale: str
    exercises: tuple[Exercise, ...]
    amount: float


THEMES: Final = {
    "hip_abductor_strength": Theme(
        "Steady pelvis",
        "One hip pushes outwards with less force than the other.",
        (
            Exercise("strength", "side-lying leg raise with ankle weight", 3, 12, "2 kg", 2, 3),
            Exercise("motor_control", "single-leg stance on the pier step", 3, 8, "", 10, 4),
        ),
        60,
    ),
    "hip_extensor_strength": Theme(
        "Push from behind",
        "One hip extends with less force than the other.",
        (
            Exercise("strength", "single-leg bridge", 3, 10, "body mass", 3, 3),
            Exercise("strength", "step-up on the fog-horn plinth", 3, 8, "10 kg", None, 3),
        ),
        80,
    ),
    "lunge_distance": Theme(
        "Ankle rocker",
        "One ankle bends less over the foot than the other.",
        (
            Exercise("mobility", "knee to wall, heel down", 3, 10, "", 5, 7),
            Exercise("strength", "slow lowering from the step edge", 3, 12, "body mass", None, 4),
        ),
        3.0,
    ),
    "hop_distance": Theme(
        "Spring",
        "One leg hops less far than the other.",
        (
            Exercise("strength", "split squat", 3, 8, "16 kg", None, 3),
            Exercise("motor_control", "hop and hold on sand", 4, 6, "body mass", 2, 3),
        ),
        25,
    ),
    "heel_raise_count": Theme(
        "Two hundred and fourteen steps",
        "One calf tires earlier than the other.",
        (
            Exercise("strength", "single-leg heel raise", 4, 12, "body mass", None, 4),
            Exercise("load", "stair climbing, lamp room and back", 1, 3, "", None, 2),
        ),
        8,
    ),
    "contralateral_pelvic_drop": Theme(
        "Level lantern",
        "The pelvis drops on one side when the other leg carries.",
        (
            Exercise("gait_retraining", "run with the pelvis level, mirror", 5, 1, "", 60, 3),
            Exercise("strength", "pelvis hitch on the step", 3, 10, "body mass", 2, 4),
        ),
        3.5,
    ),
    "trunk_side_lean": Theme(
        "Upright mast",
        "The trunk leans over one leg.",
        (
            Exercise("gait_retraining", "run tall, mirror", 5, 1, "", 60, 3),
            Exercise("motor_control", "side plank", 3, 4, "", 20, 4),
        ),
        3.0,
    ),
    "foot_angle_at_contact": Theme(
        "Quiet feet",
        "Louder landing since the new shoes.",
        (
            Exercise("gait_retraining", "short quick steps to a beat", 6, 1, "", 60, 3),
            Exercise("motor_control", "barefoot walking on wet sand", 1, 1, "", 300, 3),
        ),
        3.0,
    ),
}
# For runners of whom no story is told.
USUAL_THEME: Final = "contralateral_pelvic_drop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The programme of one runner."""

    case: Case
    theme: Theme
    metric: str
    move: Move | None
    started_on: date

    @property
    def runner(self) -> str:
        """Code of the runner."""
        return self.case.character.code


def draw_plans(cases: Iterable[Case]) -> tuple[Plan, ...]:
    """A programme for everyone but the few without one; it starts on the last day before it."""
    plans = []
    for case in cases:
        if case.character.number in NO_PROGRAMME:
            continue
        move = next((one for one in case.character.moves if one.metric in THEMES), None)
        metric = move.metric if move is not None else USUAL_THEME
        started = max(visit.on for visit in case.visits if visit.kind in {"baseline", "repeat"})
        plans.append(
            Plan(case=case, theme=THEMES[metric], metric=metric, move=move, started_on=started)
        )
    return tuple(plans)


def programmes(plans: Iterable[Plan], seed: int) -> Table:
    """A row a programme."""
    rows: list[Sequence[Cell]] = []
    for plan in plans:
        character = plan.case.character
        complaint = character.number not in NO_COMPLAINT
        rows.append(
            [
                plan.runner,
                plan.theme.title,
                plan.started_on,
                plan.case.visits[-1].on if character.discharge else None,
                "injury" if complaint else "performance",
                plan.theme.rationale,
                onset_of(plan.case, seed) if complaint else None,
            ]
        )
    head = ("runner", "title", "started_on", "ended_on", "kind", "rationale", "injury_onset_on")
    return head, rows


def blocks(plans: Iterable[Plan]) -> Table:
    """A row an exercise."""
    rows: list[Sequence[Cell]] = [
        [
            plan.runner,
            plan.theme.title,
            position,
            one.aim,
            one.name,
            "both" if one.aim == "gait_retraining" else weak_side(plan.case) or "both",
            one.sets,
            one.repetitions,
            one.load,
            one.hold_s,
            one.per_week,
        ]
        for plan in plans
        for position, one in enumerate(plan.theme.exercises, start=1)
    ]
    head = (
        "runner",
        "programme",
        "position",
        "aim",
        "exercise",
        "side",
        "sets",
        "repetitions",
        "load",
        "hold_s",
        "sessions_per_week",
    )
    return head, rows


def targets(plans: Iterable[Plan]) -> Table:
    """What each programme should change: the weak side, and with it the asymmetry."""
    rows: list[Sequence[Cell]] = []
    for plan in plans:
        head: list[Cell] = [plan.runner, plan.theme.title, plan.metric]
        due = plan.started_on + timedelta(days=98)
        sides = [weak_side(plan.case)] if weak_side(plan.case) else ["left", "right"]
        direction = "down" if plan.metric in LOWER_IS_BETTER else "up"
        if plan.metric != "foot_angle_at_contact":
            rows.extend(
                [
                    plan.runner,
                    plan.theme.title,
                    plan.metric,
                    side,
                    direction,
                    plan.theme.amount,
                    due,
                ]
                for side in sides
            )
        if weak_side(plan.case):
            percent = QUANTITIES[plan.metric].usual > 20
            amount = 15 if percent else plan.theme.amount
            rows.append([*head, "asymmetry", "towards_zero", amount, due])
    return ("runner", "programme", "metric", "what", "direction", "amount", "due_on"), rows


def adherence(plans: Iterable[Plan], seed: int) -> Table:
    """A row a week, for at most twelve weeks of each programme."""
    rows: list[Sequence[Cell]] = []
    for plan in plans:
        chance = Random(f"{seed}/{plan.runner}/adherence")
        keen = 0.5 if plan.case.character.course is Course.LOST else 0.85
        planned = max(one.per_week for one in plan.theme.exercises)
        monday = plan.started_on + timedelta(days=7 - plan.started_on.weekday())
        for week in range(12):
            start = monday + timedelta(days=7 * week)
            if start + timedelta(days=6) > plan.case.visits[-1].on:
                break
            done = sum(chance.random() < keen for _ in range(planned))
            pain = max(0, min(5, round(chance.normalvariate(3 - week / 5, 0.8))))
            comment = "storm, station cut off" if done == 0 else ""
            rows.append(
                [
                    plan.runner,
                    plan.theme.title,
                    start,
                    planned,
                    done,
                    pain if done else None,
                    max(0, pain - 1) if done else None,
                    comment,
                ]
            )
    head = (
        "runner",
        "programme",
        "week_start",
        "sessions_planned",
        "sessions_done",
        "pain_during",
        "pain_morning_after",
        "comment",
    )
    return head, rows


def error_figures() -> Table:
    """The clinic's own figures, where the literature has none that could be defended."""
    rows: list[Sequence[Cell]] = [
        [
            key,
            "side_value",
            "own",
            quantity.error.between_sd,
            quantity.error.within_sd,
            f"mean of {quantity.trials}"
            + (f" at {FRAMES_PER_S:.0f} frames a second" if quantity.frames else ""),
            "12 runners of the invented clinic on two days",
            "INVENTED for the demo: own repeat study of a clinic that does not exist, 2024-11",
        ]
        for key, quantity in QUANTITIES.items()
        if quantity.own_figure
    ]
    head = (
        "metric",
        "applies_to",
        "origin",
        "between_sd",
        "within_sd",
        "averaged",
        "population",
        "source",
    )
    return head, rows
