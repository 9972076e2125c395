"""What was prescribed to some runners, as it leaves: coded parts and doses, no words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import pandas as pd

from casebook.domain.export_tables import NO, ONE_SIDE, OWN_WORDS, WITHHELD, YES
from casebook.domain.exporting import ExportKey, Kind
from casebook.domain.programmes import TargetOn
from casebook.domain.sides import InjurySide
from casebook.services.exporting_hidden import OF_ONE_REGION
from casebook.services.exporting_targets import Prescribed
from casebook.storage import export_rows
from casebook.storage.session import Unit

# A side would tell the injured one, where that is withheld.
_SIDES: Final = {
    InjurySide.LEFT: ONE_SIDE,
    InjurySide.RIGHT: ONE_SIDE,
    InjurySide.BOTH: "both",
    InjurySide.NONE: "none",
}
_ON: Final = {
    TargetOn.LEFT: ONE_SIDE,
    TargetOn.RIGHT: ONE_SIDE,
    TargetOn.NONE: "none",
    TargetOn.ASYMMETRY: "asymmetry",
}
_DTYPES: Final = {
    "programmes": {"start_day": "Int64", "length_days": "Int64", "planned_weeks": "Int64"},
    "blocks": {
        "position": "Int64",
        "sets": "Int64",
        "repetitions": "Int64",
        "hold_s": "float64",
        "sessions_per_week": "float64",
        "rest_s": "float64",
    },
    "targets": {"amount": "float64", "due_day": "Int64"},
    "adherence": {"pain_during": "float64", "pain_morning_after": "float64"},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Prescribing:
    """What is the same for all runners.

    Parameters
    ----------
    injuries : mapping of int to int
        Id of the complaint that is told of, by runner id.
    injury_told, region_exact : frozenset of int
        Ids of runners of whom it leaves whether they have a complaint, and its very region.
    exercises, metrics : frozenset of str
        Keys that may leave.
    """

    as_of: date
    key: ExportKey
    first: Mapping[int, date]
    injuries: Mapping[int, int]
    injury_told: frozenset[int]
    region_exact: frozenset[int]
    exercises: frozenset[str]
    metrics: frozenset[str]


def prescribed_tables(
    unit: Unit,
    about: Prescribing,
    runners: pd.Series,
    calls: Callable[[Prescribed], Sequence[str]],
) -> dict[str, pd.DataFrame]:
    """Rows of programmes, blocks, targets and adherence of some runners.

    Parameters
    ----------
    runners : Series of str
        Pseudonyms by runner id, in the order in which they leave.
    calls : callable
        What became of the targets that leave, one a target.
    """
    ids = [int(str(one)) for one in runners.index]
    rank = {runner_id: at for at, runner_id in enumerate(ids)}
    rows = sorted(
        export_rows.programmes(unit, until=about.as_of, runner_ids=ids),
        key=lambda row: rank[row.runner_id],
    )
    by_id = {row.id: row for row in rows}
    own = {row.id: about.key.pseudonym(Kind.PROGRAMME, row.id) for row in rows}
    targets = [
        row
        for row in _placed(_by_metric(export_rows.targets(unit, list(own))), own)
        if row.metric in about.metrics
        and (
            row.metric not in OF_ONE_REGION
            or by_id[row.programme_id].runner_id in about.region_exact
        )
    ]
    became = calls(Prescribed(programmes=rows, targets=targets))
    parts: dict[str, list[dict[str, Any]]] = {
        "programmes": [_programme(about, row, own[row.id], runners) for row in rows],
        "blocks": [
            _block(about, row, own, by_id[row.programme_id].runner_id)
            for row in _placed(export_rows.blocks(unit, list(own)), own)
        ],
        "targets": [
            _target(row, own, by_id[row.programme_id].started_on, outcome)
            for row, outcome in zip(targets, became, strict=True)
        ],
        "adherence": [
            _week(row, own, by_id[row.programme_id].started_on)
            for row in _placed(export_rows.weeks(unit, list(own), until=about.as_of), own)
        ],
    }
    return {
        name: pd.DataFrame(found).astype(_DTYPES[name]) for name, found in parts.items() if found
    }


def _by_metric(targets: Iterable[Any]) -> Sequence[Any]:
    """In an order that no database's own rules of sorting decide."""
    return sorted(targets, key=lambda row: (row.metric, row.what.value))


def _placed(rows: Iterable[Any], own: Mapping[int, str]) -> Sequence[Any]:
    """Parts in the order of their programmes, each one's in the order in which they were read."""
    rank = {programme_id: at for at, programme_id in enumerate(own)}
    return sorted(rows, key=lambda row: rank[row.programme_id])


def _programme(about: Prescribing, row: Any, own: str, runners: pd.Series) -> dict[str, Any]:
    told = row.runner_id in about.injury_told
    first = about.first.get(row.runner_id)
    ended = row.ended_on if row.ended_on is not None and row.ended_on <= about.as_of else None
    own_injury = about.injuries.get(row.runner_id)
    for_injury = YES if own_injury is not None and row.injury_id == own_injury else NO
    return {
        "programme": own,
        "runner": runners[row.runner_id],
        "kind": row.kind.value if told else WITHHELD,
        "for_injury": for_injury if told else WITHHELD,
        "start_day": None if first is None else (row.started_on - first).days,
        "length_days": None if ended is None else (ended - row.started_on).days,
        "planned_weeks": row.planned_weeks,
        "mode": _word(row.mode),
        "delivery": _word(row.delivery),
        "tailored": _word(row.tailored),
    }


def _block(about: Prescribing, row: Any, own: Mapping[int, str], runner_id: int) -> dict[str, Any]:
    exercise = row.exercise_key if row.exercise_key in about.exercises else OWN_WORDS
    return {
        "programme": own[row.programme_id],
        "position": row.position,
        "aim": row.aim.value,
        "exercise": exercise if runner_id in about.region_exact else WITHHELD,
        "sides": _SIDES[row.side],
        "sets": row.sets,
        "repetitions": row.repetitions,
        "hold_s": row.hold_s,
        "sessions_per_week": row.sessions_per_week,
        "rest_s": row.rest_s,
        "supervision": _word(row.supervision),
    }


def _target(row: Any, own: Mapping[int, str], started_on: date, outcome: str) -> dict[str, Any]:
    return {
        "programme": own[row.programme_id],
        "metric": row.metric,
        "what": _ON[row.what],
        "direction": row.direction.value,
        "amount": row.amount,
        "due_day": (row.due_on - started_on).days,
        "outcome": outcome,
    }


def _week(row: Any, own: Mapping[int, str], started_on: date) -> dict[str, Any]:
    return {
        "programme": own[row.programme_id],
        "day": (row.week_start - started_on).days,
        "sessions_planned": row.sessions_planned,
        "sessions_done": row.sessions_done,
        "pain_during": row.pain_during,
        "pain_morning_after": row.pain_morning_after,
    }


def _word(code: Any) -> str | None:
    return None if code is None else str(code.value)
