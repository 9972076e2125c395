"""Time until something happens, where not everybody was watched until it did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from statsmodels.duration.survfunc import SurvfuncRight

from casebook.statistics.error import LEVEL, z_two_sided

Real = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

# A share is at a quantile when it differs from it by less: a product of fractions is not exact.
EXACT = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Survival:
    """Share of those to whom it has not happened yet, after each time at which it did.

    Arrays have one element a distinct time of an event, in order.

    Parameters
    ----------
    time : array
    at_risk, events : array of int
        Watched until just before that time; of them, those to whom it then happened.
    share, se : array
        Share still without it, 0 to 1, with Greenwood's standard error (0 where the share is 0).
    low, high : array, 0 to 1
        Interval on the scale of log(-log). Where the share is 0 that scale ends: low is 0 and
        high that of the time before (1 where there is none).
    n, n_events : int
    level : float
    """

    time: Real
    at_risk: Whole
    events: Whole
    share: Real
    se: Real
    low: Real
    high: Real
    n: int
    n_events: int
    level: float = LEVEL

    @property
    def median(self) -> tuple[float | None, float | None, float | None]:
        """First time at which half or less are left, and the same of the interval's ends.

        None where a curve does not come down to a half (Brookmeyer & Crowley 1982 for the
        interval).
        """
        return (_reaches(self.time, self.share), *self._ends())

    def _ends(self) -> tuple[float | None, float | None]:
        return _reaches(self.time, self.low), _reaches(self.time, self.high)


def kaplan_meier(
    time: Real, happened: Flags, *, entry: Real | None = None, level: float = LEVEL
) -> Survival:
    """Share of those to whom something has not happened, by the product limit.

    Parameters
    ----------
    time : array, shape (n,)
        Time of the event, or the last time at which it was known not to have happened; >= 0.
    happened : array of bool, shape (n,)
        False where watching ended before the event.
    entry : array, shape (n,), or None
        Time after which each was watched, before `time` (below 0: from the beginning on). Who
        was not watched yet at the time of an event was not at risk of being seen to have it.
        None: all from the beginning on.
    level : float, between 0 and 1

    Returns
    -------
    Survival
        Who was watched until the time of an event counts as at risk then. With late entries it
        tells of those to whom it had not happened when watching began; where nobody is left at
        risk the curve is 0 from there on, so begin where enough are watched.

    Raises
    ------
    ValueError
        For no times, times below 0 or unknown, as many flags or entries as there are not times,
        or an entry that is not before its time.

    References
    ----------
    [KaplanMeier1958], where who comes late is at risk from then on; standard error
    [Greenwood1926]; interval on the scale of log(-log) [KalbfleischPrentice1980]; median's
    interval [BrookmeyerCrowley1982].

    Examples
    --------
    >>> found = kaplan_meier(np.array([3.0, 5.0, 5.0, 8.0]), np.array([True, True, False, False]))
    >>> found.time, found.share
    (array([3., 5.]), array([0.75, 0.5 ]))
    >>> found.median[0]
    5.0
    """
    if not len(time) or len(time) != len(happened) or not np.all(time >= 0):
        raise ValueError("expected a time of at least 0 for each, and whether it happened")
    if entry is not None and not (len(entry) == len(time) and np.all(entry < time)):
        raise ValueError("expected an entry for each, before its time")
    found = SurvfuncRight(
        np.asarray(time, dtype=np.float64),
        happened.astype(np.float64),
        entry=None if entry is None else np.asarray(entry, dtype=np.float64),
    )
    share = np.maximum(np.asarray(found.surv_prob, dtype=np.float64), 0.0)
    left = share > EXACT
    se = np.where(left, np.asarray(found.surv_prob_se, dtype=np.float64), 0.0)
    low, high = _limits(share, se, left, z_two_sided(level))
    return Survival(
        time=np.asarray(found.surv_times, dtype=np.float64),
        at_risk=np.asarray(found.n_risk).astype(np.int64),
        events=np.asarray(found.n_events).astype(np.int64),
        share=share,
        se=se,
        low=low,
        high=high,
        n=len(time),
        n_events=int(happened.sum()),
        level=level,
    )


def at_risk_on(time: Real, days: Real, *, entry: Real | None = None) -> Whole:
    """How many are still watched just before each of some times.

    Parameters
    ----------
    time : array, shape (n,)
        Time of the event or of the end of watching.
    days : array, shape (m,)
    entry : array, shape (n,), or None
        Time after which each was watched; None: all from the beginning on.

    Returns
    -------
    array of int, shape (m,)

    References
    ----------
    The numbers at risk of [KaplanMeier1958].

    Examples
    --------
    >>> at_risk_on(np.array([3.0, 5.0, 8.0]), np.array([0.0, 5.0, 6.0]))
    array([3, 2, 1])
    >>> late = np.array([-1.0, 4.0, 5.0])
    >>> at_risk_on(np.array([3.0, 5.0, 8.0]), np.array([0.0, 5.0, 6.0]), entry=late)
    array([1, 1, 1])
    """
    entered = np.full(len(time), -np.inf) if entry is None else entry
    come, gone = (np.searchsorted(np.sort(one), days, side="left") for one in (entered, time))
    found: Whole = (come - gone).astype(np.int64)
    return found


def _limits(share: Real, se: Real, left: Flags, z: float) -> tuple[Real, Real]:
    # At a share of 0 the scale has no value: any share does there, and is then put right.
    inside = np.where(left, share, 0.5)
    log = np.log(inside)
    wide = z * se / np.abs(inside * log)
    low = np.where(left, inside ** np.exp(wide), 0.0)
    high = np.where(left, inside ** np.exp(-wide), np.inf)
    carried: Real = np.minimum.accumulate(np.append(1.0, high))[1:]
    return low, np.where(left, high, carried)


def _reaches(time: Real, curve: Real) -> float | None:
    down = np.flatnonzero(curve <= 0.5 + EXACT)
    return float(time[down[0]]) if len(down) else None
