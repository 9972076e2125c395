"""`casebook export` and `casebook exports`: de-identified tables, and the log of them."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import plainly, print_object
from casebook.domain.errors import refuse
from casebook.domain.exporting import LEAST_ALIKE, LEAST_KINDS, ExportKey, Trait
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose

if TYPE_CHECKING:
    from casebook.services.exporting_audit import ExportReport, LoggedExport

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


def export(  # noqa: PLR0913  (an argument for each option)
    *,
    purpose: Annotated[
        Purpose,
        typer.Option("--for", help="Only runners whose consent covers this leave."),
    ],
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="A folder to be made, or empty."),
    ],
    by: Annotated[str, typer.Option("--by", metavar="CODE", help="Who exports, for the log.")],
    key: Annotated[
        Path | None,
        typer.Option(
            "--key",
            metavar="FILE",
            help="Carry the pseudonyms of an earlier export on. Without it they are new.",
        ),
    ] = None,
    new_key: Annotated[
        Path | None,
        typer.Option(
            "--new-key",
            metavar="FILE",
            help="Keep this export's key in a file for you alone, to carry it on later.",
        ),
    ] = None,
    k: Annotated[
        int, typer.Option("--k", metavar="N", help="Runners who must look alike, at least.")
    ] = LEAST_ALIKE,
    diversity: Annotated[
        int,
        typer.Option("--l", metavar="N", help="Kinds of tissue among them, at least."),
    ] = LEAST_KINDS,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="What was later does not count. Today."),
    ] = None,
    formats: Annotated[
        list[FileFormat] | None,
        typer.Option("--format", help="May be given again; csv is always written. All three."),
    ] = None,
    metric: Annotated[
        list[str] | None,
        typer.Option(
            "--metric",
            metavar="KEY",
            help="One of the clinic's own metrics that leaves as well; may be given again.",
        ),
    ] = None,
    clinicians: Annotated[
        bool,
        typer.Option(
            "--clinicians",
            help="Give clinicians with enough runners a pseudonym at each visit.",
        ),
    ] = False,
    leave_out: Annotated[
        list[Trait] | None,
        typer.Option(
            "--leave-out",
            metavar="COLUMN",
            help="A column of the table runners that does not leave at all, such as height_band, "
            "so that the others leave less coarse; may be given again.",
        ),
    ] = None,
    preview: Annotated[
        bool,
        typer.Option("--preview", help="Say what would leave; write and log nothing."),
    ] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write de-identified tables of consenting runners, and log it.

    Pseudonyms, days since the first visit, and what a club-mate would know of a runner made so
    coarse that at least N look alike; no names, dates and free text. risk.md in the folder says
    how likely a runner is found, what was changed or withheld and what it does not protect from.
    """
    from casebook.cli.opening import opened
    from casebook.domain.exporting import ExportSettings
    from casebook.services import clock
    from casebook.services.exporting_audit import export_audit, preview_export
    from casebook.services.exporting_keys import read_key

    settings = ExportSettings(
        purpose=purpose,
        as_of=clock.today() if as_of is None else _day(as_of),
        k=k,
        diversity=diversity,
        metrics=tuple(metric or ()),
        formats=tuple(dict.fromkeys((FileFormat.CSV, *(formats or FileFormat)))),
        clinicians=clinicians,
        leave_out=tuple(leave_out or ()),
    )
    with opened(db) as casebook:
        if preview:
            looked = preview_export(casebook, settings, key=None if key is None else read_key(key))
            if as_json:
                found = {"ok": True, "facts": looked.facts, "risk_words": looked.sentences}
                print_object({**found, "metrics": looked.metrics})
            else:
                typer.echo(looked.page)
            return
        used, made = _key(key, new_key)
        try:
            report = export_audit(casebook, settings, output, key=used, by=by)
        except BaseException:
            if made is not None:
                made.unlink(missing_ok=True)
            raise
    if as_json:
        print_object(report_object(report))
    else:
        _show(report)


def exports(
    runner: Annotated[
        str | None,
        typer.Argument(metavar="[RUNNER]", help="Only exports that held this runner's records."),
    ] = None,
    *,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List the exports there were: who, when, for what, with which settings and checksums.

    With a runner's code those that held the runner's records: whom to tell when consent is
    withdrawn, since a file that left can't be called back.
    """
    from casebook.cli.opening import opened
    from casebook.services.exporting_audit import exports_of_runner, list_exports

    with opened(db) as casebook:
        found = list_exports(casebook) if runner is None else exports_of_runner(casebook, runner)
    if as_json:
        print_object({"ok": True, "exports": [logged_object(one) for one in found]})
        return
    if not found:
        typer.echo("No export yet." if runner is None else f"No export held {runner}.")
    for one in found:
        typer.echo(
            f"{one.number}  {one.at:%Y-%m-%d %H:%M} UTC  by {one.by}  for {one.purpose.value}  "
            f"{one.runners} runners  key {one.key_fingerprint[:16]}"
        )
        typer.echo(f"    settings {one.settings}")
        typer.echo(f"    manifest.json {one.files['manifest.json']} (SHA-256; --json tells all)")


def report_object(report: ExportReport) -> dict[str, Any]:
    """An export as one object."""
    return {
        "ok": True,
        "number": report.number,
        "at": report.at,
        "by": report.by,
        "folder": str(report.folder),
        "settings": json.loads(report.settings.canonical()),
        "key_fingerprint": report.key_fingerprint,
        "files": plainly(report.files),
        "rows": plainly(report.n_rows),
        "risk": plainly(report.facts),
        "risk_words": list(report.sentences),
    }


def logged_object(one: LoggedExport) -> dict[str, Any]:
    """A logged export as one object."""
    found: dict[str, Any] = plainly(one)
    return found | {"settings": json.loads(one.settings)}


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise refuse(
            "as_of_unreadable",
            f"--as-of is '{text}'; expected a day such as 2026-03-31.",
            column="as_of",
            value=text,
        ) from error


def _key(key: Path | None, new_key: Path | None) -> tuple[ExportKey, Path | None]:
    """The key, and the file that was made for it."""
    from casebook.services.exporting_keys import fresh_key, read_key, write_key

    if key is not None and new_key is not None:
        raise refuse(
            "two_keys",
            "--key carries a key on and --new-key makes a new one; give one of them.",
            column="key",
        )
    if key is not None:
        return read_key(key), None
    used = fresh_key()
    if new_key is not None:
        write_key(used, new_key)
    return used, new_key


def _show(report: ExportReport) -> None:
    typer.echo(f"Export {report.number} written to {report.folder} and logged.\n")
    for sentence in report.sentences:
        typer.echo(f"- {sentence}")
    rows = ", ".join(f"{name} {number}" for name, number in report.n_rows.items())
    typer.echo(f"\nRows: {rows}.")
    typer.echo(f"Key: {report.key_fingerprint} (its fingerprint; the key itself is not kept here).")
    typer.echo("\nRead risk.md before you pass it on: it says what this does not protect against.")
