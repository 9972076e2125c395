"""From what is true to what the clinic would have read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Final

from seed_demo.diary import Seen
from seed_demo.quantities import CHOSEN, FRAMES_PER_S, FULL_VISIT, PROTOCOL, VIDEO, Quantity
from seed_demo.stories import Character, Move

SIDES: Final = ("left", "right")
CHOSEN_PER_RUNNER: Final = (4, 7)
GRADES: Final = frozenset({"arm_swing_crossing", "forefoot_compensation", "first_ray_mobility"})
# So many beside the grades, where all of those are read.
CHOSEN_BESIDE_GRADES: Final = (3, 4)
SHARE_MISSING: Final = 0.012


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is really so for one quantity of one runner; values per side, or one without."""

    quantity: Quantity
    before: tuple[float, ...]
    after: tuple[float, ...]
    move: Move | None

    def at(self, progress: float) -> tuple[float, ...]:
        """True values when the changes have come that far."""
        return tuple(a + progress * (b - a) for a, b in zip(self.before, self.after, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The trials of one quantity on one side, or why there are none."""

    quantity: Quantity
    side: str
    trials: tuple[float, ...] = ()
    missing: str = ""


def truths_of(character: Character, seed: int) -> tuple[Truth, ...]:
    """The true values of a runner, for every quantity that is measured on them."""
    chance = Random(f"{seed}/{character.code}/truth")
    moves = {move.metric: move for move in character.moves}
    many = CHOSEN_BESIDE_GRADES if character.graded else CHOSEN_PER_RUNNER
    chosen = set(chance.sample(CHOSEN, chance.randint(*many)))
    if character.graded:
        chosen |= {one for one in CHOSEN if one.key in GRADES}
    quantities = (*PROTOCOL, *FULL_VISIT, *(one for one in CHOSEN if one in chosen))
    return tuple(_truth(quantity, moves.get(quantity.key), chance) for quantity in quantities)


def _truth(quantity: Quantity, move: Move | None, chance: Random) -> Truth:
    middle = chance.normalvariate(quantity.usual, quantity.runner_sd)
    half = chance.normalvariate(0.0, quantity.side_sd) / 2
    if move is not None:
        return Truth(quantity=quantity, before=move.before, after=move.after, move=move)
    values = (middle - half, middle + half) if quantity.sided else (middle,)
    steady = tuple(min(max(value, quantity.low), quantity.high) for value in values)
    return Truth(quantity=quantity, before=steady, after=steady, move=None)


def readings_at(visit: Seen, truths: tuple[Truth, ...], seed: int) -> tuple[Reading, ...]:
    """What was read at one visit."""
    chance = Random(f"{seed}/{visit.character.code}/{visit.on.isoformat()}")
    readings: list[Reading] = []
    for truth in truths:
        skipped = not visit.full and truth.move is None and truth.quantity in FULL_VISIT
        drawn = _draw(truth, visit, chance)
        if not skipped:
            readings.extend(drawn)
    return tuple(readings)


def _draw(truth: Truth, visit: Seen, chance: Random) -> list[Reading]:
    quantity = truth.quantity
    shared = chance.normalvariate(0.0, quantity.error.shared_sd)
    readings = []
    for side, value in zip(
        SIDES if quantity.sided else ("none",), truth.at(visit.progress), strict=True
    ):
        session = value + shared + chance.normalvariate(0.0, quantity.error.between_sd)
        trials = tuple(
            _trial(quantity, session, visit, chance) for _ in range(_count(quantity, chance))
        )
        reason = _missing(truth, chance)
        readings.append(
            Reading(quantity=quantity, side=side, trials=() if reason else trials, missing=reason)
        )
    return readings


def _count(quantity: Quantity, chance: Random) -> int:
    if quantity.trials != VIDEO:
        return quantity.trials
    return chance.choices((VIDEO - 1, VIDEO, VIDEO + 1), weights=(6, 86, 8))[0]


def _trial(quantity: Quantity, session: float, visit: Seen, chance: Random) -> float:
    if quantity.frames:
        return _in_frames(quantity, session, visit, chance)
    reading = chance.normalvariate(session, quantity.error.within_sd)
    return round(min(max(reading, quantity.low), quantity.high), quantity.decimals)


def _in_frames(quantity: Quantity, session: float, visit: Seen, chance: Random) -> float:
    """A duration in ms as whole frames between two events, each seen in the next frame.

    The error of counting is triangular with SD frame/sqrt(6); what the trial error at the
    clinic's usual frame rate holds beyond that is the runner's own variation.
    """
    counting = 1000.0 / FRAMES_PER_S / math.sqrt(6.0)
    own = math.sqrt(quantity.error.within_sd**2 - counting**2)
    duration = chance.normalvariate(session, own)
    frame = 1000.0 / float(visit.conditions["frames_per_s"])
    start = chance.random()
    return round(math.floor(start + duration / frame) * frame, quantity.decimals)


def _missing(truth: Truth, chance: Random) -> str:
    """Now and then a reason for a missing value; never for what a story is told about."""
    if chance.random() >= SHARE_MISSING or truth.move is not None:
        return ""
    if not truth.quantity.sided:
        return "not_done"
    if truth.quantity.trials == VIDEO:
        return chance.choice(("not_visible", "equipment"))
    return chance.choice(("painful", "not_done", "equipment"))
