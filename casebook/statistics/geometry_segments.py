"""Angles of body segments and joints from points, with the catalogue's signs.

Points have y upwards (`casebook.statistics.geometry`).
"""

from __future__ import annotations

from uncertainties import umath

from casebook.statistics.geometry import Number, Point, lean_deg, turn_deg


def heel_inversion_deg(heel_low: Point, heel_high: Point, *, outward: int) -> Number:
    """Heel to the vertical from behind; positive is inverted.

    Parameters
    ----------
    heel_low, heel_high : Point
        Line through the middle of the heel.
    outward : int
        1 where the runner's outer side lies to the right of the picture (right leg), else -1.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> heel_inversion_deg(Point(0.0, 0.0), Point(1.0, 1.0), outward=1)
    45.0
    """
    return outward * lean_deg(heel_low, heel_high)


def rearfoot_eversion_deg(
    heel_low: Point, heel_high: Point, ankle: Point, knee: Point, *, outward: int
) -> Number:
    """Heel to the lower leg from behind; positive is everted.

    Parameters
    ----------
    heel_low, heel_high, ankle, knee : Point
    outward : int
        As in `heel_inversion_deg`.

    Returns
    -------
    float or number with an error
        In degrees; 0 where the heel is in line with the lower leg.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> low, high = Point(0.0, 0.0), Point(0.0, 1.0)
    >>> round(rearfoot_eversion_deg(low, high, Point(0.0, 2.0), Point(1.0, 3.0), outward=1), 9)
    45.0
    """
    return outward * turn_deg((ankle, knee), (heel_low, heel_high))


def lower_leg_in_deg(ankle: Point, knee: Point, *, outward: int) -> Number:
    """Lower leg to the vertical from behind; positive where the knee lies nearer to the midline.

    Parameters
    ----------
    ankle, knee : Point
    outward : int
        As in `heel_inversion_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> lower_leg_in_deg(Point(0.0, 0.0), Point(-1.0, 1.0), outward=1)
    45.0
    """
    return -outward * lean_deg(ankle, knee)


def thigh_in_deg(knee: Point, hip: Point, *, outward: int) -> Number:
    """Thigh to the vertical from behind; positive where the knee lies nearer to the midline.

    Parameters
    ----------
    knee, hip : Point
    outward : int
        As in `heel_inversion_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> thigh_in_deg(Point(0.0, 0.0), Point(1.0, 1.0), outward=1)
    45.0
    """
    return outward * lean_deg(knee, hip)


def pelvic_drop_deg(stance: Point, swing: Point, *, outward: int) -> Number:
    """Pelvis to the horizontal from behind; positive where the swinging side hangs lower.

    Parameters
    ----------
    stance, swing : Point
        The pelvis on the side of the stance leg and on the other.
    outward : int
        As in `heel_inversion_deg`, for the stance leg.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> pelvic_drop_deg(Point(1.0, 1.0), Point(0.0, 0.0), outward=1)
    45.0
    """
    return umath.degrees(umath.atan2(stance.y - swing.y, outward * (stance.x - swing.x)))


def trunk_side_lean_deg(pelvis: Point, neck: Point, *, outward: int) -> Number:
    """Trunk to the vertical from behind; positive where it leans over the stance leg.

    Parameters
    ----------
    pelvis : Point
        Middle of the pelvis.
    neck : Point
    outward : int
        As in `heel_inversion_deg`, for the stance leg.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> trunk_side_lean_deg(Point(0.0, 0.0), Point(-1.0, 1.0), outward=-1)
    45.0
    """
    return outward * lean_deg(pelvis, neck)


def foot_angle_deg(heel: Point, toe: Point, *, ahead: int) -> Number:
    """Sole to the ground from the side; positive with the toes up.

    Parameters
    ----------
    heel, toe : Point
    ahead : int
        1 where the runner runs to the right of the picture, else -1.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> foot_angle_deg(Point(0.0, 0.0), Point(-1.0, 1.0), ahead=-1)
    45.0
    """
    return umath.degrees(umath.atan2(toe.y - heel.y, ahead * (toe.x - heel.x)))


def shank_angle_deg(knee: Point, ankle: Point, *, ahead: int) -> Number:
    """Lower leg to the vertical from the side; positive where the ankle is in front of the knee.

    Parameters
    ----------
    knee, ankle : Point
    ahead : int
        As in `foot_angle_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> shank_angle_deg(Point(0.0, 1.0), Point(1.0, 0.0), ahead=1)
    45.0
    """
    return -ahead * lean_deg(ankle, knee)


def knee_flexion_deg(hip: Point, knee: Point, ankle: Point, *, ahead: int) -> Number:
    """Knee from the side; 0 is straight, positive is flexed.

    Parameters
    ----------
    hip, knee, ankle : Point
    ahead : int
        As in `foot_angle_deg`.

    Returns
    -------
    float or number with an error
        Angle of the thigh minus that of the lower leg, in degrees.

    References
    ----------
    [Winter2009]

    Examples
    --------
    >>> knee_flexion_deg(Point(0.0, 2.0), Point(0.0, 1.0), Point(-1.0, 0.0), ahead=1)
    45.0
    """
    return -ahead * turn_deg((hip, knee), (knee, ankle))


def ankle_dorsiflexion_deg(
    heel: Point, toe: Point, ankle: Point, knee: Point, *, ahead: int
) -> Number:
    """Ankle from the side; 0 is the foot at a right angle to the lower leg, positive dorsiflexed.

    Parameters
    ----------
    heel, toe, ankle, knee : Point
    ahead : int
        As in `foot_angle_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Winter2009]

    Examples
    --------
    >>> heel, toe = Point(0.0, 0.0), Point(2.0, 0.0)
    >>> round(ankle_dorsiflexion_deg(heel, toe, Point(0.0, 1.0), Point(1.0, 2.0), ahead=1), 9)
    45.0
    """
    return 90.0 - ahead * turn_deg((heel, toe), (ankle, knee))


def hip_extension_deg(shoulder: Point, hip: Point, knee: Point, *, ahead: int) -> Number:
    """Hip from the side; 0 is the thigh in line with the trunk, positive with the thigh behind.

    Parameters
    ----------
    shoulder, hip, knee : Point
    ahead : int
        As in `foot_angle_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Winter2009]

    Examples
    --------
    >>> hip_extension_deg(Point(0.0, 2.0), Point(0.0, 1.0), Point(-1.0, 0.0), ahead=1)
    45.0
    """
    return -ahead * turn_deg((shoulder, hip), (hip, knee))


def forward_lean_deg(ankle: Point, ear: Point, *, ahead: int) -> Number:
    """Line from ankle to ear to the vertical; positive is leaning forward.

    Parameters
    ----------
    ankle, ear : Point
    ahead : int
        As in `foot_angle_deg`.

    Returns
    -------
    float or number with an error
        In degrees.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> forward_lean_deg(Point(0.0, 0.0), Point(-1.0, 1.0), ahead=-1)
    45.0
    """
    return ahead * lean_deg(ankle, ear)
