"""The report of an audit: what page and PDF say, written from the audit's own numbers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import CohortGrades, CohortGrowth, NoModel
from casebook.domain.audit_methods import SOURCES, methods_words
from casebook.domain.audit_outcomes import Audit, GroupOutcome, MetricOutcome, On, Split
from casebook.domain.audit_words import (
    EXCLUDED,
    LEVELS,
    ONS,
    REGRESSION,
    SPLITS,
    STEPS,
    WITHHELD,
    amount_words,
    arguments_against,
    count_words,
    part_words,
    reason_words,
)
from casebook.domain.date_words import day_words
from casebook.domain.reports import Chapter, Report, ReportPart, Table
from casebook.domain.summaries import Grid, Points, Text
from casebook.domain.summary_words import shortened
from casebook.domain.wording import CAUTION, SIDES_MOVED, number_words
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
        foot=f"{clinic}: audit as of {day_words(choice.as_of)}",
        chapters=(
            _methods(choice),
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


def _methods(choice: AuditChoice) -> Chapter:
    return Chapter(heading="Methods", parts=(Text(words=" ".join(methods_words(choice))),))


def _runners(found: Audit) -> Chapter:
    steps = Table(
        title="Flow of runners",
        grid=Grid(
            columns=("Step", "Runners"),
            rows=tuple((_upper(STEPS[step]), count_words(n)) for step, n in found.flow.steps),
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
                        (_upper(EXCLUDED[why]), count_words(n)) for why, n in found.flow.excluded
                    ),
                    numbers=frozenset({1}),
                ),
            )
        )
    return Chapter(heading="Runners", parts=tuple(parts))


def _record(found: Audit) -> Chapter:
    timeliness = found.timeliness
    days = timeliness.days_to_review
    first = (
        "The time to the first review is withheld or not known."
        if days is None
        else f"The first review was held {days[1]:.0f} days after the programme's start (median; "
        f"quartiles {days[0]:.0f} and {days[2]:.0f}; {count_words(timeliness.reviewed)} runners)."
    )
    kept = f"Planned visits kept in time: {part_words(timeliness.in_time)}."
    rows = tuple(
        (
            one.label,
            part_words(one.baseline),
            part_words(one.outcome),
            "; ".join(f"{reason_words(why)} {count_words(n)}" for why, n in one.reasons) or "–",
        )
        for one in found.completeness
    )
    parts: list[ReportPart] = [Text(words=f"{first} {kept}")]
    if rows:
        parts.append(
            Table(
                title="Completeness by metric",
                grid=Grid(
                    columns=("Metric", "At the baseline", "At the outcome", "Why missing"),
                    rows=rows,
                ),
                note="Runners with a value, of those who were seen then.",
            )
        )
    return Chapter(heading="Completeness and time to review", parts=tuple(parts))


COLUMNS = (
    "Metric",
    "Improved",
    "Unchanged",
    "Worsened",
    "Can't say",
    "Beyond what matters",
    "Mean change towards better",
    "Expected by itself",
)


def _outcomes(found: Audit) -> Chapter:
    parts: list[ReportPart] = []
    for on in On:
        chosen = [one for one in found.outcomes if one.on is on]
        if not chosen:
            continue
        rows = [_row(one, group, name=one.label) for one in chosen for group in _whole(one)]
        numbered = tuple((f"{at}. {row[0]}", *row[1:]) for at, row in enumerate(rows, 1))
        parts.append(
            Table(
                title=f"Outcomes: {ONS[on]}",
                grid=Grid(columns=COLUMNS, rows=numbered),
                note="Improved, unchanged and worsened: beyond measurement error (MDC95; Weir "
                f"2005), of runners with a verdict. {REGRESSION}",
            )
        )
        told = [one for one in chosen if any(g.improved.share is not None for g in _whole(one))]
        plot = shares_plot(chosen, f"Improved and worsened beyond error: {ONS[on]}")
        if plot is not None and told:
            parts.append(plot)
        if on is On.ASYMMETRY:
            parts += _moved(chosen)
    if not parts:
        parts.append(Text(words="No outcome can be told: too few runners were measured twice."))
    return Chapter(heading="Outcomes", parts=tuple(parts))


def _whole(one: MetricOutcome) -> tuple[GroupOutcome, ...]:
    return dict(one.splits)[Split.NONE]


def _row(one: MetricOutcome, group: GroupOutcome, *, name: str) -> tuple[str, ...]:
    if group.withheld:
        return (name, *(WITHHELD,) * (len(COLUMNS) - 1))
    return (
        name,
        part_words(group.improved),
        part_words(group.unchanged),
        part_words(group.worsened),
        part_words(group.cannot_say),
        "–" if group.important is None else part_words(group.important),
        amount_words(group.change, one.unit, signed=True),
        "–" if group.regression is None else number_words(group.regression, one.unit, signed=True),
    )


def _moved(chosen: Sequence[MetricOutcome]) -> list[ReportPart]:
    groups = [(one.label, group.moved) for one in chosen for group in _whole(one) if group.moved]
    if not groups:
        return []
    kinds = [moved for moved, _ in groups[0][1]]
    rows = tuple(
        (label, *(part_words(dict(moved)[kind]) for kind in kinds)) for label, moved in groups
    )
    return [
        Table(
            title="Which side moved, of the asymmetries that shrank beyond error",
            grid=Grid(
                columns=("Metric", *(SIDES_MOVED[kind].capitalize() for kind in kinds)), rows=rows
            ),
            note="An asymmetry that shrank because the better side fell is no gain.",
        )
    ]


def _divided(found: Audit) -> tuple[Chapter, ...]:
    parts: list[ReportPart] = []
    for split in Split:
        rows = [
            _row(one, group, name=f"{one.label}, {ONS[one.on]}: {LEVELS[group.level]}")
            for one in found.outcomes
            for which, groups in one.splits
            if which is split is not Split.NONE
            for group in groups
            if not group.withheld
        ]
        if rows:
            parts.append(
                Table(
                    title=f"Outcomes by {SPLITS[split]}",
                    grid=Grid(columns=COLUMNS, rows=tuple(rows)),
                    note="Groups were not made by chance: they differ in more than in this. "
                    "Groups that are too small are left out.",
                )
            )
    return (Chapter(heading="Outcomes by group", parts=tuple(parts)),) if parts else ()


def _lost(found: Audit) -> Chapter:
    if not found.lost:
        words = "Too few runners were lost, or were followed, to compare them."
        return Chapter(heading="Who was lost", parts=(Text(words=words),))
    rows = tuple(
        (
            one.label,
            amount_words(one.lost, one.unit),
            amount_words(one.followed, one.unit),
            amount_words(one.difference, one.unit, signed=True),
            "–" if one.standardised is None else number_words(one.standardised, "", signed=True),
        )
        for one in found.lost
    )
    table = Table(
        title="Runners who were lost and who were not, at the baseline",
        grid=Grid(
            columns=("Measure", "Lost", "Not lost", "Difference", "In SDs"),
            rows=rows,
            numbers=frozenset({4}),
        ),
        note="Means with 95 % intervals. In SDs: the difference in pooled standard deviations "
        "(Cohen 1988). Where they differ, the outcomes tell of those who came back only.",
    )
    return Chapter(heading="Who was lost", parts=(table,))


def _returns(found: Audit) -> tuple[Chapter, ...]:
    plot = returns_plot(found.returns)
    return () if plot is None else (Chapter(heading="Running again", parts=(plot,)),)


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


def _upper(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


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
