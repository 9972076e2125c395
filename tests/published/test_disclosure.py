"""Anonymity measures and withheld cells against published examples and another package."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pycanon import anonymity

from casebook.statistics.codes import Whole
from casebook.statistics.disclosure.hierarchies import Hierarchy, encode, ladder
from casebook.statistics.disclosure.lattice import generalise, generalised_at
from casebook.statistics.disclosure.risk import risk_of
from casebook.statistics.disclosure.tables import protect_table

# Sweeney (2002), IJUFKS 10:557-570, figure 2 (from memory): race, birth, gender, ZIP, problem.
SWEENEY = """
Black 1965 m 0214* short-breath
Black 1965 m 0214* chest-pain
Black 1965 f 0213* hypertension
Black 1965 f 0213* hypertension
Black 1964 f 0213* obesity
Black 1964 f 0213* chest-pain
White 1964 m 0213* chest-pain
White 1964 m 0213* obesity
White 1964 m 0213* short-breath
White 1967 m 0213* chest-pain
White 1967 m 0213* chest-pain
"""

# Machanavajjhala et al. (2007), ACM TKDD 1(1):3, figure 1 (from memory): ZIP, age, condition.
PATIENTS = """
13053 28 heart
13068 29 heart
13068 21 viral
13053 23 viral
14853 50 cancer
14853 55 heart
14850 47 viral
14850 49 viral
13053 31 cancer
13053 37 cancer
13068 36 cancer
13068 35 cancer
"""


def rows(text: str) -> list[list[str]]:
    return [line.split() for line in text.split("\n") if line]


def coded(table: list[list[str]]) -> Whole:
    return np.stack([pd.factorize(np.array(column))[0] for column in zip(*table, strict=True)], 1)


def frame_of(codes: Whole, sensitive: Whole) -> tuple[pd.DataFrame, list[str]]:
    names = [f"qi{place}" for place in range(codes.shape[1])]
    frame = pd.DataFrame(codes.astype(str), columns=names)
    return frame.assign(sensitive=sensitive.astype(str)), names


def judged(codes: Whole, sensitive: Whole) -> tuple[int, int, int]:
    frame, names = frame_of(codes, sensitive)
    return (
        anonymity.k_anonymity(frame, names),
        anonymity.l_diversity(frame, names, ["sensitive"]),
        anonymity.entropy_l_diversity(frame, names, ["sensitive"]),
    )


def test_the_table_of_figure_2_is_2_anonymous_and_tells_one_condition() -> None:
    codes = coded(rows(SWEENEY))
    found = risk_of(codes[:, :4], sensitive=codes[:, 4])
    assert (found.records, found.classes, found.k) == (11, 5, 2)
    assert (found.diversity, found.entropy_diversity) == (1, 1.0)
    assert (found.largest, found.mean) == (0.5, 5 / 11)
    assert (found.unique, found.above) == (0, 11)
    assert judged(codes[:, :4], codes[:, 4]) == (2, 1, 1)


def patients() -> tuple[Whole, list[Hierarchy], Whole]:
    table = rows(PATIENTS)
    zips = sorted({row[0] for row in table})
    ages = sorted({row[1] for row in table})
    zip_ladder = ladder(
        "zip",
        [
            zips,
            [f"{code[:4]}*" for code in zips],
            [f"{code[:3]}**" for code in zips],
            ["*"] * len(zips),
        ],
    )
    age_ladder = ladder(
        "age",
        [
            ages,
            ["<30" if age < "30" else "3*" if age < "40" else ">=40" for age in ages],
            ["<=40" if age < "40" else ">40" for age in ages],
            ["*"] * len(ages),
        ],
    )
    codes = [
        encode(zip_ladder, [row[0] for row in table]),
        encode(age_ladder, [row[1] for row in table]),
    ]
    return np.stack(codes, 1), [zip_ladder, age_ladder], coded(table)[:, 2]


def test_the_4_anonymous_patients_include_a_class_of_one_condition() -> None:
    codes, ladders, condition = patients()
    found = generalised_at(codes, ladders, (2, 1), k=4, sensitive=condition)
    assert (found.k, found.diversity, found.withheld.any()) == (4, 1, False)
    assert found.words(0)[4] == "148**"
    assert judged(found.codes, condition) == (4, 1, 1)


def test_the_3_diverse_patients_are_3_diverse() -> None:
    codes, ladders, condition = patients()
    found = generalised_at(codes, ladders, (1, 2), k=4, sensitive=condition, diversity=3)
    assert (found.k, found.diversity, found.withheld.any()) == (4, 3, False)
    assert found.words(0)[:2] == ["1305*", "1306*"]
    assert judged(found.codes, condition)[:2] == (4, 3)


def test_asking_the_4_anonymous_patients_for_3_conditions_withholds_the_class_of_cancer() -> None:
    codes, ladders, condition = patients()
    found = generalised_at(codes, ladders, (2, 1), k=4, sensitive=condition, diversity=2)
    assert found.left_out.tolist() == [False] * 8 + [True] * 4


def test_the_search_does_no_worse_than_the_published_generalisation() -> None:
    codes, ladders, condition = patients()
    published = generalised_at(codes, ladders, (1, 2), k=4, sensitive=condition, diversity=3)
    found = generalise(codes, ladders, k=4, sensitive=condition, diversity=3)
    assert found.loss <= published.loss
    assert found.k >= 4
    assert found.diversity is not None
    assert found.diversity >= 3


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 40), st.integers(2, 3), st.integers(1, 4))
def test_another_package_finds_the_same_measures(
    seed: int, records: int, identifiers: int, kinds: int
) -> None:
    drawn = np.random.default_rng(seed)
    codes = drawn.integers(0, 3, (records, identifiers))
    sensitive = drawn.integers(0, kinds, records)
    found = risk_of(codes, sensitive=sensitive)
    k, diversity, entropy = judged(codes, sensitive)
    assert (found.k, found.diversity) == (k, diversity)
    assert found.entropy_diversity is not None
    # The other package cuts to a whole number, after its own rounding error.
    assert entropy in {math.floor(found.entropy_diversity + off) for off in (-1e-9, 1e-9)}


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 5), st.integers(1, 3))
def test_another_package_finds_what_generalising_reached(seed: int, k: int, diversity: int) -> None:
    drawn = np.random.default_rng(seed)
    rungs = [["a", "b", "c", "d"], ["x", "x", "y", "y"], ["any"] * 4]
    ladders = [ladder(name, rungs) for name in ("one", "two")]
    codes, sensitive = drawn.integers(0, 4, (30, 2)), drawn.integers(0, 3, 30)
    found = generalise(codes, ladders, k=k, sensitive=sensitive, diversity=diversity)
    stays = ~found.left_out
    if not stays.any():
        assert found.k == 0
        return
    reached = judged(found.codes[stays], sensitive[stays])
    assert (found.k, found.diversity) == reached[:2]
    assert reached[0] >= k
    assert reached[1] >= diversity


# Pure logic, as the guidance on small cells says it: in a 2 x 2 table with its totals shown, all
# four cells go; in a 3 x 3 table with one small cell, four of them that make a rectangle.
def test_all_four_cells_of_a_small_table_go() -> None:
    found = protect_table([[12, 3], [20, 15]], minimum=5)
    assert np.isnan(found.published[:2, :2]).all()
    assert found.published[2].tolist() == [32, 18, 50]
    assert found.published[:, 2].tolist() == [15, 35, 50]


def test_a_rectangle_goes_around_a_single_small_cell() -> None:
    found = protect_table([[3, 20, 30], [25, 15, 40], [50, 60, 70]], minimum=5)
    assert np.argwhere(~found.shown).tolist() == [[0, 0], [0, 1], [1, 0], [1, 1]]


@pytest.mark.parametrize(("count", "shown"), [(0, True), (1, False), (10, False), (11, True)])
def test_counts_of_1_to_10_are_not_shown_under_the_rule_of_11(count: int, shown: bool) -> None:
    found = protect_table([[count, 30, 40], [50, 60, 70], [40, 80, 90]], minimum=11)
    assert found.shown[0, 0] == shown
