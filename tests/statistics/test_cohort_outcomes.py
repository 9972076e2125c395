"""Means, differences and thirds of groups, against published and independent numbers."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from casebook.domain.metrics import Better
from casebook.statistics.asymmetry_change import beyond_own_error, worse_side
from casebook.statistics.change import IMPROVED, call_side
from casebook.statistics.codes import code_of
from casebook.statistics.cohort_outcomes import (
    difference_of_means,
    difference_of_shares,
    gain_of,
    mean_of,
    standardised_difference,
    thirds,
)

FIRST = np.array([3.1, 4.7, 2.2, 6.0, 5.5, 4.1])
SECOND = np.array([1.0, 2.5, 0.4, 1.9])


def test_a_gain_is_positive_towards_better_whichever_way_that_is() -> None:
    better = np.array([code_of(one) for one in Better], dtype=np.int8)
    low, high = np.full(4, 170.0), np.full(4, 190.0)
    gains = gain_of(np.full(4, 160.0), np.full(4, 165.0), better, low, high)
    assert gains[:3].tolist() == [5.0, -5.0, 5.0]
    assert np.isnan(gains[3])


def test_a_mean_has_the_interval_that_an_independent_library_gives() -> None:
    found = mean_of(FIRST)
    theirs = DescrStatsW(FIRST).tconfint_mean()
    assert found.n == 6
    assert found.mean == pytest.approx(FIRST.mean())
    assert (found.low, found.high) == pytest.approx(theirs)


def test_of_one_runner_there_is_no_interval_and_of_none_no_mean() -> None:
    alone = mean_of(np.array([2.0]))
    assert (alone.n, alone.mean) == (1, 2.0)
    assert np.isnan([alone.low, alone.high]).all()
    nobody = mean_of(np.empty(0))
    assert nobody.n == 0
    assert np.isnan([nobody.mean, nobody.low, nobody.high]).all()


def test_two_means_differ_as_an_independent_library_says_of_unequal_spreads() -> None:
    found = difference_of_means(FIRST, SECOND)
    compared = CompareMeans(DescrStatsW(FIRST), DescrStatsW(SECOND))
    assert found.mean == pytest.approx(FIRST.mean() - SECOND.mean())
    assert (found.low, found.high) == pytest.approx(compared.tconfint_diff(usevar="unequal"))
    assert found.n == 10


def test_groups_too_small_for_a_spread_have_a_difference_without_interval() -> None:
    one = difference_of_means(np.array([3.0]), SECOND)
    assert one.mean == pytest.approx(3.0 - SECOND.mean())
    assert np.isnan([one.low, one.high]).all()
    assert np.isnan(difference_of_means(np.empty(0), SECOND).mean)


def test_two_groups_without_any_spread_differ_by_exactly_so_much() -> None:
    found = difference_of_means(np.full(3, 5.0), np.full(4, 2.0))
    assert (found.mean, found.low, found.high) == (3.0, 3.0, 3.0)


@pytest.mark.parametrize(
    ("counts", "published"),
    [
        # Newcombe 1998 (Statistics in Medicine 17:873-890), table II, method 10; from memory.
        ((56, 70, 48, 80), (0.0524, 0.3339)),
        ((9, 10, 3, 10), (0.1705, 0.8090)),
        ((10, 10, 0, 10), (0.6075, 1.0)),
        ((10, 10, 0, 20), (0.6791, 1.0)),
    ],
)
def test_two_shares_differ_as_published(
    counts: tuple[int, int, int, int], published: tuple[float, float]
) -> None:
    found = difference_of_shares(*counts)
    assert (found.low, found.high) == pytest.approx(published, abs=5e-5)
    theirs = confint_proportions_2indep(*counts, compare="diff", method="newcomb")
    assert (found.low, found.high) == pytest.approx(theirs, abs=1e-9)
    assert found.n == counts[1] + counts[3]


def test_a_standardised_difference_stands_on_the_pooled_spread() -> None:
    # By hand: means 4 and 1, squares 2 and 8 over 3 + 3 - 2 = 4 degrees, sd = sqrt(2.5).
    found = standardised_difference(np.array([3.0, 4.0, 5.0]), np.array([-1.0, 1.0, 3.0]))
    assert found == pytest.approx(3.0 / np.sqrt(2.5))


def test_without_a_spread_nothing_is_standardised() -> None:
    assert np.isnan(standardised_difference(np.array([1.0]), SECOND))
    assert np.isnan(standardised_difference(np.full(3, 5.0), np.full(4, 2.0)))


def test_thirds_hold_equal_values_together_and_leave_out_what_is_not_recorded() -> None:
    values = np.array([0.5, np.nan, 0.9, 0.1, 0.9, 0.5, 0.2])
    assert thirds(values).tolist() == [1, -1, 2, 0, 2, 1, 0]
    assert thirds(np.full(3, np.nan)).tolist() == [-1, -1, -1]


def test_thirds_of_many_equal_values_still_tell_the_low_from_the_rest() -> None:
    most = np.array([0.2, 0.4, *[1.0] * 8])
    assert thirds(most).tolist() == [0, 0, *[1] * 8]
    assert thirds(np.ones(4)).tolist() == [1] * 4
    assert np.bincount(thirds(np.arange(30.0))).tolist() == [10, 10, 10]


@pytest.mark.parametrize(("apart", "improved"), [(0.0, 0.184), (1.0, 0.110), (6.0, 0.032)])
def test_so_many_sides_picked_for_being_worse_improve_though_nobody_changes(
    apart: float, improved: float
) -> None:
    """What the table of outcomes says of them; 2.5 % are those of a side that nobody picked.

    The rule of a detectable change (Weir 2005, J Strength Cond Res 19:231-240), on sides that
    truly differ by so many errors (SD).
    """
    random, n = np.random.default_rng(1), 100_000
    gap = random.normal(0, apart, n)
    sides = np.stack([-gap / 2, gap / 2])
    before, after = (sides + random.normal(0, 1, (2, n)) for _ in range(2))
    found = before[1] - before[0]
    nan = np.full(n, np.nan)
    directed = beyond_own_error(found, np.full(n, np.sqrt(2)))
    higher = np.full(n, code_of(Better.HIGHER), dtype=np.int8)
    worse = worse_side(found, directed, higher, nan, nan)
    picked, mdc = worse != 0, np.full(n, 1.96 * np.sqrt(2))
    side = np.where(worse == 1, 1, 0)[None]
    was, now = (np.take_along_axis(one, side, 0)[0] for one in (before, after))
    call, _ = call_side(was, now, mdc, higher, nan, nan)
    assert (call[picked] == IMPROVED).mean() == pytest.approx(improved, abs=0.015)
    unpicked, _ = call_side(before[0], after[0], mdc, higher, nan, nan)
    assert (unpicked == IMPROVED).mean() == pytest.approx(0.025, abs=0.003)
