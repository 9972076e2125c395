"""Programmes: what was prescribed, what it should change, and how well it was followed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.errors import refuse
from casebook.domain.sides import InjurySide
from casebook.domain.visits import LARGEST_READING as LARGEST_AMOUNT


class ProgrammeKind(StrEnum):
    """What a programme is for."""

    INJURY = "injury"
    PERFORMANCE = "performance"


class Aim(StrEnum):
    """What a block of a programme works on."""

    STRENGTH = "strength"
    MOTOR_CONTROL = "motor_control"
    MOBILITY = "mobility"
    GAIT_RETRAINING = "gait_retraining"
    LOAD = "load"


class TargetOn(StrEnum):
    """What a target is set on."""

    LEFT = "left"
    RIGHT = "right"
    NONE = "none"
    ASYMMETRY = "asymmetry"


class TargetDirection(StrEnum):
    """Which way a target should move."""

    UP = "up"
    DOWN = "down"
    TOWARDS_ZERO = "towards_zero"


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One exercise of a programme with its dose."""

    position: int
    aim: Aim
    exercise: str
    side: InjurySide = InjurySide.BOTH
    sets: int | None = None
    repetitions: int | None = None
    load: str = ""
    hold_s: float | None = None
    sessions_per_week: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a programme should change: metric, where, which way, by how much, by when."""

    metric: str
    what: TargetOn
    direction: TargetDirection
    amount: float
    due_on: date

    def __post_init__(self) -> None:
        if not 0 < self.amount <= LARGEST_AMOUNT:
            raise refuse(
                "amount_out_of_range",
                f"the target on {self.metric} has the amount {self.amount:g}; expected more "
                "than zero (the direction says which way), in the metric's unit.",
                column="amount",
                value=self.amount,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class AdherenceWeek:
    """One week of a programme as it was done."""

    week_start: date
    sessions_planned: int
    sessions_done: int
    pain_during: float | None = None
    pain_morning_after: float | None = None
    comment: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """A dated programme of a runner."""

    runner: str
    title: str
    started_on: date
    ended_on: date | None = None
    kind: ProgrammeKind = ProgrammeKind.INJURY
    rationale: str = ""
    blocks: tuple[Block, ...] = ()
    targets: tuple[Target, ...] = ()
    adherence: tuple[AdherenceWeek, ...] = ()

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise refuse("title_blank", "the programme has no title; give one.", column="title")
        if self.ended_on is not None and self.ended_on < self.started_on:
            raise refuse(
                "end_before_start",
                f"the programme '{self.title}' ends on {self.ended_on}, before its start on "
                f"{self.started_on}.",
                column="ended_on",
                value=self.ended_on,
            )
