"""How sure a share is: the interval of a proportion out of few trials."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit
from scipy.stats import beta

from casebook.statistics.error import LEVEL, z_two_sided


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share with its interval.

    Attributes
    ----------
    count, total : int
        `count` of `total`.
    share, low, high : float, 0 to 1
    """

    count: int
    total: int
    share: float
    low: float
    high: float


def wilson(count: int, total: int, *, level: float = LEVEL) -> Share:
    """Share of successes with Wilson's score interval.

    Parameters
    ----------
    count, total : int
        0 <= count <= total, total at least 1.
    level : float, between 0 and 1

    Returns
    -------
    Share
        The ends are exactly 0 and 1 where no or every trial succeeded.

    Raises
    ------
    ValueError
        For counts that are no share.

    References
    ----------
    [Wilson1927]

    Examples
    --------
    >>> found = wilson(81, 263)
    >>> round(found.share, 4), round(found.low, 4), round(found.high, 4)
    (0.308, 0.2553, 0.3662)
    """
    _check(count, total)
    share = count / total
    low, high = _score(share, total, z_two_sided(level))
    return Share(
        count=count,
        total=total,
        share=share,
        low=0.0 if count == 0 else low,
        high=1.0 if count == total else high,
    )


def clustered(
    counts: NDArray[np.int64], totals: NDArray[np.int64], *, level: float = LEVEL
) -> Share:
    """Share of successes among trials of which several are each subject's, with its interval.

    Trials of one subject are alike. As many independent ones are sought as would leave the share
    as uncertain as the subjects' own shares show it to be, fewer for few subjects, and Wilson's
    interval is that of these.

    Parameters
    ----------
    counts, totals : array of int, shape (subjects,)
        0 <= counts <= totals, each total at least 1.
    level : float, between 0 and 1

    Returns
    -------
    Share
        Never surer than if all trials were independent; of one subject alone 0 to 1, and where
        no or every trial succeeded each subject counts as one trial.

    Raises
    ------
    ValueError
        For counts that are no shares, or no subject.

    References
    ----------
    [RaoScott1992], [KornGraubard1998]

    Examples
    --------
    >>> found = clustered(np.array([6, 0, 6, 6]), np.array([6, 6, 6, 6]))
    >>> found.count, found.total, round(found.low, 2), round(found.high, 2)
    (18, 24, 0.13, 0.98)
    """
    subjects = len(totals)
    if not subjects or np.any(totals < 1) or np.any((counts < 0) | (counts > totals)):
        raise ValueError(
            f"{list(counts)} of {list(totals)} are no shares; expected a count from 0 to a total "
            "of at least 1 for each of at least one subject."
        )
    count, total = int(counts.sum()), int(totals.sum())
    share = count / total
    if subjects == 1:
        return Share(count=count, total=total, share=share, low=0.0, high=1.0)
    apart = float(np.square(counts - share * totals).sum())
    variance = subjects / (subjects - 1) * apart / total**2
    least = share * (1 - share) / variance if variance > 0 else total
    alike = float(subjects) if share in (0.0, 1.0) else min(least, total)
    rough = z_two_sided(level) / float(stdtrit(subjects - 1, 0.5 + level / 2.0))
    low, high = _score(share, alike * rough**2, z_two_sided(level))
    return Share(
        count=count,
        total=total,
        share=share,
        low=0.0 if count == 0 else low,
        high=1.0 if count == total else high,
    )


def exact(count: int, total: int, *, level: float = LEVEL) -> Share:
    """Share of successes with the exact interval of Clopper and Pearson, which is never too short.

    Parameters
    ----------
    count, total : int
        0 <= count <= total, total at least 1.
    level : float, between 0 and 1

    Returns
    -------
    Share

    Raises
    ------
    ValueError
        For counts that are no share.

    References
    ----------
    [ClopperPearson1934]

    Examples
    --------
    >>> found = exact(81, 263)
    >>> round(found.low, 4), round(found.high, 4)
    (0.2527, 0.3676)
    """
    _check(count, total)
    tail = (1.0 - level) / 2.0
    return Share(
        count=count,
        total=total,
        share=count / total,
        low=float(beta.ppf(tail, count, total - count + 1)) if count else 0.0,
        high=float(beta.ppf(1.0 - tail, count + 1, total - count)) if count < total else 1.0,
    )


def _score(share: float, n: float, z: float) -> tuple[float, float]:
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * math.sqrt(share * (1 - share) / n + (z / n) ** 2 / 4)
    return middle - half, middle + half


def _check(count: int, total: int) -> None:
    if total < 1 or not 0 <= count <= total:
        raise ValueError(
            f"{count} of {total} is no share; expected a count from 0 to a total of at least 1."
        )
