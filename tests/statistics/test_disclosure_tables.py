"""Withheld counts that nobody gets back by subtracting, as trying every table shows."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.statistics.disclosure.rounding import rounded_counts
from casebook.statistics.disclosure.tables import (
    CELLS,
    Cell,
    Protected,
    protect_groups,
    protect_table,
)

# Larger counts are not tried: what is open beyond is open enough.
LARGEST = 12


def with_totals(inner: np.ndarray) -> np.ndarray:
    """Many tables, shape (tables, rows, columns), with their totals."""
    inner = np.concatenate([inner, inner.sum(axis=1, keepdims=True)], axis=1)
    return np.concatenate([inner, inner.sum(axis=2, keepdims=True)], axis=2)


def every_table(rows: int, columns: int) -> np.ndarray:
    cells = np.indices((LARGEST + 1,) * (rows * columns)).reshape(rows * columns, -1).T
    return with_totals(cells.reshape(-1, rows, columns))


def what_agrees(found: Protected, tables: np.ndarray, least: int) -> np.ndarray:
    """Every table that somebody who sees what is shown has to reckon with."""
    same = (tables == found.counts) | ~found.shown
    known = (tables >= least) | found.shown
    return tables[(same & known).reshape(len(tables), -1).all(axis=1)]


TWO_BY_TWO = every_table(2, 2)


def assert_protected(found: Protected, tables: np.ndarray, minimum: int, least: int) -> None:
    agreeing = what_agrees(found, tables, least)
    for place in zip(*np.nonzero(~found.shown), strict=True):
        seen = agreeing[(slice(None), *place)]
        low, high = found.low[place], found.high[place]
        assert seen.min() == low
        assert high - low >= minimum
        if seen.max() < high:  # only what was not tried lies above
            assert high > LARGEST
            assert seen.max() - low >= minimum or seen.max() >= LARGEST
    shown = found.counts[found.shown]
    assert ((shown >= minimum) | ((shown == 0) & (least == 1))).all()


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(0, 7), min_size=4, max_size=4),
    st.integers(1, 4),
    st.booleans(),
)
def test_no_withheld_count_of_a_table_is_given_back(
    counts: list[int], minimum: int, zeros_shown: bool
) -> None:
    found = protect_table(np.reshape(counts, (2, 2)), minimum=minimum, zeros_shown=zeros_shown)
    assert_protected(found, TWO_BY_TWO, minimum, int(zeros_shown))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(0, 9), min_size=1, max_size=4),
    st.integers(1, 5),
    st.booleans(),
)
def test_no_withheld_count_of_a_group_is_given_back(
    counts: list[int], minimum: int, zeros_shown: bool
) -> None:
    found = protect_groups(counts, minimum=minimum, zeros_shown=zeros_shown)
    tried = np.array(list(product(range(LARGEST + 1), repeat=len(counts))))
    tried = np.column_stack([tried, tried.sum(axis=1)])
    assert_protected(found, tried, minimum, int(zeros_shown))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 4), st.integers(2, 4), st.integers(4, 16))
def test_every_withheld_count_of_a_larger_table_stays_open(
    seed: int, rows: int, columns: int, width: int
) -> None:
    counts = np.random.default_rng(seed).poisson(6, (rows, columns))
    found = protect_table(counts, minimum=4, width=width)
    assert (found.high - found.low)[~found.shown].min(initial=math.inf) >= width
    assert (found.low <= found.counts).all()
    assert (found.counts <= found.high).all()
    assert (found.low == found.high)[found.shown].all()


def test_nothing_is_withheld_where_nothing_is_small() -> None:
    found = protect_table([[8, 9], [12, 0]], minimum=5)
    assert found.shown.all()
    assert found.published.tolist() == [[8, 9, 17], [12, 0, 12], [20, 9, 29]]
    assert {CELLS[code] for code in found.why.ravel()} == {Cell.SHOWN}


def test_a_second_group_is_withheld_so_that_the_total_does_not_give_the_first_back() -> None:
    found = protect_groups([2, 40, 41], minimum=5)
    assert [CELLS[code] for code in found.why] == [
        Cell.SMALL,
        Cell.SECONDARY,
        Cell.SHOWN,
        Cell.SHOWN,
    ]
    assert (found.low[0], found.high[0]) == (1, 41)


def test_two_groups_hide_each_other_behind_their_total() -> None:
    found = protect_groups([3, 50], minimum=5)
    assert np.isnan(found.published[:2]).all()
    assert found.published[2] == 53


def test_a_total_is_withheld_where_its_parts_are_too_few_to_hide_in() -> None:
    found = protect_groups([2, 1], minimum=5)
    assert not found.shown.any()
    assert found.high.tolist() == [math.inf] * 3
    assert found.low.tolist() == [1, 1, 2]


def test_a_zero_is_withheld_where_zeros_are_not_shown() -> None:
    hidden = protect_groups([0, 30, 20], minimum=5, zeros_shown=False)
    assert not hidden.shown[0]
    assert hidden.low[0] == 0
    shown = protect_groups([0, 30, 20], minimum=5)
    assert shown.shown.all()


def test_a_zero_that_is_shown_hides_nobody() -> None:
    found = protect_groups([3, 0, 30], minimum=5)
    assert found.shown.tolist() == [False, True, False, True]


def test_a_wider_range_takes_more_to_hide_in() -> None:
    narrow = protect_groups([3, 5, 30], minimum=5)
    wide = protect_groups([3, 5, 30], minimum=5, width=20)
    assert narrow.shown.tolist() == [False, False, True, True]
    assert (wide.high - wide.low)[0] >= 20
    assert not wide.shown[2]


def test_rounded_counts_are_withheld_by_what_is_shown_of_them() -> None:
    rounded = rounded_counts([3, 17, 44], ["a", "b", "c"], secret=b"the clinic's", members=b"all")
    found = protect_groups(rounded, minimum=10)
    assert found.counts[-1] == rounded.sum()
    assert (found.counts[found.shown] % 5 == 0).all()


@pytest.mark.parametrize(
    ("counts", "minimum", "width", "said"),
    [
        ([1, -2], 5, None, "expected whole numbers from 0"),
        ([1.5, 2], 5, None, "expected whole numbers from 0"),
        ([], 5, None, "expected whole numbers from 0"),
        ([[1, 2]], 5, None, r"in 1 dimension"),
        ([1, 2], 0, None, "Minimum 0 and width 0"),
        ([1, 2], 5, 0, "Minimum 5 and width 0"),
    ],
)
def test_counts_that_are_none_are_refused(
    counts: list[object], minimum: int, width: int | None, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        protect_groups(counts, minimum=minimum, width=width)


def test_a_list_is_no_table() -> None:
    with pytest.raises(ValueError, match="in 2 dimension"):
        protect_table([1, 2])


def test_those_withheld_for_another_are_protected_like_it() -> None:
    # Here what protects the 3 is itself open to less than 14, until more is withheld.
    found = protect_table([[4, 4, 5], [4, 10, 6], [3, 6, 5]], minimum=4, width=14)
    assert (found.high - found.low)[~found.shown].min() >= 14
    assert found.shown.any()
