"""What of the measured would give back, in another table, what a runner's row keeps coarse."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from casebook.services.exporting_measured import Measured, Measuring
from casebook.statistics.codes import Flags, Whole

# A force over the same force per body mass is the mass, to a tenth of a kilogram.
PER_KG: Final = "_per_kg"
# Questionnaires of one body area: to have filled one in tells the area.
OF_ONE_REGION: Final = frozenset({"visa_a_total", "akps_total"})


def without_giveaways(about: Measuring, found: Measured) -> Measured:
    """The measured without a questionnaire of a region that is kept coarse, and forces beside
    the same ones per body mass.

    Groups are counted before, over everything: they are rounded and withheld by themselves.
    """
    keys = [metric.key for metric in about.metrics]
    bound = np.array([key in OF_ONE_REGION for key in keys], dtype=np.bool_)
    per_kg = {keys.index(key): keys.index(key + PER_KG) for key in keys if key + PER_KG in keys}
    runners = found.visits["runner"].to_numpy()
    of_values = _runners_of(found, found.values, runners)
    with_mass = {
        raw: np.unique(of_values[(found.values["metric"] == relative).to_numpy()])
        for raw, relative in per_kg.items()
    }

    def kept(frame: pd.DataFrame) -> pd.DataFrame:
        own, metric = _runners_of(found, frame, runners), frame["metric"].to_numpy()
        hidden: Flags = bound[metric] & ~np.isin(own, list(about.region_exact))
        for raw, ids in with_mass.items():
            hidden |= (metric == raw) & np.isin(own, ids)
        return frame[~hidden].reset_index(drop=True)

    return replace(
        found,
        values=kept(found.values),
        missing=kept(found.missing),
        judged=replace(
            found.judged,
            measures=kept(found.judged.measures),
            verdicts=kept(found.judged.verdicts),
        ),
    )


def _runners_of(found: Measured, frame: pd.DataFrame, runners: Whole) -> Whole:
    return np.asarray(runners[found.place.reindex(frame["visit"]).to_numpy(dtype=np.int64)])
