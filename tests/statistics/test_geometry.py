"""Angles and distances keep exact identities, agree with a published exercise, and their errors
with a simulation."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from casebook.statistics import geometry_segments as segments
from casebook.statistics.error import interval_floor
from casebook.statistics.geometry import Point, across_cm, lean_deg, middle, turn_deg, upright
from casebook.statistics.geometry_spread import (
    difference_of_means,
    nominal,
    repeated_sd,
    spread_of_trials,
    std_dev,
    widened_sd,
    with_error,
)

coordinate = st.floats(-100.0, 100.0)
points = st.builds(Point, coordinate, coordinate)


def apart(*listed: Point) -> None:
    assume(all(math.hypot(a.x - b.x, a.y - b.y) > 1.0 for a, b in pairwise(listed)))


def mirrored(point: Point) -> Point:
    return Point(-point.x, point.y)


def same_angle(one: float, other: float, *, within: float = 1e-7) -> bool:
    return abs((one - other + 180.0) % 360.0 - 180.0) < within


def test_a_published_exercise_of_a_knee_angle_from_coordinates_comes_out() -> None:
    """Exercise of a biomechanics course with its answer, 29.42 degrees, as quoted in the thread
    'Segment and joint angles problem' (Physics Forums 251371, 2008): joint angle = angle of the
    thigh minus that of the lower leg."""
    hip, knee, ankle = Point(1.0183, 0.7959), Point(1.1223, 0.5042), Point(1.0539, 0.1081)
    assert segments.knee_flexion_deg(hip, knee, ankle, ahead=1) == pytest.approx(29.42, abs=0.005)


@given(points, points, points)
@settings(max_examples=50)
def test_a_knee_angle_is_that_of_the_law_of_cosines(hip: Point, knee: Point, ankle: Point) -> None:
    apart(hip, knee, ankle, hip)
    a, b, c = (
        math.dist((p.x, p.y), (q.x, q.y)) for p, q in ((hip, knee), (knee, ankle), (hip, ankle))
    )
    inner = math.degrees(math.acos(max(-1.0, min(1.0, (a * a + b * b - c * c) / (2 * a * b)))))
    flexion = segments.knee_flexion_deg(hip, knee, ankle, ahead=1)
    assert abs(flexion) == pytest.approx(180.0 - inner, abs=2e-4)


def test_known_triangles() -> None:
    heel, toe = Point(0.0, 0.0), Point(4.0, 3.0)
    assert segments.foot_angle_deg(heel, toe, ahead=1) == pytest.approx(36.8698976)
    assert lean_deg(heel, Point(1.0, math.sqrt(3.0))) == pytest.approx(30.0)
    one, other = Point(1.0, 0.0), Point(0.5, math.sqrt(0.75))
    assert turn_deg((heel, one), (heel, other)) == pytest.approx(60.0)  # equal sides
    assert across_cm(Point(10.0, 5.0), Point(30.0, -9.0), 4.0, direction=-1) == -5.0
    assert middle(heel, toe) == Point(2.0, 1.5)


JOINTS: dict[str, Callable[..., float]] = {
    "knee": lambda p, s: segments.knee_flexion_deg(p[0], p[1], p[2], ahead=s),
    "ankle": lambda p, s: segments.ankle_dorsiflexion_deg(p[0], p[1], p[2], p[3], ahead=s),
    "hip": lambda p, s: segments.hip_extension_deg(p[0], p[1], p[2], ahead=s),
    "rearfoot": lambda p, s: segments.rearfoot_eversion_deg(p[0], p[1], p[2], p[3], outward=s),
}
SEGMENTS: dict[str, tuple[Callable[..., float], int]] = {
    "heel": (lambda p, s: segments.heel_inversion_deg(p[0], p[1], outward=s), -1),
    "lower leg behind": (lambda p, s: segments.lower_leg_in_deg(p[0], p[1], outward=s), 1),
    "thigh behind": (lambda p, s: segments.thigh_in_deg(p[0], p[1], outward=s), -1),
    "pelvis": (lambda p, s: segments.pelvic_drop_deg(p[0], p[1], outward=s), 1),
    "trunk": (lambda p, s: segments.trunk_side_lean_deg(p[0], p[1], outward=s), -1),
    "foot": (lambda p, s: segments.foot_angle_deg(p[0], p[1], ahead=s), 1),
    "lower leg": (lambda p, s: segments.shank_angle_deg(p[0], p[1], ahead=s), 1),
    "whole body": (lambda p, s: segments.forward_lean_deg(p[0], p[1], ahead=s), -1),
}


@given(st.lists(points, min_size=4, max_size=4), st.floats(-180.0, 180.0), st.floats(0.1, 10.0))
@settings(max_examples=40)
def test_joint_angles_stay_when_the_picture_is_turned_enlarged_and_shifted(
    listed: list[Point], turn: float, scale: float
) -> None:
    apart(*listed)
    moved = [
        Point(scale * turned.x + 7.0, scale * turned.y - 3.0)
        for turned in (upright(point, turn) for point in listed)
    ]
    for joint in JOINTS.values():
        assert same_angle(joint(moved, 1), joint(listed, 1))


@given(st.lists(points, min_size=4, max_size=4), st.floats(-180.0, 180.0))
@settings(max_examples=40)
def test_segment_angles_turn_with_the_picture_and_by_exactly_as_much(
    listed: list[Point], turn: float
) -> None:
    apart(*listed)
    turned = [upright(point, turn) for point in listed]
    for angle, sign in SEGMENTS.values():
        assert same_angle(angle(turned, 1), angle(listed, 1) + sign * turn)


@given(st.lists(points, min_size=4, max_size=4))
@settings(max_examples=40)
def test_the_mirrored_leg_reads_like_the_other_leg(listed: list[Point]) -> None:
    apart(*listed)
    seen = [mirrored(point) for point in listed]
    for angle in (*JOINTS.values(), *(angle for angle, _ in SEGMENTS.values())):
        assert same_angle(angle(seen, -1), angle(listed, 1))


def test_a_plumb_line_is_upright_after_the_picture_was_turned_by_its_lean() -> None:
    low, high = Point(3.0, 1.0), Point(5.0, 91.0)
    lean = lean_deg(low, high)
    assert lean_deg(upright(low, lean), upright(high, lean)) == pytest.approx(0.0, abs=1e-12)


def test_first_order_errors_agree_with_a_simulation_of_markings() -> None:
    """4,000 draws know a standard deviation to 1.1 %, and 40,000 to 0.35 %."""
    draw = np.random.default_rng(20261127)
    leg = np.array([[40.0, 330.0], [46.0, 210.0], [10.0, 90.0], [20.0, 40.0]])
    noise = draw.normal(0.0, 1.5, (40_000, 4, 2))
    for angle in (*JOINTS.values(), *(angle for angle, _ in SEGMENTS.values())):
        exact = angle([Point(with_error(x, 1.5), with_error(y, 1.5)) for x, y in leg], 1)
        drawn = [angle([Point(x, y) for x, y in one], 1) for one in (leg + noise[:4_000]).tolist()]
        off = (np.array(drawn) - nominal(exact) + 180.0) % 360.0 - 180.0
        assert np.std(off) == pytest.approx(std_dev(exact), rel=0.05)
    scale = with_error(4.0, 0.05)
    wide = across_cm(Point(with_error(0.0, 1.5), 0.0), Point(with_error(200.0, 1.5), 0.0), scale)
    drawn_scale = draw.normal(4.0, 0.05, 40_000)
    simulated = (200.0 + noise[:, 0, 0] - noise[:, 1, 0]) / drawn_scale
    assert np.std(simulated) == pytest.approx(std_dev(wide), rel=0.02)


@given(
    st.integers(1, 12),
    st.floats(0.01, 10.0),
    st.floats(0.01, 10.0),
)
@settings(max_examples=40)
def test_what_is_stored_divided_by_the_root_of_n_is_the_error_of_the_mean(
    n: int, own: float, shared: float
) -> None:
    common = with_error(0.0, shared)
    found = spread_of_trials([with_error(5.0, own) + common for _ in range(n)])
    assert found.stored == pytest.approx(math.sqrt(own**2 + n * shared**2))
    assert found.stored / math.sqrt(n) == pytest.approx(found.mean_sd)
    if n > 1:
        assert (found.own, found.shared) == pytest.approx((own, shared))


def test_errors_that_cancel_in_the_mean_still_count_in_full_for_a_trial() -> None:
    contacts = [with_error(float(at), 1.0) for at in range(5)]
    strides = [after - before for before, after in pairwise(contacts)]
    found = spread_of_trials(strides)
    assert found.mean_sd == pytest.approx(math.sqrt(2.0) / 4.0)  # first and last contact only
    assert found.stored == pytest.approx(math.sqrt(2.0))


@pytest.mark.parametrize("n", [1, 3, 10, 40])
def test_shared_contacts_make_the_asymmetry_of_step_times_up_to_root_2_less_certain(
    n: int,
) -> None:
    """Variance of the difference (8 n - 2) / n^2; of independent sides 4 / n."""
    contacts = [with_error(float(at), 1.0) for at in range(2 * n + 1)]
    steps = [after - before for before, after in pairwise(contacts)]
    left, right = steps[0::2], steps[1::2]
    _, sd = difference_of_means(right, left)
    assert sd**2 == pytest.approx((8 * n - 2) / n**2)
    independent = math.hypot(spread_of_trials(left).mean_sd, spread_of_trials(right).mean_sd)
    assert sd / independent == pytest.approx(math.sqrt(2.0 - 1.0 / (2.0 * n)))


def test_two_frames_give_a_time_the_error_that_the_frame_rate_sets() -> None:
    one, other = (with_error(at, 1.0 / math.sqrt(12.0)) for at in (10.0, 40.0))
    assert std_dev(1000.0 * (other - one) / 120.0) == pytest.approx(float(interval_floor(120.0)))


@pytest.mark.parametrize("degrees", [1, 2, 5])
def test_a_widened_deviation_holds_95_percent_however_few_the_repeats(degrees: int) -> None:
    draw = np.random.default_rng(degrees)
    error = draw.normal(size=100_000)
    estimated = np.sqrt(draw.chisquare(degrees, 100_000) / degrees)
    inside = np.abs(error) <= 1.959964 * widened_sd(1.0, degrees) * estimated
    assert inside.mean() == pytest.approx(0.95, abs=0.003)
    assert (np.abs(error) <= 1.959964 * estimated).mean() < 0.93  # as it would be untouched


def test_nothing_marked_twice_tells_no_deviation() -> None:
    sd, degrees = repeated_sd([("a", 1.0), ("b", 2.0)])
    assert (math.isnan(sd), degrees) == (True, 0)
    with pytest.raises(ValueError, match="expected 1 or more"):
        widened_sd(1.0, 0)
    assert (nominal(with_error(2.0, 0.0)), std_dev(2.0)) == (2.0, 0.0)
