"""Exercises of the list: whole, sourced, and made into blocks."""

from __future__ import annotations

from dataclasses import replace

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.exercises import NO_SOURCE, Exercise, key_of, prescribed
from casebook.domain.programmes import Aim
from casebook.domain.sides import InjurySide

RAISE = Exercise(
    key="heel_raise", name="Heel raise", aim=Aim.STRENGTH, purpose="calf", how="Rise.",
    dose="3 sets of 12", dose_source=NO_SOURCE, sets=3, repetitions=12, equipment="step",
    progress="weight", ease="pain",
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"key": "Not A Key"}, "small letters"),
        ({"name": " "}, "a name in plain words"),
        ({"how": ""}, "how to do it"),
        ({"dose_source": ""}, "since a dose is given"),
        ({"dose_source": "", "dose": ""}, "since a dose is given"),
        ({"sets": 0}, "above zero"),
        ({"repetitions": 10_001}, "at most 10000"),
        ({"name": "x" * 201}, "at most 200 characters"),
        ({"ease": "x" * 10_001}, "at most 10000 characters"),
    ],
)
def test_an_exercise_that_is_not_whole_is_refused(changes: dict[str, object], words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        replace(RAISE, **changes)


def test_an_exercise_without_a_dose_needs_no_source() -> None:
    bare = Exercise(key="walk", name="Walk", aim=Aim.LOAD, purpose="", how="Walk.")
    assert prescribed(bare, position=1)[0].sets is None


def test_a_block_is_filled_in_from_the_list_with_the_side_that_was_asked_for() -> None:
    block, detail = prescribed(RAISE, position=2, side=InjurySide.RIGHT)
    assert (block.exercise, block.side, block.sets, block.repetitions) == (
        "Heel raise", InjurySide.RIGHT, 3, 12,
    )  # fmt: skip
    assert (detail.position, detail.exercise_key, detail.instructions) == (2, "heel_raise", "Rise.")
    assert (detail.progress_how, detail.ease_when, detail.equipment) == ("weight", "pain", "step")


def test_what_has_no_sides_is_prescribed_without_one() -> None:
    block, _ = prescribed(replace(RAISE, sided=False), position=1, side=InjurySide.LEFT)
    assert block.side is InjurySide.NONE


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Heel raise, knee straight", "heel_raise_knee_straight"),
        ("  3 × Hüpfen!  ", "hupfen"),
        ("x" * 80, "x" * 63),
        ("腓腸筋", ""),
        ("7", ""),
    ],
)
def test_a_key_is_made_of_the_name_where_there_is_something_to_make_it_of(
    name: str, key: str
) -> None:
    assert key_of(name) == key
