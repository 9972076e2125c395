"""How well points and moments were marked, and what that does to the mean of trials."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t
from uncertainties import ufloat

from casebook.statistics.error import LEVEL, z_two_sided
from casebook.statistics.geometry import Number

FRAME_ROUNDING_SD = 1.0 / math.sqrt(12.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Errors of the mean of some trials, in the unit of the trials; see `spread_of_trials`."""

    mean: float
    own: float
    shared: float
    mean_sd: float
    stored: float


def widened_sd(sd: float, degrees: int) -> float:
    """A standard deviation that was estimated from few markings, widened for how few they were.

    Parameters
    ----------
    sd : float, >= 0
    degrees : int, >= 1
        Degrees of freedom of the estimate.

    Returns
    -------
    float
        sd * t(0.975, degrees) / z(0.975): an interval of 1.96 widened standard deviations
        then holds 95 % of errors, as it would with the true one.

    Raises
    ------
    ValueError
        For no degree of freedom: nothing was marked twice.

    References
    ----------
    [Student1908]

    Examples
    --------
    >>> round(widened_sd(1.0, 1), 2), round(widened_sd(1.0, 20), 3)
    (6.48, 1.064)
    """
    if degrees < 1:
        raise ValueError(f"degrees is {degrees}; expected 1 or more.")
    return float(sd * t.ppf(0.5 + LEVEL / 2.0, degrees) / z_two_sided())


def repeated_sd(readings: Iterable[tuple[Hashable, float]]) -> tuple[float, int]:
    """Standard deviation of a single reading, pooled over what was read more than once.

    Parameters
    ----------
    readings : iterable of (what, number)
        `what` names the thing that was read; its readings may stand anywhere.

    Returns
    -------
    sd : float
        sqrt(sum of squares about each thing's mean / degrees), NaN where nothing was read twice.
    degrees : int
        Sum over the things of their readings minus one.

    References
    ----------
    [Bland1995]

    Examples
    --------
    >>> sd, degrees = repeated_sd([("a", 1.0), ("b", 5.0), ("a", 3.0), ("c", 9.0)])
    >>> round(sd, 4), degrees
    (1.4142, 1)
    """
    groups: dict[Hashable, list[float]] = {}
    for what, number in readings:
        groups.setdefault(what, []).append(number)
    degrees = sum(len(group) - 1 for group in groups.values())
    if degrees == 0:
        return math.nan, 0
    squares = sum(float(np.var(group)) * len(group) for group in groups.values())
    return math.sqrt(squares / degrees), degrees


def with_error(value: float, sd: float) -> Number:
    """A number with an error of its own, independent of every other made so.

    Parameters
    ----------
    value : float
    sd : float, >= 0
        0 for one that is taken as exact.

    Returns
    -------
    number with an error
        From the library `uncertainties`, which keeps track of what several results share.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> one = with_error(3.0, 0.3)
    >>> (one - one).std_dev, round((2 * one).std_dev, 3)
    (0.0, 0.6)
    """
    return ufloat(value, sd) if sd > 0.0 else float(value)


def rounded_to_frame(kind: str) -> Number:
    """The error of a moment that was rounded to a whole frame; add it to the frame.

    Parameters
    ----------
    kind : str
        What the moment is, as "contact of the left foot seen from the side". Where a stride is
        (nearly) a whole number of frames, every moment of a kind is rounded alike, however many
        strides there are; where it is not, each is rounded for itself. `std_dev` and what rests
        on it take, for each kind, whichever of both makes the larger error.

    Returns
    -------
    number with an error
        0, with a standard deviation of 1 / sqrt(12) frames.

    References
    ----------
    [Bennett1948]

    Examples
    --------
    >>> contacts = [10.0 + 40.0 * step + rounded_to_frame("contact") for step in range(4)]
    >>> times = [toe_off - contact for contact, toe_off in zip(contacts, (35, 75, 115, 155))]
    >>> round(std_dev(sum(times) / 4), 4), round(std_dev(times[0]), 4)  # they may all be alike
    (0.2887, 0.2887)
    >>> round(std_dev(contacts[1] - contacts[0]), 4)  # or each for itself
    0.4082
    """
    return ufloat(0.0, FRAME_ROUNDING_SD, tag=kind)


def nominal(number: Number) -> float:
    """A number without its error.

    Parameters
    ----------
    number : float or number with an error

    Returns
    -------
    float

    References
    ----------
    None: a change of form.

    Examples
    --------
    >>> nominal(2.0)
    2.0
    """
    return float(number.nominal_value if hasattr(number, "nominal_value") else number)


def std_dev(number: Number) -> float:
    """Standard deviation of a number's error.

    Parameters
    ----------
    number : float or number with an error

    Returns
    -------
    float
        0 for a number that is taken as exact. Where moments were rounded to frames
        (`rounded_to_frame`), those of a kind count as rounded alike or each for itself,
        whichever makes more of it: with any one correlation between them it is no larger.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> std_dev(2.0)
    0.0
    """
    return math.sqrt(math.fsum(math.fsum(parts.values()) ** 2 for parts in _errors([number])))


def _errors(trials: Sequence[Number]) -> list[dict[int, float]]:
    """Every independent error: what it brings to each trial that it is in, by place."""
    sources: dict[object, dict[int, float]] = {}
    kinds: dict[str, list[object]] = {}
    for place, trial in enumerate(trials):
        for source, slope in getattr(trial, "derivatives", {}).items():
            if source not in sources and source.tag is not None:
                kinds.setdefault(source.tag, []).append(source)
            sources.setdefault(source, {})[place] = slope * source.std_dev
    for found in kinds.values():
        alike = _together([sources[source] for source in found])
        apart = math.fsum(math.fsum(sources[source].values()) ** 2 for source in found)
        if math.fsum(alike.values()) ** 2 > apart:
            for source in found:
                del sources[source]
            sources[found[0]] = alike
    return list(sources.values())


def _together(listed: Sequence[Mapping[int, float]]) -> dict[int, float]:
    found: dict[int, float] = {}
    for parts in listed:
        for place, part in parts.items():
            found[place] = found.get(place, 0.0) + part
    return found


def spread_of_trials(trials: Sequence[Number]) -> Spread:
    """Errors of the mean of trials whose errors may be shared.

    Every trial is a sum of independent errors times its slopes (delta method, first order). An
    error is told shared as far as it moves the mean of all trials: averaging does not shrink it.

    Parameters
    ----------
    trials : sequence of numbers with an error
        One or more, in one unit.

    Returns
    -------
    Spread
        `own`: root mean square over the trials of what each has for itself; `shared`:
        standard deviation of what appears in the trials alike; `mean_sd`: of their mean, with
        every covariance; `stored`: max(sqrt(n) * mean_sd, root mean square of a single trial's
        whole error). For own errors that are independent and a shared one it is
        sqrt(own2 + n * shared2), and `stored` / sqrt(n) is never below `mean_sd`.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> scale = with_error(0.0, 3.0)
    >>> found = spread_of_trials([with_error(10.0, 4.0) + scale for _ in range(4)])
    >>> round(found.own, 6), round(found.shared, 6), round(found.mean_sd, 4)
    (4.0, 3.0, 3.6056)
    >>> round(found.stored, 4) == round((4.0**2 + 4 * 3.0**2) ** 0.5, 4)
    True
    """
    n = len(trials)
    own = shared = of_mean = 0.0
    for found in _errors(trials):
        brought = math.fsum(found.values()) / n
        of_mean += brought**2
        alike = brought if len(found) == n > 1 else 0.0  # in every trial
        shared += alike**2
        own += math.fsum((part - alike) ** 2 for part in found.values())
    whole = math.sqrt(math.fsum(std_dev(trial) ** 2 for trial in trials) / n)
    return Spread(
        mean=math.fsum(map(nominal, trials)) / n,
        own=math.sqrt(own / n),
        shared=math.sqrt(shared),
        mean_sd=math.sqrt(of_mean),
        stored=max(math.sqrt(n * of_mean), whole),
    )


def difference_of_means(right: Sequence[Number], left: Sequence[Number]) -> tuple[float, float]:
    """Right minus left of two means, with the error of the difference.

    Parameters
    ----------
    right, left : sequence of numbers with an error
        Trials of either side, in one unit.

    Returns
    -------
    difference, sd : float
        What both sides share is counted once: it cancels where it moves both alike, and counts
        twofold where it moves them apart, as a contact does that ends one side's step and
        begins the other's.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> contacts = [with_error(float(at), 1.0) for at in range(0, 60, 10)]
    >>> steps = [after - before for before, after in zip(contacts, contacts[1:])]
    >>> difference, sd = difference_of_means(steps[0:4:2], steps[1:4:2])
    >>> round(sd**2, 6)  # independent sides would have 4 * 1 / 2
    3.5
    """
    found = sum(right[1:], right[0] + 0.0) / len(right) - sum(left[1:], left[0] + 0.0) / len(left)
    return nominal(found), std_dev(found)
