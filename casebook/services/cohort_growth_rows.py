"""From a loaded cohort to the long table of a growth model, with what was left out of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.audit_growth_words import left_out_words
from casebook.domain.audit_outcomes import On
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.verdicts import Reason
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.services.cohort_levels import ASYMMETRY, WHOLE_BODY
from casebook.statistics.codes import Flags, Floats, Whole, code_of
from casebook.statistics.growth.table import (
    Covariate,
    GrowthTable,
    without_what_cannot_be_told,
)
from casebook.statistics.levels import PUBLISHED

# What fewer runners than this share have recorded is left out. Common practice, no source.
RECORDED = 0.8
# Runners for each thing that is told of runners, their level among them. Common practice, no
# source.
RUNNERS_EACH = 5
# Adherence is told for so much more of the sessions done.
A_TENTH = 10.0
DAYS_A_WEEK = 7.0
PHASE, SPEED, ADHERENCE, KIND = "phase[T.after]", "baseline_speed", "adherence", "kind"


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthRows:
    """A table to be fitted.

    Parameters
    ----------
    table : GrowthTable
        Time in weeks since the programme's start; covariates from their mean over the runners.
    runner : array of int
        Position in the cohort of each of the table's subjects.
    error_variance : float or None
        Mean over the rows; None where too few rows have a known error.
    left_out : tuple of str
        In words.
    """

    table: GrowthTable
    runner: Whole
    error_variance: float | None
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Rows of levels that are told: their runners, weeks, values, errors and phases."""

    runner: Whole
    week: Floats
    value: Floats
    sem: Floats
    after: Flags

    def of(self, runners: Flags) -> _Rows:
        kept = runners[self.runner]
        return _Rows(
            runner=self.runner[kept],
            week=self.week[kept],
            value=self.value[kept],
            sem=self.sem[kept],
            after=self.after[kept],
        )


def growth_rows(
    loaded: LoadedCohort, members: Members, metric: int, on: On, *, by: bool, least: int
) -> GrowthRows | None:
    """Everything measured of one metric in the runners whose programme started.

    Parameters
    ----------
    loaded : LoadedCohort
    members : Members
    metric : int
        Position in the cohort's metrics.
    on : On
    by : bool
        Whether the kinds of programme are told apart.
    least : int
        Runners below which no group is told.

    Returns
    -------
    GrowthRows or None
        None where they are too few. Visits not like for like with the baseline are left out.
    """
    rows, unlike = _chosen(loaded, members, metric, on)
    left_out = [left_out_words("unlike", unlike)] if unlike else []
    covariates: dict[str, Floats] = {}
    runners = loaded.runners
    room = len(np.unique(rows.runner)) // RUNNERS_EACH - 1
    kind = runners["kind"].to_numpy()
    if by and room < 1 and len(np.unique(kind[rows.runner])) > 1:
        by, left_out = False, [*left_out, left_out_words("too_few_for_kind", 0)]
    for name, known in (
        (SPEED, runners["baseline_speed"].to_numpy()),
        (ADHERENCE, A_TENTH * runners["adherence"].to_numpy()),
    ):
        asked = np.unique(rows.runner)
        recorded = np.isfinite(known)
        have = int(recorded[asked].sum())
        if have < max(least, RECORDED * len(asked)):
            left_out.append(left_out_words(f"{name}_unrecorded", len(asked) - have))
            continue
        if len(covariates) + by >= room:
            left_out.append(left_out_words(f"too_few_for_{name}", 0))
            continue
        if have < len(asked):
            left_out.append(left_out_words(f"without_{name}", len(asked) - have, least))
            rows = rows.of(recorded)
        covariates[name] = known
    who, subject = np.unique(rows.runner, return_inverse=True)
    if len(who) < least:
        return None
    kinds, group, told = _kinds(kind[who], least) if by else ((), None, "")
    if told:
        left_out.append(left_out_words(told, 0))
    table, apart = without_what_cannot_be_told(
        GrowthTable(
            subject=subject.astype(np.int64),
            time=rows.week,
            value=rows.value,
            group=None if group is None else group[subject],
            groups=kinds,
            group_name=KIND,
            covariates=(
                Covariate(name=PHASE, value=rows.after.astype(np.float64)),
                *(
                    Covariate(
                        name=name,
                        value=(known[who] - known[who].mean())[subject],
                        by_time=name == ADHERENCE,
                    )
                    for name, known in covariates.items()
                ),
            ),
        )
    )
    known_error = np.isfinite(rows.sem)
    enough = known_error.mean() >= RECORDED
    return GrowthRows(
        table=table,
        runner=who,
        error_variance=float(np.mean(rows.sem[known_error] ** 2)) if enough else None,
        left_out=(*left_out, *(left_out_words(name, 0) for name in apart)),
    )


def _chosen(loaded: LoadedCohort, members: Members, metric: int, on: On) -> tuple[_Rows, int]:
    levels, references = loaded.levels, loaded.references
    rows = np.flatnonzero(levels["metric"].to_numpy() == metric)
    runner = levels["runner"].to_numpy()[rows]
    visit = levels["visit"].to_numpy()[rows]
    what = levels["what"].to_numpy()[rows]
    ref = levels["ref"].to_numpy()[rows]
    value = levels["value"].to_numpy()[rows]
    with_reference = ref >= 0
    place = np.where(with_reference, ref, 0)
    known = np.isfinite(value) & members.started[runner] & members.counted[visit]
    if on is On.VALUE:
        known &= what == WHOLE_BODY
    elif len(references):
        known &= with_reference & (references["on"].to_numpy()[place] == code_of(on))
    else:
        known &= False
    if on is On.ASYMMETRY and len(references):
        # In the direction that it had at the baseline: an average over signs would say nothing.
        known &= what == ASYMMETRY
        value = value * np.where(references["baseline"].to_numpy()[place] < 0, -1.0, 1.0)
    unlike = levels["reason"].to_numpy()[rows] == code_of(Reason.NOT_LIKE_FOR_LIKE)
    taken = known & ~unlike
    sem = np.where(
        levels["origin"].to_numpy()[rows] <= PUBLISHED,
        levels["sem"].to_numpy()[rows].astype(np.float64),
        np.nan,
    )
    day = loaded.visits["day"].to_numpy()[visit]
    start = loaded.runners["start_day"].to_numpy()[runner]
    return (
        _Rows(
            runner=runner[taken].astype(np.int64),
            week=((day - start) / DAYS_A_WEEK)[taken],
            value=value[taken],
            sem=sem[taken],
            after=~levels["reference"].to_numpy()[rows][taken],
        ),
        int(np.sum(known & unlike)),
    )


def _kinds(kind: Whole, least: int) -> tuple[tuple[str, ...], Whole | None, str]:
    """Names of the kinds that occur, the number of each runner's, and why they are not told."""
    sizes = [(at, int(np.sum(kind == at))) for at in range(len(ProgrammeKind))]
    present = [(at, size) for at, size in sizes if size]
    if len(present) < 2:
        return (), None, "one_kind"
    if min(size for _, size in present) < least:
        return (), None, "small_kind"
    names = tuple(list(ProgrammeKind)[at].value for at, _ in present)
    number = np.searchsorted([at for at, _ in present], kind).astype(np.int64)
    return names, number, ""
