"""Demo data of an invented clinic: every runner, name and reading in it is made up."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

FOLDER: Final = Path(__file__).resolve().parent
SIDES: Final = ("left", "right", "none")
# In the order in which they may be imported one by one.
FILES: Final = (
    "users.csv",
    "runners.csv",
    "error_figures.csv",
    "visits_to_march_2026_wide.csv",
    "visits_april_to_july_2026.csv",
    "visits_from_august_2026.csv",
    "injuries.csv",
    "findings.csv",
    "consents.csv",
    "programmes.csv",
    "blocks.csv",
    "targets.csv",
    "adherence.csv",
)


def data_files() -> list[Path]:
    """Files to import, in order; the truth is not among them."""
    return [FOLDER / name for name in FILES]


def truth() -> pd.DataFrame:
    """What is really so: one row for each runner and metric.

    Returns
    -------
    DataFrame
        Columns `runner`, `runner_course`, `metric`, `course`, `weak_side` (str); `before_*` and
        `now_*` (true value at the baseline and at the latest visit, in the metric's unit;
        `_left`, `_right`, or `_none` for a metric without sides); `between_sd`, `within_sd`,
        `shared_sd` (true error, in the metric's unit); `trials`, `baseline_visits` (int);
        `last_visit` (datetime64); `conditions_changed` (str, parted by semicolons);
        `lost_to_follow_up` ('yes' or 'no').
    """
    numbers = [f"{time}_{side}" for time in ("before", "now") for side in SIDES]
    return pd.read_csv(
        FOLDER / "truth.csv",
        parse_dates=["last_visit"],
        keep_default_na=False,
        na_values={name: [""] for name in numbers},
    )
