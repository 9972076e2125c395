"""The stories of the demo are strong enough to be told, and the steady ones are steady."""

from __future__ import annotations

from itertools import chain
from typing import Any

import pandas as pd
import pytest

import seed_demo
from tests.demo.expected import chances_of
from tests.demo.told import stories, truth_rows

TOLD = ("weak_side_gained", "better_side_fell", "worsened_late")


def test_each_course_that_was_promised_is_there() -> None:
    runners = seed_demo.truth().groupby("runner_course")["runner"].nunique()
    assert runners["weak_side_gained"] >= 6
    assert runners["better_side_fell"] >= 2
    assert runners["worsened_late"] >= 6
    for course in ("crossed_over", "conditions_changed", "lost_to_follow_up", "stable"):
        assert runners[course] >= 2, course


@pytest.mark.parametrize("course", TOLD)
def test_most_real_changes_are_two_to_four_times_the_minimal_detectable_one(course: str) -> None:
    sizes = [story.change_in_mdc() for _, story in stories(course)]
    assert min(sizes) > 1.4
    assert sum(2.0 <= size <= 4.6 for size in sizes) / len(sizes) > 0.6


def test_where_the_sides_crossed_over_each_side_truly_moved() -> None:
    sizes = list(chain.from_iterable(s.side_changes_in_mdc() for _, s in stories("crossed_over")))
    assert all(2.0 <= size <= 4.6 for size in sizes)


def test_at_least_six_runners_have_an_asymmetry_that_truly_worsened_by_two_mdc() -> None:
    strong = {
        row["runner"] for row, story in stories("worsened_late") if story.change_in_mdc() >= 2
    }
    assert len(strong) >= 6


def test_where_the_better_side_fell_the_weak_side_did_not_move() -> None:
    for row, story in stories("better_side_fell"):
        moved = dict(zip(("left", "right"), story.side_changes_in_mdc(), strict=True))
        weak = str(row["weak_side"])
        assert moved.pop(weak) == 0.0
        assert min(moved.values()) >= 2.0


def test_what_no_story_is_told_about_does_not_change_at_all() -> None:
    steady = [row for row in truth_rows() if row["course"] == "stable"]
    assert len(steady) > 500
    assert all(_same(row) for row in steady)


def _same(row: dict[str, Any]) -> bool:
    pairs = [(row[f"before_{side}"], row[f"now_{side}"]) for side in seed_demo.SIDES]
    return all(before == now or (pd.isna(before) and pd.isna(now)) for before, now in pairs)


def test_the_chances_worked_out_reach_the_power_of_a_change_of_two_mdc() -> None:
    # A true change of k MDC95 lies beyond the MDC95 with chance Phi(1.96 k - 1.96), 0.975 for
    # k = 2 (normal distribution, worked out by hand).
    for _, story in stories("weak_side_gained"):
        assert max(story.side_changes_in_mdc()) >= 2.0
        assert chances_of(story).worse_side_improved >= 0.975


def test_the_chance_of_a_false_change_of_a_steady_side_is_five_percent() -> None:
    # By the definition of the MDC95: half of 5 % to either side, so 2.5 % for "gained".
    for _, story in stories("better_side_fell"):
        assert chances_of(story).worse_side_improved == pytest.approx(0.025, abs=0.004)
