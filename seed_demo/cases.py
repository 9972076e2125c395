"""Everything drawn for the runners of the invented clinic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from seed_demo.diary import Seen, diary_of
from seed_demo.measuring import Reading, Truth, readings_at, truths_of
from seed_demo.stories import CAST, Character, Course

Cell = str | int | float | date | None
Table = tuple[Sequence[str], list[Sequence[Cell]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything drawn for one runner."""

    character: Character
    truths: tuple[Truth, ...]
    visits: tuple[Seen, ...]
    readings: tuple[tuple[Reading, ...], ...]


def draw_cases(seed: int) -> tuple[Case, ...]:
    """All runners with their visits and readings."""
    cases = []
    for character in CAST:
        truths = truths_of(character, seed)
        visits = diary_of(character, seed)
        readings = tuple(readings_at(visit, truths, seed) for visit in visits)
        cases.append(Case(character=character, truths=truths, visits=visits, readings=readings))
    return tuple(cases)


LOWER_IS_BETTER: Final = frozenset({"contralateral_pelvic_drop", "trunk_side_lean"})


def weak_side(case: Case) -> str:
    """The side that was truly worse before a change told on both sides; '' without one."""
    for move in case.character.moves:
        if len(move.before) == 2 and move.course in {
            Course.WEAK_SIDE_GAINED,
            Course.BETTER_SIDE_FELL,
            Course.CROSSED_OVER,
        }:
            left, right = move.before
            return "left" if (left < right) != (move.metric in LOWER_IS_BETTER) else "right"
    return ""
