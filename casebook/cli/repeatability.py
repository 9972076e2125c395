"""`casebook repeatability`: how far two measurements of an unchanged runner lie apart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import plainly, print_object
from casebook.domain import wording
from casebook.domain.metrics import AppliesTo, AsymmetryForm, ErrorFigure

if TYPE_CHECKING:
    from casebook.services.repeating import Study
    from casebook.statistics.repeatability.results import Repeatability


def _column(option: str, words: str) -> Any:
    return typer.Option(option, metavar="C", help=words)


def repeatability(  # noqa: PLR0913  (an argument for each option)
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[FILE]",
            help="CSV file; without it the casebook's own repeat measurements of --metric.",
        ),
    ] = None,
    *,
    subject: Annotated[
        str | None,
        _column("--subject", "Column of the subject (with --wide the first, unless named)."),
    ] = None,
    session: Annotated[
        list[str] | None,
        _column(
            "--session",
            "Column of the session; with --wide, given once for each column of values, in order "
            "(all but the subject's unless named).",
        ),
    ] = None,
    rater: Annotated[str | None, _column("--rater", "Column of the rater.")] = None,
    trial: Annotated[
        str | None, _column("--trial", "Column of the trial within the session.")
    ] = None,
    side: Annotated[
        str | None,
        _column("--side", "Column of the side (left, right): tells the asymmetry's error too."),
    ] = None,
    value: Annotated[str | None, _column("--value", "Column of the value.")] = None,
    wide: Annotated[
        bool, typer.Option("--wide", help="A row a subject and a column a session.")
    ] = False,
    grades: Annotated[
        bool, typer.Option("--grades", help="The values are grades 0, 1, 2, ...: tell kappa too.")
    ] = False,
    first_minus_second: Annotated[
        bool,
        typer.Option(
            "--first-minus-second", help="Differences as first minus second, not the usual way."
        ),
    ] = False,
    asymmetry_form: Annotated[
        AsymmetryForm | None,
        typer.Option(
            "--asymmetry-form", help="How right is compared with left, where no --metric says it."
        ),
    ] = None,
    metric: Annotated[
        str | None,
        typer.Option(
            "--metric", metavar="KEY", help="Key of the metric in the casebook's catalogue."
        ),
    ] = None,
    adopt: Annotated[
        list[AppliesTo] | None,
        typer.Option(
            "--adopt",
            help=(
                "Adopt the result as the clinic's own error figure of --metric: of a side's value "
                "or of the asymmetry. It can be retired again."
            ),
        ),
    ] = None,
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="FILE_OR_ADDRESS",
            help="The casebook, where --metric is given: an SQLite file or a database address.",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Tell the measurement error from repeat measurements of runners who did not change.

    Gives variance components, ICC in six forms, the standard error of measurement (SEM) for
    agreement and consistency, the minimal detectable change at 90 and 95 %, and for two
    sessions the limits of agreement, each with its 95 % interval. With --trial the error
    between sessions and within them, with --side that of the asymmetry (right minus left).
    """
    from casebook.intake.repeat_table import RepeatColumns
    from casebook.services import repeating

    if file is None and metric is None:
        raise typer.BadParameter("give a FILE, or --metric for the casebook's own measurements.")
    if adopt and metric is None:
        raise typer.BadParameter("--adopt needs --metric.")
    columns = RepeatColumns(
        subject=subject,
        sessions=tuple(session or ()),
        rater=rater,
        trial=trial,
        side=side,
        value=value,
    )
    if metric is None and file is not None:
        study = repeating.study_from_file(
            file,
            columns,
            wide=wide,
            grades=grades,
            first_minus_second=first_minus_second,
            asymmetry_form=asymmetry_form or AsymmetryForm.DIFFERENCE,
        )
        _show_any(study, (), as_json=as_json)
        return
    from casebook.cli.opening import opened
    from casebook.services import cataloguing, clock

    with opened(db) as casebook:
        known = cataloguing.get_metric(casebook, metric or "").metric
        if file is None:
            study = repeating.study_from_casebook(
                casebook, known.key, first_minus_second=first_minus_second
            )
        else:
            repeating.check_metric_takes_grades(known, grades=grades)
            study = repeating.study_from_file(
                file,
                columns,
                wide=wide,
                grades=grades,
                first_minus_second=first_minus_second,
                metric=known,
            )
        for one in adopt or ():  # all or none: what can be refused is refused first
            repeating.figure_from_study(study, one, on=clock.today())
        adopted = tuple(
            repeating.adopt_study(casebook, study, applies_to=one) for one in adopt or ()
        )
    _show_any(study, adopted, as_json=as_json)


def _show_any(study: Study, adopted: tuple[ErrorFigure, ...], *, as_json: bool) -> None:
    if as_json:
        print_object(study_object(study) | {"adopted": plainly(adopted)})
    else:
        from casebook.cli.repeatability_shown import show_study

        show_study(study, adopted)


def study_object(study: Study) -> dict[str, Any]:
    """A study as one object; the numbers at the top are those of the values."""
    found = result_object(study.result)
    found |= {
        "n_subjects": study.n_runners,
        "unit": study.unit,
        "metric": study.metric.key if study.metric is not None else None,
        "notes": [*study.notes, *study.result.notes],
        "sides": None,
        "asymmetry": None,
        "caution": wording.CAUTION,
    }
    if study.sides is not None:
        sides = study.sides
        found["sides"] = {
            "left": result_object(sides.left),
            "right": result_object(sides.right),
        }
        found["asymmetry"] = result_object(sides.asymmetry) | {
            "form": sides.asymmetry_form,
            "unit": study.asymmetry_unit,
            "error_covariance": plainly(sides.error_covariance),
            "error_correlation": plainly(sides.error_correlation),
        }
    return found


def result_object(result: Repeatability) -> dict[str, Any]:
    """One analysis; `kappa` holds what repeat grading says."""
    found: dict[str, Any] = plainly(result)
    found["variance_components"] = found.pop("components")
    found["kappa"] = found.pop("grading")
    if found["bland_altman"] is not None:
        found["bland_altman"] |= found["bland_altman"].pop("exact")
    return found
