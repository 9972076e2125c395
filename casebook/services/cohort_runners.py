"""One row a runner of a cohort: sex and age, first programme, its complaint, and the baseline."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.people import Sex
from casebook.services.cohort_levels import codes_of, small
from casebook.statistics.codes import NOTHING, Floats, Whole

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


def runners_of(
    runners: pd.DataFrame, programmes: pd.DataFrame, injuries: pd.DataFrame, visits: pd.DataFrame
) -> pd.DataFrame:
    """The runners' row; `runners` by id, the other frames as the store and the cohort have them."""
    ids = runners["runner"].to_numpy()
    told: dict[str, np.ndarray] = {
        "runner_id": ids,
        "sex": codes_of(runners["sex"], list(Sex)),
        "birth_year": runners["birth_year"].to_numpy(),
        "registered_day": day_of(runners["registered_on"]),
    }
    first = programmes.drop_duplicates("runner")  # they come by runner and start
    told |= _programme(first, ids)
    told |= _injury(injuries, first, ids)
    told |= _baseline(visits, ids.size)
    return small(told, RUNNERS)


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


def _injury(injuries: pd.DataFrame, first: pd.DataFrame, ids: Whole) -> dict[str, np.ndarray]:
    """Of the complaint that the first programme is for, else of the runner's first one."""
    of_programme = injuries[injuries["injury"].isin(first["injury"].dropna())]
    # They come by runner and onset, and what stands first is kept.
    chosen = pd.concat([of_programme, injuries]).drop_duplicates("runner")
    at = np.searchsorted(ids, chosen["runner"].to_numpy())
    codes = {"region": "region", "pathology": "pathology", "injury_side": "side", "onset": "onset"}
    days = {
        "onset_day": "onset_on",
        "first_run_day": "returned_on",
        "fully_back_day": "fully_back_on",
    }
    return (
        {"injury_id": _placed(chosen["injury"].to_numpy(), at, ids.size, NOTHING)}
        | {
            name: _placed(chosen[column].to_numpy(), at, ids.size, NOTHING)
            for name, column in codes.items()
        }
        | {
            name: _placed(day_of(chosen[column]), at, ids.size, np.nan)
            for name, column in days.items()
        }
    )


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
