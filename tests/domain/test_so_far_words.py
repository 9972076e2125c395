"""A change so far in words: what the error figure bears, and no more."""

from __future__ import annotations

import pytest

from casebook.domain.metrics import AsymmetryForm, Scale
from casebook.domain.reach import Reach, SoFar
from casebook.domain.wording import so_far_words
from tests.builders import a_metric

ANGLE = a_metric(unit="deg", scale=Scale.INTERVAL, asymmetry_form=AsymmetryForm.NONE)
GRADE = a_metric(
    unit="{grade}", scale=Scale.GRADE, grades=tuple("abcd"), asymmetry_form=AsymmetryForm.NONE
)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (SoFar(change=3.1, reach=Reach.BEYOND, limit=2.4), "+3.1° so far, MDC 2.4°: beyond error"),
        (
            SoFar(change=-1.0, reach=Reach.WITHIN, limit=2.4),
            "−1.0° so far, MDC 2.4°: within error",
        ),
        (
            SoFar(change=2.44, reach=Reach.BEYOND, limit=2.41),
            "+2.44° so far, MDC 2.41°: beyond error",
        ),
        (
            SoFar(change=3.0, reach=Reach.BEYOND_LOWER_BOUND, limit=2.0),
            "+3.0° so far, MDC at least 2.0°: can't say, the error between visits is not known",
        ),
        (
            SoFar(change=3.0, reach=Reach.NEEDS_TRIALS, trials=7),
            "+3.0° so far; can't say yet, the MDC is for a mean of 7 trials",
        ),
        (SoFar(change=0.0, reach=Reach.NO_FIGURE), "0.0° so far"),
        (
            SoFar(change=9.0, reach=Reach.UNLIKE, limit=2.0),
            "+9.0° so far, MDC 2.0°: not like for like",
        ),
    ],
)
def test_a_change_is_told_with_its_error(told: SoFar, words: str) -> None:
    assert so_far_words(told, ANGLE) == words


def test_a_grade_is_held_against_repeat_grading() -> None:
    told = SoFar(change=1.0, reach=Reach.WITHIN, limit=1.0)
    assert so_far_words(told, GRADE) == (
        "+1 grade so far, repeat grading within 1 grade: within error"
    )
