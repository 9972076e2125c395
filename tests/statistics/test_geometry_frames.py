"""From marks to metrics: exact angles come back, errors are shared as they are, and a frame that
can't be right gives nothing and says why."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from casebook.domain.marking import (
    LANDMARKS_OF,
    FrameNote,
    Landmark,
    MarkedEvent,
    MarkedPoint,
    Marks,
    MarkSettings,
    Measured,
    Moment,
)
from casebook.domain.sides import Side
from casebook.statistics.geometry_measure import asymmetry_words, measure
from tests.statistics.marked_runner import (
    RATE,
    SCALE,
    L,
    P,
    Places,
    S,
    event,
    filmed,
    from_behind,
    leg_from_the_side,
    marks,
    plumb,
    steps,
)

LEFT, RIGHT, NONE = Side.LEFT, Side.RIGHT, Side.NONE
MID = 25  # the middle of the first contact, frames 10 to 40
KNOWN = MarkSettings(point_sd_px=1.0, speed_km_h=10.8)


def values(measured: Measured) -> dict[tuple[str, Side], float]:
    return {(one.metric, one.side): one.mean for one in measured.values}


def codes(measured: Measured) -> set[str]:
    return {note.code for note in measured.notes}


def told(measured: Measured, code: str) -> FrameNote:
    return next(note for note in measured.notes if note.code == code)


def side_leg(side: Side = RIGHT, ahead: int = 1, **changes: float) -> Places:
    angles = {"foot": 12.0, "shank": -6.0, "thigh": -21.0, "trunk": 8.0, "lean": 5.0} | changes
    return leg_from_the_side(side, ahead=ahead, **angles)


def stance_behind(side: Side, **changes: float) -> Places:
    angles = {"inversion": -4.0, "leg_in": 3.0, "thigh_in": 9.0, "drop": 6.0, "lean": 2.5}
    return from_behind(side, **(angles | changes))


def one_stance(side: Side = RIGHT, view: object = S) -> list:  # type: ignore[type-arg]
    return steps(1, first=side, view=view)  # type: ignore[arg-type]


@pytest.mark.parametrize("ahead", [1, -1])
@pytest.mark.parametrize("lean", [0.0, 3.0, -7.0])
def test_exact_angles_of_the_side_view_come_back_whichever_way_the_runner_runs(
    ahead: int, lean: float
) -> None:
    side = RIGHT if ahead > 0 else LEFT
    points = [
        point
        for frame in (10, MID, 30, 40)
        for point in filmed(S, frame, side_leg(side, ahead) | plumb(), lean=lean)
    ]
    events = [*one_stance(side), event(30, Moment.HEEL_RISE, side)]
    found = values(measure(marks(points, events), KNOWN))
    expected = {
        ("foot_angle_at_contact", side): 12.0,
        ("shank_angle_at_contact", side): 6.0,  # the knee leans back, the ankle is in front
        ("knee_flexion_at_contact", side): 15.0,
        ("knee_flexion_midstance", side): 15.0,
        ("ankle_dorsiflexion_peak", side): -6.0 + 12.0,
        ("ankle_angle_heel_rise", side): -6.0 + 12.0,
        # The hip lies behind the knee and the trunk leans forward: flexed, not extended.
        ("hip_extension_toe_off", side): -21.0 - 8.0,
        ("forward_lean", NONE): 5.0,
        ("foot_ahead_of_body", side): 12.0,
    }
    assert {key: found[key] for key in expected} == pytest.approx(expected, abs=1e-9)
    assert found["heel_rise_timing", side] == pytest.approx(100.0 * 20 / 30)
    assert found["contact_time", side] == pytest.approx(250.0)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
@pytest.mark.parametrize("lean", [0.0, 2.0])
def test_exact_angles_from_behind_come_back_for_either_leg(side: Side, lean: float) -> None:
    points = [
        point
        for frame in (10, 20, MID, 30)
        for point in filmed(P, frame, stance_behind(side) | plumb(), lean=lean)
    ]
    measured = measure(marks(points, one_stance(side, P)), KNOWN)
    found = values(measured)
    expected = {
        ("foot_inversion_at_contact", side): -4.0,
        ("rearfoot_eversion_peak", side): 4.0 - 3.0,
        ("lower_leg_angle_posterior", side): 3.0,
        ("knee_travel_to_midline", side): 9.0,
        ("contralateral_pelvic_drop", side): 6.0,
        ("trunk_side_lean", side): 2.5,
    }
    assert {key: found[key] for key in expected} == pytest.approx(expected, abs=1e-9)
    assert ("not_level" in codes(measured)) == (lean != 0.0)
    assert "level_assumed" not in codes(measured)


def test_times_rates_and_lengths_of_steps() -> None:
    """42 frames a step at 120 a second: 350 ms; 10.8 km/h are 300 cm a second."""
    found = values(measure(marks(events=steps(6)), KNOWN))
    for side in (LEFT, RIGHT):
        assert found["step_time", side] == pytest.approx(350.0)
        assert found["contact_time", side] == pytest.approx(250.0)
        assert found["flight_time", side] == pytest.approx(100.0)
        assert found["step_length", side] == pytest.approx(105.0)
        assert found["stride_length", side] == pytest.approx(210.0)
        assert found["duty_factor", side] == pytest.approx(100.0 * 250 / 700)
    assert found["cadence", NONE] == pytest.approx(60_000 / 350)


def test_one_foot_alone_gives_strides_but_no_steps() -> None:
    events = [one for one in steps(6) if one.side is RIGHT]
    found = values(measure(marks(events=events), KNOWN))
    assert found["cadence", NONE] == pytest.approx(60_000 / 350)
    assert not {metric for metric, _ in found} & {"step_time", "flight_time", "step_length"}


def test_shared_contacts_and_speed_are_told_where_left_and_right_are_compared() -> None:
    measured = measure(
        marks(events=steps(21)), replace(KNOWN, event_sd_frames=1.0, speed_sd_km_h=0.3)
    )
    by = {one.metric: one for one in measured.asymmetries}
    step, frame = by["step_time"], 1000.0 / RATE
    # The choice of the frame is each contact's own; its rounding may be one for all of a foot.
    assert step.sd == pytest.approx(frame * math.sqrt((8 * 10 - 2) / 10**2 + 2**2 / 6))
    assert step.sd_if_independent == pytest.approx(frame * math.sqrt(4 / 10 + 2 / 6))
    assert "share their contacts" in asymmetry_words(step)
    assert asymmetry_words(by["contact_time"]) == ""
    assert "cancels" in asymmetry_words(by["stride_length"])
    left = next(one for one in measured.values if (one.metric, one.side) == ("step_length", LEFT))
    assert left.shared_sd == pytest.approx(105.0 * math.hypot(0.3 / 10.8, frame / 350 / 6**0.5))
    assert left.own_sd is not None
    assert left.marking_sd == pytest.approx(math.hypot(left.own_sd, left.shared_sd * math.sqrt(10)))
    assert left.marking_sd / math.sqrt(10) == pytest.approx(left.mean_sd)


STANCES, FILMS = 15, 4_000


@pytest.mark.parametrize("rate", [30, 60, 240])
@pytest.mark.parametrize("jitter", [0.0, 0.003, 0.008])
def test_times_from_frames_hold_95_percent_though_strides_may_be_whole_frames(
    rate: int, jitter: float
) -> None:
    """Films of 15 stances, their strides a whole number of frames, nearly so, or of any length;
    steps vary by `jitter` seconds. Errors are against the mean of those very steps."""
    draw = np.random.default_rng(round(rate + 1e6 * jitter))
    for least, most in ((0.0, 0.0), (0.02, 0.02), (0.0, 1.0)):  # frames more than a whole number
        stride = (0.7 * rate + draw.uniform(least, most, (FILMS, 1))) / rate
        first = stride / 2 * draw.uniform(0.94, 1.06, (FILMS, 1))
        lasting = np.where(np.arange(STANCES - 1) % 2 == 0, first, stride - first)
        lasting = lasting + jitter * draw.standard_normal(lasting.shape)
        touch = np.cumsum(np.hstack([draw.uniform(0.1, 0.2, (FILMS, 1)), lasting]), axis=1)
        held = np.tile(draw.uniform(0.2, 0.3, (FILMS, 2)), STANCES)[:, :STANCES]
        off_at = touch + held + jitter * draw.standard_normal(held.shape)
        seen = [np.ceil(at * rate) for at in (touch, off_at)]
        filmed = [
            event(int(frames[0, k]), moment, (LEFT, RIGHT)[k % 2])
            for k in range(STANCES)
            for frames, moment in zip(seen, (Moment.CONTACT, Moment.TOE_OFF), strict=True)
        ]
        measured = measure(Marks(events=tuple(filmed)), MarkSettings(frames_per_s=rate))
        stated = {(one.metric, one.side): one for one in measured.values}
        errors: dict[tuple[str, Side], np.ndarray] = {}
        for metric, was, read in (
            ("contact_time", off_at - touch, seen[1] - seen[0]),
            ("step_time", np.diff(touch), np.diff(seen[0])),
        ):
            start = STANCES - was.shape[1]
            for side in (LEFT, RIGHT):
                mine = slice((0 if side is LEFT else 1) ^ start, None, 2)
                mean = 1000 / rate * read[:, mine].mean(axis=1)
                assert stated[metric, side].mean == pytest.approx(mean[0])
                errors[metric, side] = mean - 1000 * was[:, mine].mean(axis=1)
                assert holds(errors[metric, side], stated[metric, side].mean_sd) > 0.93
                stored = stated[metric, side].marking_sd
                assert stored / math.sqrt(read[:, mine].shape[1]) == pytest.approx(
                    stated[metric, side].mean_sd
                )
            apart = next(one for one in measured.asymmetries if one.metric == metric)
            assert holds(errors[metric, RIGHT] - errors[metric, LEFT], apart.sd) > 0.93
        if least > 0.0 and jitter == 0.0:
            continue  # One stride for all: its rate is off by either of two numbers.
        rates = [(120 / np.diff(at[:, ::2])).mean(axis=1) for at in (touch, seen[0] / rate)]
        assert holds(rates[1] - rates[0], stated["cadence", NONE].mean_sd) > 0.93


def holds(error: np.ndarray, sd: float | None) -> float:
    assert sd is not None
    return float(np.mean(np.abs(error) <= 1.959964 * sd + 1e-9))


def test_a_leaning_camera_and_a_wrong_scale_are_shared_by_all_trials_and_kept_apart() -> None:
    points, events = [], []
    for one in steps(6, view=P):
        events.append(one)
        if one.moment is Moment.CONTACT:
            for frame in (one.frame, one.frame + 15):
                points += filmed(P, frame, stance_behind(one.side))
    marking = MarkSettings(point_sd_px=0.5, tilt_sd_deg=2.0, px_per_cm_sd=0.4)
    measured = measure(marks(points, events), marking)
    by = {(one.metric, one.side): one for one in measured.values}
    lean = by["trunk_side_lean", LEFT]
    assert lean.shared_sd == pytest.approx(2.0)
    assert lean.marking_sd / math.sqrt(len(lean.trials)) == pytest.approx(lean.mean_sd)
    assert lean.marking_sd > 2.0 * math.sqrt(3)
    # The lean moves the sides apart: 4 degrees, and not 2 times the root of 2.
    apart = next(one for one in measured.asymmetries if one.metric == "trunk_side_lean")
    assert apart.sd == pytest.approx(4.0, rel=0.02)
    assert apart.sd_if_independent == pytest.approx(2.0 * math.sqrt(2), rel=0.02)
    assert "one camera's lean" in asymmetry_words(apart)
    width = by["step_width", NONE]
    assert (width.mean, width.shared_sd) == pytest.approx((8.0, 8.0 * 0.4 / SCALE), rel=0.01)
    assert "give or take 2 degrees" in told(measured, "level_assumed").message
    assert "scale_exact" not in codes(measured)


def test_repeated_marks_tell_how_well_a_point_was_marked_and_few_are_allowed_for() -> None:
    first = filmed(S, 10, side_leg(), repeat=1)
    again = [
        replace(one, x_px=one.x_px + 2.0, y_px=one.y_px - 2.0, repeat=2)
        for one in filmed(S, 10, side_leg())
    ]
    measured = measure(marks([*first, *again], one_stance()), MarkSettings())
    # Each pair differs by 2: SD 1.414 with 16 degrees of freedom, times t / z.
    assert measured.point_sd_px == pytest.approx(math.sqrt(2.0) * 2.1199053 / 1.9599640)
    assert all(one.marking_sd for one in measured.values)
    assert measure(marks(first, one_stance()), MarkSettings()).values[0].marking_sd is None


def test_without_any_error_of_a_point_only_times_carry_one() -> None:
    measured = measure(marks(filmed(S, 10, side_leg()), steps(3)), MarkSettings())
    known = {one.metric for one in measured.values if one.marking_sd is not None}
    assert known == {"contact_time", "flight_time", "step_time", "cadence", "duty_factor"}
    assert "point_error_unknown" in codes(measured)
    assert "no_speed" in codes(measured)


def test_repeated_moments_tell_their_error_and_a_repeat_that_lacks_one_is_left_out() -> None:
    first, second = steps(2), [replace(one, repeat=2, frame=one.frame + 2) for one in steps(2)]
    measured = measure(marks(events=[*first, *second]), KNOWN)
    # Each of four pairs differs by 2 frames; t(0.975, 4) / z.
    assert measured.event_sd_frames == pytest.approx(math.sqrt(2.0) * 2.7764451 / 1.9599640)
    assert values(measured)["step_time", LEFT] == pytest.approx(350.0)
    ragged = [replace(first[0], repeat=2), replace(first[0], repeat=2, frame=700)]
    assert "repeats_differ" in codes(measure(marks(events=[*first, *ragged]), KNOWN))


def test_readings_of_the_scale_that_differ_tell_its_error() -> None:
    read = replace(marks(filmed(S, 10, side_leg()), one_stance()), px_per_cm={S: (3.9, 4.0, 4.1)})
    measured = measure(read, MarkSettings(point_sd_px=0.001))
    (ahead,) = (one for one in measured.values if one.metric == "foot_ahead_of_body")
    error = 0.1 * 4.3026527 / 1.9599640 / math.sqrt(3)
    assert ahead.marking_sd == pytest.approx(12.0 * error / 4.0, rel=1e-3)
    assert "mean of 3 readings" in told(measured, "scale_repeated").message


def moved(points: list[MarkedPoint], landmark: Landmark, **to: object) -> list[MarkedPoint]:
    return [
        replace(one, **to) if one.landmark is landmark else one  # type: ignore[arg-type]
        for one in points
    ]


def without(points: list[MarkedPoint], landmark: Landmark) -> list[MarkedPoint]:
    return [one for one in points if one.landmark is not landmark]


SIDE_FRAME = filmed(S, 10, side_leg())
KNEE = next(one for one in SIDE_FRAME if one.landmark is L.KNEE)
BEHIND = filmed(P, MID, stance_behind(RIGHT))
OTHER_ANKLE = replace(
    next(one for one in SIDE_FRAME if one.landmark is L.ANKLE), side=LEFT, x_px=1500.0
)

WRONG: dict[str, tuple[Marks, str, int | None, set[str]]] = {
    "two points in one place": (
        marks(moved(SIDE_FRAME, L.HIP, x_px=KNEE.x_px, y_px=KNEE.y_px), one_stance()),
        "coincident",
        10,
        {"knee_flexion_at_contact"},
    ),
    "two points as near as their errors": (
        marks(moved(SIDE_FRAME, L.HIP, x_px=KNEE.x_px, y_px=KNEE.y_px - 4.0), one_stance()),
        "coincident",
        10,
        {"knee_flexion_at_contact"},
    ),
    "a foot on one line": (
        marks(
            [
                *filmed(S, 10, side_leg()),
                *moved(filmed(S, 20, side_leg(foot=0.0)), L.ANKLE, y_px=900.0),
            ],
            one_stance(),
        ),
        "collinear",
        20,
        set(),
    ),
    "left and right swapped from behind": (
        marks(
            [replace(one, side={LEFT: RIGHT, RIGHT: LEFT, NONE: NONE}[one.side]) for one in BEHIND],
            one_stance(LEFT, P),
        ),
        "left_right_confused",
        MID,
        {"contralateral_pelvic_drop", "trunk_side_lean"},
    ),
    "the other foot lands": (
        marks([*SIDE_FRAME, OTHER_ANKLE], one_stance()),
        "left_right_confused",
        10,
        {"knee_flexion_at_contact", "foot_ahead_of_body"},
    ),
    "y counted upwards": (
        marks([replace(one, y_px=1800.0 - one.y_px) for one in SIDE_FRAME], one_stance()),
        "upside_down",
        10,
        {"knee_flexion_at_contact"},
    ),
    "heel and toe swapped in one of three frames": (
        marks(
            [
                *filmed(S, 20, side_leg()),
                *filmed(S, MID, side_leg()),
                *moved(SIDE_FRAME, L.TOE, x_px=700.0),
            ],
            one_stance(),
        ),
        "facing_odd",
        10,
        {"foot_angle_at_contact"},
    ),
    "no foot tells the direction": (
        marks(without(SIDE_FRAME, L.TOE), one_stance()),
        "facing",
        None,
        {"knee_flexion_at_contact"},
    ),
    "a missing ankle": (
        marks([*without(SIDE_FRAME, L.ANKLE), *filmed(S, 52, side_leg(LEFT))], steps(2)),
        "point_missing",
        10,
        {"-"},
    ),
    "a frame outside of every stance": (
        marks([*SIDE_FRAME, *filmed(S, 900, side_leg())], one_stance()),
        "outside_stances",
        900,
        set(),
    ),
    "half a plumb line": (
        marks(without(filmed(S, 10, side_leg() | plumb()), L.PLUMB_LOW), one_stance()),
        "plumb_incomplete",
        10,
        set(),
    ),
    "a plumb line without length": (
        marks(
            moved(
                moved(filmed(S, 10, side_leg() | plumb()), L.PLUMB_LOW, x_px=1.0, y_px=1.0),
                L.PLUMB_HIGH,
                x_px=1.0,
                y_px=1.0,
            ),
            one_stance(),
        ),
        "coincident",
        10,
        set(),
    ),
    "no scale": (
        replace(marks(SIDE_FRAME, one_stance()), px_per_cm={}),
        "no_scale",
        None,
        {"foot_ahead_of_body"},
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_can_not_be_right_is_told_with_its_frame_and_gives_no_value(name: str) -> None:
    given, code, frame, absent = WRONG[name]
    measured = measure(given, KNOWN)
    note = told(measured, code)
    assert (note.frame, note.withheld) == (frame, True)
    assert not {metric for metric, _ in values(measured)} & absent


def test_a_mirrored_picture_is_found_by_both_hips_and_else_said_to_be_taken_as_it_is() -> None:
    def of(*landmarks: tuple[Landmark, Side], file: str) -> list[MarkedPoint]:
        whole = stance_behind(RIGHT) | {(L.HIP, LEFT): (-12.0, 90.0)}
        kept = {key: place for key, place in whole.items() if key in landmarks}
        return [replace(one, x_px=1920.0 - one.x_px, file=file) for one in filmed(P, MID, kept)]

    leg = [(L.HEEL_LOW, RIGHT), (L.HEEL_HIGH, RIGHT), (L.ANKLE, RIGHT), (L.KNEE, RIGHT)]
    one_leg = of(*leg, (L.HIP, RIGHT), (L.PELVIS, LEFT), file="leg.csv")
    alone = measure(marks(one_leg, one_stance(view=P)), KNOWN)
    note = told(alone, "mirror_untold")
    assert "taken as not mirrored, left being the runner's left" in note.message
    assert (note.withheld, note.message.startswith("the picture")) == (False, True)
    assert values(alone)["lower_leg_angle_posterior", RIGHT] == pytest.approx(-3.0)
    for pair in (L.HIP, L.PELVIS):
        both = of(*leg, (pair, RIGHT), (pair, LEFT), file="both.csv")
        found = measure(marks(both, one_stance(view=P)), KNOWN)
        assert "left_right_confused" in codes(found)
        assert "mirror_untold" not in codes(found)
        of_two = measure(marks([*both, *one_leg[:4]], one_stance(view=P)), KNOWN)
        assert told(of_two, "mirror_untold").message.startswith("leg.csv: the picture is taken")
    # From the side no sign hangs on it.
    assert "mirror_untold" not in codes(
        measure(marks(filmed(S, 10, side_leg()), one_stance()), KNOWN)
    )


def test_a_missing_point_names_what_is_missing_and_what_is_not_read() -> None:
    measured = measure(WRONG["a missing ankle"][0], KNOWN)
    said = {note.message for note in measured.notes if note.code == "point_missing"}
    assert "knee_flexion_at_contact is not read: right ankle not marked." in said


OFF, ON, RISE, HALF = Moment.TOE_OFF, Moment.CONTACT, Moment.HEEL_RISE, Moment.MID_STANCE
ORDERS: dict[str, tuple[list[tuple[int, Moment, Side]], int]] = {
    "toe_off_before_contact": ([(30, ON, RIGHT), (10, OFF, RIGHT)], 10),
    "toe_off_at_contact": ([(30, ON, RIGHT), (30, OFF, RIGHT)], 30),
    "toe_off_twice": ([(10, ON, RIGHT), (40, OFF, RIGHT), (45, OFF, RIGHT)], 45),
    "heel_rise_after_toe_off": ([(10, ON, RIGHT), (40, OFF, RIGHT), (44, RISE, RIGHT)], 44),
    "same_foot_twice": ([(10, ON, RIGHT), (90, ON, RIGHT), (132, ON, LEFT)], 90),
    "both_feet_down": ([(10, ON, RIGHT), (60, OFF, RIGHT), (52, ON, LEFT)], 52),
    "contacts_together": ([(10, ON, RIGHT), (40, OFF, RIGHT), (10, ON, LEFT)], 10),
    "no_toe_off": ([(10, ON, RIGHT)], 10),
    "mid_stance_before_contact": ([(10, HALF, RIGHT)], 10),
}


@pytest.mark.parametrize("code", ORDERS)
def test_moments_in_an_order_that_can_not_be_are_told_with_their_frame(code: str) -> None:
    listed, frame = ORDERS[code]
    measured = measure(marks(events=[event(*one) for one in listed]), KNOWN)
    assert told(measured, code).frame == frame
    if code != "toe_off_twice":
        assert "flight_time" not in {metric for metric, _ in values(measured)}


def test_mid_stance_is_the_marked_moment_or_a_frame_near_the_middle_or_none() -> None:
    early = filmed(S, 14, side_leg(shank=-1.0))
    assert ("knee_flexion_midstance", RIGHT) not in values(
        measure(marks(early, one_stance()), KNOWN)
    )
    chosen = measure(marks(early, [*one_stance(), event(14, HALF, RIGHT)]), KNOWN)
    assert values(chosen)["knee_flexion_midstance", RIGHT] == pytest.approx(20.0)
    without_end = [event(10, ON, RIGHT), event(14, HALF, RIGHT)]
    assert ("knee_flexion_midstance", RIGHT) in values(measure(marks(early, without_end), KNOWN))
    no_end = measure(marks(early, [event(10, ON, RIGHT)]), KNOWN)
    assert ("knee_flexion_midstance", RIGHT) not in values(no_end)
    assert told(no_end, "outside_stances").frame == 14


def test_a_peak_is_the_greatest_of_its_frames_and_few_of_them_are_told() -> None:
    points = [*filmed(S, 20, side_leg(shank=9.0)), *filmed(S, 34, side_leg(shank=3.0))]
    measured = measure(marks(points, one_stance()), KNOWN)
    assert values(measured)["ankle_dorsiflexion_peak", RIGHT] == pytest.approx(21.0)
    assert told(measured, "few_for_a_peak").frame == 20
    single = measure(marks(points[:8], one_stance()), KNOWN)
    assert "greatest of 1 marked frame of" in told(single, "few_for_a_peak").message


def test_the_leg_far_from_the_camera_is_told() -> None:
    near = measure(marks(SIDE_FRAME, one_stance()), KNOWN)
    far = measure(marks(filmed(S, 10, side_leg(LEFT, 1)), one_stance(LEFT)), KNOWN)
    assert "far_leg" not in codes(near)
    assert "the left leg is the one farther" in told(far, "far_leg").message


def test_step_width_needs_both_heels_and_a_scale_and_is_negative_when_the_feet_cross() -> None:
    points = [
        *filmed(P, 10, {(L.HEEL_LOW, RIGHT): (-1.0, 2.0)}),
        *filmed(P, 52, {(L.HEEL_LOW, LEFT): (2.0, 2.0)}),
    ]
    given = marks(points, steps(2, view=P))
    assert values(measure(given, KNOWN))["step_width", NONE] == pytest.approx(-3.0)
    assert told(measure(replace(given, px_per_cm={}), KNOWN), "no_scale").frame is None
    assert ("step_width", NONE) not in values(measure(marks(points[:1], steps(2, view=P)), KNOWN))
    same = [event(10, ON, RIGHT, P), event(52, ON, RIGHT, P)]
    assert ("step_width", NONE) not in values(measure(marks(points, same), KNOWN))


def test_times_come_from_one_view_and_need_a_frame_rate() -> None:
    both = measure(marks(events=[*steps(4), *steps(6, view=P)]), KNOWN)
    assert len(next(one for one in both.values if one.metric == "cadence").trials) == 2
    assert told(both, "times_of_one_view").view is P
    still = measure(replace(marks(events=steps(4)), frames_per_s={}), KNOWN)
    assert {metric for metric, _ in values(still)} == {"duty_factor"}
    assert told(still, "no_frame_rate").withheld
    given = replace(KNOWN, frames_per_s=240.0)
    later = measure(replace(marks(events=steps(4)), frames_per_s={}), given)
    assert values(later)["step_time", LEFT] == pytest.approx(175.0)


def test_without_an_error_of_a_point_neither_distance_nor_asymmetry_claims_one() -> None:
    points = [
        *filmed(P, 10, stance_behind(RIGHT)),
        *filmed(P, 52, stance_behind(LEFT, inversion=1.0)),
    ]
    measured = measure(marks(points, steps(2, view=P)), MarkSettings())
    width = next(one for one in measured.values if one.metric == "step_width")
    assert (width.mean, width.mean_sd, width.marking_sd) == (pytest.approx(8.0), None, None)
    heel = next(one for one in measured.asymmetries if one.metric == "foot_inversion_at_contact")
    assert (heel.value, heel.sd, asymmetry_words(heel)) == (pytest.approx(-5.0), None, "")


def test_the_foot_that_lands_may_have_the_other_ankle_behind_it() -> None:
    behind = replace(OTHER_ANKLE, x_px=700.0)
    measured = measure(marks([*SIDE_FRAME, behind], one_stance()), KNOWN)
    assert ("knee_flexion_at_contact", RIGHT) in values(measured)


def test_a_fault_of_a_frame_that_spoils_two_metrics_is_told_once() -> None:
    low = next(one for one in BEHIND if one.landmark is L.HEEL_LOW)
    spoiled = [replace(one, frame=10) for one in BEHIND]
    spoiled = moved(spoiled, L.HEEL_HIGH, x_px=low.x_px, y_px=low.y_px)
    measured = measure(marks(spoiled, one_stance(RIGHT, P)), KNOWN)
    found = [note for note in measured.notes if note.code == "coincident"]
    assert len(found) == 1
    assert not {"foot_inversion_at_contact", "rearfoot_eversion_peak"} & {
        metric for metric, _ in values(measured)
    }


def test_repeats_that_together_put_an_end_before_its_beginning_are_not_used() -> None:
    listed = [(10, ON, 1), (30, ON, 2), (20, RISE, 1), (20, RISE, 2), (22, OFF, 1), (12, OFF, 2)]
    events = [event(frame, name, RIGHT, repeat=repeat) for frame, name, repeat in listed]
    measured = measure(marks(events=events), KNOWN)
    assert measured.values == ()
    assert {"toe_off_before_contact", "heel_rise_before_contact"} <= codes(measured)


moments = st.builds(
    MarkedEvent,
    view=st.sampled_from([P, S]),
    frame=st.integers(0, 12),
    moment=st.sampled_from(Moment),
    side=st.sampled_from([LEFT, RIGHT]),
    repeat=st.integers(1, 2),
)
anywhere = st.sampled_from([0.0, 1.0, 2.5, -1e5, 1e5])


@st.composite
def any_points(draw: st.DrawFn) -> MarkedPoint:
    view = draw(st.sampled_from([P, S]))
    landmark = draw(st.sampled_from(list(LANDMARKS_OF[view])))
    side = draw(st.sampled_from([LEFT, RIGHT])) if LANDMARKS_OF[view][landmark] else NONE
    x, y = draw(anywhere), draw(anywhere)
    return MarkedPoint(
        view=view, frame=draw(st.integers(0, 12)), landmark=landmark, side=side, x_px=x, y_px=y
    )


@given(
    st.lists(moments, max_size=14),
    st.lists(any_points(), max_size=40),
    st.sampled_from([None, 0.01, 200.0]),
)
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_is_marked_numbers_are_finite_and_never_known_better_than_their_mean(
    events: list[MarkedEvent], points: list[MarkedPoint], point_sd: float | None
) -> None:
    given_so = MarkSettings(point_sd_px=point_sd, tilt_sd_deg=1.0, speed_km_h=9.0)
    for one in measure(marks(points, events), given_so).values:
        assert math.isfinite(one.mean)
        if one.marking_sd is not None:
            assert one.mean_sd is not None
            assert one.mean_sd * (1 - 1e-9) <= one.marking_sd / math.sqrt(len(one.trials))
