"""Which side moved, in words with left and right spelled out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from casebook.domain.metrics import AsymmetryForm, Better, Scale
from casebook.domain.side_story import side_story_words
from casebook.domain.verdicts import Reason, Verdict, What
from tests.builders import a_metric
from tests.domain.test_explaining import ASYMMETRY, GRADED, VERDICT


def moved(left: float, right: float, worse: What | None, **changes: object) -> Verdict:
    return replace(
        ASYMMETRY,
        left_change=left,
        right_change=right,
        worse_side=worse,
        **changes,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("left", "right", "worse", "words"),
    [
        (
            -30.0,
            1.0,
            What.LEFT,
            "The worse side (left) fell (−30.0 N); the better side (right) did not move beyond "
            "its own error.",
        ),
        (
            0.0,
            -30.0,
            What.LEFT,
            "The worse side (left) did not move beyond its own error; the better side (right) "
            "fell (−30.0 N).",
        ),
        (
            40.0,
            30.0,
            What.RIGHT,
            "The worse side (right) gained (+30.0 N); the better side (left) gained (+40.0 N).",
        ),
        (
            40.0,
            1.0,
            None,
            "The left side gained (+40.0 N); the right side did not move beyond its own error.",
        ),
        (1.0, 2.0, What.LEFT, "Neither side moved beyond its own error."),
    ],
)
def test_the_story_names_each_side_and_what_it_did(
    left: float, right: float, worse: What | None, words: str
) -> None:
    assert side_story_words(moved(left, right, worse), a_metric()) == words


@pytest.mark.parametrize(
    ("better", "up", "down"),
    [
        (Better.HIGHER, "gained", "fell"),
        (Better.LOWER, "got worse", "got better"),
        (Better.RANGE, "went up", "went down"),
        (Better.NONE, "went up", "went down"),
    ],
)
def test_the_words_for_moving_follow_what_is_better(better: Better, up: str, down: str) -> None:
    ranged = {"target_low": 1.0, "target_high": 2.0} if better is Better.RANGE else {}
    story = side_story_words(moved(40.0, -40.0, None), a_metric(better=better, **ranged))
    assert f"left side {up} (+40.0 N); the right side {down} (−40.0 N)" in story


def test_a_side_without_an_error_of_its_own_is_not_said_to_have_moved_or_not() -> None:
    story = side_story_words(moved(1.0, 40.0, None, right_mdc95=None), a_metric())
    assert "the right side has no error figure to tell by" in story


def test_crossing_over_is_told_beside_it() -> None:
    story = side_story_words(moved(1.0, 40.0, What.RIGHT, latest=8.0), a_metric())
    assert story.endswith("The larger side changed: left larger at baseline, right larger now.")
    unknown = side_story_words(moved(1.0, 40.0, None, baseline=None), a_metric())
    assert "larger side" not in unknown


def test_grades_that_moved_by_the_step_did_not_move() -> None:
    verdict = moved(
        7 / 3 - 4 / 3, -2.0, None, left_mdc95=1.0, right_mdc95=1.0,
        asymmetry_form=AsymmetryForm.DIFFERENCE,
    )  # fmt: skip
    assert GRADED.scale is Scale.GRADE
    story = side_story_words(verdict, GRADED)
    assert "The left side did not move beyond its own error" in story
    assert "got better (−2 grades)" in story


def test_there_is_no_story_for_a_side_or_for_visits_that_were_unlike() -> None:
    assert side_story_words(VERDICT, a_metric()) == ""
    unlike = replace(ASYMMETRY, reason=Reason.NOT_LIKE_FOR_LIKE)
    assert side_story_words(unlike, a_metric()) == ""
    assert side_story_words(replace(ASYMMETRY, left_change=None), a_metric()) == ""
