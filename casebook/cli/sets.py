"""`casebook sets`: a clinic's measurement sets, listed, made and changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from casebook.services.keeping import Casebook
    from casebook.services.measurement_sets import StoredSet

Name = Annotated[
    str | None,
    typer.Argument(metavar="[NAME]", help="The set to make or change; without it all are listed."),
]


def sets(  # noqa: PLR0913  (an argument for each option)
    name: Name = None,
    *,
    metric: Annotated[
        list[str] | None,
        typer.Option(
            "--metric",
            metavar="KEY",
            help="A metric of the set, by its key; give it again for each, in the order in which "
            "they are read.",
        ),
    ] = None,
    purpose: Annotated[
        str | None, typer.Option("--purpose", help="When the set is used, in your words.")
    ] = None,
    rename: Annotated[
        str | None, typer.Option("--rename", metavar="NAME", help="Call the set so from now on.")
    ] = None,
    active: Annotated[
        bool | None,
        typer.Option("--on/--off", help="Offer the set when a visit is logged, or do not."),
    ] = None,
    first: Annotated[bool, typer.Option("--first", help="Put the set before the others.")] = False,
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who does it.")
    ] = "",
    db: Annotated[
        str | None,
        typer.Option(
            "--db", metavar="FILE_OR_ADDRESS", help="The casebook, as with other commands."
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """List the measurement sets, or make or change one.

    A set says which metrics have a row when a visit is logged. It is never removed: switch it
    off. Each change stands in the history.
    """
    from casebook.cli.opening import opened
    from casebook.services.measurement_sets import list_sets

    given = (metric, purpose, rename, active)
    if name is None and (first or any(one is not None for one in given)):
        raise typer.BadParameter("name the set that is to be made or changed.")
    with opened(db) as casebook:
        if name is not None:
            _write(
                casebook,
                name,
                metrics=metric,
                purpose=purpose,
                rename=rename,
                active=active,
                first=first,
                by=by,
            )
        found = list_sets(casebook, include_inactive=True)
    _show(found, as_json=as_json)


def _write(
    casebook: Casebook,
    name: str,
    *,
    metrics: list[str] | None,
    purpose: str | None,
    rename: str | None,
    active: bool | None,
    first: bool,
    by: str,
) -> None:
    from casebook.domain.errors import NotFound
    from casebook.domain.measurement_sets import MeasurementSet
    from casebook.services.measurement_sets import get_set, order_sets, save_set

    try:
        read = get_set(casebook, name)
    except NotFound:
        # Nothing to make it of: the name was mistyped rather than meant anew.
        if metrics is None:
            raise
        read = None
    now = read.set if read else None
    wanted = MeasurementSet(
        name=rename or (now.name if now else name),
        metrics=tuple(metrics) if metrics is not None else now.metrics if now else (),
        purpose=purpose if purpose is not None else now.purpose if now else "",
        active=active if active is not None else now.active if now else True,
    )
    saved = save_set(casebook, wanted, by=by, read=read)
    if first:
        order_sets(casebook, [saved.set.name], by=by)


def _show(found: Sequence[StoredSet], *, as_json: bool) -> None:
    from rich.text import Text

    from casebook.cli.objects import plainly, print_object
    from casebook.cli.showing import plain_table, terminal

    if as_json:
        print_object({"sets": plainly([one.set for one in found])})
        return
    table = plain_table("set", "offered", "metrics", "when it is used")
    for one in found:
        table.add_row(
            Text(one.set.name),
            "yes" if one.set.active else "no",
            Text(", ".join(one.set.metrics)),
            Text(one.set.purpose),
        )
    terminal().print(table)
