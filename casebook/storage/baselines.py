"""Values of given visits, for what is asked of the baselines of a whole clinic."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from casebook.storage.frames import SIDES, VALUES
from casebook.storage.tables import ValueRow, VisitRow

# Fewer than the parameters that any database takes in one statement.
VISITS_AT_ONCE = 5000


def values_of_visits(session: Session, visit_ids: Sequence[int]) -> pd.DataFrame:
    """Every value that was read at the visits named, without its trials.

    Returns
    -------
    DataFrame, one row a value
        Columns as `frames.values_frame` gives them, in no declared order.
    """
    rows = np.fromiter(_rows(session, [int(one) for one in visit_ids]), dtype=VALUES)
    return pd.DataFrame({name: np.ascontiguousarray(rows[name]) for name in VALUES.names or ()})


def _rows(session: Session, visit_ids: list[int]) -> Iterator[tuple[Any, ...]]:
    for start in range(0, len(visit_ids), VISITS_AT_ONCE):
        query = (
            select(
                VisitRow.runner_id,
                ValueRow.visit_id,
                ValueRow.metric_id,
                SIDES,
                ValueRow.n_trials,
                ValueRow.mean,
                ValueRow.sd,
                ValueRow.marking_sd,
            )
            .join(VisitRow, VisitRow.id == ValueRow.visit_id)
            .where(
                ValueRow.mean.is_not(None),
                ValueRow.visit_id.in_(visit_ids[start : start + VISITS_AT_ONCE]),
            )
        )
        result = session.connection().execute(query)
        # The driver's plain tuples: there may be hundreds of thousands.
        yield from () if result.cursor is None else result.cursor.fetchall()
        result.close()
