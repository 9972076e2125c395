"""`casebook audit`: what became of a clinic's runners."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from casebook.cli.days import read_day
from casebook.domain.audit import (
    GRACE_DAYS,
    LEAST_GROUP,
    LOST_AFTER_DAYS,
    AuditChoice,
    OutcomeVisit,
)
from casebook.domain.audit_outcomes import On, Split
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind


def audit(  # noqa: PLR0913 - each is an option
    *,
    as_of: Annotated[
        str | None,
        typer.Option(
            "--as-of",
            metavar="YYYY-MM-DD",
            help="Day on which it is told: what happened later is not seen. Today without it.",
        ),
    ] = None,
    started_from: Annotated[
        str | None,
        typer.Option("--from", metavar="YYYY-MM-DD", help="First programme started then or later."),
    ] = None,
    started_to: Annotated[
        str | None,
        typer.Option("--to", metavar="YYYY-MM-DD", help="First programme started then or before."),
    ] = None,
    kind: Annotated[
        list[ProgrammeKind] | None,
        typer.Option("--kind", help="Kind of the first programme; may be given more than once."),
    ] = None,
    region: Annotated[
        list[Region] | None,
        typer.Option("--region", help="Region of its complaint; may be given more than once."),
    ] = None,
    tissue: Annotated[
        list[Pathology] | None,
        typer.Option("--tissue", help="Tissue of its complaint; may be given more than once."),
    ] = None,
    clinician: Annotated[
        list[str] | None,
        typer.Option(
            "--clinician",
            metavar="USER",
            help="Who assessed the first baseline visit; may be given more than once.",
        ),
    ] = None,
    metric: Annotated[
        list[str] | None,
        typer.Option(
            "--metric", metavar="KEY", help="Metric to be told; may be given more than once."
        ),
    ] = None,
    visit: Annotated[
        OutcomeVisit, typer.Option("--visit", help="Visit after the start that tells the outcome.")
    ] = OutcomeVisit.LATEST,
    purpose: Annotated[
        Purpose | None,
        typer.Option(
            "--purpose",
            help="Only runners whose consent covers it on that day and today; without it all "
            "runners, for the clinic's own eyes.",
        ),
    ] = None,
    split: Annotated[
        Split, typer.Option("--split", help="What the table of outcomes is divided by.")
    ] = Split.NONE,
    least_group: Annotated[
        int, typer.Option("--least-group", metavar="N", help="Groups of fewer are withheld.")
    ] = LEAST_GROUP,
    grace_days: Annotated[
        int,
        typer.Option(
            "--grace-days", metavar="N", help="So long after its day a planned visit is in time."
        ),
    ] = GRACE_DAYS,
    lost_after_days: Annotated[
        int,
        typer.Option(
            "--lost-after-days",
            metavar="N",
            help="So long after the last visit, or the day planned at it, a runner is lost.",
        ),
    ] = LOST_AFTER_DAYS,
    growth: Annotated[
        str | None,
        typer.Option(
            "--growth",
            metavar="KEY",
            help="Metric of which a model is told beside the audit: how it runs with time, or how "
            "its grades lean.",
        ),
    ] = None,
    on: Annotated[
        On | None, typer.Option("--on", help="What of that metric; its asymmetry if it has one.")
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option(
            "--report",
            metavar="FILE",
            help="Write it all as a report beside, NAME.pdf or NAME.html, with numbered tables and "
            "figures, the methods and their sources.",
        ),
    ] = None,
    course: Annotated[
        list[str] | None,
        typer.Option(
            "--course",
            metavar="KEY[:ON]",
            help="Metric whose course over time stands in the report, and what of it "
            "(hip_abductor_strength:worse_side); may be given more than once.",
        ),
    ] = None,
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
    """Tell what became of a cohort of runners, each with the first programme.

    How many came, were seen again, discharged or lost; how complete the record is; who improved,
    stayed and worsened beyond measurement error. Small groups are withheld, and so is what would
    give them away. It describes: there is no group without a programme to compare with.
    """
    from casebook.cli.audit_models_shown import (
        model_object,
        show_funnels,
        show_model,
        show_returns,
    )
    from casebook.cli.audit_report import courses_asked, write_report
    from casebook.cli.audit_shown import audit_object, show_audit
    from casebook.cli.objects import print_object
    from casebook.cli.opening import opened
    from casebook.services import auditing, clock
    from casebook.services.cohort import load_cohort
    from casebook.services.cohort_models import cohort_model

    choice = AuditChoice(
        as_of=read_day(as_of, "--as-of") or clock.today(),
        started_from=read_day(started_from, "--from"),
        started_to=read_day(started_to, "--to"),
        kinds=tuple(kind or ()),
        regions=tuple(region or ()),
        pathologies=tuple(tissue or ()),
        clinicians=tuple(clinician or ()),
        metrics=tuple(metric or ()),
        visit=visit,
        purpose=purpose,
        least_group=least_group,
        grace_days=grace_days,
        lost_after_days=lost_after_days,
    )
    if on is not None and growth is None:
        raise typer.BadParameter("--on says what of --growth; give a metric.", param_hint="--on")
    courses = courses_asked(course or (), report)
    with opened(db) as casebook:
        loaded = load_cohort(casebook)
        if report is not None:
            write_report(report, casebook, loaded, choice, courses)
    found = auditing.audit(loaded, choice)
    model = None if growth is None else cohort_model(loaded, choice, growth, on)
    if as_json:
        told = audit_object(found)
        if model is not None:
            told |= {"growth": model_object(model)}
        if report is not None:
            told |= {"report": str(report)}
        print_object(told)
        return
    show_audit(found, split, today=clock.today())
    show_returns(found)
    show_funnels(found)
    if model is not None:
        show_model(model)
    if report is not None:
        typer.echo(f"\nWritten: {report} ({report.stat().st_size} bytes).")
