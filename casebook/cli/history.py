"""`casebook history`, `amend`, `strike-out` and `undo`: what was changed, and changing it."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from casebook.cli.objects import print_object
from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.history import Subject
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    missing_value,
    value_of_mean,
    value_of_trials,
)

if TYPE_CHECKING:
    from casebook.services.amending import VisitChange
    from casebook.services.opened import Casebook
    from casebook.services.telling_history import ToldEntry

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
Runner = Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")]
Day = Annotated[
    datetime | None,
    typer.Option("--visit", formats=["%Y-%m-%d"], metavar="DATE", help="Day of the visit."),
]
Session = Annotated[
    int, typer.Option("--session", min=1, help="Which visit of that day, where there are more.")
]
Record = Annotated[
    str,
    typer.Option(
        "--record",
        metavar="KIND:NUMBER",
        help="Something else known of the runner, as the history names it: injury:3.",
    ),
]
Reason = Annotated[str, typer.Option("--reason", help="Why; it stands in the history.")]
By = Annotated[str, typer.Option("--by", metavar="USER", help="Code of the user who does it.")]
Revision = Annotated[
    int | None,
    typer.Option(
        "--revision",
        min=1,
        help="Only if the visit still has this revision; without it, as it stands now.",
    ),
]


def history(
    runner: Annotated[
        str | None, typer.Argument(metavar="[RUNNER]", help="Code of the runner.")
    ] = None,
    *,
    visit: Day = None,
    head: Annotated[
        bool,
        typer.Option(
            "--head",
            help=(
                "Number and hash of the last entry of the whole casebook, to be noted down "
                "elsewhere; 'casebook check --expect-head HASH' tells later whether it stands."
            ),
        ),
    ] = False,
    db: Db = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Tell who changed what of a runner, when and why, and what it was before.

    Newest first. What was struck out stands here and nowhere else.
    """
    from casebook.cli.opening import opened
    from casebook.services import telling_history

    if (runner is None) == (not head):
        raise typer.BadParameter("give either a runner or --head.")
    with opened(db) as casebook:
        if runner is None:
            number, last = telling_history.history_head(casebook)
            if as_json:
                print_object({"number": number, "hash": last})
            else:
                typer.echo(f"{number} {last}" if number else "The history has no entries yet.")
            return
        entries = telling_history.runner_history(casebook, runner)
    if visit is not None:
        entries = telling_history.of_visit(entries, visit.date())
    if as_json:
        print_object({"runner": runner, "entries": [entry.to_json() for entry in entries]})
    elif not entries:
        typer.echo("Nothing is told of that.")
    else:
        for entry in entries:
            typer.echo("\n".join(_lines(entry)))


def _lines(entry: ToldEntry) -> list[str]:
    day = ""
    if entry.visit is not None:
        day, session = f", visit of {entry.visit[0]}", entry.visit[1]
        day += f" (session {session})" if session > 1 else ""
    by = f" by {entry.by}" if entry.by else ""
    how = ", by an import" if entry.imported else ""
    lines = [
        f"{entry.number}. {entry.at.astimezone():%Y-%m-%d %H:%M}{by}{how}: {entry.heading}{day} "
        f"[{entry.subject.value}:{entry.subject_id}]"
    ]
    if entry.reason:
        lines.append(f"   why: {entry.reason}")
    lines += [f"   {one.label}: {one.was} -> {one.now}" for one in entry.fields]
    return lines


def amend(  # noqa: PLR0913  (an argument for each option)
    runner: Runner,
    *,
    visit: Day = None,
    session: Session = 1,
    record: Record = "",
    details: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NAME=CONTENT",
            help="A column and what it is to be; nothing behind = empties it. May be repeated.",
        ),
    ] = None,
    values: Annotated[
        list[str] | None,
        typer.Option(
            "--value",
            metavar="METRIC[:SIDE]=NUMBERS",
            help=(
                "A value: every trial ('310 322'), a mean ('mean 316 of 3') or why it is missing "
                "('missing painful'). May be repeated."
            ),
        ),
    ] = None,
    reason: Reason = "",
    by: By = "",
    revision: Revision = None,
    db: Db = None,
) -> None:
    """Amend a stored visit, or something else known of a runner; what it was stays in the history.

    A visit takes --value and --set with speed_km_h, surface, incline_pct, footwear, view,
    frames_per_s, assessor, pain_today, kind, visited_on, session, next_due_on and note; another
    record takes --set with its own columns. A reason is asked for.
    """
    from casebook.cli.opening import opened
    from casebook.services import amending, amending_records

    given = _pairs(details or [], "--set")
    if (visit is None) == (not record):
        raise typer.BadParameter("give either --visit or --record.")
    with opened(db) as casebook:
        if visit is None:
            if values:
                raise typer.BadParameter("--value belongs to a visit.")
            amending_records.amend_record(
                casebook, runner, _record(record), given, reason=reason, by=by
            )
            typer.echo("Amended.")
            return
        change = _visit_change(given, values or [])
        saved = amending.amend_visit(
            casebook,
            runner,
            visit.date(),
            session,
            change,
            expected_revision=_revision(casebook, runner, visit.date(), session, revision),
            reason=reason,
            by=by,
        )
    typer.echo(f"The visit stands at revision {saved.revision}.")


def strike_out(  # noqa: PLR0913  (an argument for each option)
    runner: Runner,
    *,
    visit: Day = None,
    session: Session = 1,
    record: Record = "",
    values: Annotated[
        list[str] | None,
        typer.Option(
            "--value", metavar="METRIC[:SIDE]", help="A value of the visit. May be repeated."
        ),
    ] = None,
    whole: Annotated[
        bool, typer.Option("--whole", help="The whole visit with all its values and files.")
    ] = False,
    reason: Reason = "",
    by: By = "",
    revision: Revision = None,
    db: Db = None,
) -> None:
    """Strike out values of a visit, a whole visit or another record; the history keeps them.

    A reason is asked for. 'casebook undo' puts back what was struck out.
    """
    from casebook.cli.opening import opened
    from casebook.services import amending_records, striking_out

    if (visit is None) == (not record) or (visit is not None and whole == bool(values)):
        raise typer.BadParameter("give --visit with --value or --whole, or else --record.")
    with opened(db) as casebook:
        if visit is None:
            amending_records.strike_out_record(
                casebook, runner, _record(record), reason=reason, by=by
            )
        elif whole:
            striking_out.strike_out_visit(
                casebook,
                runner,
                visit.date(),
                session,
                expected_revision=_revision(casebook, runner, visit.date(), session, revision),
                reason=reason,
                by=by,
            )
        else:
            striking_out.strike_out_values(
                casebook,
                runner,
                visit.date(),
                session,
                removed=[_place(text) for text in values or []],
                expected_revision=_revision(casebook, runner, visit.date(), session, revision),
                reason=reason,
                by=by,
            )
    typer.echo("Struck out; the history keeps what it was.")


def undo(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="Number of the entry.")],
    *,
    reason: Reason = "",
    by: By = "",
    db: Db = None,
) -> None:
    """Put back what one entry of the history changed, if nothing has changed it since.

    The entry stays, and another says that it was undone. A reason is asked for.
    """
    from casebook.cli.opening import opened
    from casebook.services.undoing_entries import undo_entry

    with opened(db) as casebook:
        undo_entry(casebook, number, reason=reason, by=by)
    typer.echo(f"Entry {number} is undone.")


def _revision(
    casebook: Casebook, runner: str, visited_on: date, session: int, given: int | None
) -> int:
    from casebook.services.recording import find_visit

    if given is not None:
        return given
    stored = find_visit(casebook, runner, visited_on, session)
    return 1 if stored is None else stored.revision


def _record(text: str) -> tuple[Subject, int]:
    kind, _, number = text.partition(":")
    try:
        return Subject(kind.strip()), int(number)
    except ValueError as error:
        raise refuse(
            "record",
            f"'{text}' names no record; expected a kind and a number, as 'injury:3': "
            "'casebook history' shows them in brackets.",
            column="record",
            value=text,
        ) from error


def _pairs(texts: list[str], option: str) -> dict[str, str]:
    wrong = [text for text in texts if "=" not in text]
    if wrong:
        raise InputRefused(
            tuple(
                Problem(
                    code="pair",
                    value=text,
                    message=f"{option} '{text}' has no '='; expected NAME=CONTENT.",
                )
                for text in wrong
            )
        )
    return {
        name.strip(): content.strip()
        for name, _, content in (text.partition("=") for text in texts)
    }


def _visit_change(details: dict[str, str], values: list[str]) -> VisitChange:
    from casebook.services.amending import DETAILS, VisitChange
    from casebook.services.amending_records import typed_content

    typed: dict[str, object] = {}
    for name, content in details.items():
        try:
            # What is unknown, and what can't be empty, the service refuses in its own words.
            typed[name] = (
                typed_content(Subject.VISIT, name, content)
                if name in DETAILS and content
                else content or None
            )
        except ValueError as error:
            raise refuse("content", str(error), column=name, value=content) from error
    return VisitChange(
        values=[_value(place, text) for place, text in _pairs(values, "--value").items()],
        details=typed,
    )


def _place(text: str) -> tuple[str, Side]:
    metric, _, side = text.partition(":")
    try:
        return metric.strip(), Side(side.strip() or "none")
    except ValueError as error:
        raise refuse(
            "side", f"'{text}': the side is '{side}'; expected left or right.", value=text
        ) from error


def _value(place: str, text: str) -> Value:
    metric, side = _place(place)
    words = text.replace(",", " ").split()
    try:
        if words[:1] == ["missing"]:
            return missing_value(metric, side, MissingReason(" ".join(words[1:]).replace(" ", "_")))
        if words[:1] == ["mean"] and words[2:3] == ["of"]:
            return value_of_mean(metric, side, float(words[1]), int(words[3]))
        return value_of_trials(metric, side, [float(word) for word in words])
    except (ValueError, IndexError) as error:
        reasons = ", ".join(reason.value for reason in MissingReason)
        raise refuse(
            "value",
            f"'{text}' is no value of {place}; expected numbers ('310 322'), 'mean 316 of 3' or "
            f"'missing REASON' (one of {reasons}).",
            column=metric,
            value=text,
        ) from error
