"""What the invented clinic measures: usual values, and how large its measuring error truly is.

The readings are drawn as

    reading = true value + session error + trial error,

where the session error has one part for each side and, for a few metrics, one shared by both
sides (how the runner was set up that day touches both). The standard deviations below are
what the generator really uses. Where the starter catalogue carries a published standard error
of measurement, they add up to that figure for a mean of as many trials as the figure is for;
where `error_figures.csv` carries the clinic's own figure, they are that figure; tests hold
both. Usual values are sensible for recreational runners (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueError:
    """Standard deviations of the errors with which a quantity is read, in its unit.

    Parameters
    ----------
    between_sd : float
        Session error of one side.
    within_sd : float
        Error of a single trial.
    shared_sd : float
        Session error that both sides share; not contained in `between_sd`.
    """

    between_sd: float
    within_sd: float
    shared_sd: float = 0.0

    def sem(self, trials: int) -> float:
        """True standard error of measurement of a side's mean of `trials` trials."""
        return math.sqrt(self.between_sd**2 + self.shared_sd**2 + self.within_sd**2 / trials)

    def sem_of_difference(self, trials: int) -> float:
        """True standard error of right minus left, each a mean of `trials` trials."""
        return math.sqrt(2 * (self.between_sd**2 + self.within_sd**2 / trials))


def split(sem: float, trials: int, *, difference: float | None = None) -> TrueError:
    """True errors that give `sem` for a mean of `trials` trials, half of it from the trials.

    With `difference`, the SEM of right minus left comes out as that (smaller than for
    independent sides), because part of the session error is shared.
    """
    one_side = sem**2 if difference is None else difference**2 / 2
    return TrueError(
        between_sd=math.sqrt(one_side / 2),
        within_sd=math.sqrt(one_side / 2 * trials),
        shared_sd=math.sqrt(sem**2 - one_side),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One measured quantity.

    Parameters
    ----------
    key : str
        Catalogue key.
    error : TrueError
    trials : int
        Readings per side that the clinic usually takes.
    usual, runner_sd, side_sd : float
        Usual true value, its standard deviation between runners, and that of a runner's true
        right minus left, in the metric's unit.
    decimals : int
        Decimals the clinic writes.
    sided : bool
        True where left and right are read apart.
    low, high : float
        Ends of the scale, where it has ends.
    own_figure : bool
        True where the clinic's own error figure is written to `error_figures.csv`.
    frames : bool
        True for a duration counted in video frames; its trial error is the one at
        `FRAMES_PER_S`.
    """

    key: str
    error: TrueError
    trials: int
    usual: float
    runner_sd: float = 0.0
    side_sd: float = 0.0
    decimals: int = 1
    sided: bool = True
    low: float = -math.inf
    high: float = math.inf
    own_figure: bool = False
    frames: bool = False


VIDEO: Final = 7
FRAMES_PER_S: Final = 120.0


def _video(
    key: str,
    error: TrueError,
    usual: float,
    runner_sd: float,
    side_sd: float,
    *,
    sided: bool = True,
    frames: bool = False,
) -> Quantity:
    return Quantity(
        key=key,
        error=error,
        trials=VIDEO,
        usual=usual,
        runner_sd=runner_sd,
        side_sd=side_sd,
        sided=sided,
        frames=frames,
    )


def _table(
    key: str,
    error: TrueError,
    usual: float,
    runner_sd: float,
    side_sd: float,
    *,
    trials: int = 3,
    decimals: int = 0,
    high: float = math.inf,
) -> Quantity:
    return Quantity(
        key=key,
        error=error,
        trials=trials,
        usual=usual,
        runner_sd=runner_sd,
        side_sd=side_sd,
        decimals=decimals,
        low=0.0,
        high=high,
    )


def _own(quantity: Quantity) -> Quantity:
    return replace(quantity, own_figure=True)


def _pain(key: str, usual: float) -> Quantity:
    return Quantity(
        key=key,
        # With rounding to whole points the error is that of the catalogue, 0.76.
        error=split(0.70, 1),
        trials=1,
        usual=usual,
        decimals=0,
        sided=False,
        low=0.0,
        high=10.0,
    )


def _parts(between_sd: float, within_sd: float) -> TrueError:
    return TrueError(between_sd=between_sd, within_sd=within_sd)


# Seen at every visit: error, then usual value, spread between runners, spread between sides.
PROTOCOL: Final = (
    _video("contralateral_pelvic_drop", split(1.0102, 7), 5.0, 1.3, 0.9),
    _video("trunk_side_lean", split(0.8298, 7), 3.2, 0.9, 0.8),
    _video("rearfoot_eversion_peak", _parts(1.2, 1.4), 8.5, 2.0, 1.2),
    _video("foot_angle_at_contact", split(0.8298, 7), 9.0, 3.0, 1.2),
    _video("shank_angle_at_contact", split(1.7317, 7), 6.0, 2.0, 1.0),
    _video("knee_flexion_midstance", split(1.3709, 7), 42.0, 3.0, 1.3),
    _video("ankle_dorsiflexion_peak", split(1.7317, 7), 23.0, 2.5, 1.3),
    _own(_video("contact_time", _parts(4.0, 6.0), 252.0, 14.0, 4.0, frames=True)),
    _own(_video("step_length", _parts(1.4, 2.2), 102.0, 8.0, 1.5)),
    Quantity(
        key="cadence",
        error=_parts(1.6, 1.2),
        trials=3,
        usual=168.0,
        runner_sd=6.0,
        decimals=0,
        sided=False,
        own_figure=True,
    ),
    _table("lunge_distance", split(0.8168, 3, difference=0.6448), 11.5, 1.8, 0.6, decimals=1),
    _own(_table("hip_abductor_strength", _parts(9.0, 12.0), 290.0, 40.0, 8.0)),
    _pain("pain_running", 3.0),
    _pain("pain_rest", 1.0),
)

# Seen at full visits only; a short visit leaves them out unless a programme aims at one.
FULL_VISIT: Final = (
    _own(_table("hip_extensor_strength", _parts(14.0, 18.0), 380.0, 55.0, 12.0)),
    _table("heel_raise_count", split(2.07, 1), 25.0, 3.5, 1.2, trials=1),
    _table("hop_distance", split(4.6, 3), 142.0, 18.0, 4.0),
)

# Some of these are added for each runner, as the assessor saw fit.
CHOSEN: Final = (
    _video("foot_inversion_at_contact", _parts(1.1, 1.3), 4.5, 1.8, 1.2),
    _video("knee_flexion_at_contact", split(2.5254, 7), 14.0, 3.0, 1.2),
    _video("hip_extension_toe_off", _parts(1.5, 1.5), 9.0, 3.0, 1.2),
    _own(_video("foot_ahead_of_body", _parts(1.0, 1.5), 21.0, 3.5, 1.0)),
    _video("heel_rise_timing", _parts(1.5, 1.8), 58.0, 4.0, 1.5),
    _own(_video("step_width", _parts(0.7, 1.3), 6.0, 1.8, 0.0, sided=False)),
    _own(_video("forward_lean", _parts(0.8, 1.0), 6.5, 1.8, 0.0, sided=False)),
    _table("arm_swing_crossing", _parts(0.2, 0.25), 1.0, 0.7, 0.4, trials=1, high=3.0),
    _table("forefoot_varus", _parts(1.8, 1.2), 5.0, 2.5, 1.5, trials=1),
    _table("forefoot_compensation", _parts(0.25, 0.25), 1.0, 0.6, 0.4, trials=1, high=2.0),
    _table("first_ray_mobility", _parts(0.3, 0.3), 1.0, 0.6, 0.4, trials=1, high=2.0),
    _table("navicular_drop", split(2.70, 1), 8.0, 2.0, 1.2, trials=1),
)

QUANTITIES: Final = {quantity.key: quantity for quantity in (*PROTOCOL, *FULL_VISIT, *CHOSEN)}
