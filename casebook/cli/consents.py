"""`casebook consent`: what a runner agreed to beyond their own care, recorded and withdrawn."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from casebook.cli.objects import print_object
from casebook.domain.people import Purpose

if TYPE_CHECKING:
    from casebook.domain.people import Consent
    from casebook.services.exporting_audit import LoggedExport


def consent(
    runner: Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")],
    *,
    purpose: Annotated[
        Purpose | None, typer.Option("--for", help="What the consent is to.")
    ] = None,
    given: Annotated[
        datetime | None,
        typer.Option(
            "--given",
            metavar="DATE",
            formats=["%Y-%m-%d"],
            help="Day on which it was given, to record it; with --withdrawn only needed where "
            "more than one stands.",
        ),
    ] = None,
    withdrawn: Annotated[
        datetime | None,
        typer.Option(
            "--withdrawn", metavar="DATE", formats=["%Y-%m-%d"], help="Day of its withdrawal."
        ),
    ] = None,
    by: Annotated[str, typer.Option("--by", metavar="USER", help="Code of the user.")] = "",
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
    """List a runner's consents; record one or its withdrawal.

    A withdrawal holds from the next export on. The exports that held the runner before are
    named: a file that left can't be called back.
    """
    from casebook.cli.opening import opened
    from casebook.services.exporting_audit import exports_of_runner
    from casebook.services.registering import list_consents, record_consent

    if purpose is None and (given is not None or withdrawn is not None):
        raise typer.BadParameter("say with --for what the consent is to, audit or research.")
    if purpose is not None and given is None and withdrawn is None:
        raise typer.BadParameter("say the day with --given or --withdrawn.")
    with opened(db) as casebook:
        if purpose is not None:
            known = list_consents(casebook, runner)
            new = _meant(runner, purpose, given, withdrawn, known)
            record_consent(casebook, new, by=by)
        stand = list_consents(casebook, runner)
        left = exports_of_runner(casebook, runner)
    if as_json:
        print_object({"ok": True, "runner": runner, "consents": stand, "exports": _numbers(left)})
        return
    for one in stand:
        ended = f"withdrawn on {one.withdrawn_on}" if one.withdrawn_on else "not withdrawn"
        typer.echo(f"{one.purpose}: given on {one.given_on}, {ended}")
    if not stand:
        typer.echo("No consent is recorded: exports leave this runner out.")
    if left:
        named = ", ".join(str(one) for one in _numbers(left))
        typer.echo(f"In the exports with the numbers {named}, which can't be called back.")


def _numbers(left: tuple[LoggedExport, ...]) -> list[int]:
    return [one.number for one in left]


def _meant(
    runner: str,
    purpose: Purpose,
    given: datetime | None,
    withdrawn: datetime | None,
    known: tuple[Consent, ...],
) -> Consent:
    """The consent that is meant: of a withdrawal without its day, the one that stands."""
    from casebook.domain.errors import refuse
    from casebook.domain.people import Consent

    ended = None if withdrawn is None else withdrawn.date()
    if given is not None:
        return Consent(runner=runner, purpose=purpose, given_on=given.date(), withdrawn_on=ended)
    standing = [one for one in known if one.purpose is purpose and one.withdrawn_on is None]
    if not standing:
        raise refuse(
            "no_consent_stands",
            f"'{runner}' has no consent to {purpose} that stands, so none can be withdrawn. "
            "Nothing was stored.",
            column="withdrawn_on",
        )
    if len(standing) > 1:
        found = ", ".join(str(one.given_on) for one in standing)
        raise refuse(
            "consent_not_named",
            f"Of '{runner}' these consents to {purpose} stand: {found}. Name with --given the "
            "day of the one that was withdrawn. Nothing was stored.",
            column="given_on",
            value=None,
        )
    return Consent(
        runner=runner, purpose=purpose, given_on=standing[0].given_on, withdrawn_on=ended
    )
