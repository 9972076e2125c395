"""How often what is said of a hypothesis or a programme must be right, apart from the product.

The rules are written down a second time, on plain draws from the errors that the demo data
really have: a quantity moved as predicted where its change that way is larger than its MDC95
(1.96 times the error of the change); it did not move where it is not, the predicted amount is
no smaller than the MDC95, and what was seen falls short of it by more than the MDC95. By
these, what is steady is seen to move a given way in 2.5 % of draws, and what truly changed as
predicted is said not to have done so in at most 2.5 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from tests.demo.expected import DRAWS, LEVEL, Floats, Story, Z
from tests.demo.told import catalogue, story_of

ONE_WAY = 0.025
Moved = tuple[Floats, Floats, Floats, Floats]
# Read in whole numbers: rounding adds a variance of 1/12 to each reading.
WHOLE = frozenset({"pain_running", "cadence", "heel_raise_count"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """One prediction with what is true of its quantity."""

    role: str
    metric: str
    what: str
    direction: str
    amount: float | None
    measured: bool
    truth: dict[str, Any]

    @property
    def moved(self) -> float:
        """True change that way, in the unit of the prediction; of what stays still, its size."""
        before, now = (self._true(time) for time in ("before", "now"))
        if self.direction == "towards_zero":
            return abs(before) - abs(now)
        return {"up": now - before, "down": before - now}.get(self.direction, abs(now - before))

    @property
    def holds(self) -> bool:
        """Whether it is true."""
        return self.moved == 0 if self.amount is None else self.moved >= self.amount

    def _true(self, time: str) -> float:
        if self.what != "asymmetry":
            return float(self.truth[f"{time}_{self.what}"])
        story = story_of(self.truth)
        left, right = np.array([story.before if time == "before" else story.now]).T
        return float(story.asymmetry(left, right)[0][0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """Chance that all of it is seen as predicted, and that one part is seen not to be."""

    held: float
    did_not_hold: float


def chances_of_hypothesis(links: Sequence[Predicted]) -> Chances:
    """From readings drawn anew; quantities that are measured apart err apart."""
    draw = np.random.default_rng(20_261_127)
    held, failed = np.ones(DRAWS, dtype=bool), np.zeros(DRAWS, dtype=bool)
    for _, group in groupby(sorted(links, key=_metric), key=_metric):
        for seen, against in _seen(list(group), draw):
            held &= seen
            failed |= against
    return Chances(held=float(held.mean()), did_not_hold=float(failed.mean()))


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetChances:
    """Chance that a target is said to be met, and that it is said not to be."""

    met: float
    not_met: float


def chances_of_target(target: Predicted) -> TargetChances:
    """From readings drawn anew, as `chances_of_hypothesis`; `target` has no other parts."""
    draw = np.random.default_rng(20_261_127)
    ((moved, asked, mdc, unsaid),) = _all_moved([target], draw)
    met = (moved > mdc) & (moved >= asked) & ~unsaid
    not_met = ((moved < -mdc) | (asked - moved > mdc)) & ~unsaid
    return TargetChances(met=float(met.mean()), not_met=float(not_met.mean()))


def most_expected(chances: Sequence[float]) -> int:
    """The number that is exceeded in at most 1 of 1000 cases (see `fewest_expected`)."""
    law = np.array([1.0])
    for chance in chances:
        law = np.convolve(law, [1.0 - chance, chance])
    return int(np.searchsorted(np.cumsum(law), 1 - LEVEL))


def _metric(link: Predicted) -> str:
    return link.metric


def _seen(links: list[Predicted], draw: np.random.Generator) -> list[tuple[Floats, Floats]]:
    moves = _all_moved(links, draw)
    return [_calls(link, *moved) for link, moved in zip(links, moves, strict=True)]


def _all_moved(links: list[Predicted], draw: np.random.Generator) -> list[Moved]:
    row = links[0].truth
    sided = bool(catalogue()[links[0].metric]["sided"])
    story = _story(row, sided=sided)
    rounding = 1 / 12 if links[0].metric in WHOLE else 0.0
    own = np.sqrt(story.own_sem**2 + rounding / story.trials)

    def visits(true: tuple[float, float], number: int) -> Floats:
        shape = (2, DRAWS, number)
        shared = draw.normal(0.0, story.shared_sd, shape[1:])
        return np.asarray(np.array(true)[:, None, None] + shared + draw.normal(0.0, own, shape))

    first, last = visits(story.before, story.baselines), visits(story.now, 1)[:, :, 0]
    return [_moved(link, story, first, last) for link in links]


def _story(row: dict[str, Any], *, sided: bool) -> Story:
    if sided:
        return story_of(row)
    whole = {f"{time}_{side}": row[f"{time}_none"] for time in ("before", "now")
             for side in ("left", "right")}  # fmt: skip
    return story_of(row | whole)


def _moved(link: Predicted, story: Story, first: Floats, last: Floats) -> Moved:
    """How far it moved that way, how far it should, its MDC95, and where nothing is said."""
    unsaid = np.zeros(DRAWS, dtype=bool)
    if link.what == "asymmetry":
        before, sem_before = story.asymmetry(first[0], first[1])
        latest, sem = story.asymmetry(last[0], last[1])
        reference = before.mean(axis=1)
        sem_reference = np.sqrt((sem_before**2).sum(axis=1)) / story.baselines
        mdc = Z * np.hypot(sem_reference, sem)
        moved = np.abs(reference) - np.abs(latest)
        asked = np.minimum(link.amount or 0.0, np.abs(reference))
        unsaid = (np.abs(reference) > Z * sem_reference) & (reference * latest < 0)
        unsaid &= np.abs(latest) > Z * sem
        return moved, asked, mdc, unsaid
    at = 1 if link.what == "right" else 0
    change = last[at] - first[at].mean(axis=1)
    rounding = 1 / 12 if link.metric in WHOLE else 0.0
    sem_one = np.sqrt(story.sem**2 + rounding / story.trials)
    mdc = np.full(DRAWS, Z * sem_one * np.sqrt(1 + 1 / story.baselines))
    moved = -change if link.direction == "down" else change
    return moved, np.full(DRAWS, link.amount or 0.0), mdc, unsaid


def _calls(
    link: Predicted, moved: Floats, asked: Floats, mdc: Floats, unsaid: Floats
) -> tuple[Floats, Floats]:
    if not link.measured:
        nothing = np.zeros(DRAWS, dtype=bool)
        return nothing, nothing
    if link.amount is None:
        still = np.abs(moved) <= mdc
        return still, ~still
    seen = moved > mdc
    against = (moved < -mdc) | (~seen & (asked >= mdc) & (asked - moved > mdc))
    return seen & ~unsaid, against & ~unsaid
