"""Runners drawn from the model of measurement error, judged in bulk; numbers are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.domain.metrics import Better
from casebook.statistics.codes import KINDS, code_of
from casebook.statistics.judgement import Judged, judge
from tests.statistics.caseloads import USUAL, a_figure, an_angle

LEVEL = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What is simulated. Errors of the sides are normal, and so are those of their trials.

    Parameters
    ----------
    between_sd, within_sd : float
        Standard deviation of a side's error between sessions, and of a single trial.
    trials, baselines, visits, metrics : int
        `visits` counts all, baselines among them.
    between_correlation, within_correlation : float
        Correlation of the left and the right side's error of a session, and of a trial.
    asymmetry : float
        True right minus left in standard errors of a visit's asymmetry (sides independent).
    """

    between_sd: float = 1.0
    within_sd: float = 1.5
    trials: int = 5
    baselines: int = 1
    visits: int = 4
    metrics: int = 10
    between_correlation: float = 0.0
    within_correlation: float = 0.0
    asymmetry: float = 0.0

    @property
    def sem(self) -> float:
        """Standard error of a visit's asymmetry as the product works it out from the sides."""
        return float(np.sqrt(2 * (self.between_sd**2 + self.within_sd**2 / self.trials)))

    def mdc(self) -> float:
        """MDC95 of a visit's asymmetry against the mean of the baselines."""
        return float(1.959964 * self.sem * np.sqrt(1 + 1 / self.baselines))


def stable(design: Design, runners: int) -> np.ndarray:
    """True values that never change, as (runners, visits, metrics, sides)."""
    true = np.full((runners, design.visits, design.metrics, 2), LEVEL)
    # Either side is the larger one in turn, so that every rule sees both.
    sign = np.where(np.arange(runners * design.metrics) % 2, 1.0, -1.0)
    shift = (sign * design.asymmetry * design.sem).reshape(runners, 1, design.metrics)
    true[..., 1] += shift
    return true


def simulated(design: Design, true: np.ndarray, rng: np.random.Generator) -> Judged:
    """Judge runners whose true values are (runners, visits, metrics, sides)."""
    runners, visits, metrics, sides = true.shape
    noise = design.between_sd * _pairs(rng, true.shape, design.between_correlation)
    trial_sd = design.within_sd / np.sqrt(design.trials)
    noise += trial_sd * _pairs(rng, true.shape, design.within_correlation)
    number = np.arange(runners * visits)
    order = np.tile(np.arange(visits), runners)
    frame = pd.DataFrame(
        {
            "runner": np.repeat(np.arange(runners), visits),
            "visit": number,
            "order": order,
            "day": 20_000 + 28 * order,
            "counts": True,
            "reference": order < design.baselines,
        }
        | USUAL
    )
    values = pd.DataFrame(
        {
            "visit": np.repeat(number, metrics * sides),
            "metric": np.tile(np.repeat(np.arange(metrics), sides), number.size),
            "side": np.tile(np.arange(sides), number.size * metrics),
            "n": design.trials,
            "mean": (true + noise).ravel(),
            "sd": design.within_sd,
        }
    )
    keys = [f"test_drop_{metric}" for metric in range(metrics)]
    return judge(
        values,
        frame,
        [
            an_angle(key=key, better=Better.LOWER if place % 2 else Better.HIGHER)
            for place, key in enumerate(keys)
        ],
        [a_figure(key, between_sd=design.between_sd, within_sd=design.within_sd) for key in keys],
    )


def _pairs(rng: np.random.Generator, shape: tuple[int, ...], correlation: float) -> np.ndarray:
    shared = rng.normal(size=(*shape[:-1], 1))
    own = rng.normal(size=shape)
    return np.sqrt(correlation) * shared + np.sqrt(1 - correlation) * own


@dataclass(frozen=True, slots=True, kw_only=True)
class FalseFlags:
    """Metrics flagged falsely per visit and over a runner's course, beside what is stated.

    `visit_error` and `course_error` are Monte Carlo standard errors of what was seen; runners
    are independent of one another, their visits are not.
    """

    visit_seen: float
    visit_error: float
    visit_stated: float
    course_seen: float
    course_error: float
    course_stated: float

    @property
    def excess(self) -> float:
        """What was seen beyond what is stated, in Monte Carlo standard errors."""
        return (self.course_seen - self.course_stated) / self.course_error


def false_flags(found: Judged) -> FalseFlags:
    """Count metrics flagged (not their kinds) in a caseload in which nothing changed."""
    expected = found.expected
    each = found.flags.drop_duplicates(["visit", "metric"]).groupby("visit").size()
    counted = expected.assign(seen=each.reindex(expected["visit"], fill_value=0).to_numpy())
    course = counted.groupby("runner")[["seen", "expected_false"]].sum()
    visits = len(expected) / len(course)
    # Where none was seen at all the error is that of one.
    error = max(float(course["seen"].std() / np.sqrt(len(course))), 1 / len(course))
    return FalseFlags(
        visit_seen=float(counted["seen"].mean()),
        visit_error=error / visits,
        visit_stated=float(counted["expected_false"].mean()),
        course_seen=float(course["seen"].mean()),
        course_error=error,
        course_stated=float(course["expected_false"].mean()),
    )


def share_flagged(found: Judged, visit: int, visits: int, metric: int = 0) -> dict[str, float]:
    """Share of runners flagged on a metric at the n-th visit: by any kind, and by each."""
    runners = found.expected["runner"].nunique()
    flags = found.flags
    flags = flags[(flags["metric"] == metric) & (flags["visit"] % visits == visit)]
    shares = {
        str(kind): float(flags[flags["kind"] == code_of(kind)]["runner"].nunique() / runners)
        for kind in KINDS
    }
    return {"any": float(flags["runner"].nunique() / runners)} | shares
