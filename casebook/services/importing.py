"""Importing tables: everything of a run is stored, or nothing is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from casebook.domain.errors import InputRefused, NotFound, Problem
from casebook.domain.people import clean_code
from casebook.intake.assembling import Assembled, assemble
from casebook.intake.columns import TableKind, describe_tables
from casebook.intake.context import Context, Given, given_style
from casebook.intake.mapping import FileMapping
from casebook.intake.nearest import hint
from casebook.intake.records import Record, born_of, read_records
from casebook.intake.sources import Source, read_sources
from casebook.intake.tidy import read_tidy
from casebook.intake.visit_dates import check_births, check_due
from casebook.intake.visit_rows import Gathered
from casebook.intake.wide import read_wide
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.importing_records import Count, Counts, Store, store_records
from casebook.services.importing_visits import VisitPlan, Writing, plan_visits, write_visits
from casebook.services.opened import Casebook
from casebook.services.registering import list_users
from casebook.storage import bulk
from casebook.storage.session import writing
from casebook.storage.tables import RunnerRow

__all__ = ["FileReport", "ImportReport", "describe_tables", "import_files"]

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
    TableKind.ERROR_FIGURES,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileReport:
    """What became of one file.

    Parameters
    ----------
    table : str
        Kind of table; empty where it was not recognised.
    read : int
        Values (a trial, a mean, or a reason why it is missing) or records in it.
    added, unchanged : int
        Of these, stored by this run, and stored already.
    refused : int
        Rows (cells of a wide table) with something wrong.
    blank : int
        Places for a value that were left blank; nothing is stored for them.
    """

    file: str
    table: str = ""
    read: int = 0
    added: int = 0
    unchanged: int = 0
    refused: int = 0
    blank: int = 0

    def to_json(self) -> dict[str, Any]:
        """As an object for a script."""
        return {
            "file": self.file,
            "table": self.table,
            "read": self.read,
            "added": self.added,
            "unchanged": self.unchanged,
            "refused": self.refused,
            "blank": self.blank,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What became of a run of files.

    Parameters
    ----------
    read, added, unchanged, refused : int
        Sums over the files. With anything refused nothing is stored: `added` is then 0.
    problems : tuple of Problem
        Everything that was refused, in file order; at most 10,000.
    more_problems : int
        How many there are beyond these.
    warnings : tuple of Problem
        What was taken and should be looked at.
    new_runners : tuple of str
        Runners registered because a visit table named them.
    dry_run : bool
        True when nothing was to be stored in any case; `added` says what would have been.
    """

    read: int = 0
    added: int = 0
    unchanged: int = 0
    refused: int = 0
    problems: tuple[Problem, ...] = ()
    more_problems: int = 0
    warnings: tuple[Problem, ...] = ()
    more_warnings: int = 0
    new_runners: tuple[str, ...] = ()
    dry_run: bool = False
    files: tuple[FileReport, ...] = ()

    @property
    def ok(self) -> bool:
        """True when nothing was refused."""
        return not self.problems

    def to_json(self) -> dict[str, Any]:
        """As one object for a script."""
        return {
            "read": self.read,
            "added": self.added,
            "unchanged": self.unchanged,
            "refused": self.refused,
            "problems": [_problem_object(problem) for problem in self.problems],
            "more_problems": self.more_problems,
            "warnings": [_problem_object(problem) for problem in self.warnings],
            "more_warnings": self.more_warnings,
            "new_runners": list(self.new_runners),
            "dry_run": self.dry_run,
            "files": [file.to_json() for file in self.files],
        }


def _problem_object(problem: Problem) -> dict[str, Any]:
    return {
        "file": problem.file,
        "row": problem.row,
        "column": problem.column,
        "value": problem.value,
        "code": problem.code,
        "message": problem.message,
    }


@dataclass(slots=True, kw_only=True)
class _Run:
    context: Context
    gathered: Gathered = field(default_factory=Gathered)
    records: dict[TableKind, list[Record]] = field(default_factory=lambda: defaultdict(list))
    kinds: dict[int, TableKind] = field(default_factory=dict)
    blank: dict[int, int] = field(default_factory=dict)
    n_rows: dict[int, int] = field(default_factory=dict)
    # For each table (a workbook has several) the position of its file among the paths.
    path_of: list[int] = field(default_factory=list)
    progress: Progress
    known_runners_only: bool
    by: str


def import_files(
    casebook: Casebook,
    paths: Sequence[str | Path],
    *,
    mappings: Mapping[Path, FileMapping] | None = None,
    dry_run: bool = False,
    day_first: bool = False,
    known_runners_only: bool = False,
    by: str = "",
    progress: Progress | None = None,
) -> ImportReport:
    """Import tables from files; all of them, or nothing.

    Parameters
    ----------
    paths : sequence of str or Path
        Files in any order: text (CSV) or workbooks. The kind of each table is told by its
        header.
    mappings : mapping of Path to FileMapping, optional
        For files whose columns go by other names, what these hold.
    dry_run : bool
        Do everything but keep it.
    day_first : bool
        Dates such as 31.12.2026 are day first; otherwise only YYYY-MM-DD is taken.
    known_runners_only : bool
        Refuse a visit table's runners who are not registered, instead of registering them.
    by : str
        Code of whoever imports.
    progress : callable, optional
        Told (done, whole, what is being done) every some thousand rows.

    Returns
    -------
    ImportReport
        With every problem found. When there is one, nothing was stored.

    Raises
    ------
    NotFound
        When `by` is none of the users, and there are users.
    StoreUnavailable
        When the store cannot be written (the disk is full, say); nothing was stored.
    """
    by = _known_user(casebook, by)
    context = Context(
        metrics=list_metrics(casebook, include_inactive=True),
        today=clock.today(),
        day_first=day_first,
    )
    run = _Run(
        context=context,
        progress=progress or _silently,
        known_runners_only=known_runners_only,
        by=by,
    )
    _read_all(run, [Path(path) for path in paths], mappings or {})
    assembled = assemble(context, run.gathered)
    return _store(casebook, run, assembled, dry_run=dry_run)


def _known_user(casebook: Casebook, by: str) -> str:
    """A user's code, trimmed; where users are registered, only one of theirs."""
    if not by.strip():
        return ""
    code = clean_code(by, column="by")
    users = [user.code for user in list_users(casebook)]
    if users and code not in users:
        raise NotFound(
            f"There is no user '{code}'.{hint(code, users)} Nothing was read or stored. Users: "
            f"{', '.join(users)}."
        )
    return code


def _silently(done: int, whole: int, what: str) -> None:
    del done, whole, what


def _read_all(run: _Run, paths: list[Path], mappings: Mapping[Path, FileMapping]) -> None:
    names = _names(paths)
    tables: list[str] = []
    run.context.problems.files = tables
    run.context.warnings.files = tables
    for number, path in enumerate(paths):
        run.progress(number, len(paths), f"Reading {names[number]}")
        for source in read_sources(path, names[number], run.context.metrics, mappings.get(path)):
            run.path_of.append(number)
            tables.append(source.name)
            _read_table(run, len(tables) - 1, source)


def _names(paths: list[Path]) -> list[str]:
    """Names of the files; with their folder where two have the same name."""
    plain = [path.name for path in paths]
    return [str(path) if plain.count(path.name) > 1 else path.name for path in paths]


def _read_table(run: _Run, number: int, source: Source) -> None:
    context = run.context
    for collector, found in (
        (context.problems, source.problems),
        (context.warnings, source.warnings),
    ):
        collector.headers[number] = source.names
        for problem in found:
            collector.add(number, problem)
    sheet, layout = source.sheet, source.layout
    for problem in sheet.problems if sheet else ():
        context.problems.add(number, problem)
    if sheet is None or layout is None:
        return
    run.kinds[number] = layout.table.kind
    run.n_rows[number] = len(sheet.lines)
    for problem in layout.problems:
        context.problems.add(number, problem)
    if layout.problems:
        return
    if not len(sheet.lines):
        context.warnings.add(
            number, Problem(code="no_rows", message="the table has a header and no rows.")
        )
    given = Given(
        file=number,
        sheet=sheet,
        layout=layout,
        style=given_style(sheet, layout, day_first=context.day_first),
    )
    if layout.table.kind in VISIT_TABLES:
        _read_visits(run, given)
    else:
        run.records[layout.table.kind] += read_records(context, given)


def _read_visits(run: _Run, given: Given) -> None:
    read = read_tidy if given.layout.table.kind is TableKind.VISITS else read_wide
    rows, readings, n_rows = (
        list(run.gathered.rows),
        list(run.gathered.readings),
        run.gathered.n_rows,
    )
    try:
        run.blank[given.file] = read(run.context, given, run.gathered)
    except InputRefused as refusal:
        # Too much for one run: what was gathered of this file is let go again.
        run.gathered.rows, run.gathered.readings, run.gathered.n_rows = rows, readings, n_rows
        for problem in refusal.problems:
            run.context.problems.add(given.file, problem)


def _store(casebook: Casebook, run: _Run, assembled: Assembled, *, dry_run: bool) -> ImportReport:
    context = run.context
    counts: Counts = {}
    with writing(casebook.engine, alone=True) as unit:
        bulk.begin_bulk(unit)
        known = bulk.known_runners(unit, casebook.clinic_id)
        metric_ids = bulk.metric_ids(unit)
        run.progress(0, 1, "Checking")
        new_runners = _check_people(run, assembled, known)
        plan = plan_visits(unit, context, assembled, known, metric_ids)
        store = Store(
            session=unit,
            clinic_id=casebook.clinic_id,
            problems=context.problems,
            warnings=context.warnings,
            metric_ids=metric_ids,
            runner_ids={code: one.runner_id for code, one in known.items()},
            at=clock.now(),
        )
        for kind in BEFORE_VISITS:
            store_records(store, kind, run.records[kind], counts)
        _register(store, casebook, new_runners)
        for kind in AFTER_VISITS:
            store_records(store, kind, run.records[kind], counts)
        if not context.problems.count:
            _write(unit, run, assembled, plan, store)
            if not dry_run:
                unit.commit()
    return _report(run, assembled, plan, counts, new_runners, dry_run=dry_run)


def _check_people(
    run: _Run, assembled: Assembled, known: dict[str, bulk.KnownRunner]
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
    _warn_similar(context, {*known, *tabled})
    new = tuple(code for code in context.runners if code not in known and code not in tabled)
    if run.known_runners_only and new:
        _refuse_unknown(context, assembled, set(new), known)
        return ()
    return new


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


def _warn_similar(context: Context, known: set[str]) -> None:
    """Ask about codes that differ from another in capitals or blanks only."""
    by_fold: dict[str, str] = {}
    for code in (*sorted(known), *context.runners):
        folded = "".join(code.split()).casefold()
        other = by_fold.setdefault(folded, code)
        if other == code or code in known:
            continue
        file, line = context.runner_spellings[code]
        context.warnings.add(
            file,
            Problem(
                code="similar_runner",
                message=f"runner '{code}' differs from '{other}' in capitals or blanks only, and "
                "is taken as somebody else. Is it the same runner?",
                row=line,
                column="runner",
                value=code,
            ),
        )


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


def _write(unit: Any, run: _Run, assembled: Assembled, plan: VisitPlan, store: Store) -> None:
    whole = int(np.count_nonzero(plan.kept < 0)) + int(np.count_nonzero(plan.new_trial))
    done = 0

    def told(number: int) -> None:
        nonlocal done
        done += number
        run.progress(done, whole, "Storing")

    touched = write_visits(
        unit,
        run.context,
        assembled,
        plan,
        Writing(
            runner_ids=store.runner_ids,
            metric_ids=store.metric_ids,
            by=run.by,
            at=store.at,
            told=told,
        ),
    )
    bulk.bump_runners(unit, touched | store.touched)


def _report(
    run: _Run,
    assembled: Assembled,
    plan: VisitPlan,
    counts: Counts,
    new_runners: tuple[str, ...],
    *,
    dry_run: bool,
) -> ImportReport:
    problems, warnings = run.context.problems, run.context.warnings
    refused = problems.count > 0
    n_files = len(problems.files)
    file_of_reading = assembled.rows.file[assembled.readings.row]
    read = np.bincount(file_of_reading, minlength=n_files)
    same = np.bincount(file_of_reading[plan.unchanged], minlength=n_files)
    files = []
    for number, name in enumerate(problems.files):
        kind = run.kinds.get(number)
        is_visits = kind in VISIT_TABLES
        count = counts.get(number, Count())
        bad = problems.rows_of(number, by_cell=kind is TableKind.VISITS_WIDE)
        unchanged = int(same[number]) if is_visits else count.unchanged
        added = int(read[number] - same[number]) if is_visits else count.added
        whole = int(read[number]) if is_visits else run.n_rows.get(number, 0)
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
                refused=bad,
                blank=run.blank.get(number, 0),
            )
        )
    return ImportReport(
        read=sum(file.read for file in files),
        added=sum(file.added for file in files),
        unchanged=sum(file.unchanged for file in files),
        refused=sum(file.refused for file in files),
        problems=problems.problems,
        more_problems=problems.count - len(problems.problems),
        warnings=warnings.problems,
        more_warnings=warnings.count - len(warnings.problems),
        new_runners=() if refused else new_runners,
        dry_run=dry_run,
        files=tuple(files),
    )
