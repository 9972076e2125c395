"""The cast: invented runners, and what is really so with each of them.

A true course is written down before a single reading is drawn. `before` and `after` are true
values as (left, right), or (value,) for a quantity without sides; everything not named here
stays exactly as it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final


class Course(StrEnum):
    """What is really so, for a runner and for one of their quantities."""

    WEAK_SIDE_GAINED = "weak_side_gained"
    BETTER_SIDE_FELL = "better_side_fell"
    WORSENED_LATE = "worsened_late"
    CROSSED_OVER = "crossed_over"
    STABLE = "stable"
    CONDITIONS_CHANGED = "conditions_changed"
    PAIN_FELL = "pain_fell"
    PAIN_ROSE = "pain_rose"
    LOST = "lost_to_follow_up"


@dataclass(frozen=True, slots=True)
class Move:
    """A true change of one quantity."""

    metric: str
    before: tuple[float, ...]
    after: tuple[float, ...]
    course: Course


@dataclass(frozen=True, slots=True, kw_only=True)
class Character:
    """One invented runner.

    Parameters
    ----------
    number : int
        Number within the code.
    course : Course
        The main thing that is true.
    moves : tuple of Move
    baselines, reviews : int
        Visits before and during the programme; `discharge` adds a last one.
    last : date
        About when the runner was last seen.
    repeats : bool
        True where the runner took part in the repeat-measurement study.
    changed : tuple of (str, value)
        Conditions that differ at the latest visit.
    graded : bool
        True where every metric that is read as a grade was read of the runner.
    """

    number: int
    course: Course
    moves: tuple[Move, ...] = ()
    baselines: int = 1
    reviews: int = 2
    discharge: bool = False
    last: date
    repeats: bool = False
    changed: tuple[tuple[str, str | float], ...] = ()
    graded: bool = False

    @property
    def code(self) -> str:
        """The runner's code in every file."""
        return f"SKV-{self.number:02d}"


def _gained(metric: str, before: tuple[float, float], after: tuple[float, float]) -> Move:
    return Move(metric, before, after, Course.WEAK_SIDE_GAINED)


def _fell(metric: str, before: tuple[float, float], after: tuple[float, float]) -> Move:
    return Move(metric, before, after, Course.BETTER_SIDE_FELL)


def _worse(metric: str, before: tuple[float, float], after: tuple[float, float]) -> Move:
    return Move(metric, before, after, Course.WORSENED_LATE)


def _crossed(metric: str, before: tuple[float, float], after: tuple[float, float]) -> Move:
    return Move(metric, before, after, Course.CROSSED_OVER)


def _apparent(metric: str, before: tuple[float, ...], after: tuple[float, ...]) -> Move:
    return Move(metric, before, after, Course.CONDITIONS_CHANGED)


def _pain(before: float, after: float) -> Move:
    course = Course.PAIN_FELL if after < before else Course.PAIN_ROSE
    return Move("pain_running", (before,), (after,), course)


GAINED: Final = (
    Character(
        number=1,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("hip_abductor_strength", (205, 312), (306, 314)), _pain(6, 2)),
        baselines=2,
        reviews=4,
        discharge=True,
        last=date(2026, 9, 22),
        repeats=True,
    ),
    Character(
        number=2,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("lunge_distance", (12.6, 6.4), (12.6, 12.3)), _pain(5, 1)),
        reviews=3,
        discharge=True,
        last=date(2026, 4, 16),
    ),
    Character(
        number=3,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("hop_distance", (104, 156), (152, 155)), _pain(5, 1)),
        reviews=2,
        discharge=True,
        last=date(2026, 10, 6),
        repeats=True,
    ),
    Character(
        number=4,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("heel_raise_count", (29, 10), (29, 28)), _pain(6, 1)),
        baselines=2,
        reviews=3,
        last=date(2026, 10, 20),
    ),
    Character(
        number=5,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("contralateral_pelvic_drop", (12.4, 4.2), (4.6, 4.2)), _pain(4, 1)),
        baselines=3,
        reviews=4,
        discharge=True,
        last=date(2026, 7, 9),
        repeats=False,
    ),
    Character(
        number=6,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("hip_extensor_strength", (398, 252), (402, 392)), _pain(5, 2)),
        reviews=3,
        last=date(2026, 10, 13),
        repeats=True,
    ),
    Character(
        number=7,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("trunk_side_lean", (2.6, 9.4), (2.6, 2.9)), _pain(4, 1)),
        baselines=2,
        reviews=2,
        discharge=True,
        last=date(2025, 12, 11),
    ),
    Character(
        number=8,
        course=Course.WEAK_SIDE_GAINED,
        moves=(
            _gained("hip_abductor_strength", (318, 214), (318, 312)),
            _gained("hop_distance", (161, 112), (162, 158)),
            _pain(5, 0),
        ),
        reviews=4,
        discharge=True,
        last=date(2026, 5, 21),
    ),
)

FELL: Final = (
    Character(
        number=9,
        course=Course.BETTER_SIDE_FELL,
        moves=(_fell("hop_distance", (164, 116), (118, 116)),),
        reviews=3,
        last=date(2026, 10, 15),
    ),
    Character(
        number=10,
        course=Course.BETTER_SIDE_FELL,
        moves=(_fell("hip_abductor_strength", (222, 330), (222, 232)),),
        baselines=2,
        reviews=2,
        last=date(2026, 9, 30),
        repeats=True,
    ),
    Character(
        number=11,
        course=Course.BETTER_SIDE_FELL,
        moves=(_fell("lunge_distance", (6.6, 12.8), (6.6, 6.8)),),
        reviews=4,
        last=date(2026, 8, 27),
    ),
)

WORSENED: Final = (
    Character(
        number=12,
        course=Course.WORSENED_LATE,
        moves=(_worse("hip_abductor_strength", (306, 302), (204, 302)), _pain(2, 6)),
        reviews=3,
        last=date(2026, 10, 22),
    ),
    Character(
        number=13,
        course=Course.WORSENED_LATE,
        moves=(_worse("hop_distance", (148, 151), (148, 104)), _pain(2, 6)),
        baselines=2,
        reviews=4,
        last=date(2026, 10, 8),
    ),
    Character(
        number=14,
        course=Course.WORSENED_LATE,
        moves=(_worse("lunge_distance", (12.4, 12.1), (12.4, 5.4)),),
        reviews=2,
        last=date(2026, 9, 17),
        repeats=True,
    ),
    Character(
        number=15,
        course=Course.WORSENED_LATE,
        moves=(_worse("trunk_side_lean", (3.1, 2.8), (10.6, 2.8)), _pain(1, 5)),
        baselines=3,
        reviews=3,
        last=date(2026, 10, 26),
    ),
    Character(
        number=16,
        course=Course.WORSENED_LATE,
        moves=(_worse("heel_raise_count", (28, 27), (28, 8)), _pain(2, 7)),
        reviews=3,
        last=date(2026, 8, 20),
    ),
    Character(
        number=17,
        course=Course.WORSENED_LATE,
        moves=(_worse("foot_angle_at_contact", (8.4, 8.8), (8.4, 18.0)),),
        baselines=2,
        reviews=4,
        last=date(2026, 10, 1),
    ),
    Character(
        number=18,
        course=Course.WORSENED_LATE,
        moves=(
            _worse("hip_extensor_strength", (388, 394), (245, 394)),
            _worse("hip_abductor_strength", (297, 301), (206, 301)),
            _pain(3, 7),
        ),
        reviews=5,
        last=date(2026, 10, 19),
    ),
)

CROSSED: Final = (
    Character(
        number=19,
        course=Course.CROSSED_OVER,
        moves=(_crossed("lunge_distance", (6.4, 12.6), (12.8, 6.6)),),
        reviews=3,
        last=date(2026, 9, 10),
    ),
    Character(
        number=20,
        course=Course.CROSSED_OVER,
        moves=(_crossed("hip_abductor_strength", (212, 318), (322, 216)),),
        baselines=2,
        reviews=3,
        last=date(2026, 10, 5),
        repeats=True,
    ),
)

# Faster belt: shorter contact, longer and quicker steps. Slanting camera: angles of the
# posterior view look larger than they are. None of it is a change of the runner.
CHANGED: Final = (
    Character(
        number=21,
        course=Course.CONDITIONS_CHANGED,
        moves=(
            _apparent("contact_time", (262, 258), (231, 228)),
            _apparent("cadence", (164,), (173,)),
            _apparent("step_length", (101, 102), (121, 122)),
        ),
        reviews=2,
        last=date(2026, 10, 14),
        changed=(("speed_km_h", 12.6),),
    ),
    Character(
        number=22,
        course=Course.CONDITIONS_CHANGED,
        reviews=3,
        last=date(2026, 6, 18),
        changed=(("frames_per_s", 30.0),),
        repeats=True,
    ),
    Character(
        number=23,
        course=Course.CONDITIONS_CHANGED,
        moves=(
            _apparent("contralateral_pelvic_drop", (5.1, 4.8), (9.9, 10.1)),
            _apparent("trunk_side_lean", (3.0, 3.4), (6.8, 7.0)),
        ),
        baselines=2,
        reviews=2,
        last=date(2026, 9, 3),
        changed=(("view", "rear camera slanting"),),
    ),
    Character(
        number=24,
        course=Course.CONDITIONS_CHANGED,
        moves=(
            _apparent("contact_time", (246, 248), (226, 228)),
            _apparent("step_length", (99, 98), (113, 112)),
        ),
        reviews=2,
        last=date(2026, 3, 19),
        changed=(("speed_km_h", 11.8), ("footwear", "racing shoes")),
    ),
)

LOST: Final = (
    Character(number=25, course=Course.LOST, reviews=1, last=date(2025, 7, 8)),
    Character(number=26, course=Course.LOST, reviews=1, last=date(2025, 11, 20), repeats=True),
    Character(number=27, course=Course.LOST, baselines=2, reviews=1, last=date(2026, 4, 2)),
)

STABLE: Final = (
    Character(
        number=28,
        course=Course.STABLE,
        baselines=2,
        reviews=3,
        last=date(2026, 10, 21),
        repeats=True,
    ),
    Character(number=29, course=Course.STABLE, reviews=4, discharge=True, last=date(2026, 8, 6)),
    Character(number=30, course=Course.STABLE, reviews=2, last=date(2026, 10, 27)),
    Character(
        number=31,
        course=Course.STABLE,
        baselines=3,
        reviews=4,
        last=date(2026, 9, 24),
        repeats=True,
    ),
    Character(number=32, course=Course.STABLE, reviews=3, discharge=True, last=date(2026, 2, 26)),
)

# They came for a better race, with no complaint.
RACERS: Final = (
    Character(
        number=33,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("hop_distance", (108, 152), (150, 152)),),
        discharge=True,
        last=date(2026, 7, 2),
        graded=True,
    ),
    Character(
        number=34,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("hip_abductor_strength", (304, 212), (304, 300)),),
        baselines=2,
        last=date(2026, 10, 7),
        graded=True,
    ),
    Character(number=35, course=Course.STABLE, last=date(2026, 9, 29), graded=True),
    Character(
        number=36,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("lunge_distance", (6.8, 12.4), (12.3, 12.4)),),
        reviews=1,
        discharge=True,
        last=date(2026, 10, 8),
        graded=True,
    ),
    Character(
        number=37,
        course=Course.WEAK_SIDE_GAINED,
        moves=(_gained("contralateral_pelvic_drop", (4.4, 12.0), (4.4, 4.7)),),
        last=date(2026, 10, 28),
        graded=True,
    ),
    Character(
        number=38,
        course=Course.WORSENED_LATE,
        moves=(_worse("hop_distance", (150, 153), (150, 108)),),
        last=date(2026, 10, 14),
        graded=True,
    ),
    Character(
        number=39,
        course=Course.STABLE,
        reviews=1,
        discharge=True,
        last=date(2026, 5, 7),
        graded=True,
    ),
)

LOST_TOO: Final = (
    Character(number=40, course=Course.LOST, reviews=1, last=date(2026, 1, 22), graded=True),
    Character(number=41, course=Course.LOST, reviews=1, last=date(2025, 10, 9), graded=True),
    Character(
        number=42, course=Course.LOST, baselines=2, reviews=1, last=date(2026, 3, 5), graded=True
    ),
    Character(number=43, course=Course.LOST, reviews=1, last=date(2026, 2, 12), graded=True),
)

CAST: Final = (
    *GAINED,
    *FELL,
    *WORSENED,
    *CROSSED,
    *CHANGED,
    *LOST,
    *STABLE,
    *RACERS,
    *LOST_TOO,
)
