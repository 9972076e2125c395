"""Findings of an import: those of stored visits, and those of visits that come with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from casebook.domain.history import Act, Change
from casebook.intake.assembling import Assembled
from casebook.intake.columns import TableKind
from casebook.intake.context import Context
from casebook.intake.records import Record
from casebook.services.importing_plan import VisitPlan
from casebook.services.importing_records import (
    Count,
    Counts,
    Store,
    settle_twice,
    store_records,
    tell_twice,
)
from casebook.services.importing_reopened import opened_prompts, resting_prompts
from casebook.storage import bulk, record_fields
from casebook.storage.tables import FindingRow, VisitRow

Place = tuple[str, date, int]
"""Code of the runner, day and session of a visit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LateFinding:
    """A finding of a visit that is only about to be stored; `visit` is its number in the run."""

    record: Record
    visit: int


def place_of(record: Record) -> Place:
    """The visit that a finding is of."""
    cells = record.cells
    return cells["runner"], cells["visit_date"], cells["session"] or 1


def plan_findings(
    store: Store,
    context: Context,
    assembled: Assembled,
    plan: VisitPlan,
    records: list[Record],
    counts: Counts,
) -> list[LateFinding]:
    """Store findings of stored visits; hold back those of new ones; report those of none."""
    if not records:
        return []
    runner_ids = {
        store.runner_ids[code] for one in records if (code := place_of(one)[0]) in store.runner_ids
    }
    codes = {key: code for code, key in store.runner_ids.items()}
    store.visits = {
        (codes[row["runner_id"]], row["visited_on"], row["session"]): row["id"]
        for row in bulk.rows_of(store.session, VisitRow.runner_id, runner_ids)
    }
    new = _new_visits(context, assembled, plan)
    stored = [one for one in records if place_of(one) not in new]
    resting = resting_prompts(
        store,
        {
            store.visits[place]: store.runner_ids[place[0]]
            for one in stored
            if (place := place_of(one)) in store.visits
        },
    )
    store_records(store, TableKind.FINDINGS, stored, counts)
    store.changes += opened_prompts(store, resting)
    late = [one for one in records if place_of(one) in new]
    keys = [(*place_of(one), one.cells["finding"]) for one in late]
    stays = settle_twice(store, list(zip(keys, late, strict=True)), counts)
    seen: dict[tuple[object, ...], Record] = {}
    found = []
    for key, record, staying in zip(keys, late, stays, strict=True):
        if not staying:
            continue
        if key in seen:
            tell_twice(store, record, seen[key], "finding")
            continue
        seen[key] = record
        counts.setdefault(record.file, Count()).added += 1
        found.append(LateFinding(record=record, visit=new[place_of(record)]))
    return found


def _new_visits(context: Context, assembled: Assembled, plan: VisitPlan) -> Mapping[Place, int]:
    runners, visits = list(context.runners), assembled.visits
    return {
        (
            runners[int(visits.runner[number])],
            date.fromordinal(int(visits.day[number])),
            int(visits.session[number]),
        ): number
        for number, visit_id in enumerate(plan.visit_id.tolist())
        if visit_id < 0
    }


def write_findings(
    store: Store, late: list[LateFinding], visit_ids: list[int], runner_ids: list[int]
) -> list[Change]:
    """Store findings of the run's own visits; what the history is told after those visits.

    Parameters
    ----------
    visit_ids, runner_ids : list of int
        Of each visit of the run, by its number.
    """
    rows = [
        {
            "visit_id": visit_ids[one.visit],
            "finding": one.record.cells["finding"],
            "present": one.record.cells["present"],
        }
        for one in late
    ]
    ids = bulk.insert_rows(store.session, FindingRow, rows)
    subject = record_fields.SUBJECT_OF[FindingRow]
    return [
        record_fields.change(
            subject,
            key,
            {},
            record_fields.fields_of(subject, row),
            act=Act.RECORDED,
            runner_id=runner_ids[one.visit],
            visit_id=visit_ids[one.visit],
        )
        for one, row, key in zip(late, rows, ids, strict=True)
    ]
