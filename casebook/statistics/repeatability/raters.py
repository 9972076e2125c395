"""Several raters in several sessions: what another day and what another rater adds."""

from __future__ import annotations

import math

import numpy as np

from casebook.statistics.repeatability.cells import CellTable, Readings, names_of_cells
from casebook.statistics.repeatability.likelihood import fit_reml
from casebook.statistics.repeatability.results import Raters

FACTORS = ("subject", "rater", "session", "subject_rater", "subject_session")


def rater_parts(readings: Readings, table: CellTable) -> Raters | None:
    """Variances of raters and of sessions apart, by REML.

    Parameters
    ----------
    readings : Readings
    table : CellTable
        Made of the same readings; its cells are what is analysed.

    Returns
    -------
    Raters or None
        None unless at least two raters each read at least two sessions of at least two
        subjects, and something differs.

    References
    ----------
    [Patterson1971], [Shavelson1991]

    Examples
    --------
    >>> import pandas as pd
    >>> from casebook.statistics.repeatability.cells import cell_table, readings_of
    >>> table = pd.DataFrame({"subject": ["a", "b"], "session": ["1", "2"], "value": [3.0, 4.0]})
    >>> readings = readings_of(table)
    >>> rater_parts(readings, cell_table(readings)) is None
    True
    """
    raters = len(readings.raters)
    subject, session, rater = names_of_cells(readings, table)
    value = table.mean[table.held]
    crossed = np.unique(np.stack([session, rater]), axis=1).shape[1]
    levels = [
        subject,
        rater,
        session,
        subject * raters + rater,
        subject * len(readings.sessions) + session,
    ]
    levels = [np.unique(level, return_inverse=True)[1].astype(np.int64) for level in levels]
    sizes = [int(level.max()) + 1 for level in levels] if value.size else [0]
    if (
        min(sizes[:3]) < 2
        or crossed < len(readings.sessions) * raters
        or max(sizes) >= value.size
        or np.ptp(value) == 0.0
    ):
        return None
    fit = fit_reml(value, levels)
    variances = dict(zip(FACTORS, fit.variances, strict=True))
    of_rater = variances["rater"] + variances["subject_rater"]
    of_session = variances["session"] + variances["subject_session"]
    return Raters(
        components=variances | {"error": fit.residual},
        sem_same_rater=math.sqrt(of_session + fit.residual),
        sem_same_session=math.sqrt(of_rater + fit.residual),
        sem_other_rater_and_session=math.sqrt(of_rater + of_session + fit.residual),
    )
