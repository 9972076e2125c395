"""`casebook backup` and `casebook restore`: the whole casebook as one file, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from casebook.cli.attaching import Json
from casebook.cli.objects import plainly, print_object


def backup(
    path: Annotated[
        Path, typer.Argument(metavar="FILE", help="The backup to be made, such as 2026-03-02.zip.")
    ],
    *,
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="FILE_OR_ADDRESS",
            help=(
                "The casebook: an SQLite file or a database address. Without it, the "
                "environment's CASEBOOK_DATABASE_URL, and without that the casebook in your "
                "data folder."
            ),
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Back the whole casebook up into one file: every table, the history, every attached file.

    It shows one moment; others may go on working meanwhile. The casebook is checked on the
    way, and what is wrong with it is told. The file holds names and is not encrypted: keep it
    where it is.
    """
    from casebook.cli.opening import opened
    from casebook.services.backing_up import back_up

    with opened(db) as casebook:
        made = back_up(casebook, path)
    if as_json:
        print_object(plainly(made))
    else:
        typer.echo(
            f"Backed up: {made.path} ({made.n_bytes} bytes): {made.rows} rows of {made.tables} "
            f"tables, {made.entries} entries of the history, {made.files} attached files."
        )
    for words in made.told:
        typer.echo(f"Wrong with the casebook, and so in the backup: {words}", err=True)


def restore(
    path: Annotated[Path, typer.Argument(metavar="FILE", help="The backup.")],
    *,
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="FILE_OR_ADDRESS",
            help=(
                "The new casebook: an SQLite file that does not exist yet, or the address of an "
                "empty database. Without it, the environment's CASEBOOK_DATABASE_URL, and "
                "without that the casebook in your data folder."
            ),
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Restore a backup into a new casebook, all or nothing.

    A backup of an SQLite file can be restored into a PostgreSQL database, and the other way
    round. Each part is compared with its hash, and the new casebook is checked before it
    stands. Nothing that stands is ever replaced.
    """
    from casebook.services import keeping, restoring

    done = restoring.restore(path, keeping.resolve_url(db))
    if as_json:
        print_object(plainly(done))
    else:
        typer.echo(
            f"Restored: {done.place}, as it was at {done.made_at}: {done.rows} rows of "
            f"{done.tables} tables, {done.entries} entries of the history, {done.files} "
            "attached files."
        )
    for words in done.told:
        typer.echo(f"Wrong already when it was backed up: {words}", err=True)
