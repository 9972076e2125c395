"""Which metric is read from which points, in which moment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from casebook.domain.marking import Landmark, MarkView
from casebook.statistics import geometry_segments as segments
from casebook.statistics.geometry import Number, Point, across_cm, middle

When = Literal["contact", "middle", "heel_rise", "toe_off", "stance", "before_heel_rise"]
Whose = Literal["own", "other", "none"]
# The points in the order of the metric's own, the sign of the view, the scale.
Formula = Callable[[Sequence[Point], int, Number], Number]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a metric is read; `lines` are pairs of places in `points` that need a direction."""

    metric: str
    view: MarkView
    when: When
    points: tuple[tuple[Landmark, Whose], ...]
    formula: Formula
    lines: tuple[tuple[int, int], ...] = ()
    sided: bool = True
    scaled: bool = False


def _own(*landmarks: Landmark) -> tuple[tuple[Landmark, Whose], ...]:
    return tuple((landmark, "own") for landmark in landmarks)


_P, _S, _L = MarkView.POSTERIOR, MarkView.SIDE, Landmark
FOOT = _own(_L.HEEL, _L.TOE, _L.ANKLE, _L.KNEE)
_LEG = _own(_L.HIP, _L.KNEE, _L.ANKLE)


def _ankle(p: Sequence[Point], sign: int, _scale: Number) -> Number:
    return segments.ankle_dorsiflexion_deg(p[0], p[1], p[2], p[3], ahead=sign)


def _knee(p: Sequence[Point], sign: int, _scale: Number) -> Number:
    return segments.knee_flexion_deg(p[0], p[1], p[2], ahead=sign)


def _trunk(p: Sequence[Point], sign: int, _scale: Number) -> Number:
    return segments.trunk_side_lean_deg(middle(p[0], p[1]), p[2], outward=sign)


READINGS: tuple[Reading, ...] = (
    Reading(
        metric="foot_inversion_at_contact",
        view=_P,
        when="contact",
        points=_own(_L.HEEL_LOW, _L.HEEL_HIGH),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.heel_inversion_deg(p[0], p[1], outward=sign),
    ),
    Reading(
        metric="rearfoot_eversion_peak",
        view=_P,
        when="stance",
        points=_own(_L.HEEL_LOW, _L.HEEL_HIGH, _L.ANKLE, _L.KNEE),
        lines=((0, 1), (2, 3)),
        formula=lambda p, sign, _: segments.rearfoot_eversion_deg(
            p[0], p[1], p[2], p[3], outward=sign
        ),
    ),
    Reading(
        metric="lower_leg_angle_posterior",
        view=_P,
        when="middle",
        points=_own(_L.ANKLE, _L.KNEE),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.lower_leg_in_deg(p[0], p[1], outward=sign),
    ),
    Reading(
        metric="knee_travel_to_midline",
        view=_P,
        when="middle",
        points=_own(_L.KNEE, _L.HIP),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.thigh_in_deg(p[0], p[1], outward=sign),
    ),
    Reading(
        metric="contralateral_pelvic_drop",
        view=_P,
        when="middle",
        points=((_L.PELVIS, "own"), (_L.PELVIS, "other")),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.pelvic_drop_deg(p[0], p[1], outward=sign),
    ),
    Reading(
        metric="trunk_side_lean",
        view=_P,
        when="middle",
        points=((_L.PELVIS, "own"), (_L.PELVIS, "other"), (_L.NECK, "none")),
        lines=((0, 2),),
        formula=_trunk,
    ),
    Reading(
        metric="foot_ahead_of_body",
        view=_S,
        when="contact",
        points=((_L.PELVIS, "none"), (_L.HEEL, "own")),
        formula=lambda p, sign, scale: across_cm(p[0], p[1], scale, direction=sign),
        scaled=True,
    ),
    Reading(
        metric="foot_angle_at_contact",
        view=_S,
        when="contact",
        points=_own(_L.HEEL, _L.TOE),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.foot_angle_deg(p[0], p[1], ahead=sign),
    ),
    Reading(
        metric="shank_angle_at_contact",
        view=_S,
        when="contact",
        points=_own(_L.KNEE, _L.ANKLE),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.shank_angle_deg(p[0], p[1], ahead=sign),
    ),
    Reading(
        metric="knee_flexion_at_contact",
        view=_S,
        when="contact",
        points=_LEG,
        lines=((0, 1), (1, 2)),
        formula=_knee,
    ),
    Reading(
        metric="knee_flexion_midstance",
        view=_S,
        when="middle",
        points=_LEG,
        lines=((0, 1), (1, 2)),
        formula=_knee,
    ),
    Reading(
        metric="ankle_dorsiflexion_peak",
        view=_S,
        when="before_heel_rise",
        points=FOOT,
        lines=((0, 1), (2, 3)),
        formula=_ankle,
    ),
    Reading(
        metric="ankle_angle_heel_rise",
        view=_S,
        when="heel_rise",
        points=FOOT,
        lines=((0, 1), (2, 3)),
        formula=_ankle,
    ),
    Reading(
        metric="hip_extension_toe_off",
        view=_S,
        when="toe_off",
        points=_own(_L.SHOULDER, _L.HIP, _L.KNEE),
        lines=((0, 1), (1, 2)),
        formula=lambda p, sign, _: segments.hip_extension_deg(p[0], p[1], p[2], ahead=sign),
    ),
    Reading(
        metric="forward_lean",
        view=_S,
        when="middle",
        points=((_L.ANKLE, "own"), (_L.EAR, "none")),
        lines=((0, 1),),
        formula=lambda p, sign, _: segments.forward_lean_deg(p[0], p[1], ahead=sign),
        sided=False,
    ),
)
PEAKS = frozenset(one.metric for one in READINGS if one.when in {"stance", "before_heel_rise"})


def landmarks_needed(metric: str) -> tuple[Landmark, ...]:
    """Landmarks that a metric is read from.

    Parameters
    ----------
    metric : str
        Key of the metric.

    Returns
    -------
    tuple of Landmark
        Empty for one that is not read from points.

    References
    ----------
    None: a look-up.

    Examples
    --------
    >>> [one.value for one in landmarks_needed("foot_angle_at_contact")]
    ['heel', 'toe']
    """
    if metric == "step_width":
        return (Landmark.HEEL_LOW,)
    return next(
        (
            tuple(dict.fromkeys(landmark for landmark, _ in one.points))
            for one in READINGS
            if one.metric == metric
        ),
        (),
    )
