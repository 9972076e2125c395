"""Counts and means that do not tell on somebody who left between two publications.

Who holds the table of last month and that of today can subtract one from the other. If a single
runner left in between, exact numbers give that runner's group and values back. So

- every count is rounded at random to a multiple of a base, up or down, right on average. All are
  drawn anew when anybody leaves (the draw depends on all members), or else the one count that
  changed would be the leaver's. A total is the sum of the rounded counts, never the exact total,
  which would bind them together;
- every mean and standard deviation is rounded at random to a step of at least 2 SD / n, and of
  twice the furthest value's distance from the mean / n. Sums are then known to n steps at best, and
  so is their difference, the value of the leaver: no narrower than anybody would have guessed from
  the mean and the standard deviation, nor than how far out it lies.

What that cannot do: somebody who knows the exact counts from elsewhere can be told by a rare draw
that a runner has left a group; of a leaver whose value lies far out the step itself tells that
somebody's did, and to within 2.5 times how far; and who draws the same members again with another
secret can average the draws away, so that the secret belongs to the clinic and stays the same.
"""

from __future__ import annotations

import hashlib
import hmac
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from casebook.statistics.codes import Whole

BASE: Final = 5
MINIMUM: Final = 5
# A standard deviation below this share of the values is rounding error of equal ones.
_ALIKE: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundedMean:
    """Mean and standard deviation of a group, fit to be published.

    Attributes
    ----------
    count : int
        Number of values, rounded at random to the base.
    mean, sd : float or None
        Multiples of the step, in the values' unit. None where the group may be smaller than the
        minimum, or where all have the same value, which the mean would tell of everybody.
    step : float or None
    """

    count: int
    mean: float | None
    sd: float | None
    step: float | None


def members_digest(members: Iterable[str], *, secret: bytes) -> bytes:
    """Digest of all runners of a publication, which changes when anybody joins or leaves.

    Parameters
    ----------
    members : iterable of str
        A code of each runner, in any order.
    secret : bytes
        Known to the clinic alone; without it nobody can try out who was a member.

    Returns
    -------
    bytes
        32 bytes.

    References
    ----------
    [Krawczyk1997]

    Examples
    --------
    >>> members_digest(["R-2", "R-1"], secret=b"x") == members_digest(["R-1", "R-2"], secret=b"x")
    True
    """
    digest = hmac.new(secret, b"members", hashlib.sha256)
    for member in sorted(set(members)):
        text = member.encode()
        digest.update(len(text).to_bytes(8, "big") + text)
    return digest.digest()


def rounded_counts(
    counts: ArrayLike, names: Sequence[str], *, secret: bytes, members: bytes, base: int = BASE
) -> Whole:
    """Counts rounded at random to the multiple of a base below or above, right on average.

    Parameters
    ----------
    counts : array_like of int, >= 0, shape (cells,)
        Of disjoint groups; a total is to be the sum of what is returned.
    names : sequence of str, shape (cells,)
        Each cell's own name, all different.
    secret : bytes
        The clinic's, the same for all publications.
    members : bytes
        Digest of all runners of the publication (`members_digest`), not of the cell.
    base : int, >= 1

    Returns
    -------
    ndarray of int, shape (cells,)
        Less than one base away from the count; a multiple stays as it is. The same arguments
        give the same counts.

    Raises
    ------
    ValueError
        For negative counts, a base below 1, or names that are not one for each cell.

    References
    ----------
    [Cox1987], [Hundepool2012]

    Examples
    --------
    >>> members = members_digest(["R-1", "R-2"], secret=b"the clinic's")
    >>> rounded_counts([0, 10, 12], ["a", "b", "c"], secret=b"the clinic's", members=members)
    array([ 0, 10, 10])
    """
    whole = np.asarray(counts, dtype=np.int64)
    if base < 1 or (whole < 0).any():
        raise ValueError(
            f"Counts {whole.tolist()} to base {base}; expected 0 or more, base from 1."
        )
    if len(set(names)) != len(whole) or len(names) != len(whole):
        raise ValueError(f"{len(whole)} counts for the names {list(names)}; expected one for each.")
    draws = np.array([_draw(secret, members, f"count {name}") for name in names])
    below, rest = np.divmod(whole, base)
    return np.asarray(base * (below + (draws < rest / base)), dtype=np.int64)


def surely_at_least(rounded: int, minimum: int, *, base: int = BASE) -> bool:
    """Whether a count rounded at random proves that there are as many as asked.

    Parameters
    ----------
    rounded : int
        What was published.
    minimum : int
    base : int

    Returns
    -------
    bool
        Asking the rounded count and not the exact one keeps a group that falls below the minimum
        by one leaver from telling so.

    References
    ----------
    [Cox1987]

    Examples
    --------
    >>> surely_at_least(5, 5), surely_at_least(10, 5)
    (False, True)
    """
    return rounded - base + 1 >= minimum


def mean_step(sd: float, n: int) -> float:
    """Step for a mean: the smallest 1, 2 or 5 times a power of ten that is at least 2 SD / n.

    Parameters
    ----------
    sd : float, > 0
        Standard deviation of the values.
    n : int, >= 1

    Returns
    -------
    float
        In the unit of `sd`.

    Raises
    ------
    ValueError
        For a standard deviation that is not positive and finite, or n below 1.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> mean_step(8.0, 20), mean_step(8.0, 300)
    (1.0, 0.1)
    """
    if not 0.0 < sd < math.inf or n < 1:
        raise ValueError(f"Standard deviation {sd} of {n}; expected one above 0, of at least 1.")
    least = 2.0 * sd / n
    power = math.floor(math.log10(least))
    # Powers of ten are read from text, so that 0.1 is the 0.1 that a reader would write.
    steps = (float(f"{lead}e{power + more}") for more in (-1, 0, 1) for lead in (1, 2, 5))
    return next(step for step in steps if step >= least)


def rounded_mean(
    values: ArrayLike,
    *,
    name: str,
    secret: bytes,
    members: bytes,
    minimum: int = MINIMUM,
    base: int = BASE,
) -> RoundedMean:
    """Mean and standard deviation of a group, rounded at random to a step that hides each value.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        One of each runner of the group, none missing.
    name : str
        Of group and metric; no other cell of the publication may have it.
    secret, members
        As for `rounded_counts`.
    minimum : int, >= 2
        Values that the rounded count must prove.
    base : int, >= 1
        Of the rounded count.

    Returns
    -------
    RoundedMean
        The mean is right on average and less than one step away; the step is that of
        `mean_step`, for the distance of the furthest value where it exceeds the SD. Shares and
        intervals are to be computed from what is returned, never from the values.

    Raises
    ------
    ValueError
        For values that are not finite, or a minimum below 2.

    References
    ----------
    [Cox1987], [Hundepool2012], [Practice]

    Examples
    --------
    >>> values = [171, 165, 180, 177, 168, 174, 169, 183, 160, 172, 175, 166]
    >>> rounded_mean(values, name="height", secret=b"the clinic's", members=b"all")
    RoundedMean(count=10, mean=170.0, sd=6.0, step=2.0)
    """
    numbers = np.asarray(values, dtype=np.float64)
    if minimum < 2 or not np.isfinite(numbers).all():
        raise ValueError(f"{name}: expected finite values and a minimum of at least 2.")
    count = int(
        rounded_counts([len(numbers)], [name], secret=secret, members=members, base=base)[0]
    )
    nothing = RoundedMean(count=count, mean=None, sd=None, step=None)
    if not surely_at_least(count, minimum, base=base):
        return nothing
    sd = float(numbers.std(ddof=1))
    if sd <= _ALIKE * float(np.abs(numbers).max()):
        return nothing
    # A lone value far out makes up most of a sum: n steps must cover it, too.
    furthest = float(np.abs(numbers - numbers.mean()).max())
    step = mean_step(max(sd, furthest), len(numbers))
    mean = _rounded_at_random(float(numbers.mean()), step, _draw(secret, members, f"mean {name}"))
    spread = _rounded_at_random(sd, step, _draw(secret, members, f"sd {name}"))
    return RoundedMean(count=count, mean=mean, sd=spread, step=step)


def _rounded_at_random(value: float, step: float, draw: float) -> float:
    """Multiple of the step below or above, right on average over the draws."""
    return float(f"{step * math.floor(value / step + draw):.12g}")


def _draw(secret: bytes, members: bytes, name: str) -> float:
    """Number from 0 to below 1 that nobody can foretell without the secret."""
    text = len(members).to_bytes(8, "big") + members + name.encode()
    digest = hmac.new(secret, text, hashlib.sha256).digest()
    return int.from_bytes(digest[:6], "big") / 2.0**48
