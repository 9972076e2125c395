"""Plain words for codes that only the pages show."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

from casebook.domain.injuries import Region
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    Metric,
    MetricGroup,
    Scale,
)
from casebook.domain.people import Runner, Sex
from casebook.domain.sides import Side
from casebook.domain.wording import asymmetry_unit, number_words, unit_words

GROUPS = {
    MetricGroup.POSTERIOR_VIEW: "Seen from behind",
    MetricGroup.SIDE_VIEW: "Seen from the side",
    MetricGroup.TIMING: "Timing and distance",
    MetricGroup.TABLE: "On the table and standing",
    MetricGroup.REPORTED: "What the runner reports",
}

BETTER = {
    Better.HIGHER: "higher is better",
    Better.LOWER: "lower is better",
    Better.RANGE: "within a range is better",
    Better.NONE: "neither direction is better",
}

SCALES = {
    Scale.RATIO: "ratio (zero means none)",
    Scale.INTERVAL: "interval (zero is a convention, as in an angle)",
    Scale.GRADE: "grade",
    Scale.COUNT: "count",
    Scale.SCORE: "score",
}

FORMS = {
    AsymmetryForm.DIFFERENCE: "difference, right minus left",
    AsymmetryForm.PERCENT: "percent of the mean of both sides",
    AsymmetryForm.LOG_RATIO: "log ratio, 100 × ln(right / left)",
    AsymmetryForm.NONE: "sides are not compared",
}

APPLIES_TO = {
    AppliesTo.SIDE_VALUE: "each side's value",
    AppliesTo.ASYMMETRY: "the asymmetry itself",
}

SEXES = {
    Sex.FEMALE: "female",
    Sex.MALE: "male",
    Sex.OTHER: "other",
    Sex.NOT_RECORDED: "sex not recorded",
}

SIDES = {Side.LEFT: "left", Side.RIGHT: "right", Side.NONE: "whole body"}


def code_words(code: StrEnum) -> str:
    """A code in words where no better ones are kept."""
    if code is Region.HIP_GROIN:
        return "hip or groin"
    return code.value.replace("_", " ")


def runner_words(runner: Runner) -> str:
    """Who a runner is, without naming them."""
    parts = [SEXES[runner.sex]]
    if runner.birth_year:
        parts.append(f"born {runner.birth_year}")
    if runner.discipline:
        parts.append(runner.discipline)
    return ", ".join(parts)


def metric_words(metric: Metric) -> str:
    """A metric's label with its unit."""
    unit = unit_words(metric.unit)
    return f"{metric.label} ({unit})" if unit else metric.label


def figure_words(figure: ErrorFigure, metric: Metric) -> str:
    """An error figure in one line, with its unit."""
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit)
        if figure.applies_to is AppliesTo.ASYMMETRY
        else unit_words(metric.unit)
    )
    if figure.grade_step is not None:
        grades = "1 grade" if figure.grade_step == 1 else f"{figure.grade_step} grades"
        return f"repeat grading stays within {grades} in 95 % of pairs"
    if figure.sem is not None:
        trials = "1 trial" if figure.sem_trials == 1 else f"{figure.sem_trials} trials"
        return f"SEM {number_words(figure.sem, unit)} for a mean of {trials}"
    within = f"{number_words(figure.within_sd, unit)} within a session"
    if figure.between_sd is None:
        return f"SD {within} (a lower bound: between sessions not known)"
    return f"SD {number_words(figure.between_sd, unit)} between sessions, {within}"


def due_words(due: date | None, today: date) -> str:
    """When the runner is due, with the delay in words where that day has passed."""
    if due is None:
        return "not planned"
    day = f"{due.day} {due:%b %Y}"
    days = (today - due).days
    if days <= 0:
        return f"{day} (today)" if days == 0 else day
    late = f"{days} days" if days < 14 else f"{days // 7} weeks"
    late = "1 day" if days == 1 else late
    return f"{day}, overdue by {late}"


STEPPED = {Scale.GRADE, Scale.COUNT, Scale.SCORE}


def step_words(number: float, *, signed: bool = False) -> str:
    """A grade, count or score: whole where it is whole."""
    body = f"{abs(number):.0f}" if float(number).is_integer() else f"{abs(number):.1f}"
    sign = "−" if number < 0 else "+" if signed and number > 0 else ""
    return f"{sign}{body}"


def reading_words(number: float, metric: Metric) -> str:
    """A reading with its unit; a grade by what it means."""
    if metric.scale not in STEPPED:
        return number_words(number, unit_words(metric.unit))
    told = step_words(number)
    if metric.scale is Scale.GRADE and float(number).is_integer():
        means = metric.grades[int(number)] if 0 <= number < len(metric.grades) else ""
        return f"{told} ({means})" if means else told
    return told
