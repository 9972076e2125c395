"""The commands. Each opens a casebook, asks one service, and shows what it says."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from casebook import __version__
from casebook.cli.attaching import attach, attachments
from casebook.cli.audit import audit
from casebook.cli.backing_up import backup, restore
from casebook.cli.consents import consent
from casebook.cli.exercises import exercises
from casebook.cli.exporting import export, exports
from casebook.cli.growth import growth
from casebook.cli.history import amend, history, strike_out, undo
from casebook.cli.importing import decided, export_visits, imports, undo_import, write_questions
from casebook.cli.mapping import mappings_of, propose_mapping
from casebook.cli.marks import EPILOG as MARKS_EPILOG
from casebook.cli.marks import marks
from casebook.cli.planning import plan_measurement
from casebook.cli.plans import cautions, course, hypotheses, programme
from casebook.cli.record import import_record, record
from casebook.cli.repeatability import repeatability
from casebook.cli.sets import sets
from casebook.cli.summary import summary
from casebook.cli.tables_help import tables_help

app = typer.Typer(
    name="casebook",
    help=(
        "A longitudinal case database for clinicians who assess runners: log visits, see what "
        "changed beyond measurement error and what worsens. It supports your judgement and "
        "never replaces it."
    ),
    epilog=(
        "Exit codes: 0 fine, 1 the data or the request was refused (the message stands on "
        "standard error), 2 wrong usage."
    ),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

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
Port = Annotated[
    int, typer.Option("--port", min=1, max=65535, help="Port of 127.0.0.1 that the app answers on.")
]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"casebook {__version__}")
        raise typer.Exit


@app.callback()
def _casebook(
    _version_wanted: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="The version, and end."),
    ] = False,
) -> None:
    pass


@app.command(short_help="Build the invented demo clinic and open it.")
def demo(
    *,
    port: Port = 8501,
    folder: Annotated[
        Path | None,
        typer.Option("--folder", help="Keep demo.sqlite here and not in your data folder."),
    ] = None,
    db: Annotated[
        str | None,
        typer.Option(
            "--db", metavar="FILE", help="Keep the demo database in this SQLite file instead."
        ),
    ] = None,
    serve_it: Annotated[
        bool, typer.Option("--serve/--no-serve", help="Open the app when the database stands.")
    ] = True,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Build the demo database anew, forgetting changes.")
    ] = False,
) -> None:
    """Build the demo clinic (invented runners) and open the app on it.

    The demo lives in a file of its own and never touches your casebook. What was built
    before is opened again as you left it.
    """
    if folder is not None and db is not None:
        raise typer.BadParameter("give either --folder or --db, not both.")
    from casebook.cli import building, serving

    if serve_it:
        serving.check_port(port)
    path = building.demo_file(folder=folder, db=db)
    built = building.build_demo(path, fresh=fresh)
    typer.echo(f"Demo database {'built' if built else 'found'}: {path}")
    if serve_it:
        serving.serve(str(path), port=port)


@app.command(short_help="Open the app on this machine.")
def serve(*, port: Port = 8501, db: Db = None) -> None:
    """Open the app in the browser's reach, on this machine only (127.0.0.1).

    It runs until you press Ctrl-C.
    """
    from casebook.cli import serving
    from casebook.services import keeping

    serving.check_port(port)
    casebook = keeping.open_casebook(keeping.resolve_url(db))
    casebook.close()
    serving.serve(casebook.url, port=port)


@app.command(short_help="Make a casebook, or bring one up to date.")
def init(
    *,
    clinic: Annotated[str, typer.Option("--clinic", help="Name of your clinic.")] = "Clinic",
    db: Db = None,
) -> None:
    """Make a casebook: its tables, your clinic and the starter catalogue of metrics.

    On a casebook that is there already it brings the tables up to date and changes
    nothing else.
    """
    from casebook.services import keeping

    casebook = keeping.create_casebook(keeping.resolve_url(db), clinic_name=clinic)
    casebook.close()
    typer.echo(f"The casebook is ready: {casebook.place}")


@app.command(
    name="import",
    short_help="Import CSV tables and workbooks, all or nothing.",
    epilog=tables_help(),
)
def import_(  # noqa: PLR0913 - each is an option
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="CSV files and workbooks (.xlsx); their order does not matter."
        ),
    ],
    *,
    mapping: Annotated[
        Path | None,
        typer.Option(
            "--mapping",
            metavar="M.toml",
            help="What the columns hold, where they have names of their own: a file that "
            "propose-mapping writes.",
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check everything and report; store nothing.")
    ] = False,
    day_first: Annotated[
        bool,
        typer.Option("--day-first", help="Dates are written day first: 03/04/2025 is 3 April."),
    ] = False,
    known_runners_only: Annotated[
        bool,
        typer.Option(
            "--known-runners-only",
            help="Refuse visits of runners who are not registered, instead of registering them.",
        ),
    ] = False,
    write_decisions: Annotated[
        Path | None,
        typer.Option(
            "--write-decisions",
            metavar="FILE",
            help="Write what only you can decide into this file, to be filled in.",
        ),
    ] = None,
    decide: Annotated[
        Path | None,
        typer.Option("--decide", metavar="FILE", help="Take the decisions of this file."),
    ] = None,
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who imports.")
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Import tables of visits, runners, injuries, programmes and more from CSV or .xlsx files.

    All or nothing: one bad row, and nothing is stored, but every bad row is told.
    Importing the same file again changes nothing. The table's kind is recognised by its
    header. A tidy table of visits has a row for each trial, with the columns
    runner, visit_date, metric, side, trial, value; a wide one has a row for each visit, with
    columns such as knee_flexion_midstance_left. Every table and column is described below.

    What differs from what is stored, stands twice, or may be about a runner you have already,
    is asked and never settled in silence: --write-decisions writes the questions side by side
    into a file, and --decide takes it with your choices.
    """
    from casebook.cli import progress, showing
    from casebook.cli.opening import opened

    with opened(db) as casebook:
        report = progress.import_with_progress(
            casebook,
            files,
            mappings=mappings_of(casebook, files, mapping),
            decisions=decided(decide),
            dry_run=dry_run,
            day_first=day_first,
            known_runners_only=known_runners_only,
            by=by,
        )
    showing.show_import(report, as_json=as_json)
    write_questions(report, write_decisions)
    if report.problems:
        raise typer.Exit(1)


@app.command(short_help="List what worsened beyond error.")
def flags(
    *,
    all_visits: Annotated[
        bool,
        typer.Option(
            "--all", help="Every flag there ever was, those of earlier visits and seen ones too."
        ),
    ] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List what worsened beyond measurement error, over the whole caseload.

    Shown are the flags of each runner's latest visit that nobody has acknowledged. A flag
    is never a diagnosis; the report says how many false ones to expect.
    """
    from casebook.cli import showing
    from casebook.cli.opening import opened
    from casebook.services import flagging

    with opened(db) as casebook:
        found = flagging.list_flags(casebook, all_visits=all_visits)
    showing.show_flags(found, as_json=as_json)


@app.command(short_help="Say what changed in one runner.")
def review(
    runner: Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")],
    *,
    why: Annotated[
        bool,
        typer.Option(
            "--why",
            help="Unfold each verdict: its numbers, its sources and what would change it.",
        ),
    ] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Say what changed in one runner since baseline, and what of it is beyond error.

    Each verdict carries the error it was held against, where that error figure comes
    from, and whether the visits were like for like. An asymmetry is signed right minus left.
    """
    from casebook.cli import showing
    from casebook.cli.opening import opened
    from casebook.services import norming, reviewing

    with opened(db) as casebook:
        found = reviewing.review_runner(casebook, runner, norms=norming.clinic_norms(casebook))
    showing.show_review(found, as_json=as_json, unfolded=why)


@app.command(short_help="Check that a casebook is whole.")
def check(
    *,
    expected_head: Annotated[
        str,
        typer.Option(
            "--expect-head",
            metavar="HASH",
            help="A hash that 'casebook history --head' gave: does that entry still stand?",
        ),
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Check that a casebook is whole: file, tables, version, references, and its history.

    The history is read from its first entry to its last: whether each is what was sealed, and
    whether what stands is what it says.
    """
    from casebook.cli import showing
    from casebook.cli.opening import opened
    from casebook.services import keeping

    with opened(db) as casebook:
        report = keeping.check_casebook(casebook, expected_head=expected_head)
    showing.show_check(report, as_json=as_json)
    if not report.ok:
        raise typer.Exit(1)


app.command(
    name="plan-measurement", short_help="Say how many trials and visits it takes to see a change."
)(plan_measurement)
app.command(name="propose-mapping", short_help="Propose what a spreadsheet's columns hold.")(
    propose_mapping
)
app.command(short_help="List the imports that stored something.")(imports)
app.command(name="export-visits", short_help="Write every visit into one table.")(export_visits)
app.command(name="undo-import", short_help="Take back a whole import.")(undo_import)
app.command(short_help="Tell the measurement error from repeat measurements.")(repeatability)
app.command(
    short_help="Compute angles, distances and times from marked points.", epilog=MARKS_EPILOG
)(marks)
app.command(short_help="Tell how a value runs with time in many subjects.")(growth)
app.command(short_help="Tell what became of a cohort of runners.")(audit)
app.command(short_help="List, make and change measurement sets.")(sets)
app.command(short_help="List exercises, add, change and hide them.")(exercises)
app.command(short_help="Tell a runner's programmes and what came of them.")(programme)
app.command(short_help="Tell what became of working hypotheses.")(hypotheses)
app.command(short_help="Tell the course of a runner's complaints.")(course)
app.command(short_help="List what findings and pain call for.")(cautions)
app.command(short_help="Attach still frames and documents to a visit.")(attach)
app.command(short_help="List what is attached to a runner's visits, or copy it out.")(attachments)
app.command(short_help="Back the whole casebook up into one file.")(backup)
app.command(short_help="Restore a backup into a new casebook.")(restore)
app.command(short_help="List, record and withdraw a runner's consents.")(consent)
app.command(short_help="Write de-identified tables of consenting runners.")(export)
app.command(short_help="List the exports there were.")(exports)
app.command(short_help="Tell who changed what of a runner, when and why.")(history)
app.command(short_help="Amend what is stored, with a reason.")(amend)
app.command(name="strike-out", short_help="Strike out values, a visit or a record.")(strike_out)
app.command(short_help="Undo one entry of the history.")(undo)
app.command(short_help="Write everything that is held on one runner.")(record)
app.command(name="import-record", short_help="Take in a runner's whole record.")(import_record)
app.command(short_help="Summarise one case on one or two pages.")(summary)
