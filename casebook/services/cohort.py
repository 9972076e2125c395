"""Everything that audits ask of a clinic, fetched and judged once, as compact frames.

Loading reads and judges the whole store, some hundreds of runners at a time, so that memory
stays bounded by what is kept. A face keeps what was loaded for as long as `cohort_stamp` stays,
and audits it again and again.

Everywhere `*_day` is a number of days since 1970 (NaN for none), `runner`, `visit`, `metric` are
positions in the frames and metrics of the same `LoadedCohort`, and codes are positions in the
enum that is named (-1 for none).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.metrics import Metric
from casebook.domain.visits import MissingReason, VisitKind
from casebook.services.cohort_levels import (
    LEVELS,
    REFERENCES,
    Batch,
    batch_of,
    codes_of,
    small,
)
from casebook.services.cohort_runners import (
    complaints_of,
    consents_of,
    day_of,
    runners_of,
    weeks_of,
)
from casebook.services.judging import judge_runners
from casebook.services.opened import Casebook
from casebook.statistics.caseload import visit_columns
from casebook.statistics.codes import NOTHING, Whole
from casebook.storage import history
from casebook.storage.cases import metrics_by_id
from casebook.storage.cohort_frames import (
    consents_frame,
    injuries_frame,
    programmes_frame,
    weeks_frame,
)
from casebook.storage.frames import missing_frame, runners_frame
from casebook.storage.session import Unit, reading

# Judging so many at once takes less memory than what is kept of a large clinic.
RUNNERS_AT_ONCE: Final = 500

VISITS: Final = {
    "runner": "int32",
    "visit_id": "int64",
    "day": "float64",
    "kind": "int8",
    "counts": "bool",
    "reference": "bool",
    "later": "bool",
    "due_day": "float64",
    "speed_km_h": "float64",
    "clinician": "int32",
}
MISSING: Final = {
    "runner": "int32",
    "visit": "int32",
    "metric": "int16",
    "what": "int8",
    "reason": "int8",
}
Stamp = tuple[int | str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedCohort:
    """A clinic's runners with all that was judged of them; nothing in it may be changed.

    Parameters
    ----------
    stamp : tuple
        As `cohort_stamp` gave it when this was loaded.
    metrics : tuple of Metric
        The whole catalogue.
    clinicians : tuple of str
        Codes of those who assessed a visit, sorted.
    runners : DataFrame, one row a runner
        `runner_id`; `sex` (`Sex`), `birth_year` (NaN unknown), `registered_day`,
        `first_visit_day`; of the first programme `programme_id` (-1 none), `kind`
        (`ProgrammeKind`), `start_day`, `end_day`, `adherence` (sessions done of planned, NaN
        where none were planned or entered); of its complaint, else the runner's first,
        `injury_id` (-1 none), `region`, `pathology`, `injury_side`, `onset`, `onset_day`,
        `first_run_day`, `fully_back_day`; of the reference visits `baseline_first_day`,
        `baseline_last_day`, `baseline_speed` (mean, km/h) and `clinician` (assessor of the
        first).
    consents : DataFrame, one row a consent
        `runner`, `purpose` (`Purpose`), `given_day`, `withdrawn_day`.
    visits : DataFrame, one row a visit, by runner, day and session
        `runner`, `visit_id`, `day`, `kind` (`VisitKind`), `counts` (no repeat measurement),
        `reference`, `later` (counts, and after the last reference visit), `due_day` (the next
        one that was planned), `speed_km_h`, `clinician`.
    levels : DataFrame, one row a counting visit, metric and what was measured (in that order)
        `runner`, `visit`, `metric`, `what` (`What`), `reference`, `value`, `sem` (a lower bound
        where `origin` is within_session), `origin` (`ErrorOrigin`), `refused` (an asymmetry
        that its formula refuses), `ref` (row in `references`); of later visits `call`
        (`Call`), `reason` (`Reason`), `moved` (`SideMoved`), `change` (from the baseline) and
        `mdc95`. In the metric's unit or that of its asymmetry, signed right minus left.
    references : DataFrame, one row a runner, metric and what measured at the baseline
        `runner`, `metric`, `what`, `baseline` (mean of the reference visits), `sem`, `visits`,
        `origin`, `on` (`On`; -1 for a side of which it is not known whether it was the worse)
        and `worse` (1 right, -1 left, 0 not known).
    complaints : DataFrame, one row a complaint, by runner and onset
        `runner`, `for_programme` (the first programme is for it), and of `runners` the columns
        from `injury_id` to `fully_back_day`.
    weeks : DataFrame, one row a week of adherence of a first programme
        `runner`, `last_day`, `planned`, `done` (sessions).
    missing : DataFrame, one row a value that is missing with a reason
        `runner`, `visit`, `metric`, `what`, `reason` (`MissingReason`).
    """

    stamp: Stamp
    metrics: tuple[Metric, ...]
    clinicians: tuple[str, ...]
    runners: pd.DataFrame = field(repr=False)
    consents: pd.DataFrame = field(repr=False)
    visits: pd.DataFrame = field(repr=False)
    levels: pd.DataFrame = field(repr=False)
    references: pd.DataFrame = field(repr=False)
    complaints: pd.DataFrame = field(repr=False)
    weeks: pd.DataFrame = field(repr=False)
    missing: pd.DataFrame = field(repr=False)


def cohort_stamp(casebook: Casebook) -> Stamp:
    """Moves whenever anything is stored: the last entry of the history, which tells it all."""
    with reading(casebook.engine) as unit:
        return _stamp(unit, casebook)


def load_cohort(casebook: Casebook) -> LoadedCohort:
    """Fetch and judge a whole clinic; takes about as long as judging its caseload."""
    with reading(casebook.engine) as unit:
        stamp = _stamp(unit, casebook)
        runners = runners_frame(unit, casebook.clinic_id).sort_values("runner")
        ids = runners["runner"].to_numpy()
        parts = _judged(unit, ids)
        visits, clinicians = _visits(parts.visits, ids)
        metrics = metrics_by_id(unit)
        missing = _missing(unit, ids, visits, np.fromiter(metrics, dtype=np.int64))
        programmes = programmes_frame(unit, casebook.clinic_id)
        weeks = weeks_of(weeks_frame(unit, casebook.clinic_id), programmes, ids)
        complaints = complaints_of(injuries_frame(unit, casebook.clinic_id), programmes, ids)
        consents = consents_frame(unit, casebook.clinic_id)
    return LoadedCohort(
        stamp=stamp,
        metrics=tuple(metrics.values()),
        clinicians=clinicians,
        runners=runners_of(runners, programmes, complaints, visits),
        consents=consents_of(consents, ids),
        visits=visits,
        levels=_joined([one.levels for one in parts.batches], LEVELS),
        references=_joined([one.references for one in parts.batches], REFERENCES),
        complaints=complaints,
        weeks=weeks,
        missing=missing,
    )


def _stamp(unit: Unit, casebook: Casebook) -> Stamp:
    return (casebook.clinic_id, *history.last(unit))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """What the batches left: their small columns, and their visits with assessors in words."""

    batches: list[Batch]
    visits: list[pd.DataFrame]


def _judged(unit: Unit, ids: Whole) -> _Judged:
    batches: list[Batch] = []
    visits: list[pd.DataFrame] = []
    first_visit = first_ref = 0
    for first in range(0, ids.size, RUNNERS_AT_ONCE):
        some = ids[first : first + RUNNERS_AT_ONCE]
        found = judge_runners(unit, some.tolist())
        batch = batch_of(
            found, some, first_runner=first, first_visit=first_visit, first_ref=first_ref
        )
        first_visit += len(found.visits)
        first_ref += len(batch.references)
        batches.append(batch)
        visits.append(found.visits)
    return _Judged(batches=batches, visits=visits)


def _visits(parts: Sequence[pd.DataFrame], ids: Whole) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Small columns of all visits, and the assessors that `clinician` points into."""
    if not parts:
        return _joined([], VISITS), ()
    visits = pd.concat(parts, ignore_index=True)
    assessors = visits["assessor"].to_numpy(dtype=object)
    clinicians = tuple(sorted({str(one) for one in assessors if one}))
    place = {code: at for at, code in enumerate(clinicians)}
    told = {
        "runner": np.searchsorted(ids, visits["runner"].to_numpy()),
        "visit_id": visits["visit"].to_numpy(),
        "day": visits["day"].to_numpy(),
        "kind": codes_of(visits["kind"], list(VisitKind)),
        "counts": visits["counts"].to_numpy(),
        "reference": visits["reference"].to_numpy(),
        "later": visit_columns(visits).later,
        "due_day": day_of(visits["next_due_on"]),
        "speed_km_h": visits["speed_km_h"].to_numpy(),
        "clinician": np.array([place.get(str(one), NOTHING) for one in assessors], dtype=np.int32),
    }
    return small(told, VISITS), clinicians


def _missing(unit: Unit, ids: Whole, visits: pd.DataFrame, metric_ids: Whole) -> pd.DataFrame:
    frame = missing_frame(unit)
    frame = frame[frame["runner"].isin(ids)]
    by_id = np.argsort(visits["visit_id"].to_numpy(), kind="stable")
    told = {
        "runner": np.searchsorted(ids, frame["runner"].to_numpy()),
        "visit": by_id[
            np.searchsorted(visits["visit_id"].to_numpy(), frame["visit"].to_numpy(), sorter=by_id)
        ],
        "metric": np.searchsorted(metric_ids, frame["metric"].to_numpy()),
        "what": frame["side"].to_numpy(),
        "reason": codes_of(frame["reason"], list(MissingReason)),
    }
    order = np.lexsort((told["what"], told["metric"], told["visit"], told["runner"]))
    return small({name: column[order] for name, column in told.items()}, MISSING)


def _joined(parts: Sequence[pd.DataFrame], kinds: dict[str, str]) -> pd.DataFrame:
    """The parts below one another; they are taken apart, so that a column is held twice at most."""
    joined = {
        name: np.concatenate([np.empty(0, dtype=kind), *(part.pop(name) for part in parts)])
        for name, kind in kinds.items()
    }
    return small(joined, kinds)
