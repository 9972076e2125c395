"""The starter list of exercises: plain words, sourced doses, and every problem of a file told."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from casebook.catalogue.exercises import exercise_entries, starter_exercises, taken_exercises
from casebook.domain.errors import InputRefused
from casebook.domain.exercises import NO_SOURCE, Exercise, prescribed
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Aim, Programme
from casebook.domain.sides import InjurySide

EXERCISES = {exercise.key: exercise for exercise in starter_exercises()}


def test_the_list_covers_what_is_promised() -> None:
    assert {exercise.aim for exercise in EXERCISES.values()} == set(Aim)
    assert set(EXERCISES) >= {
        "hip_abduction_side_lying", "bridge_single_leg", "heel_raise_straight_knee",
        "heel_raise_bent_knee", "short_foot", "first_ray_down", "knee_to_wall", "cadence_cue",
        "landing_cue", "lean_from_ankles", "arms_fore_and_aft",
    }  # fmt: skip
    positions = [exercise.position for exercise in EXERCISES.values()]
    assert positions == sorted(set(positions))


@pytest.mark.parametrize("exercise", EXERCISES.values(), ids=lambda one: one.key)
def test_every_exercise_is_whole_and_every_dose_says_who_says_so(exercise: Exercise) -> None:
    assert exercise.starter
    assert exercise.purpose
    assert exercise.metrics
    sourced = any(sign in exercise.dose_source for sign in ("memory", "read", NO_SOURCE))
    assert sourced, exercise.dose_source


@pytest.mark.parametrize("exercise", EXERCISES.values(), ids=lambda one: one.key)
def test_every_exercise_makes_a_block_that_a_programme_can_take(exercise: Exercise) -> None:
    block, detail = prescribed(exercise, position=1, side=InjurySide.LEFT)
    assert (block.side is InjurySide.LEFT) == exercise.sided
    assert (block.exercise, detail.exercise_key) == (exercise.name, exercise.key)
    programme = Programme(
        runner="T-001", title="Made", started_on=date(2026, 3, 2), blocks=(block,)
    )
    whole = Prescription(programme=programme, block_details=(detail,))
    assert whole.detail_of(block).instructions == exercise.how


def test_a_clinics_own_file_is_read_like_ours(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(
        '[[exercise]]\nkey = "walk"\nname = "Walk"\naim = "load"\npurpose = "legs"\n'
        'how = "Walk."\nmetrics = ["cadence"]\n',
        encoding="utf-8",
    )
    (walk,) = taken_exercises(exercise_entries(file), {"cadence"})
    assert (walk.key, walk.starter, walk.position) == ("walk", False, 999)


def test_every_problem_of_a_file_is_told_with_its_row(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    entry = '[[exercise]]\nkey = "walk"\nname = "Walk"\naim = "load"\npurpose = ""\nhow = "Walk."\n'
    file.write_text(
        entry + 'metrics = ["speed", "stride"]\n' + entry
        + '[[exercise]]\nkey = "run"\naim = "fun"\nsets = "three"\n',
        encoding="utf-8",
    )  # fmt: skip
    with pytest.raises(InputRefused) as refused:
        taken_exercises(exercise_entries(file), {"speed"})
    told = str(refused.value)
    assert "own.toml, row 8, column key: exercise 'walk': the key stands twice" in told
    assert "the catalogue has no metric 'stride'" in told
    assert "'name' is missing" in told
    assert "aim is 'fun'; expected one of strength" in told
    assert "sets is 'three'; expected a whole number" in told
