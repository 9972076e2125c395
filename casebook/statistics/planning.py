"""How many trials and visits it takes to see a change.

A change is seen when the mean of the visits of the second phase differs from that of the
first by more than the minimal detectable change at 95 %, in the right direction. Both phases
have as many visits, each visit as many trials, and the true value stays the same within a
phase. Nothing here says how large a change should be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr
from scipy.stats import norm

from casebook.statistics.codes import Floats
from casebook.statistics.error import (
    LEVEL,
    sem_from_mean_of,
    sem_from_parts,
    z_two_sided,
)

VISITS_PER_PHASE = (1, 2, 3)
# Two numbers that differ by less than this share are the same but for rounding.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialError:
    """The error of a visit's mean, as far as it is known for other numbers of trials.

    Attributes
    ----------
    between_sd, within_sd : float or None
        Between-session and single-trial standard deviation, in the unit of what is planned.
    sem, sem_trials : float, int or None
        Instead of `between_sd`: the SEM of a mean of that many trials. With `within_sd`
        fewer trials can be told too, without it they cannot; more trials never improve it,
        for how much of it they would shrink is not known.
    floor : float, >= 0
        Smallest standard deviation that one trial can have.
    """

    between_sd: float | None = None
    within_sd: float | None = None
    sem: float | None = None
    sem_trials: int | None = None
    floor: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The change that is seen with the wished probability.

    Attributes
    ----------
    visits : int
        Visits in each phase.
    trials : int
        Trials at each visit.
    detectable : float
        In the unit of what is planned.
    """

    visits: int
    trials: int
    detectable: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """What a number of visits in each phase can do.

    Attributes
    ----------
    visits : int
        Visits in each phase.
    trials : int or None
        Smallest number of trials at each visit that sees the change with the wished
        probability; None where no number does, or no change was given.
    reachable : bool or None
        False where no number of trials sees it; None where no change was given.
    smallest : float
        What even endless trials at each visit could not go below.
    detectable : float
        Change that is seen with the plan's `trials`.
    power : float or None
        Probability of seeing the given change with the plan's `trials`.
    """

    visits: int
    trials: int | None
    reachable: bool | None
    smallest: float
    detectable: float
    power: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A curve of detectable change, and an answer for one change.

    Attributes
    ----------
    curve : tuple of CurvePoint
        By visits, then trials; numbers of trials of which nothing is known are left out.
    trials : int
        Trials at each visit that `needed` takes: the usual number; that of the figure where
        nothing is known for the usual one, or nothing is gained by it.
    needed : tuple of Needed
    visits_needed : int or None
        Visits in each phase that see the change with `trials`; None without a change.
    """

    curve: tuple[CurvePoint, ...]
    trials: int
    needed: tuple[Needed, ...]
    visits_needed: int | None


def sem_of_trials(error: TrialError, trials: ArrayLike) -> Floats:
    """SEM of a visit's mean for numbers of trials.

    Parameters
    ----------
    error : TrialError
    trials : array_like of int, >= 1

    Returns
    -------
    ndarray of float
        NaN where it is not known.

    References
    ----------
    [Bland1995], [Bennett1948]

    Examples
    --------
    >>> sem_of_trials(TrialError(between_sd=3.0, within_sd=8.0), [1, 4]).round(4)
    array([8.544, 5.   ])
    >>> sem_of_trials(TrialError(sem=2.0, sem_trials=7), [5, 7, 10])
    array([nan,  2.,  2.])
    """
    number = np.asarray(trials, dtype=float)
    within = math.nan if error.within_sd is None else error.within_sd
    if error.sem is not None and error.sem_trials is not None:
        return sem_from_mean_of(error.sem, error.sem_trials, within, error.floor, number)
    between = math.nan if error.between_sd is None else error.between_sd
    return sem_from_parts(between, within, error.floor, number)


def detectable_change(sem: ArrayLike, visits: ArrayLike, probability: float) -> Floats:
    """Smallest change that is seen beyond the MDC95 with a wished probability.

    Parameters
    ----------
    sem : array_like of float, >= 0
        SEM of each visit's mean.
    visits : array_like of int, >= 1
        Visits in each phase.
    probability : float, between 0 and 1
        Of seeing it. At 0.5 the change is the MDC95 itself: a true change of that size is
        missed every other time.

    Returns
    -------
    ndarray of float
        (z(0.975) + z(probability)) * sem * sqrt(2 / visits), in the unit of `sem`.

    Raises
    ------
    ValueError
        For a probability outside the open interval from 0.025 to 1.

    References
    ----------
    [Weir2005], [Cohen1988]

    Examples
    --------
    >>> detectable_change(1.0, [1, 2], 0.8).round(4), detectable_change(1.0, 1, 0.5).round(4)
    (array([3.962 , 2.8016]), np.float64(2.7718))
    """
    if not (1.0 - LEVEL) / 2.0 < probability < 1.0:
        raise ValueError(
            f"probability is {probability}; expected one above 0.025 and below 1, such as 0.8."
        )
    reach = z_two_sided(LEVEL) + float(norm.ppf(probability))
    found: Floats = reach * np.asarray(sem, dtype=float) * np.sqrt(2.0 / np.asarray(visits))
    return found


def power_of(change: ArrayLike, sem: ArrayLike, visits: ArrayLike) -> Floats:
    """Probability that a true change is seen beyond the MDC95, in its own direction.

    Parameters
    ----------
    change : array_like of float
        True change between the phases; its sign does not matter.
    sem : array_like of float, > 0
        SEM of each visit's mean, in the unit of `change`.
    visits : array_like of int, >= 1
        Visits in each phase.

    Returns
    -------
    ndarray of float

    References
    ----------
    [Cohen1988]

    Examples
    --------
    >>> power_of([0.0, 2.7718, 3.962], 1.0, 1).round(3)
    array([0.025, 0.5  , 0.8  ])
    """
    se = np.asarray(sem, dtype=float) * np.sqrt(2.0 / np.asarray(visits))
    found: Floats = ndtr(np.abs(change) / se - z_two_sided(LEVEL))
    return found


def smallest_trials(
    error: TrialError, change: float, visits: int, probability: float
) -> int | None:
    """Smallest number of trials at each visit with which a change is seen.

    Parameters
    ----------
    error : TrialError
    change : float, > 0
        In the unit of the error.
    visits : int, >= 1
        Visits in each phase.
    probability : float, between 0.025 and 1
        Of seeing it.

    Returns
    -------
    int or None
        None where no number of trials reaches it: the error between sessions alone is too
        large. Of a SEM whose parts are not known, no number below its own is considered.

    References
    ----------
    [Bland1995], [Cohen1988]

    Examples
    --------
    >>> error = TrialError(between_sd=1.0, within_sd=2.0)
    >>> [smallest_trials(error, change, 1, 0.8) for change in (6.0, 4.5, 3.9)]
    [4, 14, None]
    """
    allowed = change / float(detectable_change(1.0, visits, probability)) * (1.0 + ROUNDING)
    if error.sem_trials is not None:
        numbers = np.arange(1, error.sem_trials + 1)
        fine = numbers[sem_of_trials(error, numbers) <= allowed]
        return int(fine[0]) if fine.size else None
    single = max(error.within_sd or 0.0, error.floor)
    spare = allowed**2 - (error.between_sd or 0.0) ** 2
    if single == 0.0:
        return 1 if spare >= 0.0 else None
    # An allowance that is nothing but rounding is none.
    if spare <= 4.0 * ROUNDING * allowed**2:
        return None
    return max(1, math.ceil(single**2 / spare))


def smallest_sem(error: TrialError) -> float:
    """What the SEM of a visit's mean could not go below with endless trials.

    Parameters
    ----------
    error : TrialError

    Returns
    -------
    float
        The error between sessions; of a SEM whose parts are not known, the SEM itself.

    References
    ----------
    [Bland1995]

    Examples
    --------
    >>> smallest_sem(TrialError(between_sd=1.0, within_sd=2.0))
    1.0
    """
    if error.sem_trials is not None:
        return float(sem_of_trials(error, error.sem_trials))
    return error.between_sd or 0.0


def in_other_unit(error: TrialError, factor: float) -> TrialError:
    """The same error on another scale, such as that of the difference of two sides.

    Parameters
    ----------
    error : TrialError
    factor : float, > 0
        sqrt(2) for the difference of two sides whose errors are alike and independent.

    Returns
    -------
    TrialError

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> in_other_unit(TrialError(sem=2.0, sem_trials=3, floor=0.5), 2.0).sem
    4.0
    """

    def times(number: float | None) -> float | None:
        return None if number is None else number * factor

    return replace(
        error,
        between_sd=times(error.between_sd),
        within_sd=times(error.within_sd),
        sem=times(error.sem),
        floor=error.floor * factor,
    )


def plan_of(
    error: TrialError,
    *,
    usual_trials: int,
    probability: float,
    change: float | None = None,
    most_trials: int = 20,
) -> Plan:
    """Detectable change against trials for 1, 2 and 3 visits in each phase, and an answer.

    Parameters
    ----------
    error : TrialError
    usual_trials : int, >= 1
        Trials that are usually taken at a visit.
    probability : float, between 0.025 and 1
        Of seeing the change.
    change : float, > 0, or None
        The change to be seen, in the unit of the error.
    most_trials : int, >= 1
        Where the curve ends, unless a SEM ends it sooner.

    Returns
    -------
    Plan

    References
    ----------
    [Bland1995], [Weir2005], [Cohen1988]

    Examples
    --------
    >>> plan = plan_of(TrialError(between_sd=1.0, within_sd=2.0), usual_trials=4,
    ...     probability=0.8, change=4.5)
    >>> [needed.trials for needed in plan.needed], plan.visits_needed
    ([14, 3, 2], 2)
    """
    # Of a SEM whose parts are not known, further trials are given no credit: the curve ends.
    most = error.sem_trials or max(most_trials, usual_trials)
    numbers = np.arange(1, most + 1)
    sems = sem_of_trials(error, numbers)
    known = np.flatnonzero(np.isfinite(sems))
    trials = min(max(usual_trials, int(numbers[known[0]])), most)
    sem = float(sems[trials - 1])
    curve = tuple(
        CurvePoint(
            visits=visits,
            trials=int(numbers[at]),
            detectable=float(detectable_change(sems[at], visits, probability)),
        )
        for visits in VISITS_PER_PHASE
        for at in known
    )
    return Plan(
        curve=curve,
        trials=trials,
        needed=tuple(
            _needed(error, visits, sem, probability, change) for visits in VISITS_PER_PHASE
        ),
        visits_needed=None if change is None else _visits_needed(sem, change, probability),
    )


def _needed(
    error: TrialError, visits: int, sem: float, probability: float, change: float | None
) -> Needed:
    trials = None if change is None else smallest_trials(error, change, visits, probability)
    return Needed(
        visits=visits,
        trials=trials,
        reachable=None if change is None else trials is not None,
        smallest=float(detectable_change(smallest_sem(error), visits, probability)),
        detectable=float(detectable_change(sem, visits, probability)),
        power=None if change is None else float(power_of(change, sem, visits)),
    )


def _visits_needed(sem: float, change: float, probability: float) -> int:
    ratio = float(detectable_change(sem, 1, probability)) / change
    return max(1, math.ceil(ratio**2 * (1.0 - ROUNDING)))
