"""`casebook summary`: one case on one or two pages, for the runner or for the referrer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from casebook.cli.history import Db, Runner
from casebook.domain.errors import refuse
from casebook.domain.summaries import Reader

if TYPE_CHECKING:
    from casebook.domain.summaries import Summary

ENDINGS = (".pdf", ".html")


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

    _check_place(into)
    with opened(db) as casebook:
        made = summarise(casebook, runner, reader=reader, today=clock.today(), with_name=with_name)
    content = _content(made, into)
    _write(into, content)
    typer.echo(f"Written: {into} ({len(content)} bytes).")


def _check_place(into: Path) -> None:
    if into.suffix.lower() not in ENDINGS:
        raise refuse(
            "summary_ending",
            f"the file is to be '{into.name}'; expected a name that ends in .pdf or .html.",
            value=into.name,
        )
    if into.exists():
        raise refuse(
            "summary_exists",
            f"'{into}' is there already and is not replaced; give another name, or remove it.",
            value=str(into),
        )


def _content(made: Summary, into: Path) -> bytes:
    if into.suffix.lower() == ".pdf":
        from casebook.typesetting.paper import summary_pdf

        return summary_pdf(made)
    from casebook.typesetting.web import summary_page

    return summary_page(made).encode("utf-8")


def _write(into: Path, content: bytes) -> None:
    """All of it or nothing, and never over a file that somebody else made meanwhile."""
    made = False
    try:
        with into.open("xb") as file:
            made = True
            file.write(content)
    except OSError as problem:
        if made:
            into.unlink(missing_ok=True)
        raise refuse(
            "summary_not_written",
            f"'{into}' could not be written ({problem.strerror}); give another place.",
            value=str(into),
        ) from problem
