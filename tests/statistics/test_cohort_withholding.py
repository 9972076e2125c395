"""Nothing small that is withheld can be worked out from the whole and what is shown."""

from __future__ import annotations

from itertools import product

import pytest

from casebook.statistics.cohort_withholding import withheld_groups


@pytest.mark.parametrize(
    ("sizes", "hidden"),
    [
        ([12, 20], [False, False]),
        ([0, 20], [False, False]),
        ([3, 12, 20], [True, True, False]),
        ([3, 4, 20], [True, True, False]),
        ([2, 3, 20], [True, True, True]),
        ([3, 4, 4, 20], [True, True, True, False]),
        ([1, 30], [True, True]),
    ],
)
def test_small_groups_hide_behind_others(sizes: list[int], hidden: list[bool]) -> None:
    found = withheld_groups(sizes, 5)
    assert list(found.groups) == hidden
    assert found.whole_may_be_shown


def test_where_nothing_can_hide_them_the_whole_may_not_be_shown() -> None:
    assert not withheld_groups([3], 5).whole_may_be_shown
    assert not withheld_groups([2, 2, 0], 5).whole_may_be_shown
    kept = withheld_groups([3, 12], 5, kept=[False, True])
    assert (kept.groups, kept.whole_may_be_shown) == ((True, False), False)
    assert kept.beside_the_whole == (True, True)
    assert withheld_groups([3, 12, 20], 5).beside_the_whole == (True, True, False)


def test_a_group_that_is_hidden_anyway_needs_others_beside_it() -> None:
    found = withheld_groups([0, 9, 12], 5, forced=[True, False, False])
    assert found.groups == (True, True, False)


def test_every_size_that_fits_what_is_shown_leaves_the_withheld_ones_open() -> None:
    """By trying every size that a group could have: a brute force that knows no rule."""
    least = 3
    for sizes in product(range(7), repeat=3):
        found = withheld_groups(sizes, least)
        if not found.whole_may_be_shown or not any(found.groups):
            continue
        free = [at for at, hidden in enumerate(found.groups) if hidden]
        rest = sum(sizes[at] for at in free)
        # Whoever reads it knows that a withheld group has somebody in it.
        fits = [one for one in product(range(1, rest + 1), repeat=len(free)) if sum(one) == rest]
        for place in range(len(free)):
            possible = {one[place] for one in fits}
            assert max(possible) - min(possible) >= least, sizes
        assert rest >= least
        assert all(
            hidden for size, hidden in zip(sizes, found.groups, strict=True) if 0 < size < least
        )
