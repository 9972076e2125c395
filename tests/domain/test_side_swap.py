"""The question whether left and right were typed into one another's cell."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.side_swap import looks_swapped

SIZES = st.floats(0.0, 500.0)


def test_two_sides_far_apart_that_changed_places_are_asked_about() -> None:
    assert looks_swapped((220.0, 300.0), (300.0, 220.0), error=25.0)


def test_one_side_that_fell_is_not_asked_about() -> None:
    assert not looks_swapped((300.0, 220.0), (300.0, 290.0), error=25.0)
    assert not looks_swapped((220.0, 290.0), (300.0, 290.0), error=25.0)


@given(SIZES, SIZES, st.floats(0.1, 100.0))
def test_the_same_values_again_are_never_asked_about(
    left: float, right: float, error: float
) -> None:
    assert not looks_swapped((left, right), (left, right), error=error)


@given(SIZES, SIZES, st.floats(0.1, 100.0))
def test_sides_no_further_apart_than_error_are_never_asked_about(
    left: float, right: float, error: float
) -> None:
    if abs(left - right) <= error:
        assert not looks_swapped((right, left), (left, right), error=error)


@given(SIZES, SIZES, SIZES, SIZES, st.floats(0.1, 100.0))
def test_the_question_is_the_same_seen_in_a_mirror(
    left: float, right: float, last_left: float, last_right: float, error: float
) -> None:
    straight = looks_swapped((left, right), (last_left, last_right), error=error)
    assert straight == looks_swapped((right, left), (last_right, last_left), error=error)
