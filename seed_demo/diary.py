"""When each invented runner was seen, and under what conditions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import Final

from seed_demo.quantities import FRAMES_PER_S
from seed_demo.stories import Character, Course

ASSESSORS: Final = ("TERN", "GANNET", "EIDER")
FIRST_DAY: Final = date(2025, 1, 6)
LAST_DAY: Final = date(2026, 11, 17)
# A visit's conditions, in the order in which the files carry them.
CONDITIONS: Final = (
    "speed_km_h",
    "surface",
    "incline_pct",
    "footwear",
    "view",
    "frames_per_s",
    "assessor",
    "pain_today",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One visit.

    Parameters
    ----------
    progress : float
        How far the true changes have come, 0 to 1.
    full : bool
        False for a short visit.
    conditions : dict
        By column; '' where not recorded.
    """

    character: Character
    on: date
    kind: str
    progress: float
    full: bool
    latest: bool
    conditions: dict[str, str | float] = field(default_factory=dict)
    next_due: date | None = None


def diary_of(character: Character, seed: int) -> tuple[Seen, ...]:
    """All visits of one runner, oldest first."""
    chance = Random(f"{seed}/{character.code}/diary")
    plan = list(_plan(character, chance))
    usual = _usual_conditions(chance)
    days = _days([gap for gap, _, _ in plan], character.last)
    visits = []
    for index, (day, (_, kind, progress)) in enumerate(zip(days, plan, strict=True)):
        latest = index == len(plan) - 1
        visits.append(
            Seen(
                character=character,
                on=day,
                kind=kind,
                progress=progress,
                full=latest or progress == 0.0 or chance.random() < 0.6,
                latest=latest,
                conditions=_conditions_on(character, usual, chance, latest=latest),
                next_due=_next_due(day, kind, chance),
            )
        )
    return tuple(visits)


def _plan(character: Character, chance: Random) -> Iterator[tuple[int, str, float]]:
    """Days since the visit before, kind of visit, and how far the true changes have come."""
    for number in range(character.baselines):
        yield (chance.randint(7, 13) if number else 0), "baseline", 0.0
    if character.repeats:
        yield chance.randint(2, 3), "repeat", 0.0
        yield chance.randint(4, 6), "repeat", 0.0
    later = character.reviews + character.discharge
    for number in range(1, later + 1):
        kind = "discharge" if character.discharge and number == later else "review"
        at_once = character.course in {Course.WORSENED_LATE, Course.CONDITIONS_CHANGED}
        progress = float(number == later) if at_once else number / later
        yield chance.randint(42, 84), kind, progress


def _days(gaps: list[int], last: date) -> list[date]:
    """Working days with about these gaps, ending at about `last`."""
    day = max(last - timedelta(days=sum(gaps)), FIRST_DAY)
    days = []
    for gap in gaps:
        day += timedelta(days=gap)
        # The station is shut at weekends: the visit moves to the Monday.
        day += timedelta(days={5: 2, 6: 1}.get(day.weekday(), 0))
        days.append(day)
    if days[-1] > LAST_DAY:
        raise ValueError(f"a visit on {days[-1]} would lie after {LAST_DAY}")
    return days


def _usual_conditions(chance: Random) -> dict[str, str | float]:
    return {
        "speed_km_h": chance.choice((9.0, 9.5, 10.0, 10.5, 11.0)),
        "surface": "treadmill",
        "incline_pct": 1.0,
        "footwear": chance.choice(("everyday trainers", "everyday trainers", "minimal shoes")),
        "view": "rear and side cameras square on",
        "frames_per_s": FRAMES_PER_S,
        "assessor": chance.choice(ASSESSORS),
        "pain_today": 1.0,
    }


def _conditions_on(
    character: Character, usual: dict[str, str | float], chance: Random, *, latest: bool
) -> dict[str, str | float]:
    # Pain on the day stays within 0 to 2 (the clinic reschedules on a bad day), and the belt
    # within its own wobble, so that only a change that is told makes two visits unlike.
    conditions = usual | {
        "speed_km_h": round(float(usual["speed_km_h"]) + chance.choice((-0.1, 0.0, 0.0, 0.1)), 1),
        "pain_today": float(chance.choice((0, 1, 1, 2))),
    }
    if chance.random() < 0.06:
        conditions["footwear"] = ""
    if chance.random() < 0.06:
        conditions["incline_pct"] = ""
    return conditions | dict(character.changed) if latest else conditions


def _next_due(day: date, kind: str, chance: Random) -> date | None:
    if kind == "discharge":
        return None
    return day + timedelta(days=chance.choice((28, 35, 42, 56)))
