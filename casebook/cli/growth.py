"""`casebook growth`: how a value runs with time in many subjects, from any long table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import print_object

if TYPE_CHECKING:
    from casebook.services.growing import GrowthReport


def growth(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV file, a row a measurement.")],
    *,
    subject: Annotated[
        str | None, typer.Option("--subject", metavar="C", help="Column of the subject.")
    ] = None,
    time: Annotated[
        str | None,
        typer.Option("--time", metavar="C", help="Column of the time, a number (weeks, say)."),
    ] = None,
    value: Annotated[
        str | None, typer.Option("--value", metavar="C", help="Column of the value.")
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="C", help="Column of a group, to compare levels and slopes."),
    ] = None,
    sem: Annotated[
        float | None,
        typer.Option(
            "--sem", metavar="X", help="Known standard error of measurement, in the value's unit."
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Fit a line to each subject and tell what the lines have in common.

    A linear mixed model by restricted maximum likelihood: a common level and slope (for each
    group with --by), and a level and slope of its own for each subject as far as the data
    support it. It describes; it does not show a cause.
    """
    from casebook.intake.growth_table import GrowthColumns
    from casebook.services.growing import growth_of_file

    columns = GrowthColumns(subject=subject, time=time, value=value, by=by)
    report = growth_of_file(file, columns, error_sd=sem)
    if as_json:
        print_object(growth_object(report))
    else:
        _show(report)


def growth_object(report: GrowthReport) -> dict[str, Any]:
    """A fitted model as one object; what was not fitted is null."""
    found, fit = report.fit, report.fit.fit
    random = fit.random_covariance
    return {
        "fixed": {
            name: {"estimate": float(estimate), "se": float(se)}
            for name, estimate, se in zip(found.names, fit.fixed, fit.se, strict=True)
        },
        "random": {
            "var_intercept": float(random[0, 0]) if len(random) > 0 else None,
            "var_slope": float(random[1, 1]) if len(random) > 1 else None,
            "cov": float(random[0, 1]) if len(random) > 1 else None,
        },
        "residual_var": fit.residual_variance,
        "error_share": found.error_share,
        "loglik_reml": fit.log_likelihood,
        "n_subjects": found.n_subjects,
        "n_rows": found.n_rows,
        "converged": fit.converged,
        "model": {
            "random": found.random.value,
            "check": found.check.value,
            "given_up": [{"random": part.value, "why": why.value} for part, why in found.given_up],
            "words": list(report.words),
        },
        "notes": list(report.notes),
    }


def _show(report: GrowthReport) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    found, fit = report.fit, report.fit.fit
    console = Console(highlight=False, soft_wrap=True)
    table = Table("part", "estimate", "standard error")
    for name, estimate, se in zip(found.names, fit.fixed, fit.se, strict=True):
        table.add_row(Text(name), f"{estimate:.5g}", f"{se:.4g}")
    console.print(table)
    random = fit.random_covariance
    for name, place in (("level", 0), ("slope", 1)):
        if len(random) > place:
            console.print(f"SD between subjects, {name}: {random[place, place] ** 0.5:.4g}")
    console.print(f"SD of the residuals: {fit.residual_variance**0.5:.4g}")
    subjects = "subject" if found.n_subjects == 1 else "subjects"
    console.print(f"{found.n_rows} rows of {found.n_subjects} {subjects}")
    for line in (*report.notes, *report.words):
        console.print(Text(line))
