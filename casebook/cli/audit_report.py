"""An audit's report as a file, for `casebook audit --report`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from casebook.cli.one_file import check_place, is_pdf, write_whole
from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import On
from casebook.services import clock
from casebook.services.audit_refusals import ons_of
from casebook.services.audit_report import audit_report
from casebook.services.cohort import LoadedCohort
from casebook.services.keeping import Casebook
from casebook.typesetting.report_paper import report_pdf
from casebook.typesetting.report_web import report_page

WHAT = "audit_report"


def courses_asked(asked: Sequence[str], report: Path | None) -> list[tuple[str, On | None]]:
    """Metrics whose course is asked for, and what of each; None for what it tells first."""
    if report is not None:
        check_place(report, what=WHAT)
    elif asked:
        raise typer.BadParameter(
            "--course stands in a report; give --report, or use --growth to see one metric's here.",
            param_hint="--course",
        )
    found: list[tuple[str, On | None]] = []
    for text in asked:
        key, colon, on = text.partition(":")
        if colon and on not in tuple(On):
            raise typer.BadParameter(
                f"'{text}' asks for '{on}' of a metric; expected one of "
                f"{', '.join(one.value for one in On)} after the colon.",
                param_hint="--course",
            )
        found.append((key, On(on) if colon else None))
    return found


def write_report(
    into: Path,
    casebook: Casebook,
    loaded: LoadedCohort,
    choice: AuditChoice,
    courses: Sequence[tuple[str, On | None]],
) -> None:
    """Write the report; nothing is left where anything of it is refused."""
    first = {metric.key: ons_of(metric)[0] for metric in loaded.metrics}
    made = audit_report(
        casebook,
        loaded,
        choice,
        # A metric that is not there is refused by the model in its own words.
        courses=[(key, on or first.get(key, On.VALUE)) for key, on in courses],
        today=clock.today(),
    )
    content = report_pdf(made) if is_pdf(into) else report_page(made).encode("utf-8")
    write_whole(into, content, what=WHAT)
