"""Simulated runners: stable ones are rarely flagged, worsening ones mostly are.

Invented numbers from seeded generators; errors as the model of `casebook.statistics.error`
has them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from casebook.domain.metrics import Better
from casebook.domain.verdicts import Call, FlagKind, What
from casebook.statistics.codes import KINDS, code_of
from casebook.statistics.flagging import FALSE_DISCOVERY_RATE
from casebook.statistics.judgement import Judged, judge
from tests.statistics.caseloads import USUAL, a_figure, an_angle

BETWEEN, WITHIN, TRIALS, METRICS = 1.0, 1.5, 5, 12
SEM = np.sqrt(BETWEEN**2 + WITHIN**2 / TRIALS)


def _caseload(true: np.ndarray, rng: np.random.Generator, references: int) -> Judged:
    """Judge runners whose true values have the shape (runners, visits, metrics, sides)."""
    runners, visits, metrics, sides = true.shape
    number = np.arange(runners * visits)
    frame = pd.DataFrame(
        {
            "runner": np.repeat(np.arange(runners), visits),
            "visit": number,
            "order": np.tile(np.arange(visits), runners),
            "day": np.tile(28 * np.arange(visits), runners),
            "counts": True,
            "reference": np.tile(np.arange(visits) < references, runners),
        }
        | USUAL
    )
    noise = rng.normal(0, BETWEEN, true.shape) + rng.normal(0, WITHIN / np.sqrt(TRIALS), true.shape)
    values = pd.DataFrame(
        {
            "visit": np.repeat(number, metrics * sides),
            "metric": np.tile(np.repeat(np.arange(metrics), sides), number.size),
            "side": np.tile(np.arange(sides), number.size * metrics),
            "n": TRIALS,
            "mean": (true + noise).ravel(),
            "sd": WITHIN,
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
        [a_figure(key, between_sd=BETWEEN, within_sd=WITHIN) for key in keys],
    )


@pytest.mark.parametrize("references", [1, 2])
@pytest.mark.parametrize("asymmetry", [0.0, 1.0, 2.0, 4.0, 8.0])
def test_stable_runners_are_flagged_no_more_often_than_stated(
    references: int, asymmetry: float
) -> None:
    # The traps: no asymmetry, one near the edge of its error, and a plain one.
    rng = np.random.default_rng([references, int(asymmetry)])
    true = np.zeros((1500, references + 1, METRICS, 2))
    true[..., 0] = rng.normal(30.0, 5.0, (1500, 1, METRICS))
    true[..., 1] = true[..., 0] + asymmetry * rng.choice([-1, 1], (1500, 1, METRICS))
    found = _caseload(true, rng, references)
    metrics_flagged = found.flags.groupby("visit")["metric"].nunique()
    per_visit = metrics_flagged.reindex(found.expected["visit"], fill_value=0)
    error = per_visit.std() / np.sqrt(len(per_visit))
    assert per_visit.mean() <= found.expected["expected_false"].mean() + 3 * error
    # Alive all the same: chance does raise some.
    assert per_visit.sum() > 0


def test_stable_sides_are_called_changed_one_time_in_twenty() -> None:
    rng = np.random.default_rng(7)
    found = _caseload(np.full((2000, 2, METRICS, 2), 30.0), rng, 1).verdicts
    sides = found[found["what"] != code_of(What.ASYMMETRY)]
    share = sides["call"].isin([code_of(Call.IMPROVED), code_of(Call.WORSENED)]).mean()
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / len(sides)))


def test_a_real_worsening_of_two_mdc_is_mostly_flagged() -> None:
    rng = np.random.default_rng(11)
    true = np.full((800, 2, METRICS, 2), 30.0)
    true[..., 1] += 6.0
    mdc_of_asymmetry = 1.96 * 2 * SEM
    true[:, 1, 0, 1] += 2 * mdc_of_asymmetry
    found = _caseload(true, rng, 1)
    right = (found.flags["metric"] == 0) & (
        found.flags["kind"] == KINDS.index(FlagKind.ASYMMETRY_ABOVE_BASELINE)
    )
    # Alone among true nulls it needs p <= q/m; half of that where the reference asymmetry was
    # not beyond its own error, so that the test is two-sided.
    least = norm.cdf(2 * 1.96 - norm.isf(FALSE_DISCOVERY_RATE / (2 * METRICS) / 2))
    found_share = found.flags[right]["runner"].nunique() / 800
    assert found_share > least - 3 * np.sqrt(least * (1 - least) / 800)
    assert least > 0.8


def test_a_better_side_that_truly_fell_is_mostly_flagged_as_such() -> None:
    rng = np.random.default_rng(13)
    true = np.full((800, 2, METRICS, 2), 30.0)
    true[..., 1] += 12.0
    # The first metric is better when higher: the right side is the better one and falls.
    true[:, 1, 0, 1] -= 2 * 1.96 * np.sqrt(2) * SEM
    found = _caseload(true, rng, 1)
    fell = (found.flags["metric"] == 0) & (
        found.flags["kind"] == KINDS.index(FlagKind.BETTER_SIDE_FELL)
    )
    assert found.flags[fell]["runner"].nunique() / 800 > 0.85
