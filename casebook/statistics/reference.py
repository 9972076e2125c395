"""Which visits are the baseline that later ones are compared with."""

from __future__ import annotations

import numpy as np
import pandas as pd


def mark_reference(visits: pd.DataFrame, first_starts: pd.Series) -> pd.DataFrame:
    """Order each runner's visits and mark those that form the baseline.

    A repeat measurement never counts. Where a programme was started, the baseline is every
    visit up to and on the day of the first start, so that nothing measured before the
    programme is wasted; else the visits called baseline; else the first visit.

    Parameters
    ----------
    visits : DataFrame, one row a visit
        Columns `runner` (int64), `visited_on` (datetime64), `session` (int), `kind` (str);
        further columns are kept.
    first_starts : Series of datetime64, indexed by runner
        Day on which the runner's first programme started; absent where there is none.

    Returns
    -------
    DataFrame
        The visits by runner, day and session, with `order` (0, 1, ... within the runner),
        `day` (since 1970), `counts` (bool) and `reference` (bool) added.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> visits = pd.DataFrame(
    ...     {
    ...         "runner": [1, 1, 1],
    ...         "visited_on": pd.to_datetime(["2026-03-02", "2026-01-05", "2026-02-02"]),
    ...         "session": [1, 1, 1],
    ...         "kind": ["review", "baseline", "review"],
    ...     }
    ... )
    >>> starts = pd.Series(pd.to_datetime(["2026-02-02"]), index=[1])
    >>> mark_reference(visits, starts)["reference"].tolist()
    [True, True, False]
    """
    ordered = visits.sort_values(["runner", "visited_on", "session"], kind="stable")
    ordered = ordered.reset_index(drop=True)
    runners = ordered["runner"].to_numpy()
    counts = (ordered["kind"] != "repeat").to_numpy(dtype=bool)
    start = first_starts.reindex(runners).to_numpy(dtype="datetime64[ns]")
    before_start = counts & (ordered["visited_on"].to_numpy(dtype="datetime64[ns]") <= start)
    baseline_kind = counts & (ordered["kind"] == "baseline").to_numpy(dtype=bool)
    first = counts & (_running_count(runners, counts) == 1)

    reference = np.zeros(len(ordered), dtype=bool)
    settled = np.zeros(len(ordered), dtype=bool)
    for rule in (before_start, baseline_kind, first):
        reference |= rule & ~settled
        settled |= _any_of_runner(runners, rule)
    ordered["order"] = _running_count(runners, np.ones(len(ordered), dtype=bool)) - 1
    ordered["day"] = ordered["visited_on"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    ordered["counts"] = counts
    ordered["reference"] = reference
    return ordered


def _running_count(runners: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """How many rows of the same runner, up to this one, are in the mask (rows sorted)."""
    total = np.cumsum(mask)
    new_runner = np.flatnonzero(np.diff(runners, prepend=runners[:1] - 1))
    before = np.where(new_runner > 0, total[new_runner - 1], 0)
    lengths = np.diff(np.append(new_runner, len(runners)))
    return np.asarray(total - np.repeat(before, lengths))


def _any_of_runner(runners: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """For each row, whether any row of its runner is in the mask."""
    return np.isin(runners, runners[mask])
