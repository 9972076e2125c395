"""`casebook attach` and `casebook attachments`: files of a visit in, listed, and out again."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import plainly, print_object
from casebook.domain.errors import StoreUnavailable

if TYPE_CHECKING:
    from casebook.services.attaching import Attachment, AttachReport
    from casebook.services.keeping import Casebook

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
Runner = Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")]
Session = Annotated[
    int, typer.Option("--session", metavar="N", min=1, help="Session of the visit on that day.")
]


def attach(
    runner: Runner,
    day: Annotated[
        datetime,
        typer.Argument(metavar="DATE", formats=["%Y-%m-%d"], help="Date of the visit, 2026-03-02."),
    ],
    paths: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="PNG or JPEG pictures, or PDF documents."),
    ],
    *,
    session: Session = 1,
    caption: Annotated[
        str, typer.Option("--caption", metavar="WORDS", help="What they show.")
    ] = "",
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who attaches.")
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Attach still frames and documents to a stored visit.

    PNG, JPEG and PDF, at most 20 MB each; the kind is told by the content, not by the name.
    What a camera or program wrote beside the picture (place, time, device, author) is removed
    and not kept. A file that cannot be taken is told, and does not keep out the others; the
    exit code is then 1.
    """
    from casebook.cli.opening import opened
    from casebook.services import attaching

    given, unreadable = attaching.files_from_disk(paths, caption=caption)
    with opened(db) as casebook:
        report = attaching.attach_files(casebook, runner, day.date(), given, session=session, by=by)
    problems = (*unreadable, *report.problems)
    if as_json:
        print_object(
            {
                "attached": [attachment_object(one) for one in report.attached],
                "unchanged": plainly(report.unchanged),
                "told": plainly(report.told),
                "problems": plainly(problems),
            }
        )
    else:
        _show_attached(report)
    for problem in problems:
        typer.echo(str(problem), err=True)
    if problems:
        raise typer.Exit(1)


def attachment_object(attachment: Attachment) -> dict[str, Any]:
    """An attachment as scripts read it."""
    found: dict[str, Any] = plainly(attachment)
    return found


def _show_attached(report: AttachReport) -> None:
    for one in report.attached:
        typer.echo(f"Attached: {one.name} ({one.kind}, {one.n_bytes} bytes, {one.sha256[:12]})")
    for name in report.unchanged:
        typer.echo(f"Attached already, unchanged: {name}")
    for words in report.told:
        typer.echo(words)


def attachments(  # noqa: PLR0913  (an argument for each option)
    runner: Runner,
    *,
    on: Annotated[
        datetime | None,
        typer.Option(
            "--on", metavar="DATE", formats=["%Y-%m-%d"], help="Of the visit on this day only."
        ),
    ] = None,
    session: Session = 1,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FOLDER", help="Copy the files into this folder as well."),
    ] = None,
    strike_out: Annotated[
        str,
        typer.Option(
            "--strike-out",
            metavar="SHA256",
            help="Take the one whose content has this hash (its first signs are enough) off its "
            "visit; with --reason.",
        ),
    ] = "",
    reason: Annotated[
        str, typer.Option("--reason", metavar="WORDS", help="Why it is struck out.")
    ] = "",
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who strikes out.")
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List what is attached to a runner's visits, copy it out, or strike one out.

    What is struck out leaves the visit; the history keeps who did it, when and why, and the
    file stays in the store.
    """
    from casebook.cli.opening import opened
    from casebook.services import attaching

    with opened(db) as casebook:
        found = attaching.list_attachments(
            casebook, runner, on.date() if on else None, session=session
        )
        if strike_out:
            one = _the_one(found, strike_out)
            attaching.strike_out_attachment(casebook, one, reason=reason, by=by)
            found = (one,)
        written = _copied(casebook, found, into) if into is not None else {}
    if as_json:
        print_object(
            {
                "struck_out": bool(strike_out),
                "attachments": [
                    attachment_object(one) | {"copied_to": written.get(one.attachment_id)}
                    for one in found
                ],
            }
        )
        return
    _show_list(found, struck_out=bool(strike_out))
    for path in written.values():
        typer.echo(f"Copied: {path}")


def _the_one(found: tuple[Attachment, ...], given: str) -> Attachment:
    fitting = [one for one in found if one.sha256.startswith(given.strip().lower())]
    if len(fitting) != 1:
        raise typer.BadParameter(
            f"{len(fitting)} attachments have a hash that begins so; give more of its signs, or "
            "the day with --on.",
            param_hint="--strike-out",
        )
    return fitting[0]


def _copied(casebook: Casebook, found: tuple[Attachment, ...], into: Path) -> dict[int, str]:
    """Copy each file out under a name that tells its visit; nothing that stands is replaced."""
    from casebook.services import attaching

    written = {}
    try:
        into.mkdir(parents=True, exist_ok=True)
        for one in found:
            _, content = attaching.read_attachment(casebook, one.attachment_id)
            name = f"{one.visited_on}_{one.session}_{one.sha256[:8]}_{one.file_name}"
            with (into / name).open("xb") as out:
                out.write(content)
            written[one.attachment_id] = str(into / name)
    except OSError as error:
        raise StoreUnavailable(
            f"The files cannot be copied into {into} ({error.strerror or error}: "
            f"{error.filename}). Name an empty folder that may be written."
        ) from error
    return written


def _show_list(found: tuple[Attachment, ...], *, struck_out: bool) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    if struck_out:
        typer.echo(f"Struck out: {found[0].name} of {found[0].visited_on}")
        return
    if not found:
        typer.echo("Nothing is attached.")
        return
    table = Table("visit", "session", "kind", "bytes", "sha256", "name", "caption", "by", box=None)
    for one in found:
        table.add_row(
            str(one.visited_on), str(one.session), one.kind, str(one.n_bytes), one.sha256[:12],
            Text(one.name), Text(one.caption), Text(one.added_by),
        )  # fmt: skip
    Console(soft_wrap=True).print(table)
