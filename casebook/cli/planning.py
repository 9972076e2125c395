"""`casebook plan-measurement`: how many trials and visits it takes to see a change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from casebook.cli.objects import plainly, print_object
from casebook.domain import wording

if TYPE_CHECKING:
    from casebook.services.planning import MeasurementPlan

Probability = Annotated[
    float, typer.Option("--probability", metavar="P", help="Wished probability of seeing it.")
]
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


def plan_measurement(  # noqa: PLR0913  (an argument for each option)
    *,
    metric: Annotated[
        str, typer.Option("--metric", metavar="KEY", help="Key of the metric in the catalogue.")
    ],
    change: Annotated[
        float | None,
        typer.Option(
            "--change",
            metavar="C",
            help=(
                "The change to be seen, in the metric's unit (with --asymmetry in that of its "
                "asymmetry). Without it: what can be seen."
            ),
        ),
    ] = None,
    probability: Probability = 0.8,
    asymmetry: Annotated[
        bool, typer.Option("--asymmetry", help="Plan the asymmetry, not the value of a side.")
    ] = False,
    between_sd: Annotated[
        float | None,
        typer.Option(
            "--between-sd",
            metavar="SD",
            help=(
                "SD from session to session of a runner who did not change, of one side's value; "
                "with --within-sd it replaces the catalogue's figure."
            ),
        ),
    ] = None,
    within_sd: Annotated[
        float | None,
        typer.Option(
            "--within-sd",
            metavar="SD",
            help=(
                "SD of single trials within a session, of one side's value; alone it tells what "
                "fewer trials do to a figure that is an SEM."
            ),
        ),
    ] = None,
    sem: Annotated[
        float | None,
        typer.Option(
            "--sem",
            metavar="SEM",
            help="SEM of a mean of --sem-trials trials, of one side's value.",
        ),
    ] = None,
    sem_trials: Annotated[
        int | None, typer.Option("--sem-trials", metavar="K", help="Trials that --sem is for.")
    ] = None,
    frames_per_s: Annotated[
        float | None,
        typer.Option(
            "--frames-per-s",
            metavar="F",
            help="Frames a second of the camera, which limit a duration read from video.",
        ),
    ] = None,
    typical: Annotated[
        float | None,
        typer.Option(
            "--typical",
            metavar="VALUE",
            help="Typical value of one side; an asymmetry in percent needs it.",
        ),
    ] = None,
    db: Db = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Say how many trials and visits it takes to see a change of a given size.

    By the catalogue's best error figure of the metric, or by numbers that you give. The
    table shows the smallest change that is seen for each number of trials a visit, with 1,
    2 and 3 visits before and as many after.
    """
    from casebook.cli.opening import opened
    from casebook.services import planning

    with opened(db) as casebook:
        found = planning.plan_measurement(
            casebook,
            metric,
            change=change,
            probability=probability,
            asymmetry=asymmetry,
            given=planning.ErrorGiven(
                between_sd=between_sd, within_sd=within_sd, sem=sem, sem_trials=sem_trials
            ),
            frames_per_s=frames_per_s,
            typical=typical,
        )
    if as_json:
        print_object(plan_object(found))
    else:
        _show(found)


def plan_object(found: MeasurementPlan) -> dict[str, object]:
    """A plan with its curve (visits in each phase, trials a visit, detectable change)."""
    return {
        "metric": found.metric.key,
        "what": found.what,
        "unit": found.unit,
        "probability": found.probability,
        "change": found.change,
        "error": plainly(found.error) | {"origin": found.origin or "given", "source": found.source},
        "curve": plainly(found.plan.curve),
        "answer": {
            "words": found.answer,
            "trials": found.plan.trials,
            "visits_needed": found.plan.visits_needed,
            "per_phase": plainly(found.plan.needed),
        },
        "notes": list(found.notes),
        "caution": wording.CAUTION,
    }


def _show(found: MeasurementPlan) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    what = "asymmetry" if found.what == "asymmetry" else "value"
    origin = "numbers given" if found.origin is None else wording.ORIGINS[found.origin]
    typer.echo(f"{found.metric.label}, {what}; error: {origin} ({found.source})\n")
    typer.echo(f"{found.answer}\n")
    by_trials: dict[int, list[str]] = {}
    for point in found.plan.curve:
        by_trials.setdefault(point.trials, []).append(
            wording.number_words(point.detectable, found.unit)
        )
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("trials a visit", justify="right")
    for needed in found.plan.needed:
        table.add_column(f"{needed.visits} + {needed.visits} visits", justify="right")
    for trials, changes in by_trials.items():
        table.add_row(str(trials), *changes)
    Console(width=100, highlight=False, emoji=False, markup=False).print(table)
    for note in found.notes:
        typer.echo(f"\n{note}")
    typer.echo(f"\n{wording.CAUTION}")
