"""A gap between the sides that closed though neither side gained."""

from __future__ import annotations

from dataclasses import replace

import pytest

from casebook.domain.verdicts import SideMoved, What
from tests.domain.test_wording import VERDICT


@pytest.mark.parametrize(
    ("baseline", "worse", "left", "right", "fell"),
    [
        # More is better: the right was the larger and fell further than the left.
        (10.0, What.LEFT, -3.0, -9.0, True),
        (10.0, What.LEFT, 3.0, -5.0, False),
        (10.0, What.LEFT, 12.0, 4.0, False),
        (-10.0, What.RIGHT, -9.0, -3.0, True),
        # Less is better: the larger side is the worse one, and up is the way to lose.
        (10.0, What.RIGHT, 9.0, 3.0, True),
        (10.0, What.RIGHT, -3.0, -9.0, False),
        (10.0, None, -3.0, -9.0, False),
    ],
)
def test_where_both_sides_moved_it_is_told_whether_either_gained(
    baseline: float, worse: What | None, left: float, right: float, fell: bool
) -> None:
    verdict = replace(
        VERDICT, baseline=baseline, worse_side=worse, left_change=left, right_change=right,
        which_side_moved=SideMoved.BOTH,
    )  # fmt: skip
    assert verdict.fell_together is fell
    gained = replace(verdict, which_side_moved=SideMoved.WORSE_SIDE_GAINED)
    assert not gained.fell_together
    assert replace(verdict, which_side_moved=SideMoved.BETTER_SIDE_FELL).fell_together
