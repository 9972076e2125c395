"""Ladders: every rung says less than the one below, and the ends hold enough."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.injuries import Region
from casebook.domain.people import Sex
from casebook.domain.sides import InjurySide
from casebook.statistics.disclosure.hierarchies import (
    NOT_RECORDED,
    WITHHELD,
    Hierarchy,
    cell_losses,
    encode,
    ladder,
)
from casebook.statistics.disclosure.ready_ladders import (
    NO_INJURY,
    age_ladder,
    age_words,
    discipline_ladder,
    discipline_word,
    measured_ladder,
    region_ladder,
    sex_ladder,
    side_ladder,
)

READY = [age_ladder(), sex_ladder(), discipline_ladder(), region_ladder(), side_ladder()]


@pytest.mark.parametrize("ready", READY, ids=lambda ready: ready.name)
def test_a_ready_ladder_ends_with_nothing_said(ready: Hierarchy) -> None:
    assert ready.words[-1] == (WITHHELD,)
    losses = cell_losses(ready)
    assert (losses[0] == 0).all()
    assert (losses[-1] == 1).all()
    assert (np.diff(losses, axis=0) >= 0).all()


def test_the_ready_ladders_have_the_rungs_that_the_search_counts_on() -> None:
    assert [ready.levels for ready in READY] == [5, 2, 3, 3, 3]


def test_a_ladder_knows_every_word_of_the_domain() -> None:
    assert encode(sex_ladder(), [sex.value for sex in Sex]).tolist() == [0, 1, 2, 3]
    assert len(encode(region_ladder(), [*Region, NO_INJURY, NOT_RECORDED])) == len(Region) + 2
    assert len(encode(side_ladder(), [*InjurySide, NO_INJURY, NOT_RECORDED])) == len(InjurySide) + 2


def test_no_level_of_age_tells_90_from_101_nor_a_child_from_another_up_to_20_year_bands() -> None:
    ages = age_ladder()
    very_old = encode(ages, age_words([90, 101]))
    assert very_old[0] == very_old[1]
    children = encode(ages, age_words([0, 12, 17.99]))
    assert set(children.tolist()) == {0}
    assert [words[0] for words in ages.words[:4]] == ["under_18"] * 3 + ["under_40"]


def test_every_age_has_a_word_on_the_ladder() -> None:
    ages = np.arange(0, 120)
    assert len(encode(age_ladder(), age_words(ages))) == 120


def test_a_negative_age_is_refused() -> None:
    with pytest.raises(ValueError, match="Age -1; expected 0 or more"):
        age_words([30, -1])


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("half marathon", "half_marathon"),
        ("Marathon", "marathon"),
        ("1500 m", "1500_m_or_mile"),
        ("causeway 10 km", "10_km"),
        ("10,000 m", "10_km"),
        ("5000m", "5_km"),
        ("coast-path ultra", "ultra"),
        ("dune cross-country", "cross_country"),
        ("800 m", "800_m"),
        ("100 m hurdles", "sprint"),
        ("3000 m steeplechase", "3000_m_or_steeplechase"),
        ("trail marathon", "trail_or_mountain"),
        ("olympic triathlon", "multisport"),
        ("jogging", "recreational"),
        ("lighthouse stair race", "other"),
        ("", NOT_RECORDED),
    ],
)
def test_a_discipline_becomes_a_word_of_the_closed_list(text: str, word: str) -> None:
    assert discipline_word(text) == word
    assert encode(discipline_ladder(), [word]).shape == (1,)


def test_a_text_that_is_not_understood_never_leaves_as_it_stands() -> None:
    assert discipline_word("anna's street, 3 laps") == "other"


def test_a_word_that_is_not_on_the_ladder_is_named() -> None:
    with pytest.raises(ValueError, match="sex: 'woman' is not on its ladder; expected one of fem"):
        encode(sex_ladder(), ["female", "woman"])


@pytest.mark.parametrize(
    ("codes", "words", "said"),
    [
        (np.zeros((0, 0), dtype=np.int64), (), "expected one row of codes"),
        (np.array([[0, 1]]), (("a", "b"), ("c",)), "expected one row of codes"),
        (np.array([[1, 0]]), (("a", "b"),), "level 0 must be the values themselves"),
        (np.array([[0, 1], [0, 0]]), (("a", "b"), ("c", "d")), "one word for each code"),
        (np.array([[0, 1]]), (("a", "a"),), "one word for each code"),
        (
            np.array([[0, 1, 2], [0, 0, 1], [0, 1, 1]]),
            (("a", "b", "c"), ("d", "e"), ("f", "g")),
            "level 2 tells apart what level 1 had merged",
        ),
    ],
)
def test_a_ladder_that_is_none_is_refused(
    codes: np.ndarray, words: tuple[tuple[str, ...], ...], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        Hierarchy(name="made up", codes=codes, words=words)


def test_levels_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match=r"levels have \[2, 1\] words"):
        ladder("made up", [["a", "b"], ["c"]])


def test_a_ladder_of_one_value_loses_nothing() -> None:
    assert cell_losses(ladder("made up", [["a"], ["b"]])).tolist() == [[0], [0]]


def test_the_ends_of_a_body_measure_are_merged_until_each_holds_enough() -> None:
    heights = [149, 158, 162, 163, 164, 171, 177, 178, 186, 204, math.nan]
    bands, codes = measured_ladder("height", heights, step=5, k=3, unit="cm")
    assert bands.words[0] == (
        "under_165_cm",
        "165_to_under_170_cm",
        "170_to_under_175_cm",
        "175_cm_and_over",
        NOT_RECORDED,
    )
    assert codes.tolist() == [0, 0, 0, 0, 0, 2, 3, 3, 3, 3, 4]
    assert bands.words[1] == ("under_170_cm", "170_cm_and_over", NOT_RECORDED)
    assert bands.words[2] == (WITHHELD,)


@pytest.mark.parametrize("heights", [[], [180.0], [171, 172, 173], [150, 160, 170]])
def test_too_few_heights_for_two_ends_are_not_told_apart(heights: list[float]) -> None:
    bands, codes = measured_ladder("height", heights, step=5, k=2, unit="cm")
    assert bands.words[0] == ("any_cm", NOT_RECORDED)
    assert set(codes.tolist()) <= {0}


@pytest.mark.parametrize(
    ("height", "step", "k"), [(math.inf, 5, 5), (170, 0, 5), (170, math.nan, 5), (170, 5, 0)]
)
def test_a_measure_that_cannot_be_banded_is_refused(height: float, step: float, k: int) -> None:
    with pytest.raises(ValueError, match="expected finite values, a step above 0"):
        measured_ladder("height", [height], step=step, k=k, unit="cm")


@given(st.lists(st.floats(40, 220), max_size=60), st.integers(1, 8))
def test_an_end_band_never_holds_fewer_than_asked(values: list[float], k: int) -> None:
    bands, codes = measured_ladder("mass", values, step=5, k=k, unit="kg")
    held = Counter(codes.tolist())
    last = bands.values - 2
    assert last == 0 or (held[0] >= k and held[last] >= k)
    wider = bands.codes[1][codes]
    assert all(len(set(wider[codes == code].tolist())) == 1 for code in held)
