"""`casebook imports` and `undo-import`, and the questions of an import in a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.text import Text

from casebook.cli.objects import print_object

if TYPE_CHECKING:
    from casebook.domain.decisions import Decisions
    from casebook.services.importing import ImportReport
    from casebook.services.undoing_imports import ImportRun

Db = Annotated[
    str | None,
    typer.Option("--db", metavar="FILE_OR_ADDRESS", help="The casebook, as everywhere."),
]
Json = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
]


def decided(path: Path | None) -> Decisions | None:
    """The decisions of `--decide`."""
    if path is None:
        return None
    from casebook.intake.decisions_file import read_decisions

    return read_decisions(path)


def write_questions(report: ImportReport, path: Path | None) -> None:
    """Write the questions of a report where `--write-decisions` says, or say how to get them."""
    if not report.questions:
        if path is not None:
            typer.echo("Nothing has to be decided; no file was written.", err=True)
        return
    number = len(report.questions) + report.more_questions
    asked = f"{number} question{'s' * (number != 1)} only you can decide"
    if path is None:
        typer.echo(
            f"{asked}: import again with --write-decisions FILE, fill in the file, and import with "
            "--decide FILE.",
            err=True,
        )
        return
    from casebook.intake.decisions_file import write_decisions

    write_decisions(path, report.questions, more=report.more_questions)
    typer.echo(
        f"{asked}, written to {path}: fill in the choices, then import with --decide {path}.",
        err=True,
    )


def imports(*, db: Db = None, as_json: Json = False) -> None:
    """List the imports that stored something, newest first, with the files they took."""
    from casebook.cli.opening import opened
    from casebook.cli.showing import plain_table, terminal
    from casebook.services import undoing_imports

    with opened(db) as casebook:
        runs = undoing_imports.list_imports(casebook)
    if as_json:
        print_object({"imports": [_run_object(run) for run in runs]})
        return
    if not runs:
        typer.echo("No import has stored anything yet.")
        return
    shown = plain_table("import", "at (UTC)", "by", "files", "stored", "stands", right=("stored",))
    for run in runs:
        shown.add_row(
            str(run.id),
            f"{run.at:%Y-%m-%d %H:%M}",
            Text(run.by or "not told"),
            Text(", ".join(str(file["name"]) for file in run.files)),
            str(run.added),
            Text(_stands(run)),
        )
    terminal().print(shown)


def _stands(run: ImportRun) -> str:
    if run.undone_at is None:
        return "yes"
    who = f" by {run.undone_by}" if run.undone_by else ""
    return f"undone {run.undone_at:%Y-%m-%d %H:%M}{who}: {run.undo_reason}"


def _run_object(run: ImportRun) -> dict[str, Any]:
    return {
        "import": run.id,
        "at": run.at.isoformat(),
        "by": run.by,
        "files": list(run.files),
        "added": run.added,
        "undone_at": None if run.undone_at is None else run.undone_at.isoformat(),
        "undone_by": run.undone_by,
        "undo_reason": run.undo_reason,
    }


def undo_import(
    number: Annotated[
        int, typer.Argument(metavar="IMPORT", help="Its number, as `casebook imports` lists it.")
    ],
    *,
    reason: Annotated[
        str, typer.Option("--reason", help="Why it is undone; stands in the history.")
    ] = "",
    by: Annotated[str, typer.Option("--by", metavar="USER", help="Code of who undoes it.")] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Take back everything that an import stored, while nobody has built on it.

    It is undone as a whole or not at all: where somebody has since added to, amended or
    acknowledged what it brought, nothing is changed and you are told what stands in the way.
    The history keeps what it stored and that it was undone. The same files can be imported
    again afterwards.
    """
    from casebook.cli.opening import opened
    from casebook.services import undoing_imports

    with opened(db) as casebook:
        undone = undoing_imports.undo_import(casebook, number, reason=reason, by=by)
    if as_json:
        print_object({"import": undone.run_id, "visits": undone.visits, "records": undone.records})
        return
    typer.echo(
        f"Import {undone.run_id} is undone: {undone.visits} visits and {undone.records} other "
        "records are as they were before. The history keeps them."
    )


def export_visits(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file (.csv).")],
    *,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write every value of every visit into a tidy table that `casebook import` takes back.

    The file is NOT de-identified: it holds your runners' codes, dates and notes. Left out is what
    such a table has no place for: the SD beside a mean, the error of marked points, attachments.
    """
    from casebook.cli.opening import opened
    from casebook.services import exporting_visits

    with opened(db) as casebook:
        written = exporting_visits.export_visits(casebook, file)
    if as_json:
        print_object({"file": str(file), "rows": written, "de_identified": False})
    else:
        typer.echo(f"{written} rows written to {file}.")
    typer.echo(
        "This file is NOT de-identified: it holds runners' codes, dates and notes.", err=True
    )
