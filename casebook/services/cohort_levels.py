"""What a batch of judged runners leaves in a cohort: their levels and baselines, as small columns.

Positions instead of ids, codes instead of words, and nothing that can be looked up elsewhere:
of a large clinic there are millions of rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import AppliesTo, ErrorFigure
from casebook.domain.verdicts import What
from casebook.services.judging import JudgedRunners
from casebook.statistics.asymmetry import Refused
from casebook.statistics.asymmetry_change import beyond_own_error, worse_side
from casebook.statistics.caseload import metric_columns, visit_columns
from casebook.statistics.change import distance_to_range
from casebook.statistics.codes import NOTHING, WHATS, Codes, Floats, Whole, code_of
from casebook.statistics.error import z_two_sided
from casebook.statistics.verdicts import ROUNDING

LEFT, RIGHT, WHOLE_BODY, ASYMMETRY = (code_of(what) for what in What)
ON_ASYMMETRY, ON_WORSE, ON_OTHER, ON_VALUE = (code_of(on) for on in On)
SIDES: Final = len(WHATS)

LEVELS: Final = {
    "runner": "int32",
    "visit": "int32",
    "metric": "int16",
    "what": "int8",
    "reference": "bool",
    "value": "float64",
    "sem": "float32",
    "origin": "int8",
    "refused": "bool",
    "ref": "int32",
    "call": "int8",
    "reason": "int8",
    "moved": "int8",
    "change": "float64",
    "mdc95": "float32",
}
REFERENCES: Final = {
    "runner": "int32",
    "metric": "int16",
    "what": "int8",
    "baseline": "float64",
    "sem": "float32",
    "visits": "int16",
    "origin": "int8",
    "on": "int8",
    "worse": "int8",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Levels and baselines of some runners; columns as LEVELS and REFERENCES name them.

    `runner` and `visit` are positions in the whole cohort, and so is `ref` (in its baselines).
    """

    levels: pd.DataFrame
    references: pd.DataFrame


def batch_of(
    found: JudgedRunners, runner_ids: Whole, *, first_runner: int, first_visit: int, first_ref: int
) -> Batch:
    """The small columns of a batch.

    Parameters
    ----------
    found : JudgedRunners
    runner_ids : ndarray of int, shape (runners,)
        Of the batch, ascending; those that were never seen are there, too.
    first_runner, first_visit, first_ref : int
        Position in the cohort of the batch's first runner, visit and baseline.
    """
    references = found.judged.references
    runner_of_ref = np.searchsorted(runner_ids, references["runner"].to_numpy())
    metric_of_ref = references["metric"].to_numpy()
    what_of_ref = references["what"].to_numpy()
    line = runner_of_ref * len(found.metrics) + metric_of_ref
    cell = np.full(runner_ids.size * len(found.metrics) * SIDES, NOTHING, dtype=np.int64)
    cell[line * SIDES + what_of_ref] = np.arange(len(references))
    worse = _worse_sides(found, line, cell)[line]
    told = {
        "runner": runner_of_ref + first_runner,
        "metric": metric_of_ref,
        "what": what_of_ref,
        "baseline": references["baseline"].to_numpy(),
        "sem": references["sem"].to_numpy(),
        "visits": references["visits"].to_numpy(),
        "origin": references["origin"].to_numpy(),
        "on": on_codes(what_of_ref, worse),
        "worse": worse,
    }
    return Batch(
        levels=_levels(found, runner_ids, cell, first_runner, first_visit, first_ref),
        references=small(told, REFERENCES),
    )


def on_codes(what: Codes, worse: Codes) -> Codes:
    """Codes of `On` for sides and asymmetries; -1 for a side not known to be worse or other."""
    side = np.where(what == RIGHT, 1, -1)
    return np.select(
        [what == ASYMMETRY, what == WHOLE_BODY, worse == 0, worse == side],
        [ON_ASYMMETRY, ON_VALUE, NOTHING, ON_WORSE],
        ON_OTHER,
    ).astype(np.int8)


def _worse_sides(found: JudgedRunners, line: Whole, cell: Whole) -> Codes:
    """By runner and metric: which side was the worse at the baseline, told as verdicts tell it."""
    references = found.judged.references
    metric, what = references["metric"].to_numpy(), references["what"].to_numpy()
    columns = metric_columns(found.metrics)
    baseline = references["baseline"].to_numpy()
    outside = distance_to_range(baseline, columns.low[metric], columns.high[metric])
    rows = np.flatnonzero(what == ASYMMETRY)
    left, right = (cell[line[rows] * SIDES + side] for side in (LEFT, RIGHT))
    directed = beyond_own_error(baseline[rows], _sem_of_direction(found, rows))
    worse = worse_side(
        baseline[rows],
        directed,
        columns.better[metric[rows]],
        _at(outside, left),
        _at(outside, right),
    )
    by_line = np.zeros(cell.size // SIDES, dtype=np.int8)
    by_line[line[rows]] = worse
    return by_line


def _sem_of_direction(found: JudgedRunners, rows: Whole) -> Floats:
    """SEM of asymmetries; of grades what makes a direction of more than the grade step."""
    chosen = found.judged.references.iloc[rows]
    steps = np.array([_step(figure) for figure in found.figures] + [np.nan])
    step = steps[chosen["figure"].to_numpy()]
    by_step = (step + ROUNDING) / z_two_sided()
    sem: Floats = np.where(np.isfinite(step), by_step, chosen["sem"].to_numpy())
    return sem


def _step(figure: ErrorFigure) -> float:
    known = figure.grade_step is not None and figure.applies_to is AppliesTo.ASYMMETRY
    return float(figure.grade_step or 0) if known else np.nan


def _levels(
    found: JudgedRunners,
    runner_ids: Whole,
    cell: Whole,
    first_runner: int,
    first_visit: int,
    first_ref: int,
) -> pd.DataFrame:
    measures, verdicts = found.judged.measures, found.judged.verdicts
    runner = np.searchsorted(runner_ids, measures["runner"].to_numpy())
    ids = found.visits["visit"].to_numpy()
    by_id = np.argsort(ids, kind="stable")
    visit = by_id[np.searchsorted(ids, measures["visit"].to_numpy(), sorter=by_id)]
    metric, what = measures["metric"].to_numpy(), measures["what"].to_numpy()
    ref = cell[(runner * len(found.metrics) + metric) * SIDES + what]
    later = np.flatnonzero(visit_columns(found.visits).later[visit])
    told: dict[str, np.ndarray] = {
        "runner": runner + first_runner,
        "visit": visit + first_visit,
        "metric": metric,
        "what": what,
        "reference": measures["reference"].to_numpy(),
        "value": measures["value"].to_numpy(),
        "sem": measures["sem"].to_numpy(),
        "origin": measures["origin"].to_numpy(),
        "refused": measures["refused"].to_numpy() != Refused.FINE,
        "ref": np.where(ref >= 0, ref + first_ref, NOTHING),
    }
    for name, none in (
        ("call", NOTHING), ("reason", NOTHING), ("moved", NOTHING),
        ("change", np.nan), ("mdc95", np.nan),
    ):  # fmt: skip
        # Both frames stand in one order, and verdicts are those of the later visits.
        column = np.full(len(measures), none, dtype=LEVELS[name])
        column[later] = verdicts[name].to_numpy()
        told[name] = column
    return small(told, LEVELS)


def _at(numbers: Floats, rows: Whole) -> Floats:
    return np.where(rows >= 0, numbers[rows], np.nan)


def codes_of(words: pd.Series, enum: Sequence[str]) -> Codes:
    """Positions of words in their enum; -1 for a word that is not in it."""
    codes: Codes = pd.Categorical(words.to_numpy(dtype=object), categories=list(enum)).codes
    return codes


def small(columns: dict[str, np.ndarray], kinds: dict[str, str]) -> pd.DataFrame:
    """Columns in the order and dtypes named; nothing is copied that fits already."""
    return pd.DataFrame(
        {name: columns[name].astype(kind) for name, kind in kinds.items()}, copy=False
    )
