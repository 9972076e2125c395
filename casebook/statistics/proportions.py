"""How sure a share is: the interval of a proportion out of few trials."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
    z = z_two_sided(level)
    share = count / total
    middle = (share + z**2 / (2 * total)) / (1 + z**2 / total)
    half = z / (1 + z**2 / total) * math.sqrt(share * (1 - share) / total + (z / total) ** 2 / 4)
    return Share(
        count=count,
        total=total,
        share=share,
        low=0.0 if count == 0 else middle - half,
        high=1.0 if count == total else middle + half,
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


def _check(count: int, total: int) -> None:
    if total < 1 or not 0 <= count <= total:
        raise ValueError(
            f"{count} of {total} is no share; expected a count from 0 to a total of at least 1."
        )
