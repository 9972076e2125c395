from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from statsmodels.stats.multitest import multipletests

from casebook.statistics.flagging import (
    FALSE_DISCOVERY_RATE,
    LARGEST_P,
    expected_false_flags,
    p_growth,
    p_worse,
    q_values,
)

chances = st.floats(0.0, 1.0)


@given(st.lists(st.tuples(chances, st.integers(1, 4)), min_size=1, max_size=40))
def test_each_family_is_adjusted_alone_as_statsmodels_does(
    tests: list[tuple[float, int]],
) -> None:
    p = np.array([chance for chance, _ in tests])
    family = np.array([number for _, number in tests])
    q = q_values(p, family)
    for number in np.unique(family):
        mine = family == number
        expected = multipletests(p[mine], method="fdr_bh")[1]
        assert q[mine] == pytest.approx(expected, rel=1e-12, abs=1e-15)


def test_no_tests_give_no_q_values() -> None:
    assert q_values(np.array([]), np.array([], dtype=np.int64)).size == 0


@pytest.mark.parametrize("tests", [1, 2, 5, 20, 60])
def test_the_expected_number_of_false_flags_is_what_chance_makes(tests: int) -> None:
    # Monte Carlo check of the law of the step-up procedure, which was written from memory.
    rng = np.random.default_rng(tests)
    p = rng.random((40_000, tests))
    q = q_values(p.ravel(), np.repeat(np.arange(p.shape[0]), tests)).reshape(p.shape)
    flags = ((q <= FALSE_DISCOVERY_RATE) & (p <= LARGEST_P)).sum(axis=1)
    error = flags.std() / np.sqrt(flags.size)
    assert abs(flags.mean() - expected_false_flags(tests)) < 4 * error


def test_one_test_is_falsely_flagged_as_often_as_its_p_allows() -> None:
    assert expected_false_flags([1, 0]).tolist() == pytest.approx([LARGEST_P, 0.0], rel=1e-12)


def test_growth_is_tested_on_the_gain_in_size() -> None:
    reference = np.array([5.0, -5.0, 5.0, 0.5, 3.0])
    latest = np.array([9.0, -9.0, 1.0, 4.5, -9.0])
    gain = np.array([4.0, 4.0, -4.0, 4.0, 6.0])
    assert p_growth(reference, latest, np.full(5, 1.5)) == pytest.approx(
        norm.sf(gain / 1.5), rel=1e-9
    )


@pytest.mark.parametrize("true", [0.0, 0.5, 1.0, 2.0, 6.0])
@pytest.mark.parametrize("baselines", [1, 4])
@pytest.mark.parametrize("level", [0.025, 0.1])
def test_folding_at_zero_never_makes_growth_look_surer_than_it_is(
    true: float, baselines: int, level: float
) -> None:
    draw = np.random.default_rng(20_261_126)
    reference = true + draw.normal(0.0, 1 / np.sqrt(baselines), 60_000)
    latest = true + draw.normal(0.0, 1.0, 60_000)
    se = np.full(60_000, np.hypot(1.0, 1 / np.sqrt(baselines)))
    rate = (p_growth(reference, latest, se) <= level).mean()
    assert rate <= level + 4 * np.sqrt(level * (1 - level) / 60_000)


@given(st.floats(-8, 8))
def test_a_loss_is_the_surer_the_larger_it_is(loss: float) -> None:
    found = p_worse(np.array([loss, loss + 0.1]), np.ones(2))
    assert found[0] >= found[1]
    assert found[0] == pytest.approx(norm.sf(loss), rel=1e-9)
