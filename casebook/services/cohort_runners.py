"""One row a runner of a cohort: sex and age, first programme, its complaint, and the baseline."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.people import Sex
from casebook.services.cohort_levels import codes_of, small
from casebook.statistics.codes import NOTHING, Flags, Floats, Whole

RUNNERS: Final = {
    "runner_id": "int64",
    "sex": "int8",
    "birth_year": "float64",
    "registered_day": "float64",
    "first_visit_day": "float64",
    "programme_id": "int64",
    "kind": "int8",
    "start_day": "float64",
    "end_day": "float64",
    "adherence": "float64",
    "injury_id": "int64",
    "region": "int8",
    "pathology": "int8",
    "injury_side": "int8",
    "onset": "int8",
    "onset_day": "float64",
    "first_run_day": "float64",
    "fully_back_day": "float64",
    "baseline_first_day": "float64",
    "baseline_last_day": "float64",
    "baseline_speed": "float64",
    "clinician": "int32",
}
# Columns of runners that come of their complaint, and the dates among them in the store.
COMPLAINT: Final = (
    "injury_id", "region", "pathology", "injury_side", "onset", "onset_day", "first_run_day",
    "fully_back_day",
)  # fmt: skip
COMPLAINTS: Final = {
    "runner": "int32",
    "for_programme": "bool",
    **{name: RUNNERS[name] for name in COMPLAINT},
}
WEEKS: Final = {"runner": "int32", "last_day": "float64", "planned": "int16", "done": "int16"}
DAYS_AFTER_FIRST = 6
CONSENTS: Final = {
    "runner": "int32",
    "purpose": "int8",
    "given_day": "float64",
    "withdrawn_day": "float64",
}


def day_of(dates: pd.Series) -> Floats:
    """Days since 1970 of a column of dates; NaN for NaT."""
    days = dates.to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(np.int64).astype(float))


def consents_of(consents: pd.DataFrame, ids: Whole) -> pd.DataFrame:
    """Consents with the runner's position instead of the id."""
    told = {
        "runner": np.searchsorted(ids, consents["runner"].to_numpy()),
        "purpose": consents["purpose"].to_numpy(),
        "given_day": day_of(consents["given_on"]),
        "withdrawn_day": day_of(consents["withdrawn_on"]),
    }
    return small(told, CONSENTS)


def complaints_of(injuries: pd.DataFrame, programmes: pd.DataFrame, ids: Whole) -> pd.DataFrame:
    """Complaints by runner and onset; `for_programme` tells which the first programme is for."""
    told: dict[str, np.ndarray] = {
        "runner": np.searchsorted(ids, injuries["runner"].to_numpy()),
        "for_programme": injuries["injury"].isin(_first(programmes)["injury"].dropna()).to_numpy(),
        "injury_id": injuries["injury"].to_numpy(),
        "injury_side": injuries["side"].to_numpy(),
        "onset_day": day_of(injuries["onset_on"]),
        "first_run_day": day_of(injuries["returned_on"]),
        "fully_back_day": day_of(injuries["fully_back_on"]),
    }
    told |= {name: injuries[name].to_numpy() for name in ("region", "pathology", "onset")}
    return small(told, COMPLAINTS)


def weeks_of(weeks: pd.DataFrame, programmes: pd.DataFrame, ids: Whole) -> pd.DataFrame:
    """Weeks of adherence of the runners' first programmes, told by their last day."""
    first = _first(programmes).set_index("programme")["runner"]
    weeks = weeks[weeks["programme"].isin(first.index)]
    told = {
        "runner": np.searchsorted(ids, first.loc[weeks["programme"]].to_numpy()),
        "last_day": day_of(weeks["week_start"]) + DAYS_AFTER_FIRST,
        "planned": weeks["planned"].to_numpy(),
        "done": weeks["done"].to_numpy(),
    }
    return small(told, WEEKS)


def runners_of(
    runners: pd.DataFrame, programmes: pd.DataFrame, complaints: pd.DataFrame, visits: pd.DataFrame
) -> pd.DataFrame:
    """The runners' row; `runners` by id, `programmes` as the store has them, the other frames as
    the cohort does.
    """
    ids = runners["runner"].to_numpy()
    told: dict[str, np.ndarray] = {
        "runner_id": ids,
        "sex": codes_of(runners["sex"], list(Sex)),
        "birth_year": runners["birth_year"].to_numpy(),
        "registered_day": day_of(runners["registered_on"]),
    }
    told |= _programme(_first(programmes), ids)
    told |= complaint_columns(complaints, np.ones(ids.size, dtype=np.bool_))
    told |= _baseline(visits, ids.size)
    return small(told, RUNNERS)


def complaint_columns(complaints: pd.DataFrame, begun: Flags) -> dict[str, np.ndarray]:
    """Of the complaint that the first programme is for, where that has begun, else the first one.

    Parameters
    ----------
    complaints : DataFrame
        By runner and onset; those that are known.
    begun : ndarray of bool, shape (runners,)

    Returns
    -------
    dict of str to ndarray
        The columns of COMPLAINT, an element a runner.
    """
    runner = complaints["runner"].to_numpy()
    before = complaints["for_programme"].to_numpy() & begun[runner]
    order = np.lexsort((~before, runner))
    at, rows = np.unique(runner[order], return_index=True)
    chosen = complaints.iloc[order[rows]]
    return {
        name: _placed(
            chosen[name].to_numpy(), at, begun.size, np.nan if name.endswith("_day") else NOTHING
        )
        for name in COMPLAINT
    }


def adherence_of(weeks: pd.DataFrame, size: int) -> Floats:
    """Sessions done of those planned by runner; NaN where none were planned or entered."""
    runner = weeks["runner"].to_numpy()
    planned, done = (
        np.bincount(runner, weights=weeks[name].to_numpy(), minlength=size)
        for name in ("planned", "done")
    )
    return done / np.where(planned > 0, planned, np.nan)


def _first(programmes: pd.DataFrame) -> pd.DataFrame:
    return programmes.drop_duplicates("runner")  # they come by runner and start


def _programme(first: pd.DataFrame, ids: Whole) -> dict[str, np.ndarray]:
    at = np.searchsorted(ids, first["runner"].to_numpy())
    planned, done = first["planned"].to_numpy(), first["done"].to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        adherence = np.where(planned > 0, done / planned, np.nan)
    return {
        "programme_id": _placed(first["programme"].to_numpy(), at, ids.size, NOTHING),
        "kind": _placed(first["kind"].to_numpy(), at, ids.size, NOTHING),
        "start_day": _placed(day_of(first["started_on"]), at, ids.size, np.nan),
        "end_day": _placed(day_of(first["ended_on"]), at, ids.size, np.nan),
        "adherence": _placed(adherence, at, ids.size, np.nan),
    }


def _baseline(visits: pd.DataFrame, size: int) -> dict[str, np.ndarray]:
    runner, day = visits["runner"].to_numpy(), visits["day"].to_numpy()
    rows = np.flatnonzero(visits["reference"].to_numpy())
    # Visits come by runner and day, so that the last one put in a place stays there.
    seen, firsts, lasts = runner[rows], rows[::-1], rows
    speed = visits["speed_km_h"].to_numpy()[rows]
    known = np.isfinite(speed)
    count = np.bincount(seen[known], minlength=size)
    total = np.bincount(seen[known], weights=speed[known], minlength=size)
    return {
        "first_visit_day": _placed(day[::-1], runner[::-1], size, np.nan),
        "baseline_first_day": _placed(day[firsts], runner[firsts], size, np.nan),
        "baseline_last_day": _placed(day[lasts], runner[lasts], size, np.nan),
        "baseline_speed": total / np.where(count > 0, count, np.nan),
        "clinician": _placed(visits["clinician"].to_numpy()[firsts], runner[firsts], size, NOTHING),
    }


def _placed(numbers: np.ndarray, at: Whole, size: int, none: float) -> np.ndarray:
    column = np.full(size, none, dtype=numbers.dtype if numbers.dtype.kind == "f" else np.int64)
    column[at] = numbers
    return column
