"""Generalising: the least loss there is, and every published record among k alike."""

from __future__ import annotations

import time
import tracemalloc
from collections import defaultdict
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.statistics.codes import Whole
from casebook.statistics.disclosure.classes import class_of_each, keys_of
from casebook.statistics.disclosure.generalised import HIDDEN, WHYS, Generalised, Why
from casebook.statistics.disclosure.hierarchies import WITHHELD, Hierarchy, encode, ladder
from casebook.statistics.disclosure.lattice import LARGEST_LATTICE, generalise, generalised_at
from casebook.statistics.disclosure.ready_ladders import (
    age_ladder,
    age_words,
    discipline_ladder,
    measured_ladder,
    region_ladder,
    sex_ladder,
    side_ladder,
)

SIDE = ladder("side", [["left", "right"], [WITHHELD] * 2])
REGION = ladder(
    "region", [["foot", "ankle", "knee", "thigh"], ["low", "low", "high", "high"], [WITHHELD] * 4]
)


def table(*rows: tuple[int, int, int]) -> Whole:
    """Rows of (side, region, how often)."""
    return np.array([[side, region] for side, region, often in rows for _ in range(often)])


def tried_by_hand(
    codes: Whole, ladders: list[Hierarchy], k: int, sensitive: Whole, diversity: int
) -> dict[tuple[int, ...], float]:
    """Loss of every node, counted record by record in plain Python."""
    losses = {}
    for levels in product(*(range(rungs.levels) for rungs in ladders)):
        classes: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for record, row in enumerate(codes.tolist()):
            key = tuple(
                int(rungs.codes[level, value])
                for rungs, level, value in zip(ladders, levels, row, strict=True)
            )
            classes[key].append(record)
        lost = 0.0
        for key, members in classes.items():
            kinds = {int(sensitive[member]) for member in members} - {-1}
            if len(members) < k or (diversity > 1 and len(kinds) < diversity):
                lost += len(members) * len(ladders)
                continue
            for rungs, level, code in zip(ladders, levels, key, strict=True):
                alike = sum(other == code for other in rungs.codes[level].tolist())
                lost += len(members) * (alike - 1) / (rungs.values - 1)
        losses[levels] = lost / (len(codes) * len(ladders))
    return losses


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    records=st.integers(1, 60),
    k=st.integers(1, 6),
    diversity=st.integers(1, 3),
    crowd=st.integers(1, 6),
)
def test_no_node_of_the_lattice_loses_less(
    seed: int, records: int, k: int, diversity: int, crowd: int
) -> None:
    drawn = np.random.default_rng(seed)
    bands = ladder("band", [list("abcde"), list("vvwww"), list("xxxyy"[:2] + "yyy"), ["all"] * 5])
    ladders = [SIDE, REGION, bands]
    # Crowded at the first values, so that the best node lies anywhere in the lattice.
    codes = np.stack(
        [np.floor(drawn.random(records) ** crowd * rungs.values) for rungs in ladders], axis=1
    ).astype(np.int64)
    sensitive = drawn.integers(-1, 3, records)
    losses = tried_by_hand(codes, ladders, k, sensitive, diversity)
    found = generalise(codes, ladders, k=k, sensitive=sensitive, diversity=diversity)
    assert found.loss == pytest.approx(min(losses.values()), abs=1e-9)
    assert found.loss == pytest.approx(losses[found.levels], abs=1e-9)
    assert found.loss == pytest.approx(np.mean(found.loss_of))
    assert found.nodes == len(losses)
    assert found.nodes_seen <= found.nodes
    at = generalised_at(codes, ladders, found.levels, k=k, sensitive=sensitive, diversity=diversity)
    assert np.array_equal(at.codes, found.codes)
    assert_meets(found, sensitive, k, diversity)


def assert_meets(found: Generalised, sensitive: Whole, k: int, diversity: int) -> None:
    """Every published record is among k that look alike, with as many kinds as asked."""
    alike: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for row, out, kind in zip(
        found.codes.tolist(), found.left_out.tolist(), sensitive.tolist(), strict=True
    ):
        if not out:
            alike[tuple(row)].append(kind)
    assert all(len(kinds) >= k for kinds in alike.values())
    if diversity > 1:
        assert all(len(set(kinds) - {-1}) >= diversity for kinds in alike.values())
    hidden = (found.codes == HIDDEN).all(axis=1)
    assert np.array_equal(hidden, found.withheld | found.left_out)
    assert np.array_equal(hidden, found.why != WHYS.index(Why.PUBLISHED))
    assert not (found.withheld & found.left_out).any()


def test_nothing_is_lost_where_all_are_alike_enough() -> None:
    found = generalise(table((0, 0, 5), (1, 2, 5)), [SIDE, REGION], k=5)
    assert (found.levels, found.loss, found.k, found.diversity) == ((0, 0), 0, 5, None)
    assert not found.changed.any()


def test_what_weighs_more_is_kept_finer() -> None:
    """Either ladder alone reaches k; the one that counts less is given up."""
    codes = table((0, 0, 3), (0, 2, 3), (1, 0, 3), (1, 2, 3))
    regions = ladder("part", [["foot", "ankle", "knee", "thigh"], [WITHHELD] * 4])
    found = generalise(codes, [SIDE, regions], k=6, weights=[1, 3])
    assert (found.levels, found.loss_of, found.loss) == ((1, 0), (1.0, 0.0), 0.25)
    found = generalise(codes, [SIDE, regions], k=6, weights=[30, 10])
    assert (found.levels, found.loss_of, found.loss) == ((0, 1), (0.0, 1.0), 0.25)
    at = generalised_at(codes, [SIDE, regions], [1, 0], k=6, weights=[1, 3])
    assert at.loss == 0.25


@pytest.mark.parametrize("weights", [[1], [1, 0], [1, -1], [1, np.inf], [1, np.nan]])
def test_weights_that_weigh_nothing_are_refused(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        generalise(table((0, 0, 5)), [SIDE, REGION], k=2, weights=weights)


def test_few_of_many_are_withheld_rather_than_all_made_coarser() -> None:
    found = generalise(
        table((0, 0, 50), (1, 2, 50), (0, 3, 2), (1, 0, 3), (1, 1, 1)), [SIDE, REGION], k=5
    )
    assert found.levels == (0, 0)
    assert found.withheld.tolist() == [False] * 100 + [True] * 6
    assert found.words(0)[-1] == WITHHELD
    assert found.loss == pytest.approx(6 / 106)
    assert (found.k, found.left_out.any()) == (6, False)
    assert found.changed.tolist() == found.withheld.tolist()


def test_those_to_withhold_are_left_out_where_they_would_be_known_for_one_of_a_few() -> None:
    found = generalise(table((0, 0, 50), (1, 2, 50), (0, 3, 2)), [SIDE, REGION], k=5)
    assert found.left_out.tolist() == [False] * 100 + [True] * 2
    assert not found.withheld.any()
    assert {WHYS[code] for code in found.why[-2:]} == {Why.CLASS_TOO_SMALL}


def test_a_class_that_would_tell_the_kind_of_injury_is_withheld_for_that() -> None:
    codes = table((0, 0, 50), (1, 2, 50), (0, 3, 5))
    tissue = np.array([*range(50), *range(50), 7, 7, 7, 7, -1])
    found = generalise(codes, [SIDE, REGION], k=5, sensitive=tissue, diversity=2)
    assert {WHYS[code] for code in found.why[-5:]} == {Why.CLASS_TOO_ALIKE}
    # All withheld have the same injury, so that being withheld would tell it.
    assert found.left_out[-5:].all()
    assert (found.k, found.diversity) == (50, 50)


def test_withheld_ones_of_different_kinds_stay() -> None:
    codes = table((0, 0, 90), (1, 2, 90), (0, 3, 5), (1, 1, 5))
    tissue = np.array([*([0, 1] * 90), *([2] * 5), *([3] * 5)])
    found = generalise(codes, [SIDE, REGION], k=5, sensitive=tissue, diversity=2)
    assert found.withheld.sum() == 10
    assert (found.k, found.diversity, found.left_out.any()) == (10, 2, False)


def test_a_kind_that_is_not_recorded_makes_nobody_safer() -> None:
    codes = table((0, 0, 6))
    unknown = np.array([4, 4, 4, 4, -1, -1])
    found = generalise(codes, [SIDE, REGION], k=5, sensitive=unknown, diversity=2)
    assert found.left_out.all()
    assert (found.k, found.diversity) == (0, 0)


def test_the_kinds_are_counted_where_none_are_asked_for() -> None:
    found = generalise(table((0, 0, 6)), [SIDE, REGION], k=5, sensitive=np.arange(6))
    assert found.diversity == 6


@pytest.mark.parametrize("records", [0, 3])
def test_fewer_than_k_runners_cannot_be_published_at_all(records: int) -> None:
    codes = np.zeros((records, 2), dtype=np.int64)
    found = generalise(codes, [SIDE, REGION], k=5)
    assert (found.k, found.left_out.sum()) == (0, records)


def test_a_rung_that_merges_nobody_is_no_change() -> None:
    uneven = ladder("kind", [["a", "b", "c"], ["a", "bc", "bc"]])
    found = generalised_at(np.array([[0], [1], [2], [0]]), [uneven], [1], k=2)
    assert found.words(0) == ["a", "bc", "bc", "a"]
    assert found.changed.tolist() == [False, True, True, False]


def test_among_equal_losses_that_which_leaves_out_the_fewest_is_taken() -> None:
    # Four of six alike and two apart: withholding two costs the same as making all coarser.
    pairs = ladder("kind", [["a", "b", "c", "d"], ["ab", "ab", "cd", "cd"]])
    codes = np.array([[0], [0], [0], [0], [1], [1]])
    found = generalise(codes, [pairs], k=3)
    assert found.loss == pytest.approx(1 / 3)
    assert found.levels == (1,)
    assert not found.left_out.any()


def test_more_records_than_a_table_has_places_for_are_counted_all_the_same() -> None:
    wide = ladder("wide", [[f"w{value}" for value in range(400)], [WITHHELD] * 400])
    codes = np.repeat(np.stack([np.arange(20), np.arange(20)[::-1]], axis=1), 5, axis=0)
    found = generalise(codes, [wide, wide], k=5)
    assert (found.levels, found.k, found.loss) == ((0, 0), 5, 0.0)


def test_keys_of_very_many_values_do_not_overflow() -> None:
    apart = np.full((2, 7), 10**12)
    apart[0] = 0
    codes = np.vstack([apart, apart])
    class_of, sizes = class_of_each(codes)
    assert class_of.tolist() == [0, 1, 0, 1]
    assert sizes.tolist() == [2, 2]
    assert keys_of(codes[:0]).tolist() == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"k": 0}, "k 0 and diversity 1; expected whole numbers from 1"),
        ({"diversity": 0}, "k 5 and diversity 0"),
        ({"diversity": 2}, "asks for sensitive values, and none were given"),
        ({"sensitive": np.zeros(3)}, "3 sensitive values for 6 records"),
        ({"codes": np.zeros((6, 3), dtype=np.int64)}, "expected a column for each of the 2"),
        ({"codes": np.zeros((6, 0), dtype=np.int64), "hierarchies": []}, "at least one"),
        ({"codes": np.array([[0, 4]] * 6)}, "region: a code is not on its ladder; expected 0 to 3"),
        ({"codes": np.array([[-1, 0]] * 6)}, "side: a code is not on its ladder"),
        ({"codes": np.zeros((6, 20), dtype=np.int64), "hierarchies": [SIDE] * 20}, "combinations"),
    ],
)
def test_what_cannot_be_searched_is_refused(change: dict[str, object], said: str) -> None:
    asked: dict[str, object] = {"codes": table((0, 0, 6)), "hierarchies": [SIDE, REGION], "k": 5}
    with pytest.raises(ValueError, match=said):
        generalise(**(asked | change))  # type: ignore[arg-type]
    assert LARGEST_LATTICE < 2**20


@pytest.mark.parametrize("levels", [(0,), (0, 3), (-1, 0)])
def test_rungs_that_the_ladders_do_not_have_are_refused(levels: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match=r"expected one for each ladder, below \(2, 3\)"):
        generalised_at(table((0, 0, 6)), [SIDE, REGION], levels, k=5)


@pytest.mark.simulated
def test_20_000_runners_are_searched_in_seconds_and_little_memory() -> None:
    drawn = np.random.default_rng(6)
    records = 20_000
    heights = measured_ladder("height", drawn.normal(173, 9, records), step=5, k=5, unit="cm")
    masses = measured_ladder("mass", drawn.normal(68, 10, records), step=5, k=5, unit="kg")
    ages = encode(age_ladder(), age_words(np.clip(drawn.normal(38, 13, records), 10, 99)))
    others = [sex_ladder(), discipline_ladder(), region_ladder(), side_ladder()]
    codes = np.stack(
        [
            ages,
            *(drawn.integers(0, rungs.values, records) for rungs in others),
            heights[1],
            masses[1],
        ],
        axis=1,
    )
    tissue = drawn.integers(0, 9, records)
    ladders = [age_ladder(), *others, heights[0], masses[0]]
    began = time.process_time()
    found = generalise(codes, ladders, k=5, sensitive=tissue, diversity=2)
    assert time.process_time() - began < 20
    assert found.nodes == 5 * 2 * 3 * 3 * 3 * 3 * 3
    assert found.nodes_seen < found.nodes / 2
    assert found.k >= 5
    assert found.diversity is not None
    assert found.diversity >= 2
    # What is kept beyond one node is a few numbers for each, so a smaller lattice tells.
    tracemalloc.start()
    generalise(codes[:, [0, 1, 5, 6]], [*ladders[:2], *ladders[5:]], k=5, sensitive=tissue)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 100e6
