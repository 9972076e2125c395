"""`casebook record` and `casebook import-record`: everything held on one runner, out and in."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from casebook.cli.objects import plainly, print_object

Db = Annotated[
    str | None,
    typer.Option(
        "--db",
        metavar="FILE_OR_ADDRESS",
        help=(
            "The casebook: an SQLite file or a database address. Without it, the environment's "
            "CASEBOOK_DATABASE_URL, and without that the casebook in your data folder."
        ),
    ),
]
Json = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
]


class Form(StrEnum):
    """In which form a record is written."""

    TEXT = "text"
    FHIR = "fhir"


def record(
    runner: Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")],
    *,
    out: Annotated[
        Path,
        typer.Option(
            "--output",
            "-o",
            metavar="FOLDER_OR_FILE",
            help="A new or empty folder, a .zip file, or a .json file for the Bundle alone.",
        ),
    ],
    form: Annotated[
        Form | None,
        typer.Option(
            "--as",
            help="text: a page to read and tables (CSV). fhir: an HL7 FHIR R4 Bundle. Both "
            "without it.",
        ),
    ] = None,
    db: Db = None,
) -> None:
    """Write everything that is held on one runner, readable and as an HL7 FHIR R4 Bundle.

    For a runner who asks what is held on them, and for taking a record to another casebook
    ('casebook import-record'). It holds the name and date of birth where they are stored, and
    only whoever writes it may read it. Of attached files it holds the names: 'casebook
    attachments --into' copies them out.
    """
    from casebook.cli.opening import opened
    from casebook.services import recording_out

    if form is None and out.suffix == ".json":
        form = Form.FHIR
    if form is Form.TEXT and out.suffix == ".json":
        raise typer.BadParameter("is no file for a page and tables; name a folder or a .zip.")
    with opened(db) as casebook:
        held = recording_out.get_record(casebook, runner)
    written = recording_out.write_record(
        held, out, text=form is not Form.FHIR, fhir=form is not Form.TEXT
    )
    typer.echo(f"Written: {written}")
    typer.echo(recording_out.CAUTION)


def import_record(
    path: Annotated[
        Path, typer.Argument(metavar="FILE", help="A Bundle that 'casebook record' wrote (.json).")
    ],
    *,
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who imports.")
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Take a runner's whole record into a casebook that does not know the runner.

    All of it or nothing. Bundles of other programs are refused: what they mean by their codes is
    not guessed. The other casebook's history and attached files do not come along; this
    casebook's history tells of the import, and 'casebook undo-import' takes it back.
    """
    from casebook.cli.opening import opened
    from casebook.services.record_in import import_record as store

    with opened(db) as casebook:
        stored = store(casebook, path, by=by)
    if as_json:
        print_object(plainly(stored))
        return
    visits = stored.rows.get("visit", 0)
    typer.echo(
        f"Stored: runner {stored.runner} with {visits} visits and {stored.values} values, as "
        f"import {stored.run_id}."
    )
    for words, keys in (
        ("Added to the catalogue", stored.new_metrics),
        ("Persons named in it, added as users who are switched off", stored.new_users),
    ):
        if keys:
            typer.echo(f"{words}: {', '.join(keys)}.")
    left = [
        f"{number} {words}"
        for number, words in (
            (stored.history, "entries of the other casebook's history"),
            (stored.files, "attached files, of which the record has the names only"),
        )
        if number
    ]
    if left:
        typer.echo(f"Not taken over: {'; '.join(left)}.")
