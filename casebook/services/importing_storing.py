"""The storing half of an import: one unit of work, in which everything is stored or nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import chain
from typing import Any

import numpy as np

from casebook.domain.errors import Problem
from casebook.domain.history import Act, Change
from casebook.intake.assembling import Assembled
from casebook.intake.columns import TableKind
from casebook.intake.context import Context
from casebook.intake.mapping import is_summary_word
from casebook.intake.nearest import hint
from casebook.intake.records import Record, born_of
from casebook.intake.visit_dates import check_births, check_due
from casebook.intake.visit_rows import Gathered
from casebook.services import clock
from casebook.services.deciding import reopen_flags
from casebook.services.deciding_runners import ask_runners
from casebook.services.importing_findings import LateFinding, plan_findings, write_findings
from casebook.services.importing_history import visit_changes
from casebook.services.importing_plan import VisitPlan
from casebook.services.importing_records import Count, Counts, Store, store_records
from casebook.services.importing_reopened import opened_weeks
from casebook.services.importing_report import FileReport, ImportReport
from casebook.services.importing_visits import (
    Writing,
    plan_visits,
    visit_row,
    write_visits,
)
from casebook.services.opened import Casebook
from casebook.storage import bulk, bulk_history, import_runs
from casebook.storage.session import Unit, writing
from casebook.storage.tables import RunnerRow

Progress = Callable[[int, int, str], None]
# Before the visits: who they are about. After them: what refers to runners.
BEFORE_VISITS = (TableKind.USERS, TableKind.RUNNERS)
VISIT_TABLES = (TableKind.VISITS, TableKind.VISITS_WIDE)
AFTER_VISITS = (
    TableKind.INJURIES,
    TableKind.CONSENTS,
    TableKind.PROGRAMMES,
    TableKind.BLOCKS,
    TableKind.TARGETS,
    TableKind.ADHERENCE,
    TableKind.RUNS,
    TableKind.ERROR_FIGURES,
)


@dataclass(slots=True, kw_only=True)
class Run:
    """What was read of all files, on its way into the store.

    Parameters
    ----------
    kinds, blank, n_rows : dict
        By table: its kind, places left blank, rows.
    path_of : list of int
        For each table (a workbook has several) the position of its file among the paths.
    hashes : list of str
        SHA-256 of each file.
    """

    context: Context
    gathered: Gathered = field(default_factory=Gathered)
    records: dict[TableKind, list[Record]] = field(default_factory=lambda: defaultdict(list))
    kinds: dict[int, TableKind] = field(default_factory=dict)
    blank: dict[int, int] = field(default_factory=dict)
    n_rows: dict[int, int] = field(default_factory=dict)
    path_of: list[int] = field(default_factory=list)
    not_summaries: set[str] = field(default_factory=set)
    hashes: list[str] = field(default_factory=list)
    progress: Progress
    known_runners_only: bool
    by: str


def store_run(casebook: Casebook, run: Run, assembled: Assembled, *, dry_run: bool) -> ImportReport:
    """Hold what was read against the store, and store it when nothing speaks against it."""
    context = run.context
    counts: Counts = {}
    with writing(casebook.engine, alone=True) as unit:
        bulk.begin_bulk(unit)
        known = bulk.known_runners(unit, casebook.clinic_id)
        metric_ids = bulk.metric_ids(unit)
        run.progress(0, 1, "Checking")
        new_runners = _check_people(unit, run, assembled, known)
        plan = plan_visits(unit, context, assembled, known, metric_ids)
        store = Store(
            session=unit,
            clinic_id=casebook.clinic_id,
            problems=context.problems,
            warnings=context.warnings,
            asked=context.asked,
            metric_ids=metric_ids,
            runner_ids={code: one.runner_id for code, one in known.items()},
            at=clock.now(),
        )
        for kind in BEFORE_VISITS:
            store_records(store, kind, run.records[kind], counts)
        _register(store, casebook, new_runners)
        for kind in AFTER_VISITS:
            store_records(store, kind, run.records[kind], counts)
        store.changes += opened_weeks(store)
        late = plan_findings(
            store, context, assembled, plan, run.records[TableKind.FINDINGS], counts
        )
        report = _report(run, assembled, plan, counts, new_runners, dry_run=dry_run)
        if report.ok:
            changes = _write(unit, run, assembled, plan, store, late)
            if not dry_run:
                run_id = _remember(
                    unit, casebook.clinic_id, run, changes, at=store.at, added=report.added
                )
                report = replace(report, run_id=run_id)
                unit.commit()
    return report


def _remember(
    unit: Unit, clinic_id: int, run: Run, changes: Iterator[Change], *, at: datetime, added: int
) -> int | None:
    """Write the import down and tell the history; None when nothing was stored."""
    first = next(changes, None)
    if first is None:
        return None
    files = [
        {
            "name": name,
            "sha256": run.hashes[run.path_of[number]],
            "table": run.kinds[number].value if number in run.kinds else "",
        }
        for number, name in enumerate(run.context.problems.files)
    ]
    run_id = import_runs.add_run(unit, clinic_id, at=at, by=run.by, files=files, added=added)
    bulk_history.append(unit, chain([first], changes), by=run.by, at=at, import_run_id=run_id)
    return run_id


def _check_people(
    unit: Unit, run: Run, assembled: Assembled, known: dict[str, bulk.KnownRunner]
) -> tuple[str, ...]:
    """Check runners and dates of the visit tables; the runners to be registered."""
    context = run.context
    tabled = {record.cells["runner"]: record for record in run.records[TableKind.RUNNERS]}
    born = {code: one.born for code, one in known.items() if one.born is not None}
    for code, record in tabled.items():
        day = born_of(record)
        if day is not None:
            born[code] = max(day, born.get(code, day))
    check_births(context, assembled, born)
    check_due(context, assembled)
    ask_runners(context, unit, known, tabled)
    _refuse_summaries(run, tabled, known)
    left_out = context.asked.decisions.left_out_runners()
    new = tuple(
        code
        for code in context.runners
        if code not in known and code not in tabled and code not in left_out
    )
    if run.known_runners_only and new:
        _refuse_unknown(context, assembled, set(new), known)
        return ()
    return new


def _refuse_summaries(
    run: Run, tabled: dict[str, Record], known: dict[str, bulk.KnownRunner]
) -> None:
    """Refuse to register a runner whose code is the label of a row that sums up others."""
    places = {code: (record.file, record.line) for code, record in tabled.items()}
    for code, place in {**run.context.runner_spellings, **places}.items():
        if not is_summary_word(code) or code in run.not_summaries or code in known:
            continue
        run.context.problems.add(
            place[0],
            Problem(
                code="summary_row",
                message=f"'{code}' looks like a row that sums up others, and no runner; delete "
                "the row. If it is a runner's code, register the runner first in the app, or "
                "list it under not_summaries in a mapping.",
                row=place[1],
                column="runner",
                value=code,
            ),
        )


def _refuse_unknown(
    context: Context, assembled: Assembled, new: set[str], known: dict[str, bulk.KnownRunner]
) -> None:
    codes = list(context.runners)
    unknown = np.array([code in new for code in codes], dtype=bool)
    rows = assembled.rows
    bad = unknown[rows.runner]
    hints = {code: hint(code, known) for code in new}
    for file in np.unique(rows.file[bad]).tolist():
        which = np.flatnonzero(bad & (rows.file == file))
        runners = [codes[number] for number in rows.runner[which].tolist()]

        def tell(i: int, runners: list[str] = runners) -> tuple[str, str, str]:
            return (
                runners[i],
                "unknown_runner",
                f"there is no runner '{runners[i]}' in the casebook.{hints[runners[i]]} Register "
                "the runner first, correct the code, or import without 'known runners only'.",
            )

        context.problems.add_rows(file, rows.line[which], "runner", tell)


def _register(store: Store, casebook: Casebook, codes: tuple[str, ...]) -> None:
    today: date = clock.today()
    rows = [
        {
            "clinic_id": casebook.clinic_id,
            "code": code,
            "sex": "not_recorded",
            "discipline": "",
            "registered_on": today,
        }
        for code in codes
    ]
    ids = bulk.insert_rows(store.session, RunnerRow, rows)
    store.runner_ids.update(zip(codes, ids, strict=True))
    for row, key in zip(rows, ids, strict=True):
        store.tell(RunnerRow, key, {}, row, act=Act.RECORDED)


def _write(
    unit: Unit,
    run: Run,
    assembled: Assembled,
    plan: VisitPlan,
    store: Store,
    late: list[LateFinding],
) -> Iterator[Change]:
    """Write visits and values; what the history is to be told of the run."""
    whole = int(np.count_nonzero(plan.kept == -1)) + int(np.count_nonzero(plan.new_trial))
    done = 0

    def told(number: int) -> None:
        nonlocal done
        done += number
        run.progress(done, whole, "Storing")

    how = Writing(
        runner_ids=store.runner_ids,
        metric_ids=store.metric_ids,
        by=run.by,
        at=store.at,
        told=told,
    )
    written = write_visits(unit, run.context, assembled, plan, how)
    store.changes += reopen_flags(unit, run.context, assembled, written)
    touched = frozenset(written.runner_id[written.touched].tolist())
    bulk.bump_runners(unit, touched | store.touched)

    found = write_findings(store, late, written.visit_id.tolist(), written.runner_id.tolist())

    def row_of(visit: int) -> dict[str, Any]:
        return visit_row(assembled, plan, visit, int(written.runner_id[visit]), how)

    # Findings after their visits: an import that is undone goes through its entries backwards.
    return chain(store.changes, visit_changes(run.context, assembled, written, row_of), found)


def _report(
    run: Run,
    assembled: Assembled,
    plan: VisitPlan,
    counts: Counts,
    new_runners: tuple[str, ...],
    *,
    dry_run: bool,
) -> ImportReport:
    context = run.context
    problems, warnings = context.problems, context.warnings
    refused = problems.count > 0
    n_files = len(problems.files)
    file_of_reading = assembled.rows.file[assembled.readings.row]
    read = np.bincount(file_of_reading, minlength=n_files)
    same = np.bincount(file_of_reading[plan.unchanged], minlength=n_files)
    out = np.bincount(file_of_reading[plan.left_out], minlength=n_files)
    files = []
    for number, name in enumerate(problems.files):
        kind = run.kinds.get(number)
        is_visits = kind in VISIT_TABLES
        count = counts.get(number, Count())
        bad = problems.rows_of(number, by_cell=kind is TableKind.VISITS_WIDE)
        unchanged = int(same[number]) if is_visits else count.unchanged
        added = int(read[number] - same[number] - out[number]) if is_visits else count.added
        earlier = context.left_out[number]
        left_out = earlier + (int(out[number]) if is_visits else count.left_out)
        whole = int(read[number]) + earlier if is_visits else run.n_rows.get(number, 0)
        if is_visits and refused:
            # Rows refused while reading are no readings, and were read all the same.
            whole = max(whole, run.n_rows.get(number, 0))
        files.append(
            FileReport(
                file=name,
                table=kind.value if kind else "",
                read=whole,
                added=0 if refused else added,
                unchanged=0 if refused else unchanged,
                left_out=0 if refused else left_out,
                refused=bad,
                blank=run.blank.get(number, 0),
            )
        )
    return ImportReport(
        read=sum(file.read for file in files),
        added=sum(file.added for file in files),
        unchanged=sum(file.unchanged for file in files),
        left_out=sum(file.left_out for file in files),
        refused=sum(file.refused for file in files),
        problems=problems.problems,
        more_problems=problems.count - len(problems.problems),
        warnings=warnings.problems,
        more_warnings=warnings.count - len(warnings.problems),
        questions=tuple(context.asked.open),
        more_questions=context.asked.count - len(context.asked.open),
        new_runners=() if refused else new_runners,
        dry_run=dry_run,
        files=tuple(files),
    )
