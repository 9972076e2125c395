"""What of the visits of a run is to be written."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from casebook.services.importing_history import Retaken
from casebook.storage import bulk

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
# Among the positions of stored values: of one that is not stored and is to be left out.
OUT = -2


@dataclass(slots=True, kw_only=True)
class VisitPlan:
    """What is to be written; made by `plan_visits` without writing.

    Parameters
    ----------
    visit_id : array of int, shape (n_visits,)
        -1 for a new visit.
    revision : array of int, shape (n_visits,)
        Of the stored visit; 0 for a new one.
    kinds : list of str
        Kind of each new visit.
    fills : dict of int to dict
        Columns to be written, for each stored visit that left them open: (was, now).
    kept : array of int, shape (n_values,)
        Position among the stored values; -1 where the value is new, `OUT` where it stays out.
    new_trial : array of bool, shape (n_trials,)
    unchanged, left_out : array of bool, shape (n_readings,)
    out_visits : array of bool, shape (n_visits,)
        Visits that were struck out and are not stored again.
    retaken : dict of int to Retaken
        By value, what takes the place of a stored one.
    reasons : dict of int to list of str
        By visit, why something stored gives way.
    """

    visit_id: Whole
    revision: Whole
    kinds: list[str]
    fills: dict[int, dict[str, tuple[Any, Any]]]
    stored: bulk.KeptValues
    stored_trials: bulk.KeptTrials
    kept: Whole
    new_trial: Flags
    unchanged: Flags
    left_out: Flags
    out_visits: Flags
    retaken: dict[int, Retaken] = field(default_factory=dict)
    reasons: dict[int, list[str]] = field(default_factory=dict)
    conflicts: list[tuple[Whole, list[str]]] = field(default_factory=list)
