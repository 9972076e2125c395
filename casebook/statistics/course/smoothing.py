"""The smoothed course: a level that drifts from day to day, seen through known error.

Visits come at irregular times, and each has an error of its own. The level is a random walk
whose variance grows with the days between two visits; what its drift is, a few visits tell
only roughly. The band therefore averages over every drift that the visits allow: a band
that took the likeliest drift for the true one would leave the true course out too often
(the tests show by simulation that this one does not).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from statsmodels.tsa.statespace.mlemodel import MLEModel

from casebook.statistics.codes import Floats
from casebook.statistics.error import LEVEL, z_two_sided

GRID = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothedCourse:
    """The level at each visit, with its band.

    Attributes
    ----------
    days, level, low, high : ndarray of float, shape (visits,)
        In the metric's unit; the band is 95 % at each visit, not for all visits together.
    drift_sd : float
        Likeliest standard deviation of the level's drift over one day, in the metric's unit;
        0 where the visits need no drift at all.
    """

    days: Floats
    level: Floats
    low: Floats
    high: Floats
    drift_sd: float


class LocalLevel(MLEModel):  # type: ignore[misc]  # the library brings no types
    """Local level with a known error of each visit and a drift in proportion to time.

    Parameters
    ----------
    days, values, sems : ndarray of float, shape (visits,)
        In the order of time. The one parameter is the drift's standard deviation over a day.
    """

    def __init__(self, days: Floats, values: Floats, sems: Floats) -> None:
        super().__init__(values, k_states=1, k_posdef=1, initialization="diffuse")
        # What happens after the last visit is not asked for.
        self._gaps = np.append(np.diff(days), 0.0)
        self["design", 0, 0] = 1.0
        self["transition", 0, 0] = 1.0
        self["selection", 0, 0] = 1.0
        self["obs_cov"] = np.square(sems).reshape(1, 1, -1)

    @property
    def param_names(self) -> list[str]:
        """The one parameter."""
        return ["drift_sd"]

    def update(self, params: Floats, **more: object) -> None:
        """Take a drift: the level's variance between two visits follows from the days."""
        params = super().update(params, **more)
        self["state_cov"] = (np.square(params[0]) * self._gaps).reshape(1, 1, -1)


def smoothed_course(
    days: Floats, values: Floats, sems: Floats, *, level: float = LEVEL
) -> SmoothedCourse:
    """The level at each visit given all visits, averaged over the drifts they allow.

    Every drift (standard deviation over a day) is taken as equally likely beforehand, and
    weighs as much as the visits support it.

    Parameters
    ----------
    days : ndarray of float, shape (visits,)
        Ascending, no two the same; three or more, since two cannot tell a drift.
    values : ndarray of float, shape (visits,)
        In the metric's unit.
    sems : ndarray of float, > 0, shape (visits,)
        Standard error of each value.
    level : float, between 0 and 1

    Returns
    -------
    SmoothedCourse

    References
    ----------
    [DurbinKoopman2012], [Gelman2006]

    Examples
    --------
    >>> found = smoothed_course(np.array([0.0, 30.0, 90.0]), np.array([4.0, 4.0, 4.0]), np.ones(3))
    >>> found.level.round(6), found.drift_sd
    (array([4., 4., 4.]), 0.0)
    """
    model = LocalLevel(days, values, sems)
    drifts = _drifts(days, values, sems)
    found = [model.smooth([drift], return_ssm=True) for drift in drifts]
    loglik = np.array([one.llf_obs.sum() for one in found])
    # The share of each grid point: its likelihood times the stretch it stands for.
    weights = np.exp(loglik - loglik.max()) * np.gradient(drifts)
    weights /= weights.sum()
    means = np.array([one.smoothed_state[0] for one in found])
    variances = np.array([one.smoothed_state_cov[0, 0] for one in found])
    mean = weights @ means
    half = z_two_sided(level) * np.sqrt(weights @ (variances + np.square(means - mean)))
    return SmoothedCourse(
        days=days,
        level=mean,
        low=mean - half,
        high=mean + half,
        drift_sd=_likeliest(model, drifts, int(loglik.argmax())),
    )


def _likeliest(model: LocalLevel, drifts: Floats, at: int) -> float:
    """The likeliest drift, searched between the neighbours of the best point of the grid."""
    if at == 0:
        return 0.0
    bounds = drifts[at - 1], drifts[min(at + 1, len(drifts) - 1)]
    found = minimize_scalar(
        lambda drift: -model.loglike([drift]),
        bounds=bounds,
        method="bounded",
        options={"xatol": 1e-6 * drifts[at]},
    )
    return float(found.x)


def _drifts(days: Floats, values: Floats, sems: Floats) -> Floats:
    """Zero, and drifts from too small to be seen to more than the visits can allow."""
    gaps = np.diff(days)
    by_error = float(np.sqrt(np.mean(np.square(sems)) / np.mean(gaps)))
    by_steps = float(np.sqrt(np.mean(np.square(np.diff(values)) / gaps)))
    return np.append(0.0, np.geomspace(0.03 * by_error, 10.0 * max(by_error, by_steps), GRID))
