from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats import t as student
from statsmodels.stats.multitest import multipletests

from casebook.statistics.flagging import (
    FALSE_DISCOVERY_RATE,
    LARGEST_P,
    combined_p,
    expected_false_flags,
    p_growth,
    p_larger,
    p_short,
    p_worse,
    q_values,
    raised_again,
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
    assert p_growth(reference, latest, np.full(5, 0.9), np.full(5, 1.2)) == pytest.approx(
        norm.sf(gain / 1.5), rel=1e-9
    )


@pytest.mark.parametrize("true", [0.0, 0.5, 1.0, 2.0, 6.0])
@pytest.mark.parametrize("baselines", [1, 4, 6, 100])
@pytest.mark.parametrize("level", [0.025, 0.1])
def test_folding_at_zero_never_makes_growth_look_surer_than_it_is(
    true: float, baselines: int, level: float
) -> None:
    draw = np.random.default_rng(20_261_126)
    reference = true + draw.normal(0.0, 1 / np.sqrt(baselines), 60_000)
    latest = true + draw.normal(0.0, 1.0, 60_000)
    sem = np.full(60_000, 1 / np.sqrt(baselines))
    rate = (p_growth(reference, latest, sem, np.ones(60_000)) <= level).mean()
    assert rate <= level + 4 * np.sqrt(level * (1 - level) / 60_000)


@given(st.floats(-8, 8))
def test_a_loss_is_the_surer_the_larger_it_is(loss: float) -> None:
    found = p_worse(np.array([loss, loss + 0.1]), np.ones(2))
    assert found[0] >= found[1]
    assert found[0] == pytest.approx(norm.sf(loss), rel=1e-9)


def test_with_an_almost_exact_reference_growing_either_way_are_two_chances() -> None:
    # R - L known to be 0: growth is then a two-sided test of the latest against 0.
    p = p_growth(np.zeros(1), np.array([1.96]), np.array([1e-6]), np.ones(1))
    assert p == pytest.approx(2 * norm.sf(1.96), rel=1e-6)


def test_an_estimated_error_is_paid_for_with_the_t_distribution() -> None:
    p = p_larger(np.array([3.0]), np.array([9.0]), np.ones(1), np.ones(1), np.zeros(1), 2)
    assert p == pytest.approx(student.sf(3.0, 2), rel=1e-9)


@pytest.mark.parametrize(("side", "factor"), [(False, 1.0), (True, 2.0)])
@given(st.floats(-6, 6))
def test_a_target_that_can_be_missed_on_either_side_needs_twice_the_proof(
    side: bool, factor: float, short: float
) -> None:
    p = p_short(np.array([short]), np.ones(1), np.array([side]))
    assert p == pytest.approx(min(factor * norm.sf(short), 1.0), rel=1e-9)


@pytest.mark.parametrize("goal", [0.0, 0.5, 3.0])
def test_a_target_that_was_just_reached_is_rarely_called_missed(goal: float) -> None:
    # The baseline is not exact, so that neither is the goal, and no goal is below zero.
    draw = np.random.default_rng(5)
    before, amount = goal + 4.0, 4.0
    baseline = before + draw.normal(0.0, 1.0, 80_000)
    now = np.abs(goal + draw.normal(0.0, 1.0, 80_000))
    short = now - np.maximum(np.abs(baseline) - amount, 0.0)
    se, either = np.full(80_000, np.sqrt(2.0)), np.ones(80_000, dtype=bool)
    rate = (p_short(short, se, either) <= LARGEST_P).mean()
    assert rate <= LARGEST_P + 4 * np.sqrt(LARGEST_P / 80_000)


@given(st.lists(st.tuples(chances, st.integers(0, 3)), min_size=1, max_size=12))
def test_the_kinds_of_a_metric_are_combined_as_the_least_adjusted_one_of_statsmodels(
    tests: list[tuple[float, int]],
) -> None:
    # Simes' p-value is the smallest Benjamini-Hochberg adjusted one.
    p = np.array([chance for chance, _ in tests])
    group = np.array([number for _, number in tests])
    groups, combined = combined_p(p, group, np.arange(p.size))
    assert groups.tolist() == sorted(set(group.tolist()))
    for number, found in zip(groups, combined, strict=True):
        expected = multipletests(p[group == number], method="fdr_bh")[1].min()
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-15)


def test_no_tests_are_no_metrics() -> None:
    none = np.zeros(0, dtype=np.int64)
    groups, combined = combined_p(np.zeros(0), none, none)
    assert (groups.size, combined.size) == (0, 0)


def test_what_got_worse_by_more_than_one_standard_error_is_raised_again() -> None:
    then, sem = np.full(4, 8.0), np.ones(4)
    now = np.array([7.0, 9.4, 9.5, 8.1])
    known = np.array([True, True, True, False])
    assert raised_again(then, now, sem, sem, known).tolist() == [False, False, True, True]
