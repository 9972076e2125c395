"""Two publications, and what their difference tells of the one who left in between."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.statistics.disclosure.rounding import (
    RoundedMean,
    mean_step,
    members_digest,
    rounded_counts,
    rounded_mean,
    surely_at_least,
)

SECRET = b"the clinic's"
NAMES = ("improved", "unchanged", "worsened")


def of(members: int) -> bytes:
    return members_digest([f"R-{member}" for member in range(members)], secret=SECRET)


def drawn_counts(counts: list[int], times: int, base: int = 5) -> np.ndarray:
    names = [f"cell {place}" for place in range(len(counts))]
    return np.array(
        [
            rounded_counts(counts, names, secret=SECRET, members=b"%d" % time, base=base)
            for time in range(times)
        ]
    )


def test_counts_are_rounded_up_or_down_and_right_on_average() -> None:
    counts = [0, 1, 4, 5, 12, 23]
    drawn = drawn_counts(counts, 1500)
    assert (drawn % 5 == 0).all()
    assert (np.abs(drawn - counts) < 5).all()
    assert (drawn[:, [0, 3]] == [0, 5]).all()
    assert {len(set(column.tolist())) for column in drawn[:, [1, 2, 4, 5]].T} == {2}
    spread = drawn.std(axis=0) / math.sqrt(1500)
    assert (np.abs(drawn.mean(axis=0) - counts) <= 4.5 * spread).all()


def test_a_base_of_1_rounds_nothing() -> None:
    assert (drawn_counts([0, 3, 17], 3, base=1) == [0, 3, 17]).all()


def test_the_same_people_and_secret_give_the_same_counts() -> None:
    counts = list(range(30))
    names = [str(count) for count in counts]
    once = rounded_counts(counts, names, secret=SECRET, members=of(9))
    assert np.array_equal(once, rounded_counts(counts, names, secret=SECRET, members=of(9)))
    assert not np.array_equal(once, rounded_counts(counts, names, secret=b"other", members=of(9)))
    assert not np.array_equal(once, rounded_counts(counts, names, secret=SECRET, members=of(8)))
    assert not np.array_equal(
        once, rounded_counts(counts, [f"{n}!" for n in names], secret=SECRET, members=of(9))
    )


def test_the_digest_knows_who_is_in_and_not_in_which_order() -> None:
    assert of(3) == members_digest(["R-2", "R-0", "R-1", "R-1"], secret=SECRET)
    assert of(3) != of(2)
    assert members_digest(["ab", "c"], secret=SECRET) != members_digest(["a", "bc"], secret=SECRET)
    assert members_digest(["a"], secret=b"x") != members_digest(["a"], secret=b"y")


@pytest.mark.parametrize(
    ("counts", "names", "base", "said"),
    [
        ([1, -1], ["a", "b"], 5, "expected 0 or more"),
        ([1], ["a"], 0, "to base 0"),
        ([1, 2], ["a"], 5, "2 counts for the names"),
        ([1, 2], ["a", "a"], 5, "expected one for each"),
        ([1, 2], ["a", "b", "b"], 5, "expected one for each"),
    ],
)
def test_counts_that_cannot_be_rounded_are_refused(
    counts: list[int], names: list[str], base: int, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        rounded_counts(counts, names, secret=SECRET, members=b"", base=base)


def consistent(shown: int) -> set[int]:
    """Every count that can have been rounded to what is shown."""
    return set(range(max(shown - 4, 0), shown + 5))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 12), min_size=3, max_size=3).filter(lambda counts: sum(counts) > 0),
    st.integers(0, 2),
    st.integers(1, 1000),
)
def test_nobody_can_tell_for_certain_which_group_the_leaver_left(
    counts: list[int], group: int, members: int
) -> None:
    if counts[group] == 0:
        group = int(np.argmax(counts))
    later = [count - (place == group) for place, count in enumerate(counts)]
    first = rounded_counts(counts, NAMES, secret=SECRET, members=of(members))
    second = rounded_counts(later, NAMES, secret=SECRET, members=of(members - 1))
    possible = {
        left
        for left in range(3)
        if all(
            any(count - (left == place) in consistent(after) for count in consistent(before))
            for place, (before, after) in enumerate(zip(first, second, strict=True))
        )
    }
    assert possible == {0, 1, 2}


def test_a_group_that_falls_below_the_minimum_is_judged_by_what_is_shown() -> None:
    assert [shown for shown in range(0, 30, 5) if surely_at_least(shown, 5)] == [10, 15, 20, 25]
    for count in range(5):
        assert not any(surely_at_least(int(shown), 5) for shown in drawn_counts([count], 40)[:, 0])


@pytest.mark.parametrize(
    ("sd", "n", "step"),
    [(5.0, 10, 1.0), (5.01, 10, 2.0), (8, 20, 1), (3.0, 7, 1.0), (0.05, 1000, 1e-4), (30, 4, 20)],
)
def test_the_step_is_a_round_number_of_at_least_2_sd_over_n(sd: float, n: int, step: float) -> None:
    assert mean_step(sd, n) == step


@given(st.floats(1e-6, 1e6), st.integers(1, 10_000))
def test_no_smaller_step_would_do(sd: float, n: int) -> None:
    step = mean_step(sd, n)
    assert 2 * sd / n <= step < 2 * sd / n * 2.5000001
    lead = float(f"{step:e}".split("e")[0])
    assert lead in {1.0, 2.0, 5.0}


@pytest.mark.parametrize(("sd", "n"), [(0.0, 5), (-1.0, 5), (math.inf, 5), (math.nan, 5), (1.0, 0)])
def test_a_step_without_spread_is_refused(sd: float, n: int) -> None:
    with pytest.raises(ValueError, match="expected one above 0"):
        mean_step(sd, n)


def published(values: list[float], members: int, name: str = "height") -> RoundedMean:
    return rounded_mean(values, name=name, secret=SECRET, members=of(members))


def test_a_mean_is_a_multiple_of_its_step_and_right_on_average() -> None:
    values = [171.0, 165, 180, 177, 168, 174, 169, 183, 160, 172, 175, 166]
    drawn = [published(values, members) for members in range(800)]
    assert {found.count for found in drawn} == {10, 15}
    assert {found.step for found in drawn} == {2.0}
    means = np.array([found.mean for found in drawn], dtype=np.float64)
    assert set(means.tolist()) == {170.0, 172.0}
    assert means.mean() == pytest.approx(np.mean(values), abs=4.5 * means.std() / math.sqrt(800))
    assert {found.sd for found in drawn} == {6.0, 8.0}


@pytest.mark.parametrize("values", [[], [1.0], [1, 2, 3, 4], [7.0] * 30, [0.1] * 30, [0.0] * 30])
def test_the_mean_of_few_or_of_all_alike_is_withheld(values: list[float]) -> None:
    found = published(values, 3)
    assert (found.mean, found.sd, found.step) == (None, None, None)


@pytest.mark.parametrize(("values", "minimum"), [([1, math.nan], 5), ([1, 2], 1)])
def test_values_that_have_no_mean_are_refused(values: list[float], minimum: int) -> None:
    with pytest.raises(ValueError, match="pain: expected finite values and a minimum"):
        rounded_mean(values, name="pain", secret=SECRET, members=b"", minimum=minimum)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-50, 50), min_size=11, max_size=40), st.floats(-50, 50))
def test_two_means_tell_the_value_of_the_leaver_no_closer_than_2_sd(
    stayed: list[float], left: float
) -> None:
    before, after = published([*stayed, left], 41), published(stayed, 40)
    if before.mean is None or after.mean is None or before.step is None or after.step is None:
        assert min(np.std(stayed), np.std([*stayed, left])) < 1e-6
        return
    # The intruder is told the exact numbers, too: a mean lies less than a step from what is shown.
    n = len(stayed) + 1
    middle = n * before.mean - (n - 1) * after.mean
    reach = n * before.step + (n - 1) * after.step
    sd = float(np.std([*stayed, left], ddof=1))
    assert 2 * reach >= 2 * sd
    # The intruder has made no mistake: the true value is in there.
    assert abs(left - middle) <= reach + 1e-6


@pytest.mark.parametrize("n", [20, 200, 2000])
def test_a_lone_value_far_out_is_not_given_back_by_the_sum(n: int) -> None:
    """The intruder has every other value to the last digit."""
    others = np.random.default_rng(7).normal(0, 1, n - 1)
    for out in (30.0, 1000.0):
        found = published([*others.tolist(), out], n)
        assert found.mean is not None
        assert found.step is not None
        low = n * (found.mean - found.step) - others.sum()
        high = n * (found.mean + found.step) - others.sum()
        assert low <= out <= high
        assert high - low >= 2 * out * (1 - 2 / n)


def test_the_spread_tells_the_value_of_the_leaver_no_closer_either() -> None:
    drawn = np.random.default_rng(5)
    for n in (11, 20, 60):
        values = drawn.normal(100, 12, n)
        found = published(values.tolist(), n, "mass")
        assert found.sd is not None
        assert found.step is not None
        # Sum of squares as far as it is told, against the square of 2 SD.
        told = (n - 1) * ((found.sd + found.step) ** 2 - max(found.sd - found.step, 0) ** 2)
        assert told >= (2 * values.std(ddof=1)) ** 2
