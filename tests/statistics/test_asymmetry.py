from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from casebook.domain.errors import FormulaRefused
from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.asymmetry import (
    Refused,
    asymmetries,
    asymmetry_of,
    difference,
    limb_symmetry,
    limb_symmetry_of,
    log_ratio,
    sem_of_asymmetry,
    symmetry_index,
)

positive = st.floats(0.1, 1000.0)
FORMS = (difference, symmetry_index, log_ratio)


@pytest.mark.parametrize("form", FORMS)
@given(left=positive, right=positive, sem_left=positive, sem_right=positive)
def test_swapping_the_sides_flips_the_sign_and_nothing_else(
    form, left: float, right: float, sem_left: float, sem_right: float
) -> None:
    one, other = form(left, right), form(right, left)
    assert one.value == pytest.approx(-other.value, rel=1e-12, abs=1e-9)
    assert one.refused == other.refused
    assert sem_of_asymmetry(one, sem_left, sem_right) == pytest.approx(
        sem_of_asymmetry(other, sem_right, sem_left), rel=1e-9
    )


@pytest.mark.parametrize("form", FORMS[1:])
@given(left=positive, right=positive, scale=st.floats(0.01, 100.0))
def test_a_ratio_does_not_know_its_unit(form, left: float, right: float, scale: float) -> None:
    assert form(left * scale, right * scale).value == pytest.approx(
        form(left, right).value, rel=1e-6, abs=1e-9
    )


@pytest.mark.parametrize("form", FORMS)
@given(left=positive, right=positive)
def test_the_slopes_are_the_derivatives(form, left: float, right: float) -> None:
    # Central differences: the reference here is arithmetic, not our own derivation.
    step = 1e-5
    found = form(left, right)
    to_left = (form(left + step, right).value - form(left - step, right).value) / (2 * step)
    to_right = (form(left, right + step).value - form(left, right - step).value) / (2 * step)
    assert found.left_slope == pytest.approx(to_left, rel=1e-4, abs=1e-5)
    assert found.right_slope == pytest.approx(to_right, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize(
    ("form", "rough"),
    [(difference, 0.01), (symmetry_index, 0.02), (log_ratio, 0.02)],
)
def test_the_delta_method_agrees_with_drawn_errors(form, rough: float) -> None:
    rng = np.random.default_rng(20260301)
    left, right, sem_left, sem_right, covariance = 300.0, 260.0, 9.0, 12.0, 40.0
    drawn = rng.multivariate_normal(
        [left, right], [[sem_left**2, covariance], [covariance, sem_right**2]], 200_000
    )
    spread = form(drawn[:, 0], drawn[:, 1]).value.std()
    stated = sem_of_asymmetry(form(left, right), sem_left, sem_right, covariance)
    assert stated == pytest.approx(spread, rel=rough)


def test_errors_that_move_together_cancel_in_the_difference() -> None:
    assert sem_of_asymmetry(difference(1.0, 2.0), 2.0, 2.0, 4.0) == 0.0
    # Rounding must not make a negative variance of it.
    assert sem_of_asymmetry(difference(1.0, 2.0), 0.1, 0.1, 0.010000000000001) == 0.0


@pytest.mark.parametrize(
    ("left", "right", "why"),
    [
        (-5.0, 5.0, Refused.MEAN_NEAR_ZERO),
        (0.0, 0.0, Refused.MEAN_NEAR_ZERO),
        (-1.0, 5.0, Refused.OPPOSITE_SIGNS),
        (-2.0, -5.0, Refused.NOT_POSITIVE),
        (-2.0, 0.0, Refused.NOT_POSITIVE),
    ],
)
def test_the_symmetry_index_is_refused_where_it_means_nothing(
    left: float, right: float, why: Refused
) -> None:
    found = symmetry_index(left, right)
    assert found.refused == why
    assert np.isnan(found.value)
    assert np.isnan(sem_of_asymmetry(found, 1.0, 1.0))
    with pytest.raises(FormulaRefused, match="Use the difference"):
        asymmetry_of(left, right, AsymmetryForm.PERCENT)


def test_a_mean_within_one_step_of_the_reading_is_near_zero() -> None:
    assert symmetry_index(0.5, 1.0, smallest_mean=1.0).refused == Refused.MEAN_NEAR_ZERO
    assert symmetry_index(1.5, 1.0, smallest_mean=1.0).refused == Refused.FINE


@pytest.mark.parametrize(
    ("left", "right", "why"),
    [
        (0.0, 5.0, Refused.NOT_POSITIVE),
        (-5.0, 5.0, Refused.OPPOSITE_SIGNS),
        (-2.0, -5.0, Refused.NOT_POSITIVE),
    ],
)
def test_the_log_ratio_is_refused_where_it_means_nothing(
    left: float, right: float, why: Refused
) -> None:
    assert log_ratio(left, right).refused == why
    with pytest.raises(FormulaRefused, match="log_ratio"):
        asymmetry_of(left, right, AsymmetryForm.LOG_RATIO)


@pytest.mark.parametrize(
    ("involved", "uninvolved", "why"),
    [
        (5.0, 0.0, Refused.NOT_POSITIVE),
        (5.0, -5.0, Refused.OPPOSITE_SIGNS),
        (-5.0, -5.0, Refused.NOT_POSITIVE),
    ],
)
def test_the_limb_symmetry_index_is_refused_where_it_means_nothing(
    involved: float, uninvolved: float, why: Refused
) -> None:
    value, refused = limb_symmetry(involved, uninvolved)
    assert refused == why
    assert np.isnan(value)
    with pytest.raises(FormulaRefused, match="limb symmetry"):
        limb_symmetry_of(involved, uninvolved)


def test_a_side_that_cannot_do_it_at_all_has_a_limb_symmetry_of_zero() -> None:
    assert limb_symmetry_of(0.0, 12.0) == 0.0


def test_a_metric_without_an_asymmetry_form_is_refused() -> None:
    with pytest.raises(FormulaRefused, match="no asymmetry form"):
        asymmetry_of(1.0, 2.0, AsymmetryForm.NONE)


@given(st.lists(st.tuples(positive, positive, st.sampled_from(AsymmetryForm)), min_size=1))
def test_many_pairs_give_what_each_gives_alone(
    pairs: list[tuple[float, float, AsymmetryForm]],
) -> None:
    assume(any(form is not AsymmetryForm.NONE for _, _, form in pairs))
    left, right = (np.array([pair[side] for pair in pairs]) for side in (0, 1))
    codes = np.array([list(AsymmetryForm).index(form) for _, _, form in pairs], dtype=np.int8)
    found = asymmetries(left, right, codes, np.zeros(left.size))
    for value, (one, other, form) in zip(found.value, pairs, strict=True):
        if form is AsymmetryForm.NONE:
            assert np.isnan(value)
        else:
            assert value == asymmetry_of(one, other, form)
