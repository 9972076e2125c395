"""Importing tables: everything of a run is stored, or nothing is."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

from casebook.domain.decisions import Asked, Decisions
from casebook.domain.errors import InputRefused, NotFound, Problem
from casebook.domain.people import clean_code
from casebook.intake.assembling import assemble
from casebook.intake.columns import TableKind, describe_tables
from casebook.intake.context import Context, Given, given_style
from casebook.intake.mapping import FileMapping
from casebook.intake.nearest import hint
from casebook.intake.records import read_records
from casebook.intake.sources import Source, read_sources
from casebook.intake.tidy import read_tidy
from casebook.intake.wide import read_wide
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.importing_report import FileReport, ImportReport
from casebook.services.importing_storing import VISIT_TABLES, Progress, Run, store_run
from casebook.services.opened import Casebook
from casebook.services.registering import list_users

__all__ = ["FileReport", "ImportReport", "describe_tables", "import_files"]


def import_files(  # noqa: PLR0913 - what an import can be told, each by its name
    casebook: Casebook,
    paths: Sequence[str | Path],
    *,
    mappings: Mapping[Path, FileMapping] | None = None,
    decisions: Decisions | None = None,
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
    decisions : Decisions, optional
        What the user decided on the `questions` of an earlier report of the same files.
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
        asked=Asked(decisions=decisions or Decisions()),
    )
    run = Run(
        context=context,
        progress=progress or _silently,
        known_runners_only=known_runners_only,
        by=by,
    )
    _read_all(run, [Path(path) for path in paths], mappings or {})
    assembled = assemble(context, run.gathered)
    return store_run(casebook, run, assembled, dry_run=dry_run)


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


def _read_all(run: Run, paths: list[Path], mappings: Mapping[Path, FileMapping]) -> None:
    names = _names(paths)
    tables: list[str] = []
    run.context.problems.files = tables
    run.context.warnings.files = tables
    for number, path in enumerate(paths):
        run.progress(number, len(paths), f"Reading {names[number]}")
        run.hashes.append(_hash(path))
        for source in read_sources(path, names[number], run.context.metrics, mappings.get(path)):
            run.path_of.append(number)
            tables.append(source.name)
            _read_table(run, len(tables) - 1, source)


def _hash(path: Path) -> str:
    """By which the import's own record tells the file again; empty where it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _names(paths: list[Path]) -> list[str]:
    """Names of the files; with their folder where two have the same name."""
    plain = [path.name for path in paths]
    return [str(path) if plain.count(path.name) > 1 else path.name for path in paths]


def _read_table(run: Run, number: int, source: Source) -> None:
    context = run.context
    run.not_summaries.update(source.not_summaries)
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


def _read_visits(run: Run, given: Given) -> None:
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
