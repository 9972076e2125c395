"""How complete an audit's metrics are, and why values are missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.domain.audit import AuditChoice, Completeness, Count, Part
from casebook.domain.audit_words import NOT_ENTERED
from casebook.domain.visits import MissingReason
from casebook.services.audit_flow import part
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.services.cohort_levels import ASYMMETRY, LEFT, RIGHT, WHOLE_BODY
from casebook.statistics.codes import Codes, Flags, Whole
from casebook.statistics.cohort_withholding import withheld_groups

REASONS = (*(reason.value for reason in MissingReason), NOT_ENTERED)
LAST_REASON = len(REASONS) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Occasion:
    """Who was seen at the baseline or at the outcome visit, and what was read of them.

    Parameters
    ----------
    seen : ndarray of bool, shape (runners,)
    has : ndarray of bool, shape (runners, metrics)
        Both sides, of a metric that has sides.
    reason : ndarray of int8, shape (runners, metrics)
        Position in REASONS of why it is missing; the last where nothing was entered.
    """

    seen: Flags
    has: Flags
    reason: Codes


def completeness_of(
    loaded: LoadedCohort,
    members: Members,
    choice: AuditChoice,
    metrics: Flags,
    *,
    outcomes_told: bool,
) -> tuple[Completeness, ...]:
    """Completeness by metric, in the catalogue's order.

    Without a choice of metrics those are told that anybody of the cohort was measured in.
    """
    visits = loaded.visits
    outcome = np.zeros(len(visits), dtype=np.bool_)
    outcome[members.outcome_visit[members.outcome_visit >= 0]] = True
    first = visits["reference"].to_numpy() & members.counted
    occasions = (
        _occasion(loaded, members.baseline, first),
        _occasion(loaded, members.outcome_visit >= 0, outcome),
    )
    measured = np.any([one.has[one.seen].any(axis=0) for one in occasions], axis=0)
    listed = metrics & (measured | bool(choice.metrics))
    order = sorted(np.flatnonzero(listed), key=lambda at: (loaded.metrics[at].position, at))
    least = choice.least_group
    return tuple(
        _of_metric(loaded, occasions, int(at), least, outcomes_told=outcomes_told) for at in order
    )


def _occasion(loaded: LoadedCohort, seen: Flags, visits: Flags) -> _Occasion:
    levels, missing = loaded.levels, loaded.missing
    shape = (seen.size, len(loaded.metrics))
    read = np.zeros((*shape, ASYMMETRY), dtype=np.bool_)
    side = levels["what"].to_numpy()
    rows = np.flatnonzero(visits[levels["visit"].to_numpy()] & (side != ASYMMETRY))
    read[_places(levels, rows)] = True
    sided = np.array([metric.sided for metric in loaded.metrics], dtype=np.bool_)
    has = np.where(sided, read[:, :, LEFT] & read[:, :, RIGHT], read[:, :, WHOLE_BODY])
    reason = np.full(shape, LAST_REASON, dtype=np.int8)
    # From the last to the first, so that the first reason given stays there.
    rows = np.flatnonzero(visits[missing["visit"].to_numpy()])[::-1]
    runner, metric, _ = _places(missing, rows)
    reason[runner, metric] = missing["reason"].to_numpy()[rows]
    return _Occasion(seen=seen, has=has, reason=reason)


def _places(frame: pd.DataFrame, rows: Whole) -> tuple[Whole, Whole, Whole]:
    runner, metric, what = (frame[name].to_numpy()[rows] for name in ("runner", "metric", "what"))
    return runner, metric, what


def _of_metric(
    loaded: LoadedCohort,
    occasions: tuple[_Occasion, _Occasion],
    at: int,
    least: int,
    *,
    outcomes_told: bool,
) -> Completeness:
    parts = [
        part(name, int(one.has[one.seen, at].sum()), int(one.seen.sum()), least, hidden=not shown)
        for name, one, shown in zip(
            ("baseline", "outcome"), occasions, (True, outcomes_told), strict=True
        )
    ]
    counts = np.zeros(len(REASONS), dtype=np.int64)
    lacks = np.zeros((occasions[0].seen.size, len(REASONS)), dtype=np.bool_)
    for one in occasions:
        lacking = np.flatnonzero(one.seen & ~one.has[:, at])
        counts += np.bincount(one.reason[lacking, at], minlength=len(REASONS))
        lacks[lacking, one.reason[lacking, at]] = True
    return Completeness(
        metric=loaded.metrics[at].key,
        label=loaded.metrics[at].label,
        baseline=parts[0],
        outcome=parts[1],
        reasons=_reasons(parts, counts, lacks, least),
    )


def _reasons(
    parts: list[Part], counts: Whole, lacks: Flags, least: int
) -> tuple[tuple[str, Count], ...]:
    """Why values are missing; nothing where so few are that the shares would give them away.

    A runner may lack a value twice, at the baseline and at the outcome: values may be enough
    where runners are few (`lacks`, by runner and reason).
    """
    given = [(name, int(n)) for name, n in zip(REASONS, counts, strict=True) if n]
    runners = [int(n) for n in lacks.sum(axis=0) if n]
    if lacks.any(axis=1).sum() < least or any(one.total is None for one in parts):
        return ()
    hidden = withheld_groups(
        [n for _, n in given], least, forced=[n < least for n in runners]
    ).beside_the_whole
    shown = [pair for pair, hide in zip(given, hidden, strict=True) if not hide]
    shown.sort(key=lambda pair: -pair[1])
    return (
        *((name, Count(n=n)) for name, n in shown),
        *((name, Count(n=None)) for (name, _), hide in zip(given, hidden, strict=True) if hide),
    )
