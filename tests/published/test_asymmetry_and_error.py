"""Formulas of asymmetry and measurement error against numbers from outside the project."""

from __future__ import annotations

import numpy as np
import pytest

from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.asymmetry import (
    Refused,
    asymmetry_of,
    difference,
    limb_symmetry_of,
    sem_of_asymmetry,
    symmetry_index,
)
from casebook.statistics.error import (
    interval_floor,
    mdc_between,
    mdc_from_sem,
    reading_floor,
    sem_from_mean_of,
    sem_from_parts,
    z_two_sided,
)

# Closed-form arithmetic: nothing but rounding may differ. Through a quantile: a little more.
CLOSED_FORM = 1e-9
THROUGH_A_QUANTILE = 1e-6


# Symmetry index: Robinson, Herzog & Nigg 1987 (formula read in a later article that quotes
# it); log ratio: Tornqvist et al. 1985 (from memory). Numbers computed once by hand arithmetic
# to ten decimals, independently of this code.
@pytest.mark.parametrize(
    ("left", "right", "index", "log"),
    [
        (100.0, 90.0, -10.5263157895, -10.5360515658),
        (90.0, 100.0, 10.5263157895, 10.5360515658),
        (2.0, 1.0, -66.6666666667, -69.3147180560),
        (50.0, 50.0, 0.0, 0.0),
    ],
)
def test_the_symmetry_index_and_the_log_ratio_have_their_tabled_values(
    left: float, right: float, index: float, log: float
) -> None:
    assert asymmetry_of(left, right, AsymmetryForm.PERCENT) == pytest.approx(
        index, rel=CLOSED_FORM, abs=1e-10
    )
    assert asymmetry_of(left, right, AsymmetryForm.LOG_RATIO) == pytest.approx(
        log, rel=CLOSED_FORM, abs=1e-10
    )


# The warning that the index explodes where values cross zero, with 1 and -0.5 giving -600 %,
# stands in a review of symmetry indices (BMC Sports Sci Med Rehabil 2021, s13102-021-00355-4).
def test_the_explosion_of_the_symmetry_index_across_zero_is_refused() -> None:
    assert 200.0 * (-0.5 - 1.0) / (-0.5 + 1.0) == -600.0
    assert symmetry_index(1.0, -0.5).refused == Refused.OPPOSITE_SIGNS


# Limb symmetry index as in Bishop et al. 2018 (formula from memory): 90 of 100 is 90 %.
def test_the_limb_symmetry_index_is_involved_in_percent_of_uninvolved() -> None:
    assert limb_symmetry_of(90.0, 100.0) == pytest.approx(90.0, rel=CLOSED_FORM)


# Bennett 1948 (formulas from memory): step / sqrt(12), and sqrt(2) times that for a difference
# of two readings. Numbers to 9 digits from the closed form by other software.
@pytest.mark.parametrize(
    ("step", "expected"), [(1.0, 0.288675134594813), (0.5, 0.1443375672974065)]
)
def test_the_floor_of_a_reading_is_that_of_uniform_rounding(step: float, expected: float) -> None:
    assert reading_floor(step) == pytest.approx(expected, rel=CLOSED_FORM)


@pytest.mark.parametrize(
    ("frames_per_s", "instant", "interval"),
    [
        (60.0, 4.811252243, 6.804138174),
        (120.0, 2.405626122, 3.402069087),
        (240.0, 1.202813061, 1.701034544),
    ],
)
def test_the_floor_of_an_interval_on_video_is_that_of_two_rounded_instants(
    frames_per_s: float, instant: float, interval: float
) -> None:
    assert reading_floor(1000.0 / frames_per_s) == pytest.approx(instant, abs=5e-10)
    assert interval_floor(frames_per_s) == pytest.approx(interval, abs=5e-10)


# Rounding checked by drawing: 2 million draws of a rounded difference, as anyone can repeat.
def test_drawn_roundings_have_the_stated_spread() -> None:
    rng = np.random.default_rng(1948)
    error = rng.random(400_000) - rng.random(400_000)
    assert error.std() == pytest.approx(
        float(interval_floor(1000.0)), abs=4 * error.std() / np.sqrt(800_000)
    )


# Weir 2005 (method from memory): two trials of 8 subjects give a mean square error whose root
# is 7.5569268130; MDC95 and MDC90 computed in R 4.2.2.
def test_the_mdc_of_weirs_example_is_found() -> None:
    sem = 7.5569268130
    assert mdc_from_sem(sem) == pytest.approx(20.9463475410, rel=THROUGH_A_QUANTILE)
    assert mdc_from_sem(sem, level=0.90) == pytest.approx(17.5787289950, rel=THROUGH_A_QUANTILE)


# Shrout & Fleiss 1979, six targets by four judges: SEM 1.0096754154, MDC95 computed in R 4.2.2.
def test_the_mdc_of_shrout_and_fleiss_data_is_found() -> None:
    assert mdc_from_sem(1.0096754154) == pytest.approx(2.7986260391, rel=THROUGH_A_QUANTILE)


# Jacobson & Truax 1991 (numbers from memory): s 7.5, r .80, from 32.5 to 47.5. Standard error
# 3.3541, S_diff 4.7434, reliable change index 3.1623; 1.96 S_diff is the MDC95.
def test_reliable_change_and_mdc_are_the_same_thing() -> None:
    sem = 7.5 * np.sqrt(1 - 0.80)
    assert sem == pytest.approx(3.3541019662, rel=CLOSED_FORM)
    mdc = float(mdc_between(sem, sem))
    assert mdc == pytest.approx(9.2969254846, rel=THROUGH_A_QUANTILE)
    s_diff = mdc / z_two_sided()
    assert s_diff == pytest.approx(4.7434164903, rel=CLOSED_FORM)
    assert (47.5 - 32.5) / s_diff == pytest.approx(3.1622776602, rel=CLOSED_FORM)


# Nuchal-fold example in J M Bland's teaching notes (University of York, clinical measurement):
# 0.56, 0.46, 0.44 mm for the mean of 1, 2, 3 readings. Only those three rounded numbers were
# read; they are held against sb2 + sw2/n: two of them give the parts, the third is foretold.
def test_averaging_readings_shrinks_only_the_part_within_as_in_blands_example() -> None:
    one, two, three = 0.56, 0.46, 0.44
    within = np.sqrt(2 * (one**2 - two**2))
    between = np.sqrt(one**2 - within**2)
    assert sem_from_parts(between, within, 0.0, 1) == pytest.approx(one, rel=CLOSED_FORM)
    foretold = float(sem_from_parts(between, within, 0.0, 3))
    # Each published number is rounded by up to 0.005; at three readings that leaves 0.02.
    assert foretold == pytest.approx(three, abs=0.02)
    # Had all of it averaged out, three readings would have given 0.32.
    assert abs(foretold - three) < abs(one / np.sqrt(3) - three)


# The same example the other way: from the figure for a mean of three to that for one reading.
def test_a_figure_for_a_mean_of_three_is_taken_back_to_one_reading() -> None:
    within = np.sqrt(2 * (0.56**2 - 0.46**2))
    assert sem_from_mean_of(0.44, 3, within, 0.0, 1) == pytest.approx(0.56, abs=0.02)


# Textbook propagation (JCGM 100:2008, section 5, from memory): MDC of a change in a side
# difference from sides of SEM s is 1.96 * 2 * s.
def test_the_mdc_of_a_change_in_a_side_difference_is_twice_z_times_the_sem() -> None:
    of_difference = sem_of_asymmetry(difference(10.0, 12.0), 1.0, 1.0)
    assert mdc_from_sem(of_difference) == pytest.approx(3.919927969, rel=THROUGH_A_QUANTILE)
