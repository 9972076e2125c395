"""Targets of programmes: was one missed beyond error at the first visit after it was due?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.domain.programmes import TargetDirection
from casebook.statistics.caseload import VisitColumns
from casebook.statistics.codes import Codes, Floats, Whole, code_of
from casebook.statistics.flagging import p_short
from casebook.statistics.levels import SIDES, Levels
from casebook.statistics.verdicts import Verdicts

UP, DOWN, TOWARDS_ZERO = (code_of(direction) for direction in TargetDirection)
COLUMNS = {
    "runner": "int64",
    "metric": "int64",
    "what": "int8",
    "direction": "int8",
    "amount": "float64",
    "due": "int64",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetTests:
    """Targets that were due, one element a target.

    Parameters
    ----------
    verdict : ndarray of int
        Position of the verdict at the first counting visit on or after the due day at which
        the thing was measured.
    direction : ndarray of int8
        Codes of `TargetDirection`.
    goal : ndarray of float
        Value to be reached; for a target towards zero the size of the asymmetry, at least 0.
    p : ndarray of float
        One-sided, that it was truly reached.
    """

    verdict: Whole
    direction: Codes
    goal: Floats
    p: Floats


def no_targets() -> pd.DataFrame:
    """A targets frame without any.

    Parameters
    ----------
    None

    Returns
    -------
    DataFrame
        Columns runner (id), metric (position), what (code of `What`), direction (code of
        `TargetDirection`), amount (> 0, in the metric's unit or that of its asymmetry), due
        (days since 1970).

    References
    ----------
    None: an empty table.

    Examples
    --------
    >>> list(no_targets())
    ['runner', 'metric', 'what', 'direction', 'amount', 'due']
    """
    return pd.DataFrame({name: np.zeros(0, dtype=kind) for name, kind in COLUMNS.items()})


def target_tests(
    targets: pd.DataFrame,
    verdicts: Verdicts,
    levels: Levels,
    visits: VisitColumns,
    days: Floats,
    metric_count: int,
) -> TargetTests:
    """Test every target at the first visit that could show whether it was reached.

    Parameters
    ----------
    targets : DataFrame
        Columns as `no_targets` has them.
    verdicts : Verdicts
    levels : Levels
    visits : VisitColumns
    days : ndarray of float, shape (visits,)
        Days since 1970 of each visit, in the order of `visits`.
    metric_count : int

    Returns
    -------
    TargetTests
        Only where the verdict is known: like for like, with an error between sessions.

    References
    ----------
    [Jacobson1991], [Dunn1961]

    Examples
    --------
    See `casebook.statistics.judgement.judge`.
    """
    runners = np.unique(visits.runner)
    known = targets[targets["runner"].isin(runners)]
    place = np.searchsorted(runners, known["runner"].to_numpy(dtype=np.int64))
    what, metric = known["what"].to_numpy(np.int64), known["metric"].to_numpy(np.int64)
    group = (place * metric_count + metric) * SIDES + what
    verdict = _first_after(known["due"].to_numpy(float), group, verdicts, levels, days)
    shown = np.flatnonzero(verdict >= 0)
    shown = shown[verdicts.known()[verdict[shown]]]
    verdict = verdict[shown]
    amount = known["amount"].to_numpy(float)[shown]
    direction = known["direction"].to_numpy(np.int8)[shown]
    before, now = verdicts.baseline[verdict], verdicts.latest[verdict]
    goal = np.select(
        [direction == UP, direction == DOWN],
        [before + amount, before - amount],
        np.maximum(np.abs(before) - amount, 0.0),
    )
    short = np.select(
        [direction == UP, direction == DOWN], [goal - now, now - goal], abs(now) - goal
    )
    return TargetTests(
        verdict=verdict,
        direction=direction,
        goal=goal,
        p=p_short(short, verdicts.se_change[verdict], direction == TOWARDS_ZERO),
    )


def _first_after(
    due: Floats, group: Whole, verdicts: Verdicts, levels: Levels, days: Floats
) -> Whole:
    """Position of the first verdict of each group on or after a day; -1 where there is none."""
    wanted = np.flatnonzero(np.isin(levels.group[verdicts.level], group))
    held = levels.group[verdicts.level[wanted]]
    wanted = wanted[np.argsort(held, kind="stable")]  # by group, then by visit as before
    keys = pd.DataFrame(
        {
            "group": levels.group[verdicts.level[wanted]],
            "day": days[levels.visit_at[verdicts.level[wanted]]],
            "verdict": wanted,
        }
    )
    asked = pd.DataFrame({"group": group, "day": due, "row": np.arange(group.size)})
    found = pd.merge_asof(
        asked.sort_values("day"),
        keys.sort_values("day", kind="stable"),
        on="day",
        by="group",
        direction="forward",
    )
    first = np.full(group.size, -1, dtype=np.int64)
    first[found["row"].to_numpy()] = found["verdict"].fillna(-1).to_numpy(dtype=np.int64)
    return first
