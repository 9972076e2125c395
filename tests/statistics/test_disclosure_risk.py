"""How likely the right record is found, before and after."""

from __future__ import annotations

import math

import numpy as np
import pytest

from casebook.statistics.disclosure.hierarchies import ladder
from casebook.statistics.disclosure.lattice import generalise
from casebook.statistics.disclosure.risk import risk_of, risks

CLASSES = np.array([[0, 0]] * 4 + [[0, 1]] * 5 + [[1, 1]])
KINDS = np.array([0, 0, 1, 1, 0, 1, 2, 2, 2, -1])


def test_the_risk_is_one_over_the_size_of_the_class() -> None:
    found = risk_of(CLASSES)
    assert (found.records, found.classes, found.k) == (10, 3, 1)
    assert found.largest == 1.0
    assert found.mean == pytest.approx((4 * 1 / 4 + 5 * 1 / 5 + 1) / 10)
    assert found.unique == 1
    assert (found.diversity, found.entropy_diversity) == (None, None)


def test_a_class_of_five_is_not_above_one_in_five() -> None:
    assert risk_of(CLASSES).above == 5
    assert risk_of(CLASSES, threshold=0.19).above == 10


def test_the_least_diverse_class_is_told() -> None:
    found = risk_of(CLASSES[:9], sensitive=KINDS[:9])
    assert found.diversity == 2
    two_alike = math.log(2)
    one_in_three = -(0.2 * math.log(0.2) * 2 + 0.6 * math.log(0.6))
    assert found.entropy_diversity == pytest.approx(math.exp(min(two_alike, one_in_three)))


def test_a_class_where_nothing_is_recorded_has_no_kinds() -> None:
    found = risk_of(CLASSES, sensitive=KINDS)
    assert (found.diversity, found.entropy_diversity) == (0, 1.0)


def test_a_table_without_records_has_no_risk() -> None:
    found = risk_of(CLASSES[:0], sensitive=KINDS[:0])
    assert (found.records, found.k, found.largest, found.mean, found.above) == (0, 0, 0.0, 0.0, 0)
    assert (found.diversity, found.entropy_diversity) == (0, 0.0)


def test_generalising_brings_the_risk_below_one_in_k() -> None:
    ladders = [ladder(name, [["a", "b"], ["any", "any"]]) for name in ("one", "two")]
    made = generalise(CLASSES, ladders, k=4, sensitive=KINDS, diversity=2)
    found = risks(CLASSES, made, sensitive=KINDS)
    assert found.before == risk_of(CLASSES, sensitive=KINDS)
    assert found.after.records == 9
    assert (found.after.largest, found.after.unique, found.after.diversity) == (0.25, 0, 2)
    assert risks(CLASSES, made, threshold=0.25).after.above == 0


def test_somebody_who_knows_all_recorded_values_finds_nobody_with_more_than_one_in_k() -> None:
    drawn = np.random.default_rng(7)
    words = [list("abcdef"), list("uuvvww"), ["any"] * 6]
    ladders = [ladder(name, words) for name in ("one", "two", "three")]
    codes = drawn.integers(0, 6, (300, 3)) * drawn.integers(0, 2, (300, 3))
    made = generalise(codes, ladders, k=5)
    # The intruder makes every runner coarser in the published way and looks for their like.
    for runner in range(300):
        coarser = [
            int(rungs.codes[level, value])
            for rungs, level, value in zip(ladders, made.levels, codes[runner], strict=True)
        ]
        alike = (made.codes == coarser).all(axis=1)
        candidates = alike if alike.any() else made.withheld
        assert made.left_out[runner] or (candidates[runner] and candidates.sum() >= 5)
