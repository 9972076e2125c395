"""The long table that a growth model is fitted to, and the columns of its fixed part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Whole = NDArray[np.int64]


# Smallest eigenvalue of the products of columns of size 1: below, one is a sum of the others.
LEAST_APART = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class Covariate:
    """Something that is known of each row and may go with the value.

    Parameters
    ----------
    name : str
    value : array, shape (n,)
        Best counted from its mean, so that level and slope are those of the average.
    by_time : bool
        Whether it may also go with the slope.
    """

    name: str
    value: Real
    by_time: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthTable:
    """A long table, a row a measurement; every array of shape (n,).

    Parameters
    ----------
    subject : array of int
        0 to subjects - 1.
    time : array
        In the unit that the slopes are to be told in.
    value : array
    group : array of int or None
        Number of each row's group in `groups`; the first is the one compared with.
    time_name, group_name : str
        How they are called in the names of the fixed part.
    covariates : tuple of Covariate
    """

    subject: Whole
    time: Real
    value: Real
    group: Whole | None = None
    groups: tuple[str, ...] = ()
    time_name: str = "time"
    group_name: str = "group"
    covariates: tuple[Covariate, ...] = ()


def fixed_part(table: GrowthTable) -> tuple[Real, tuple[str, ...]]:
    """The columns of the fixed part, and what each is called.

    Parameters
    ----------
    table : GrowthTable

    Returns
    -------
    array, shape (n, p)
        1, time, a level and a slope for each group but the first, then the covariates and their
        products with time.
    names : tuple of str

    References
    ----------
    The fixed part of [Laird1982].

    Examples
    --------
    >>> table = GrowthTable(
    ...     subject=np.array([0, 0]),
    ...     time=np.array([0.0, 2.0]),
    ...     value=np.array([5.0, 6.0]),
    ...     covariates=(Covariate(name="dose", value=np.array([0.5, 0.5]), by_time=True),),
    ... )
    >>> columns, names = fixed_part(table)
    >>> names
    ('Intercept', 'time', 'dose', 'time:dose')
    >>> columns[1]
    array([1. , 2. , 0.5, 1. ])
    """
    columns, names = [np.ones(len(table.time)), table.time], ["Intercept", table.time_name]
    inside = [
        np.asarray(table.group == number, dtype=np.float64)
        for number in range(1, len(table.groups))
    ]
    levels = [f"{table.group_name}[T.{level}]" for level in table.groups[1:]]
    columns += [*inside, *(column * table.time for column in inside)]
    names += [*levels, *(f"{table.time_name}:{level}" for level in levels)]
    for one in table.covariates:
        columns.append(one.value)
        names.append(one.name)
        if one.by_time:
            columns.append(one.value * table.time)
            names.append(f"{table.time_name}:{one.name}")
    return np.column_stack(columns), tuple(names)


def told_apart(table: GrowthTable) -> bool:
    """Whether the rows tell the columns of the fixed part apart, with rows to spare.

    Parameters
    ----------
    table : GrowthTable

    Returns
    -------
    bool

    References
    ----------
    None: a rank.

    Examples
    --------
    >>> same = np.ones(3)
    >>> told_apart(GrowthTable(subject=np.arange(3), time=same, value=same))
    False
    """
    columns, _ = fixed_part(table)
    size = np.sqrt(np.sum(columns**2, axis=0))
    if len(columns) <= columns.shape[1] or np.any(size == 0):
        return False
    # Of the small matrix of products, which is as fast for many rows as for few.
    apart = np.linalg.eigvalsh((columns / size).T @ (columns / size))
    return bool(apart[0] > LEAST_APART)


def without_what_cannot_be_told(table: GrowthTable) -> tuple[GrowthTable, tuple[str, ...]]:
    """The table without groups and covariates that its rows do not tell from what came before.

    Parameters
    ----------
    table : GrowthTable

    Returns
    -------
    GrowthTable
        Time stays, whether it can be told or not.
    left_out : tuple of str
        Names of what was left out: groups, covariates, or a covariate's part in the slope alone.

    References
    ----------
    None: a rank.

    Examples
    --------
    >>> time = np.array([0.0, 1.0, 2.0, 0.0])
    >>> twice = Covariate(name="twice", value=2 * time)
    >>> table = GrowthTable(
    ...     subject=np.array([0, 0, 0, 1]), time=time, value=time, covariates=(twice,)
    ... )
    >>> without_what_cannot_be_told(table)[1]
    ('twice',)
    """
    kept = replace(table, group=None, groups=(), covariates=())
    left_out: list[str] = []
    if table.groups:
        trial = replace(kept, group=table.group, groups=table.groups)
        if told_apart(trial):
            kept = trial
        else:
            left_out.append(table.group_name)
    for one in table.covariates:
        for again in (one, replace(one, by_time=False)) if one.by_time else (one,):
            trial = replace(kept, covariates=(*kept.covariates, again))
            if told_apart(trial):
                kept = trial
                break
            left_out.append(f"{table.time_name}:{one.name}" if again.by_time else one.name)
    return kept, tuple(left_out)
