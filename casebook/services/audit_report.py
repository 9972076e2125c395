"""The report of an audit: what page and PDF say, written from the audit's own numbers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import CohortGrades, CohortGrowth, NoModel, return_words
from casebook.domain.audit_methods import SOURCES, cohort_words, methods_words
from casebook.domain.audit_outcomes import Audit, MetricOutcome, On, Split
from casebook.domain.audit_tables import (
    INTERVALS,
    OUTCOMES,
    completeness_grid,
    left_out,
    lost_grid,
    lost_left_out,
    moved_grid,
    outcome_grid,
)
from casebook.domain.audit_words import (
    EXCLUDED,
    ONS,
    OWN_EYES,
    REGRESSION,
    SPLITS,
    STEPS,
    arguments_against,
    audience_words,
    count_words,
    part_words,
    past_words,
    review_words,
)
from casebook.domain.date_words import day_words
from casebook.domain.reports import Chapter, Report, ReportPart, Table
from casebook.domain.summaries import Grid, Points, Text
from casebook.domain.summary_words import shortened
from casebook.domain.wording import CAUTION, upper_first
from casebook.services.audit_report_models import course_plot, grade_table, term_table
from casebook.services.audit_report_plots import funnel_plot, returns_plot, shares_plot
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_models import cohort_model
from casebook.services.opened import Casebook
from casebook.storage.clinics import clinic_name
from casebook.storage.session import reading

Model = CohortGrowth | CohortGrades | NoModel
LONGEST_NAME = 120


def audit_report(
    casebook: Casebook,
    loaded: LoadedCohort,
    choice: AuditChoice,
    *,
    courses: Sequence[tuple[str, On]] = (),
    today: date,
) -> Report:
    """The report of an audit; page and file are both made of it.

    Parameters
    ----------
    casebook : Casebook
        For the clinic's name alone.
    loaded : LoadedCohort
    choice : AuditChoice
    courses : sequence of (str, On)
        Metrics, by key, whose course over time is told by a model, and what of them.
    today : date
        The day that it is made on.

    Returns
    -------
    Report
        No runner, no visit and no runner's course stands in it, only groups.

    Raises
    ------
    InputRefused
        For a choice that contradicts itself or names what the clinic does not have.
    """
    found = audit(loaded, choice)
    models = [cohort_model(loaded, choice, metric, on) for metric, on in courses]
    with reading(casebook.engine) as unit:
        clinic = shortened(clinic_name(unit, casebook.clinic_id), LONGEST_NAME)
    return Report(
        title="Audit of runners' outcomes",
        made=f"{clinic}, as of {day_words(choice.as_of)}, made on {day_words(today)}",
        foot=f"{clinic}: audit as of {day_words(choice.as_of)}{_own(choice)}",
        chapters=(
            _methods(choice, today),
            _runners(found),
            _record(found),
            _outcomes(found),
            *_divided(found),
            _lost(found),
            *_returns(found),
            *_courses(models),
            *_clinicians(found),
            _limits(found),
        ),
    )


def _methods(choice: AuditChoice, today: date) -> Chapter:
    audience = Text(words=audience_words(choice), strong=True)
    methods = " ".join((*methods_words(choice), past_words(choice, today))).strip()
    return Chapter(heading="Methods", parts=(audience, Text(words=methods)))


def _own(choice: AuditChoice) -> str:
    """What every page says of an audit that is nobody else's."""
    return f", {OWN_EYES}" if choice.purpose is None else ""


def _runners(found: Audit) -> Chapter:
    steps = Table(
        title="Flow of runners",
        grid=Grid(
            columns=("Step", "Runners"),
            rows=tuple((upper_first(STEPS[step]), count_words(n)) for step, n in found.flow.steps),
            numbers=frozenset({1}),
        ),
        note="Steps as the STROBE statement asks for (von Elm et al. 2007).",
    )
    parts: list[ReportPart] = [steps]
    if found.flow.excluded:
        parts.append(
            Table(
                title="Registered runners who are not in the cohort",
                grid=Grid(
                    columns=("Reason (the first that applies)", "Runners"),
                    rows=tuple(
                        (upper_first(EXCLUDED[why]), count_words(n))
                        for why, n in found.flow.excluded
                    ),
                    numbers=frozenset({1}),
                ),
            )
        )
    return Chapter(heading="Runners", parts=(Text(words=cohort_words(found)), *parts))


def _record(found: Audit) -> Chapter:
    timeliness = found.timeliness
    first = (
        f"From the programme's start to the first review: {review_words(timeliness, found.choice)}."
    )
    kept = f"Planned visits kept in time: {part_words(timeliness.in_time)}."
    parts: list[ReportPart] = [Text(words=f"{first} {kept}")]
    if found.completeness:
        parts.append(
            Table(
                title="Completeness by metric",
                grid=completeness_grid(found.completeness),
                note="Runners with a value, of those who were seen then; the least complete first.",
            )
        )
    return Chapter(heading="Completeness and time to review", parts=tuple(parts))


def _outcomes(found: Audit) -> Chapter:
    parts: list[ReportPart] = []
    for on in On:
        chosen = [one for one in found.outcomes if one.on is on]
        plot = shares_plot(chosen, f"Improved and worsened beyond error: {ONS[on]}")
        if plot is not None:
            parts.append(plot)
        grid = outcome_grid(chosen)
        if grid.rows:
            parts.append(Table(title=f"Outcomes: {ONS[on]}", grid=grid, note=OUTCOMES))
        hidden = left_out(chosen, Split.NONE, found.choice.least_group)
        if hidden:
            parts.append(Text(words=f"{upper_first(ONS[on])}. {hidden}"))
        if on is On.ASYMMETRY:
            parts += _moved(chosen)
    if not parts:
        parts.append(Text(words="No outcome can be told: too few runners were measured twice."))
    else:
        parts.append(Text(words=REGRESSION))
    return Chapter(heading="Outcomes", parts=tuple(parts))


def _moved(chosen: Sequence[MetricOutcome]) -> list[ReportPart]:
    grid = moved_grid(chosen)
    if not grid.rows:
        return []
    return [
        Table(
            title="Which side moved, of the asymmetries that shrank beyond error",
            grid=grid,
            note="An asymmetry that shrank because the better side fell is no gain.",
        )
    ]


def _divided(found: Audit) -> tuple[Chapter, ...]:
    parts: list[ReportPart] = []
    for split in (one for one in Split if one is not Split.NONE):
        for on in On:
            grid = outcome_grid([one for one in found.outcomes if one.on is on], split)
            if grid.rows:
                parts.append(
                    Table(
                        title=f"Outcomes by {SPLITS[split]}: {ONS[on]}",
                        grid=grid,
                        note="Groups were not made by chance: they differ in more than in this. "
                        "Metrics of which fewer than two groups may be told are left out.",
                    )
                )
    return (Chapter(heading="Outcomes by group", parts=tuple(parts)),) if parts else ()


def _lost(found: Audit) -> Chapter:
    if not found.lost:
        words = "Too few runners were lost, or were followed, to compare them."
        return Chapter(heading="Who was lost", parts=(Text(words=words),))
    hidden = lost_left_out(found.lost, found.choice.least_group)
    left_over = (Text(words=hidden),) if hidden else ()
    table = Table(
        title="Runners who were lost and who were not, at the baseline",
        grid=lost_grid(found.lost),
        note=f"Means, n: runners behind them. {INTERVALS} In SDs: the difference in pooled "
        "standard deviations (Cohen 1988). Where they differ, the outcomes tell of those who came "
        "back only.",
    )
    parts = (table, *left_over) if table.grid.rows else left_over
    return Chapter(heading="Who was lost", parts=parts)


def _returns(found: Audit) -> tuple[Chapter, ...]:
    plot = returns_plot(found.returns)
    if plot is None:
        return ()
    words = return_words(weekly=found.choice.purpose is not None)
    return (Chapter(heading="Running again", parts=(plot, Text(words=words))),)


def _courses(models: Sequence[Model]) -> tuple[Chapter, ...]:
    parts: list[ReportPart] = []
    for model in models:
        name = f"{model.label}, {ONS[model.on]}"
        if isinstance(model, NoModel):
            parts.append(Text(words=f"{name}: {model.words}"))
            continue
        if isinstance(model, CohortGrowth):
            parts += [course_plot(model, name), term_table(model, name)]
        else:
            parts.append(grade_table(model, name))
        parts.append(Points(items=model.words))
    return (Chapter(heading="Course over time", parts=tuple(parts)),) if parts else ()


def _clinicians(found: Audit) -> tuple[Chapter, ...]:
    labels = {(one.metric, one.on): one.label for one in found.outcomes}
    plots = [
        funnel_plot(one, f"{labels.get((one.metric, one.on), one.metric)}, {ONS[one.on]}")
        for one in found.funnels
    ]
    parts = tuple(plot for plot in plots if plot is not None)
    return (Chapter(heading="Between clinicians", parts=parts),) if parts else ()


def _limits(found: Audit) -> Chapter:
    return Chapter(
        heading="What this can't say, and sources",
        parts=(
            Points(items=arguments_against(found)),
            Text(words=CAUTION, strong=True),
            Text(words="Published sources of the arithmetic:"),
            Points(items=SOURCES),
        ),
    )
