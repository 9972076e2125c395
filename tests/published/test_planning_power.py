"""Power and numbers of visits against the textbook and a general-purpose library."""

from __future__ import annotations

import math

import pytest
from statsmodels.stats.power import NormalIndPower

from casebook.statistics.planning import TrialError, detectable_change, plan_of, power_of


# Cohen 1988 and every textbook since (from memory): 1.96 + 0.84 = 2.80 standard errors are seen
# with a probability of 80 %, 1.96 + 1.28 = 3.24 with one of 90 %.
@pytest.mark.parametrize(("probability", "errors"), [(0.8, 2.80), (0.9, 3.24)])
def test_the_textbooks_multiples_of_the_standard_error(probability: float, errors: float) -> None:
    found = detectable_change(1.0, 1, probability) / math.sqrt(2)
    assert found == pytest.approx(errors, abs=0.005)


# One-sided at 0.025, because a change in the wrong direction is not seen.
@pytest.mark.parametrize("visits", [1, 2, 3, 10])
@pytest.mark.parametrize("change", [0.3, 1.0, 4.0])
def test_the_power_is_that_of_statsmodels(visits: int, change: float) -> None:
    known = NormalIndPower().power(change / 1.7, visits, 0.025, ratio=1, alternative="larger")
    assert power_of(change, 1.7, visits) == pytest.approx(known, rel=1e-6)


def test_the_number_of_visits_is_that_of_statsmodels_rounded_up() -> None:
    known = NormalIndPower().solve_power(
        effect_size=1.0 / 2.0, alpha=0.025, power=0.8, ratio=1, alternative="larger"
    )
    plan = plan_of(
        TrialError(between_sd=2.0, within_sd=0.0), usual_trials=1, probability=0.8, change=1.0
    )
    assert known == pytest.approx(62.79, abs=0.005)  # 2 (2.8016 / 0.5)^2, by hand
    assert plan.visits_needed == math.ceil(known) == 63
