"""The published data sets as readings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from casebook.statistics.repeatability.cells import Readings, readings_of

DATA = Path(__file__).parent / "data"


def published(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / f"{name}.csv")


def readings(table: pd.DataFrame, columns: Sequence[str]) -> Readings:
    """Each row a subject, each column a session."""
    wide = table[list(columns)].assign(subject=np.arange(len(table)))
    return readings_of(wide.melt("subject", var_name="session"), sessions=tuple(columns))
