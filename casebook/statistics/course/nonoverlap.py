"""How far the visits after the programme's start lie apart from those before it.

"Higher" is counted throughout; whether higher is better is for the metric to say. The p and
the interval take visits as independent of one another, which a slow course is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import rankdata

from casebook.statistics.codes import Floats
from casebook.statistics.course.slopes import kendall_s
from casebook.statistics.error import LEVEL, z_two_sided


@dataclass(frozen=True, slots=True, kw_only=True)
class Nonoverlap:
    """Nonoverlap of all pairs (NAP): each visit before held against each after the start.

    Attributes
    ----------
    before, after : int
        Visits in each phase.
    higher, lower, tied : int
        Pairs in which the later visit is higher, lower, the same.
    nap, se : float
        (higher + tied / 2) / pairs, 0 to 1, 0.5 for no difference; unbiased standard error
        (Sen 1967), a tie counting a quarter among the squares.
    low, high : float
        95 % score interval (Newcombe 2006, method 5).
    tau : float
        2 nap - 1.
    p : float
        Exact two-sided permutation p of the rank sum, ties allowed for.
    """

    before: int
    after: int
    higher: int
    lower: int
    tied: int
    nap: float
    se: float
    low: float
    high: float
    tau: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TauU:
    """Tau-U in each of its variants, since the literature means several by that name.

    Attributes
    ----------
    s_between, s_before, s_after : int
        Kendall's S between the phases and within each.
    minus_trend : float
        (s_between - s_before) / (m n): the trend before taken off (Parker et al. 2011). It
        can exceed 1.
    minus_trend_all_pairs : float
        The same over m n + m (m - 1) / 2 pairs, within -1 to 1.
    plus_later_trend : float
        (s_between + s_after) / (m n + n (n - 1) / 2).
    full : float
        (s_between + s_after - s_before) over all pairs.
    """

    s_between: int
    s_before: int
    s_after: int
    minus_trend: float
    minus_trend_all_pairs: float
    plus_later_trend: float
    full: float


def nonoverlap_of_all_pairs(before: Floats, after: Floats, *, level: float = LEVEL) -> Nonoverlap:
    """Share of pairs in which a visit after the start is higher than one before it.

    Parameters
    ----------
    before, after : ndarray of float
        Values of each phase in the metric's unit, two or more.
    level : float, between 0 and 1

    Returns
    -------
    Nonoverlap

    References
    ----------
    [Parker2009], [Sen1967], [Newcombe2006]

    Examples
    --------
    >>> found = nonoverlap_of_all_pairs(np.array([2.0, 3.0, 5.0, 3.0]),
    ...     np.array([4.0, 5.0, 5.0, 7.0, 6.0]))
    >>> found.nap, round(found.se, 6), round(found.p, 6)
    (0.9, 0.1, 0.055556)
    """
    signs = np.sign(after[None, :] - before[:, None])
    wins = (signs + 1.0) / 2.0
    m, n = signs.shape
    nap = float(wins.mean())
    by_before = float(np.square(wins.mean(axis=1) - nap).mean())
    by_after = float(np.square(wins.mean(axis=0) - nap).mean())
    by_pair = float(np.square(wins - nap).mean())
    variance = (n * by_before + m * by_after - by_pair) / ((m - 1) * (n - 1))
    return Nonoverlap(
        before=m,
        after=n,
        higher=int(np.sum(signs > 0)),
        lower=int(np.sum(signs < 0)),
        tied=int(np.sum(signs == 0)),
        nap=nap,
        se=math.sqrt(max(variance, 0.0)),
        low=_lower_limit(nap, m, n, level),
        high=1.0 - _lower_limit(1.0 - nap, m, n, level),
        tau=2.0 * nap - 1.0,
        p=rank_sum_p(before, after),
    )


def rank_sum_p(before: Floats, after: Floats) -> float:
    """Exact two-sided permutation p of the rank sum of two groups, with mid-ranks for ties.

    Parameters
    ----------
    before, after : ndarray of float
        Values of each phase.

    Returns
    -------
    float
        Share of all ways to deal the values to the two groups whose rank sum lies as far
        from its mean as this one, or farther.

    References
    ----------
    [Lehmann1975]

    Examples
    --------
    >>> round(rank_sum_p(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0])), 6)
    0.1
    """
    # Doubled, so that mid-ranks are whole numbers.
    ranks = np.rint(2.0 * rankdata(np.concatenate([before, after]))).astype(int).tolist()
    size = len(before)
    # ways[k][total]: in how many ways k of the ranks seen so far sum to total.
    ways: list[dict[int, int]] = [{0: 1}] + [{} for _ in range(size)]
    for rank in ranks:
        for k in range(size, 0, -1):
            for total, count in ways[k - 1].items():
                ways[k][total + rank] = ways[k].get(total + rank, 0) + count
    centre = size * (len(ranks) + 1)
    distance = abs(sum(ranks[:size]) - centre)
    extreme = sum(count for total, count in ways[size].items() if abs(total - centre) >= distance)
    return extreme / math.comb(len(ranks), size)


def tau_u(before: Floats, after: Floats) -> TauU:
    """Tau-U: the overlap between phases with the trends inside them counted in.

    Parameters
    ----------
    before, after : ndarray of float
        Values of each phase in the order of time, two or more.

    Returns
    -------
    TauU

    References
    ----------
    [Parker2011]

    Examples
    --------
    >>> round(tau_u(np.array([2.0, 3.0, 5.0, 3.0]), np.array([4.0, 5.0, 5.0, 7.0, 6.0])
    ...     ).minus_trend, 6)
    0.65
    """
    s_between = int(np.sign(after[None, :] - before[:, None]).sum())
    s_before = kendall_s(np.arange(len(before), dtype=float), before)
    s_after = kendall_s(np.arange(len(after), dtype=float), after)
    between = len(before) * len(after)
    in_before, in_after = math.comb(len(before), 2), math.comb(len(after), 2)
    return TauU(
        s_between=s_between,
        s_before=s_before,
        s_after=s_after,
        minus_trend=(s_between - s_before) / between,
        minus_trend_all_pairs=(s_between - s_before) / (between + in_before),
        plus_later_trend=(s_between + s_after) / (between + in_after),
        full=(s_between + s_after - s_before) / (between + in_before + in_after),
    )


def _lower_limit(nap: float, m: int, n: int, level: float) -> float:
    """The share below `nap` that lies just as far from it as its own score error reaches."""
    if nap <= 0.0:
        return 0.0
    z, half = z_two_sided(level), (m + n) / 2.0 - 1.0

    def beyond(share: float) -> float:
        skew = (1.0 - share) / (2.0 - share) + share / (1.0 + share)
        variance = share * (1.0 - share) * (1.0 + half * skew) / (m * n)
        return float((nap - share) ** 2 - z**2 * variance)

    # At 1 the score error is 0 and would count as a root of its own.
    return float(brentq(beyond, 0.0, min(nap, 1.0 - 1e-9), xtol=1e-12))
