"""How often a right verdict is to be expected, worked out apart from the product.

The rules are written down here a second time, on plain draws from the errors that the demo
data really have: the change of each side against its own minimal detectable change
(MDC95 = 1.96 * sqrt(SEM1^2 + SEM2^2); Weir 2005, J Strength Cond Res 19:231-240), and the
size of the asymmetry against its own. What comes out is the chance of each verdict
for each story, so that the number of right ones can be held against its own distribution and
no verdict needs to be right by luck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

Z = float(norm.ppf(0.975))
DRAWS = 20_000
# How improbable a count may be before a test calls it wrong: one test in a thousand would
# fail on readings drawn anew, and with the seed kept it either always does or never.
LEVEL = 0.001
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What is true of one quantity of one runner; values as (left, right)."""

    before: tuple[float, float]
    now: tuple[float, float]
    between_sd: float
    within_sd: float
    shared_sd: float
    trials: int
    baselines: int
    percent: bool
    higher_is_better: bool | None

    @property
    def sem(self) -> float:
        """Standard error of measurement of one side."""
        return math.sqrt(self.between_sd**2 + self.shared_sd**2 + self.within_sd**2 / self.trials)

    @property
    def own_sem(self) -> float:
        """The part of it that the sides do not share."""
        return math.sqrt(self.between_sd**2 + self.within_sd**2 / self.trials)

    @property
    def side_mdc(self) -> float:
        """MDC95 of one side between the baseline visits' mean and the latest visit."""
        return Z * self.sem * math.sqrt(1 + 1 / self.baselines)

    def asymmetry(self, left: Floats, right: Floats) -> tuple[Floats, Floats]:
        """Right minus left in the metric's form, and its SEM (delta method for percent)."""
        if not self.percent:
            return right - left, np.full(left.shape, math.sqrt(2) * self.own_sem)
        # Robinson 1987, J Manipulative Physiol Ther 10:172-176.
        total = left + right
        sem = 400 * self.own_sem * np.hypot(left, right) / total**2
        return 200 * (right - left) / total, sem

    def change_in_mdc(self) -> float:
        """True change of the asymmetry in units of its MDC95."""
        (before, sem_before), (now, sem_now) = (
            self.asymmetry(np.array([pair[0]]), np.array([pair[1]]))
            for pair in (self.before, self.now)
        )
        mdc = Z * np.hypot(sem_before / math.sqrt(self.baselines), sem_now)
        return float(np.abs(now - before)[0] / mdc[0])

    def side_changes_in_mdc(self) -> tuple[float, float]:
        """True change of left and right in units of a side's MDC95."""
        left, right = (
            abs(now - before) / self.side_mdc
            for before, now in zip(self.before, self.now, strict=True)
        )
        return left, right


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """Chance of each verdict on one story."""

    improved_by_worse_side: float
    better_side_fell: float
    worsened: float
    crossed_over: float
    worse_side_improved: float


def chances_of(story: Story) -> Chances:
    """Chance of each verdict, from readings drawn anew many times."""
    draw = np.random.default_rng(20_261_125)

    def visits(true: tuple[float, float], number: int) -> Floats:
        shape = (2, DRAWS, number)
        shared = draw.normal(0.0, story.shared_sd, shape[1:])
        own = draw.normal(0.0, story.own_sem, shape)
        return np.asarray(np.array(true)[:, None, None] + shared + own)

    first, last = visits(story.before, story.baselines), visits(story.now, 1)[:, :, 0]
    before, sem_before = story.asymmetry(first[0], first[1])
    reference = before.mean(axis=1)
    sem_reference = np.sqrt((sem_before**2).sum(axis=1)) / story.baselines
    latest, sem_latest = story.asymmetry(last[0], last[1])

    mdc = Z * np.hypot(sem_reference, sem_latest)
    directed = np.abs(reference) > Z * sem_reference
    crossed = directed & (reference * latest < 0) & (np.abs(latest) > Z * sem_latest)
    grown = np.abs(latest) - np.abs(reference)
    improved = (grown < -mdc) & ~crossed

    better = 1.0 if story.higher_is_better else -1.0
    gain = better * (last - first.mean(axis=2))
    worse = 0 if better * story.before[0] < better * story.before[1] else 1
    gained = gain[worse] > story.side_mdc
    other_still = np.abs(gain[1 - worse]) <= story.side_mdc
    fell = gain[1 - worse] < -story.side_mdc
    worse_still = np.abs(gain[worse]) <= story.side_mdc
    return Chances(
        improved_by_worse_side=float((improved & gained & other_still).mean()),
        better_side_fell=float((directed & fell & worse_still).mean()),
        worsened=float((grown > mdc).mean()),
        crossed_over=float(crossed.mean()),
        worse_side_improved=float(gained.mean()),
    )


def fewest_expected(chances: Sequence[float]) -> int:
    """The number of right verdicts that is fallen short of in at most 1 of 1000 cases.

    The number is a sum of independent events with unlike chances; its distribution is their
    convolution.
    """
    law = np.array([1.0])
    for chance in chances:
        law = np.convolve(law, [1.0 - chance, chance])
    return int(np.searchsorted(np.cumsum(law), LEVEL, side="right"))
