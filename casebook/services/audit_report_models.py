"""Models of a cohort as parts of the audit's report: groups only, never a runner's own course."""

from __future__ import annotations

from casebook.domain.audit_course_words import course_words
from casebook.domain.audit_growth import CohortGrades, CohortGrowth
from casebook.domain.audit_words import LEVELS, count_words
from casebook.domain.number_words import rounded_alike
from casebook.domain.reports import Drawn, Plot, Series, Table
from casebook.domain.summaries import Grid


def course_plot(model: CohortGrowth, name: str) -> Plot:
    """The predicted mean course of each group with its band, by weeks since the start."""
    groups = list(dict.fromkeys(course.group for course in model.courses))
    series: list[Series] = []
    for at, course in enumerate(model.courses):
        look = groups.index(course.group) % 4
        last = at + 1 == len(model.courses) or model.courses[at + 1].group != course.group
        words = LEVELS[course.group] or "all"
        series += [
            Series(drawn=Drawn.BAND, x=course.weeks, y=course.low, high=course.high, look=look),
            Series(
                drawn=Drawn.LINE,
                x=course.weeks,
                y=course.mean,
                look=look,
                name=words if last else "",
            ),
        ]
    return Plot(
        title=f"Predicted mean course: {name}",
        x_title="weeks since the programme's start",
        y_title=model.unit,
        series=tuple(series),
        told=course_words(model),
        note=f"Linear mixed model (Laird and Ware 1982), {model.n_runners} runners, "
        f"{model.n_rows} visits; bands are 95 % of the mean.",
    )


def term_table(model: CohortGrowth, name: str) -> Table:
    """The fixed effects with their intervals, and the spread between and within runners."""
    rows = [
        (term.words, _interval(term.estimate, term.low, term.high), term.unit)
        for term in model.terms
    ]
    random = model.random
    spreads = (
        ("SD of the runners' own levels", random.sd_level, model.unit),
        ("SD of the runners' own slopes", random.sd_slope, f"{model.unit} a week"),
        ("SD of a visit around its runner's line", random.sd_residual, model.unit),
        ("Beside it: the known measurement error (SEM)", random.sd_error, model.unit),
    )
    rows += [
        (words, rounded_alike((size,), "")[0], unit)
        for words, size, unit in spreads
        if size is not None
    ]
    return Table(
        title=f"Model of the course: {name}",
        grid=Grid(
            columns=("Part of the model", "Estimate (95 % interval)", "Unit"),
            rows=tuple(rows),
            numbers=frozenset({1}),
        ),
    )


def _interval(estimate: float, low: float, high: float) -> str:
    told = rounded_alike((estimate, low, high), "", signed=True)
    return f"{told[0]} ({told[1]} to {told[2]})"


def grade_table(model: CohortGrades, name: str) -> Table:
    """Grades at the outcome by group, and the odds ratios of the model."""
    rows = [
        (LEVELS[group] or "all runners", f"grade {share.grade:.0f}", count_words(share.count))
        for group, shares in model.groups
        for share in shares
    ]
    rows += [
        (term.words, "odds ratio", f"{term.ratio:.2f} ({term.low:.2f} to {term.high:.2f})")
        for term in model.terms
    ]
    return Table(
        title=f"Grades at the outcome: {name}",
        grid=Grid(
            columns=("Runners, or part of the model", "What", "How many, or 95 % interval"),
            rows=tuple(rows),
        ),
        note="Proportional odds model; an odds ratio above 1 goes with a higher grade.",
    )
