"""Change to be expected by itself when a runner's baseline was far from the clinic's others."""

from __future__ import annotations

import numpy as np

from casebook.domain.verdicts import Regression
from casebook.statistics.codes import Floats

# With fewer others their spread says too little. Common practice, no source.
FEWEST_RUNNERS = 10


def expected_regression(
    baseline: float, sem: float, others: Floats, other_sems: Floats
) -> Regression | None:
    """Regression to the mean of one runner's baseline, from the spread of the clinic's others.

    The observed variance between runners is the true one plus that of the error, so the true
    one is what is left of it. A runner whose baseline is that much exact is expected to be
    measured nearer to the mean of the others at the next visit, though nothing changed.

    Parameters
    ----------
    baseline : float
        Mean of the runner's reference visits; an asymmetry is signed right minus left.
    sem : float, >= 0
        Standard error of that mean.
    others, other_sems : ndarray of float, shape (runners,)
        The same of the clinic's other runners.

    Returns
    -------
    Regression or None
        None with fewer than ten others. Where their spread is not larger than their error
        the ICC is 0 and the whole distance from their mean is expected to go.

    References
    ----------
    [Barnett2005]

    Examples
    --------
    >>> others = np.array([90.0, 110.0] * 5)
    >>> found = expected_regression(130.0, 5.0, others, np.full(10, 5.0))
    >>> round(found.icc, 4), round(found.expected, 4), found.clinic_mean, found.runners
    (0.775, -6.75, 100.0, 10)
    """
    if others.size < FEWEST_RUNNERS:
        return None
    mean = float(others.mean())
    spread = float(others.var(ddof=1)) - float(np.square(other_sems).mean())
    true = max(0.0, spread)
    icc = 1.0 if sem == 0.0 else true / (true + sem**2)
    return Regression(
        expected=(1.0 - icc) * (mean - baseline),
        icc=icc,
        clinic_mean=mean,
        runners=others.size,
    )
