"""Norming: where the clinic's runners started from, against which one runner is extreme."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from casebook.domain.verdicts import What
from casebook.services.judging import judge_baselines
from casebook.services.keeping import Casebook
from casebook.statistics.codes import WHATS, Floats, Whole
from casebook.statistics.levels import PUBLISHED
from casebook.storage import cases
from casebook.storage.session import reading


@dataclass(frozen=True, slots=True, kw_only=True)
class NormGroup:
    """Baselines of one metric and side, an element a runner; arrays that can't be written to.

    Parameters
    ----------
    runners : ndarray of int
        Their keys in the store.
    baseline, sem : ndarray of float
        Mean of the reference visits and its standard error.
    """

    runners: Whole
    baseline: Floats
    sem: Floats

    def without(self, runner: int) -> tuple[Floats, Floats]:
        """Baselines and errors of all runners but one."""
        others = self.runners != runner
        return self.baseline[others], self.sem[others]


@dataclass(frozen=True, slots=True, kw_only=True)
class Norms:
    """Baselines of all runners of a clinic, by metric and what.

    A face may keep them for as long as `norms_stamp` stays.
    """

    groups: Mapping[tuple[str, What], NormGroup]


def norms_stamp(casebook: Casebook) -> tuple[int, ...]:
    """Moves whenever what the norms are made of may have: records, metrics, error figures."""
    with reading(casebook.engine) as unit:
        catalogue = hash((tuple(cases.metrics_by_id(unit).values()), cases.figures_in_force(unit)))
        return (*cases.runners_stamp(unit, casebook.clinic_id), catalogue)


def clinic_norms(casebook: Casebook) -> Norms:
    """Baselines of all runners of the clinic whose error is known.

    Only the reference visits are fetched and judged. Where a figure is bridged by a runner's
    own trials these are therefore the trials of the reference visits alone.
    """
    with reading(casebook.engine) as unit:
        clinic = [line.runner_id for line in cases.runner_lines(unit, casebook.clinic_id)]
        found = judge_baselines(unit)
    frame = found.judged.references
    frame = frame[
        (frame["origin"] <= PUBLISHED)
        & np.isfinite(frame["sem"])
        & np.isfinite(frame["baseline"])
        & frame["runner"].isin(clinic)
    ]
    return Norms(
        groups={
            (found.metrics[metric].key, WHATS[what]): NormGroup(
                runners=_fixed(group["runner"].to_numpy()),
                baseline=_fixed(group["baseline"].to_numpy()),
                sem=_fixed(group["sem"].to_numpy()),
            )
            for (metric, what), group in frame.groupby(["metric", "what"])
        }
    )


def _fixed(array: np.ndarray) -> np.ndarray:
    kept = array.copy()
    kept.flags.writeable = False
    return kept
