"""Simulated runners: stable ones are rarely flagged, worsening ones mostly are.

Invented numbers from seeded generators; errors as the model of `casebook.statistics.error`
has them. A small part of `python -m tests.bench.flag_calibration`, which makes whole tables.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from casebook.domain.verdicts import Call, FlagKind, What
from casebook.statistics.codes import KINDS, code_of
from casebook.statistics.flagging import FALSE_DISCOVERY_RATE
from tests.bench.flag_calibration import measure_false, measure_power
from tests.statistics.simulated_runners import Design, simulated, stable

pytestmark = pytest.mark.simulated

# Errors of the sides: session and trial, correlated or not; baselines; visits; metrics.
CIRCUMSTANCES = [
    Design(baselines=1, visits=3, metrics=12),
    Design(baselines=1, visits=12, metrics=3),
    Design(baselines=2, visits=5, metrics=30, between_sd=0.2, within_sd=3.0, trials=3),
    Design(baselines=4, visits=8, metrics=1, between_sd=4.0, within_sd=0.5, trials=1),
    Design(baselines=2, visits=6, between_correlation=0.3),
    Design(baselines=1, visits=4, between_correlation=0.6, within_correlation=0.6),
]


@pytest.mark.parametrize("place", range(len(CIRCUMSTANCES)))
@pytest.mark.parametrize("asymmetry", [0.0, 1.0, 2.0, 20.0])
def test_stable_runners_are_flagged_no_more_often_than_stated(place: int, asymmetry: float) -> None:
    # The traps: no asymmetry, one within its error, one near its edge, and a plain one.
    start = CIRCUMSTANCES[place]
    design = Design(
        **{name: getattr(start, name) for name in Design.__slots__} | {"asymmetry": asymmetry}
    )
    found = measure_false(design, np.random.default_rng([place, int(asymmetry)]), 20_000)
    assert found.excess <= 3.5, found
    assert found.visit_seen <= found.visit_stated + 3.5 * found.visit_error


def test_stable_runners_with_a_plain_asymmetry_are_flagged_nearly_as_often_as_stated() -> None:
    # Alive: where the tests are exact and one kind stands alone, half of what is stated or more.
    design = Design(baselines=1, visits=2, metrics=1, asymmetry=20.0)
    found = measure_false(design, np.random.default_rng(3), 40_000)
    assert found.visit_seen > found.visit_stated / 2


def test_stable_sides_are_called_changed_one_time_in_twenty() -> None:
    design = Design(visits=2, metrics=12)
    found = simulated(design, stable(design, 2000), np.random.default_rng(7)).verdicts
    sides = found[found["what"] != code_of(What.ASYMMETRY)]
    share = sides["call"].isin([code_of(Call.IMPROVED), code_of(Call.WORSENED)]).mean()
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / len(sides)))


def test_a_real_worsening_of_two_mdc_is_mostly_flagged_at_once() -> None:
    design = Design(visits=2, metrics=12, asymmetry=4.0)
    rng = np.random.default_rng(11)
    (found,) = measure_power(design, 2.0, gradual=False, rng=rng, runners=800)
    # Alone among true nulls its combined p must be at most q/m, and its own half of that, as
    # there are two kinds of test at a second visit.
    least = norm.cdf(2 * 1.96 - norm.isf(FALSE_DISCOVERY_RATE / 12 / 2))
    assert found["any"] > least - 3 * np.sqrt(least * (1 - least) / 800)
    assert least > 0.8


def test_a_slow_worsening_is_found_the_surer_the_farther_it_goes() -> None:
    design = Design(baselines=2, visits=6, metrics=3, asymmetry=3.0)
    rng = np.random.default_rng(12)
    last = [
        measure_power(design, size, gradual=True, rng=rng, runners=400)[-1]
        for size in (1.0, 1.5, 2.0)
    ]
    assert [round(one["any"], 1) for one in last] == sorted(round(one["any"], 1) for one in last)
    assert last[0]["any"] > 0.2
    assert last[2]["any"] > 0.9
    assert last[2][FlagKind.DRIFT] > 0.8
    assert last[2][FlagKind.ASYMMETRY_ABOVE_BEST] > 0.7


def test_a_better_side_that_truly_fell_is_mostly_flagged_as_such() -> None:
    design = Design(visits=2, metrics=12)
    true = np.full((800, 2, 12, 2), 30.0)
    true[..., 1] += 12.0
    # The first metric is better when higher: the right side is the better one and falls.
    true[:, 1, 0, 1] -= 2 * 1.96 * design.sem
    found = simulated(design, true, np.random.default_rng(13))
    fell = (found.flags["metric"] == 0) & (
        found.flags["kind"] == KINDS.index(FlagKind.BETTER_SIDE_FELL)
    )
    assert found.flags[fell]["runner"].nunique() / 800 > 0.85
