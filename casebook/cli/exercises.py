"""`casebook exercises`: the clinic's list of exercises, listed, added to, changed and hidden."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from casebook.domain.exercises import Exercise
    from casebook.services.keeping import Casebook

Key = Annotated[
    str | None,
    typer.Argument(
        metavar="[KEY]", help="The exercise to add or change; without it all are listed."
    ),
]


def exercises(  # noqa: PLR0913  (an argument for each option)
    key: Key = None,
    *,
    name: Annotated[str | None, typer.Option("--name", help="What it is called.")] = None,
    aim: Annotated[
        str | None,
        typer.Option(
            "--aim",
            metavar="AIM",
            help="strength, motor_control, mobility, gait_retraining or load.",
        ),
    ] = None,
    purpose: Annotated[str | None, typer.Option("--purpose", help="What it works on.")] = None,
    how: Annotated[str | None, typer.Option("--how", help="How to do it, in plain words.")] = None,
    sided: Annotated[
        bool | None,
        typer.Option("--sided/--not-sided", help="Left and right are done apart, or not."),
    ] = None,
    equipment: Annotated[str | None, typer.Option("--equipment", help="What it needs.")] = None,
    dose: Annotated[str | None, typer.Option("--dose", help="The usual dose in words.")] = None,
    dose_source: Annotated[
        str | None,
        typer.Option(
            "--dose-source",
            help="Who says so, or 'common practice, no source'; needed where there is a dose.",
        ),
    ] = None,
    sets: Annotated[int | None, typer.Option("--sets", help="Sets in a session.")] = None,
    repetitions: Annotated[
        int | None, typer.Option("--repetitions", help="Repetitions in a set.")
    ] = None,
    hold_s: Annotated[
        float | None, typer.Option("--hold", metavar="SECONDS", help="How long it is held.")
    ] = None,
    sessions_per_week: Annotated[
        float | None, typer.Option("--sessions", metavar="N", help="Sessions a week.")
    ] = None,
    progress: Annotated[
        str | None, typer.Option("--progress", help="How it is made harder.")
    ] = None,
    ease: Annotated[str | None, typer.Option("--ease", help="What calls for easing off.")] = None,
    metric: Annotated[
        list[str] | None,
        typer.Option(
            "--metric",
            metavar="KEY",
            help="A metric worth a look, by its key; give it again for each.",
        ),
    ] = None,
    position: Annotated[
        int | None, typer.Option("--position", help="Place in the list; smaller comes first.")
    ] = None,
    clear: Annotated[
        list[str] | None,
        typer.Option(
            "--clear",
            metavar="FIELD",
            help="Empty a field, such as sets or dose; give it again for each.",
        ),
    ] = None,
    active: Annotated[
        bool | None,
        typer.Option("--show/--hide", help="Offer it for programmes, or do not."),
    ] = None,
    from_file: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="FILE",
            help="Add and change many: a table (CSV) with a column for each field, or TOML with "
            "an [[exercise]] for each.",
        ),
    ] = None,
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
    """List the exercises that a programme can be made of, or add or change some.

    An exercise is never removed: hide it, and programmes that name it keep it. A new one needs
    --name, --aim and --how. A file is taken whole or not at all; its fields are key, name, aim,
    purpose, how, sided, equipment, dose, dose_source, sets, repetitions, hold_s,
    sessions_per_week, progress, ease, metrics, position and active, and what it does not speak
    of stays as it is. Each change stands in the history.
    """
    from casebook.cli.opening import opened
    from casebook.services.exercising import import_exercises, list_exercises

    given = {
        "name": name,
        "aim": aim,
        "purpose": purpose,
        "how": how,
        "sided": sided,
        "equipment": equipment,
        "dose": dose,
        "dose_source": dose_source,
        "sets": sets,
        "repetitions": repetitions,
        "hold_s": hold_s,
        "sessions_per_week": sessions_per_week,
        "progress": progress,
        "ease": ease,
        "metrics": None if metric is None else tuple(metric),
        "position": position,
        "active": active,
    }
    fields = {field: value for field, value in given.items() if value is not None}
    fields |= _cleared(clear or ())
    if key is None and fields:
        raise typer.BadParameter("name the exercise that is to be added or changed.")
    if from_file is not None and key is not None:
        raise typer.BadParameter("give either an exercise or a file.")
    with opened(db) as casebook:
        if from_file is not None:
            changed = import_exercises(casebook, from_file, by=by)
            typer.echo(f"{changed} of the list added or changed.", err=True)
        elif key is not None and fields:
            _write(casebook, key, fields, by=by)
        found = list_exercises(casebook, include_hidden=True)
    if key is not None:
        found = _one(found, key)
    _show(found, whole=key is not None, as_json=as_json)


def _cleared(names: Sequence[str]) -> dict[str, Any]:
    """Fields emptied by name."""
    from casebook.domain.exercises import MOST, TEXTS

    empty: dict[str, Any] = dict.fromkeys(TEXTS, "") | dict.fromkeys(MOST) | {"metrics": ()}
    empty.pop("how")
    for name in names:
        if name not in empty:
            raise typer.BadParameter(f"--clear takes one of {', '.join(empty)}; not '{name}'.")
    return {name: empty[name] for name in names}


def _write(casebook: Casebook, key: str, fields: Mapping[str, Any], *, by: str) -> None:
    from casebook.domain.errors import NotFound
    from casebook.domain.exercises import Exercise
    from casebook.domain.programmes import Aim
    from casebook.services.exercising import get_exercise, save_exercise

    if "aim" in fields and fields["aim"] not in set(Aim):
        raise typer.BadParameter(f"--aim takes one of {', '.join(Aim)}; not '{fields['aim']}'.")
    fields = dict(fields) | ({"aim": Aim(fields["aim"])} if "aim" in fields else {})
    try:
        read: Exercise | None = get_exercise(casebook, key)
    except NotFound as missing:
        # Nothing to make it of: the key was mistyped rather than meant anew.
        if not {"name", "aim", "how"} <= set(fields):
            raise NotFound(f"{missing} To add it, give --name, --aim and --how.") from None
        read = None
    wanted = Exercise(**(fields | {"key": key})) if read is None else replace(read, **fields)
    save_exercise(casebook, wanted, read=read, by=by)


def _one(found: Sequence[Exercise], key: str) -> tuple[Exercise, ...]:
    from casebook.domain.errors import NotFound
    from casebook.intake.nearest import hint

    chosen = tuple(one for one in found if one.key == key)
    if not chosen:
        near = hint(key, [one.key for one in found])
        raise NotFound(f"The list has no exercise '{key}'.{near}")
    return chosen


def _show(found: Sequence[Exercise], *, whole: bool, as_json: bool) -> None:
    from rich.text import Text

    from casebook.cli.objects import plainly, print_object
    from casebook.cli.showing import plain_table, terminal

    if as_json:
        print_object({"exercises": plainly(found)})
        return
    if whole:
        table = plain_table("field", "what stands there")
        for one in found:
            for field, value in plainly(one).items():
                table.add_row(field, Text(_said(value)))
    else:
        table = plain_table("key", "exercise", "aim", "offered", "usual dose", "who says so")
        for one in found:
            offered = "yes" if one.active else "no"
            aim = one.aim.value.replace("_", " ")
            table.add_row(
                Text(one.key), Text(one.name), aim, offered, Text(one.dose), Text(one.dose_source)
            )
    terminal().print(table)


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return "" if value is None else str(value)
