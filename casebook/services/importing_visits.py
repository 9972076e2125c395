"""Visit tables held against what is stored, and then stored."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from casebook.domain.decisions import Choice
from casebook.domain.visits import VisitKind, grown_marking_sd
from casebook.intake.assembling import Assembled
from casebook.intake.context import Context
from casebook.intake.visit_rows import REASON_NAMES
from casebook.services.deciding import ask_condition, settle_stored
from casebook.services.deciding_struck_out import (
    StruckOut,
    ask_struck_out,
    keeps_visit_out,
    leave_visits_out,
    struck_out,
)
from casebook.services.importing_history import StoredContents, WrittenVisits
from casebook.services.importing_plan import Flags, VisitPlan, Whole
from casebook.storage import bulk
from casebook.storage.tables import VisitRow

# Column of the file -> column of the store, where they differ.
STORED_NAME = {"next_due": "next_due_on"}
TEXTS = frozenset({"surface", "footwear", "view", "assessor", "note"})
# Readings that differ by less are the same number written in another way.
SAME = 1e-9
_TRIALS = 1000
AT_ONCE = 100_000


def plan_visits(
    session: Session,
    context: Context,
    assembled: Assembled,
    known: dict[str, bulk.KnownRunner],
    metric_ids: dict[str, int],
) -> VisitPlan:
    """Hold the visits of a run against the stored ones; report what differs."""
    codes = list(context.runners)
    ids = [
        known[codes[number]].runner_id if codes[number] in known else -1
        for number in assembled.visits.runner.tolist()
    ]
    found = struck_out(session, {key for key in ids if key >= 0})
    plan = _plan_rows(session, context, assembled, ids, found)
    _plan_values(session, context, assembled, metric_ids, plan)
    leave_visits_out(assembled, plan)
    ask_struck_out(context, assembled, plan, ids, found)
    return plan


def _plan_rows(
    session: Session,
    context: Context,
    assembled: Assembled,
    ids: list[int],
    found: StruckOut,
) -> VisitPlan:
    visits = assembled.visits
    rows = bulk.rows_of(session, VisitRow.runner_id, {key for key in ids if key >= 0})
    stored = {
        (row["runner_id"], row["visited_on"].toordinal(), row["session"]): row for row in rows
    }
    earliest: dict[int, tuple[int, int]] = {}
    for runner_id, day, number in stored:
        earliest[runner_id] = min(earliest.get(runner_id, (day, number)), (day, number))
    n = len(ids)
    visit_id, revision = np.full(n, -1, dtype=np.int64), np.zeros(n, dtype=np.int64)
    kinds = [""] * n
    out = np.zeros(n, dtype=bool)
    fills: dict[int, dict[str, tuple[Any, Any]]] = {}
    reasons: dict[int, list[str]] = {}
    before = -1
    for index, (key, runner, day, number) in enumerate(
        zip(
            ids,
            visits.runner.tolist(),
            visits.day.tolist(),
            visits.session.tolist(),
            strict=True,
        )
    ):
        row = stored.get((key, day, number))
        if row is not None:
            visit_id[index], revision[index] = row["id"], row["revision"]
            fills[index] = _fill(context, assembled, index, row, reasons)
        else:
            gone = found.visits.get((key, day, number))
            if gone is not None and keeps_visit_out(context, assembled, index, gone, reasons):
                out[index] = True
                continue
            is_first = runner != before and (day, number) < earliest.get(key, (day + 1, 0))
            kinds[index] = _kind(visits.conditions["kind"][index], is_first=is_first)
        before = runner
    empty = np.empty(0, dtype=np.int64)
    return VisitPlan(
        visit_id=visit_id,
        revision=revision,
        kinds=kinds,
        fills={index: columns for index, columns in fills.items() if columns},
        stored=bulk.values_of(session, []),
        stored_trials=bulk.trials_of(session, []),
        kept=empty,
        new_trial=np.empty(0, dtype=bool),
        unchanged=np.empty(0, dtype=bool),
        left_out=np.zeros(len(assembled.readings.row), dtype=bool),
        out_visits=out,
        reasons=reasons,
    )


def _kind(given: object, *, is_first: bool) -> str:
    if given is not None:
        return str(given)
    return VisitKind.BASELINE.value if is_first else VisitKind.REVIEW.value


def _fill(
    context: Context,
    assembled: Assembled,
    index: int,
    row: dict[str, Any],
    reasons: dict[int, list[str]],
) -> dict[str, tuple[Any, Any]]:
    """Columns that the stored visit left open or that give way; asks about those that differ."""
    columns: dict[str, tuple[Any, Any]] = {}
    for name, values in assembled.visits.conditions.items():
        given = values[index]
        stored = row[STORED_NAME.get(name, name)]
        if given is None or given == stored:
            continue
        if stored is None or stored == "":
            columns[STORED_NAME.get(name, name)] = (stored, given)
            continue
        place = int(assembled.visits.condition_rows[name][index])
        decision = context.asked.ask(ask_condition(context, assembled, place, name, stored, given))
        if decision is None:
            context.problems.add_rows(
                int(assembled.rows.file[place]),
                assembled.rows.line[place : place + 1],
                name,
                _differs(name, given, stored, row),
            )
        elif decision.choice is Choice.TAKE:
            columns[STORED_NAME.get(name, name)] = (stored, given)
            reasons.setdefault(index, []).append(decision.reason)
    return columns


def _differs(
    name: str, given: object, stored: object, row: dict[str, Any]
) -> Callable[[int], tuple[str, str, str]]:
    message = (
        f"{name} of the visit on {row['visited_on']} is stored as {stored} and given as {given}; "
        "nothing stored gives way unless you decide so. Decide, correct the file, or leave the "
        "cell blank."
    )
    return lambda _: (str(given), "conflict", message)


def _plan_values(
    session: Session,
    context: Context,
    assembled: Assembled,
    metric_ids: dict[str, int],
    plan: VisitPlan,
) -> None:
    values = assembled.values
    ids = np.array([metric_ids[metric.key] for metric in context.metrics], dtype=np.int64)
    plan.unchanged = np.zeros(len(assembled.readings.row), dtype=bool)
    plan.kept = np.full(len(values.visit), -1, dtype=np.int64)
    plan.new_trial = np.ones(len(values.trial_value), dtype=bool)
    existing = np.unique(plan.visit_id[plan.visit_id >= 0]).tolist()
    if not existing:
        return
    plan.stored = bulk.values_of(session, existing)
    plan.stored_trials = bulk.trials_of(session, existing)
    most = int(max(ids.max(initial=0), plan.stored.metric_id.max(initial=0))) + 1
    wanted = _key(plan.visit_id[values.visit], ids[values.metric], values.side, most)
    has = _key(plan.stored.visit_id, plan.stored.metric_id, plan.stored.side, most)
    plan.kept = _positions(wanted, has)
    plan.kept[plan.visit_id[values.visit] < 0] = -1
    _compare_summaries(assembled, plan)
    _compare_trials(assembled, plan)
    settle_stored(context, assembled, plan)
    for which, said in plan.conflicts:
        _tell_conflict(context, assembled, which, said)


def _key(visit: Whole, metric: Whole, side: Whole, most: int) -> Whole:
    key: Whole = (visit * most + metric) * 3 + side
    return key


def _positions(wanted: Whole, has: Whole) -> Whole:
    """Where each wanted key stands among those there are; -1 where it does not."""
    if not len(has):
        return np.full(len(wanted), -1, dtype=np.int64)
    order = np.argsort(has)
    found = np.minimum(np.searchsorted(has[order], wanted), len(has) - 1)
    positions: Whole = np.where(has[order][found] == wanted, order[found], -1)
    return positions


def _same(one: NDArray[np.float64], other: NDArray[np.float64]) -> Flags:
    with np.errstate(invalid="ignore"):
        same: Flags = np.abs(one - other) <= SAME * np.maximum(1.0, np.abs(other))
    return same


def _compare_summaries(assembled: Assembled, plan: VisitPlan) -> None:
    """Values given as a mean or as missing, beside what is stored."""
    values, stored = assembled.values, plan.stored
    whole = np.flatnonzero((plan.kept >= 0) & ((values.n > 0) | (values.reason >= 0)))
    at = plan.kept[whole]
    is_reason = values.reason[whole] >= 0
    same = np.where(
        is_reason,
        stored.reason[at] == values.reason[whole],
        (stored.n_trials[at] == values.n[whole]) & _same(values.mean[whole], stored.mean[at]),
    )
    plan.unchanged[values.reading[whole[same]]] = True
    differing = whole[~same]
    if len(differing):
        said = [_said(stored, int(position)) for position in plan.kept[differing]]
        plan.conflicts.append((values.reading[differing], said))


def _compare_trials(assembled: Assembled, plan: VisitPlan) -> None:
    """Trials of values that are stored already, one by one."""
    values, stored, trials = assembled.values, plan.stored, plan.stored_trials
    which = np.flatnonzero(plan.kept[values.trial_value] >= 0)
    if not len(which):
        return
    at = plan.kept[values.trial_value[which]]
    readings = values.trial_reading[which]
    given = assembled.readings.value[readings]
    number = values.trial_number[which]
    position = _positions(
        stored.value_id[at] * _TRIALS + number, trials.value_id * _TRIALS + trials.number
    )
    with_trials = np.isin(stored.value_id[at], trials.value_id)
    found = position >= 0
    same = found.copy()
    same[found] = _same(given[found], trials.reading[position[found]])
    # One reading and a mean of one are the same fact.
    lone = ~with_trials & (stored.n_trials[at] == 1) & (number == 1)
    same[lone] = _same(given[lone], stored.mean[at[lone]])
    new = with_trials & ~found
    plan.unchanged[readings[same]] = True
    plan.new_trial[which[~new]] = False
    differing = np.flatnonzero(~same & ~new)
    if len(differing):
        said = [
            f"{trials.reading[position[i]]:.10g}" if found[i] else _said(stored, int(at[i]))
            for i in differing.tolist()
        ]
        plan.conflicts.append((readings[differing], said))


def _said(stored: bulk.KeptValues, position: int) -> str:
    reason = int(stored.reason[position])
    if reason >= 0:
        return f"missing ({REASON_NAMES[reason]})"
    return f"a mean of {stored.n_trials[position]}: {stored.mean[position]:.10g}"


def _tell_conflict(context: Context, assembled: Assembled, which: Whole, said: list[str]) -> None:
    readings = assembled.readings

    def message(i: int) -> str:
        reading = int(which[i])
        trial = int(readings.trial[reading])
        metric = context.metrics[int(readings.metric[reading])]
        numbered = f", trial {trial}," if trial else ""
        return (
            f"{metric.key} {bulk.SIDES[int(readings.side[reading])]}{numbered} of this visit is "
            f"stored as {said[i]} and given as {assembled.shown(reading)} {metric.unit}; nothing "
            "stored gives way unless you decide so. Decide, correct the file, or record another "
            "session."
        )

    assembled.tell_readings(context, which, "conflict", message)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """What every write of one run needs.

    Parameters
    ----------
    runner_ids, metric_ids : dict of str to int
    by : str
        Who imports; empty where it is not known.
    at : datetime
        Aware UTC.
    told : callable
        Given how many values were written since the last call.
    """

    runner_ids: dict[str, int]
    metric_ids: dict[str, int]
    by: str
    at: datetime
    told: Callable[[int], None]


def write_visits(
    session: Session, context: Context, assembled: Assembled, plan: VisitPlan, writing: Writing
) -> WrittenVisits:
    """Write what was planned, within the unit of work; says where it was written."""
    codes = list(context.runners)
    runner_of_visit = np.array(
        [writing.runner_ids[codes[number]] for number in assembled.visits.runner.tolist()],
        dtype=np.int64,
    )
    is_new = (plan.visit_id < 0) & ~plan.out_visits
    touched = is_new.copy()
    touched[list(plan.fills)] = True
    values = assembled.values
    touched[values.visit[plan.kept == -1]] = True
    touched[values.visit[values.trial_value[plan.new_trial]]] = True
    touched[values.visit[list(plan.retaken)]] = True
    visit_id = plan.visit_id.copy()
    new = np.flatnonzero(is_new)
    visit_id[new] = bulk.insert_many(
        session,
        VisitRow,
        (
            visit_row(assembled, plan, index, int(runner_of_visit[index]), writing)
            for index in new.tolist()
        ),
        len(new),
    )
    revision = plan.revision + touched
    for index, columns in plan.fills.items():
        given = {name: now for name, (_, now) in columns.items()}
        bulk.fill_row(session, VisitRow.id, int(visit_id[index]), given)
    again = np.flatnonzero(touched & ~is_new)
    bulk.bump_visits(
        session,
        dict(zip(visit_id[again].tolist(), revision[again].tolist(), strict=True)),
        by=writing.by,
        at=writing.at,
    )
    _write_values(session, context, assembled, plan, (visit_id, revision), writing)
    return WrittenVisits(
        visit_id=visit_id,
        runner_id=runner_of_visit,
        before=plan.revision,
        revision=revision,
        touched=touched,
        kept=plan.kept,
        new_trial=plan.new_trial,
        columns=plan.fills,
        contents=StoredContents(plan.stored, plan.stored_trials),
        retaken=plan.retaken,
        reasons={visit: "; ".join(dict.fromkeys(said)) for visit, said in plan.reasons.items()},
    )


def visit_row(
    assembled: Assembled, plan: VisitPlan, index: int, runner_id: int, writing: Writing
) -> dict[str, Any]:
    """Columns of the row of a new visit."""
    visits = assembled.visits
    row: dict[str, Any] = {
        "runner_id": runner_id,
        "visited_on": date.fromordinal(int(visits.day[index])),
        "session": int(visits.session[index]),
        "recorded_at": writing.at,
        "recorded_by": writing.by,
        "revision": 1,
    }
    for name, values in visits.conditions.items():
        given = values[index]
        row[STORED_NAME.get(name, name)] = "" if given is None and name in TEXTS else given
    row["kind"] = VisitKind(plan.kinds[index])
    return row


def _summaries(
    value: Whole, reading: NDArray[np.float64], n_values: int
) -> tuple[Whole, NDArray[np.float64], NDArray[np.float64]]:
    """Number, mean and standard deviation (n - 1) of the trials of each value."""
    n = np.bincount(value, minlength=n_values)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(value, weights=reading, minlength=n_values) / n
        squares = np.bincount(value, weights=(reading - mean[value]) ** 2, minlength=n_values)
        sd = np.where(n > 1, np.sqrt(squares / (n - 1)), np.nan)
    return n, mean, sd


def _parts(positions: Whole) -> Iterator[Whole]:
    """Positions some ten thousands at a time: copies of whole columns would fill the memory."""
    for start in range(0, len(positions), AT_ONCE):
        yield positions[start : start + AT_ONCE]


def _write_values(
    session: Session,
    context: Context,
    assembled: Assembled,
    plan: VisitPlan,
    visits: tuple[Whole, Whole],
    writing: Writing,
) -> None:
    values = assembled.values
    visit_id, revision = visits
    readings = assembled.readings.value[values.trial_reading]
    n, mean, sd = _summaries(values.trial_value, readings, len(values.visit))
    new, stored = plan.kept == -1, plan.kept >= 0
    ids = np.array([writing.metric_ids[metric.key] for metric in context.metrics], dtype=np.int64)
    value_id = np.full(len(new), -1, dtype=np.int64)
    for part in _parts(np.flatnonzero(new)):
        at, given = values.visit[part], values.n[part] > 0
        value_id[part] = bulk.insert_values(
            session,
            bulk.ValueColumns(
                visit_id=visit_id[at],
                metric_id=ids[values.metric[part]],
                side=values.side[part],
                n_trials=np.where(given, values.n[part], n[part]),
                mean=np.where(given, values.mean[part], mean[part]),
                sd=sd[part],
                reason=values.reason[part],
                saved_in=revision[at],
            ),
            writing.told,
        )
    value_id[stored] = plan.stored.value_id[plan.kept[stored]]
    added = plan.new_trial
    for part in _parts(np.flatnonzero(added)):
        bulk.insert_trials(
            session,
            bulk.KeptTrials(
                value_id=value_id[values.trial_value[part]],
                number=values.trial_number[part],
                reading=readings[part],
            ),
            writing.told,
        )
    bulk.replace_values(
        session,
        {
            int(value_id[value]): (again.value, again.trials, int(revision[values.visit[value]]))
            for value, again in plan.retaken.items()
        },
    )
    grown = np.unique(values.trial_value[added & ~new[values.trial_value]])
    if len(grown):
        _rewrite_grown(session, assembled, plan, value_id, revision, grown)


def _rewrite_grown(
    session: Session,
    assembled: Assembled,
    plan: VisitPlan,
    value_id: Whole,
    revision: Whole,
    grown: Whole,
) -> None:
    """Recompute n, mean and SD of stored values that got further trials."""
    values, trials = assembled.values, plan.stored_trials
    ids = value_id[grown]
    order = np.argsort(ids)
    ordered = ids[order]
    before = np.isin(trials.value_id, ordered)
    kept = plan.kept[grown[order]]
    was_n, was_marking = plan.stored.n_trials[kept], plan.stored.marking_sd[kept]
    added = plan.new_trial & np.isin(value_id[values.trial_value], ordered)
    all_ids = np.concatenate([trials.value_id[before], value_id[values.trial_value[added]]])
    readings = np.concatenate(
        [trials.reading[before], assembled.readings.value[values.trial_reading[added]]]
    )
    n, mean, sd = _summaries(np.searchsorted(ordered, all_ids), readings, len(ordered))
    saved_in = revision[values.visit[grown[order]]]
    bulk.rewrite_summaries(
        session,
        [
            {
                "id": key,
                "n_trials": count,
                "mean": average,
                "sd": spread,
                "marking_sd": None
                if np.isnan(marking)
                else grown_marking_sd(marking, n_before, count),
                "saved_in": saved,
            }
            for key, count, average, spread, n_before, marking, saved in zip(
                ordered.tolist(),
                n.tolist(),
                mean.tolist(),
                sd.tolist(),
                was_n.tolist(),
                was_marking.tolist(),
                saved_in.tolist(),
                strict=True,
            )
        ],
    )
