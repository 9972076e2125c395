"""`casebook summary`: one case on one or two pages, for the runner or for the referrer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from casebook.cli.history import Db, Runner
from casebook.cli.one_file import check_place, is_pdf, write_whole
from casebook.domain.summaries import Reader

if TYPE_CHECKING:
    from casebook.domain.summaries import Summary


def summary(
    runner: Runner,
    *,
    reader: Annotated[
        Reader,
        typer.Option(
            "--for",
            help="Who reads it: the runner (plain words) or the referrer (numbers and errors).",
        ),
    ],
    into: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="FILE", help="The file to be made: NAME.pdf or NAME.html."
        ),
    ],
    with_name: Annotated[
        bool,
        typer.Option(
            "--with-name", help="With the runner's name and birth date, which are left out else."
        ),
    ] = False,
    db: Db = None,
) -> None:
    """Summarise one case on one or two pages: what was found, prescribed and changed.

    Without --with-name the runner is known by code and age. What was typed in free words stands
    as it was typed: look whether it names somebody before you hand it on.
    """
    from casebook.cli.opening import opened
    from casebook.services import clock
    from casebook.services.summarising import summarise

    check_place(into, what="summary")
    with opened(db) as casebook:
        made = summarise(casebook, runner, reader=reader, today=clock.today(), with_name=with_name)
    content = _content(made, into)
    write_whole(into, content, what="summary")
    typer.echo(f"Written: {into} ({len(content)} bytes).")


def _content(made: Summary, into: Path) -> bytes:
    if is_pdf(into):
        from casebook.typesetting.paper import summary_pdf

        return summary_pdf(made)
    from casebook.typesetting.web import summary_page

    return summary_page(made).encode("utf-8")
