"""Metrics and the error with which they are measured."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from casebook.domain.errors import InputRefused, Problem


class MetricGroup(StrEnum):
    """Where a metric is read, in the order in which the clinician looks."""

    POSTERIOR_VIEW = "posterior_view"
    SIDE_VIEW = "side_view"
    TIMING = "timing"
    TABLE = "table"
    REPORTED = "reported"


class Scale(StrEnum):
    """Measurement scale, which decides the arithmetic that is allowed."""

    RATIO = "ratio"
    INTERVAL = "interval"
    GRADE = "grade"
    COUNT = "count"
    SCORE = "score"


class Better(StrEnum):
    """Which way is better for the runner; NONE where neither is."""

    HIGHER = "higher"
    LOWER = "lower"
    RANGE = "range"
    NONE = "none"


class AsymmetryForm(StrEnum):
    """How the two sides are compared; always signed right minus left."""

    DIFFERENCE = "difference"
    PERCENT = "percent"
    LOG_RATIO = "log_ratio"
    NONE = "none"


class FloorKind(StrEnum):
    """What sets the smallest error a single reading can have."""

    READING = "reading"
    INTERVAL = "interval"


class Condition(StrEnum):
    """Conditions of a visit that can make two visits unlike."""

    SPEED = "speed"
    SURFACE = "surface"
    INCLINE = "incline"
    FOOTWEAR = "footwear"
    VIEW = "view"
    FRAME_RATE = "frame_rate"
    ASSESSOR = "assessor"
    PAIN = "pain"


class AppliesTo(StrEnum):
    """Whether an error figure is one of a side's value or of the asymmetry itself."""

    SIDE_VALUE = "side_value"
    ASYMMETRY = "asymmetry"


class ErrorOrigin(StrEnum):
    """Where a measurement-error figure came from, best first."""

    OWN = "own"
    PUBLISHED = "published"
    WITHIN_SESSION = "within_session"
    NONE = "none"


# More grades than any scale has; keeps a mistyped step out.
LARGEST_GRADE_STEP = 20
METRIC_KEY = re.compile(r"[a-z][a-z0-9_]{1,62}\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """A quantity that is read from a runner, as the catalogue defines it.

    Parameters
    ----------
    key : str
        Stable name in files and reports (`knee_flexion_midstance`).
    label : str
        Plain words for the screen.
    group : MetricGroup
        Where it is read.
    unit : str
        UCUM code of the unit in which values are stored.
    scale : Scale
    sided : bool
        True where left and right are read apart.
    sign_convention : str
        In words, which way is positive.
    better : Better
        Direction that is better; RANGE needs `target_low` and `target_high`.
    plausible_low, plausible_high : float
        Outside of these a value is asked about, never dropped.
    resolution : float
        Smallest step that can be read, in `unit`; 0 where only the frame rate limits it.
    floor_kind : FloorKind
        READING: resolution sets the floor. INTERVAL: a duration between two video frames,
        whose floor the visit's frame rate sets.
    usual_trials : int
        Trials per side that are usually averaged.
    asymmetry_form : AsymmetryForm
    important_change : float or None
        Minimal important change in `unit`, where there is a defensible one.
    sensitive_to : tuple of Condition
        Conditions which, when they differ, make two visits unlike for this metric.
    grades : tuple of str
        For a grade: the description of 0, 1, 2, ... in order.
    position : int
        Order within the grid.
    starter : bool
        True where it came with the product, False where a clinic added it.
    active : bool
        False hides it from the logging grid; stored values stay.
    """

    key: str
    label: str
    group: MetricGroup
    unit: str
    scale: Scale
    sided: bool
    plane: str = ""
    view: str = ""
    phase: str = ""
    sign_convention: str
    better: Better
    target_low: float | None = None
    target_high: float | None = None
    plausible_low: float
    plausible_high: float
    resolution: float
    floor_kind: FloorKind = FloorKind.READING
    usual_trials: int = 1
    asymmetry_form: AsymmetryForm = AsymmetryForm.NONE
    important_change: float | None = None
    sensitive_to: tuple[Condition, ...] = ()
    grades: tuple[str, ...] = ()
    notes: str = ""
    sources: str = ""
    position: int = 0
    starter: bool = False
    active: bool = True

    def __post_init__(self) -> None:
        problems = list(_metric_problems(self))
        if problems:
            raise InputRefused(tuple(problems))


def _metric_problems(metric: Metric) -> list[Problem]:
    checks = (
        (
            METRIC_KEY.match(metric.key) is not None,
            "key",
            metric.key,
            "a key of small letters, digits and underscores, starting with a letter, "
            "at most 63 long",
        ),
        (bool(metric.label.strip()), "label", metric.label, "a label in plain words"),
        (bool(metric.unit.strip()), "unit", metric.unit, "a UCUM unit such as deg, cm, ms, N or 1"),
        (
            _finite(metric.plausible_low, metric.plausible_high)
            and metric.plausible_low < metric.plausible_high,
            "plausible_low",
            metric.plausible_low,
            "a plausible range whose low end lies below its high end",
        ),
        (
            _finite(metric.resolution) and metric.resolution >= 0,
            "resolution",
            metric.resolution,
            "a resolution of zero or more, in the metric's unit",
        ),
        (metric.usual_trials >= 1, "usual_trials", metric.usual_trials, "one trial or more"),
        (
            metric.better is not Better.RANGE or _is_range(metric.target_low, metric.target_high),
            "target_low",
            metric.target_low,
            "target_low below target_high where a range is better",
        ),
        (
            metric.important_change is None
            or (_finite(metric.important_change) and metric.important_change > 0),
            "important_change",
            metric.important_change,
            "an important change above zero, in the metric's unit, or none",
        ),
        (
            metric.sided or metric.asymmetry_form is AsymmetryForm.NONE,
            "asymmetry_form",
            metric.asymmetry_form,
            "no asymmetry form for a metric that has no sides",
        ),
        (
            metric.scale is not Scale.GRADE or len(metric.grades) > 1,
            "grades",
            len(metric.grades),
            "a description for every grade (two or more)",
        ),
        (
            metric.asymmetry_form not in {AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO}
            or metric.scale in {Scale.RATIO, Scale.COUNT},
            "asymmetry_form",
            metric.asymmetry_form,
            "a ratio scale or a count for a percent or log-ratio asymmetry "
            "(an angle's zero is a convention: use the difference)",
        ),
    )
    return [
        Problem(
            code=f"metric_{column}",
            column=column,
            value=str(value),
            message=f"metric '{metric.key}': {column} is '{value}'; expected {expected}.",
        )
        for fine, column, value, expected in checks
        if not fine
    ]


def _finite(*numbers: float) -> bool:
    return all(math.isfinite(number) for number in numbers)


def _is_range(low: float | None, high: float | None) -> bool:
    return low is not None and high is not None and _finite(low, high) and low < high


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorFigure:
    """How large the measurement error of a metric is, and who says so.

    Either `between_sd` and `within_sd` (the two parts apart), or `sem` with `sem_trials`
    (the standard error of measurement of a mean of that many trials), or `within_sd` alone
    (a lower bound). All in the metric's unit, or in that of its asymmetry form when it
    applies to the asymmetry. Ordinal grades have a form of their own: `grade_step` alone.

    Parameters
    ----------
    between_sd : float or None
        Standard deviation from one session to another of a runner who did not change.
    within_sd : float or None
        Standard deviation of single trials within a session.
    sem : float or None
        Published or measured SEM of a mean of `sem_trials` trials.
    grade_step : int or None
        Of a grade: the step, in grades, that repeat grading of the same thing stays within in
        95 % of pairs. A change of more grades than this counts.
    published_as : str
        The figure as its source gives it and how `sem` was got from it.
    published_level : float or None
        Confidence level in percent of a published MDC (90 or 95); None where not reported.
    averaged : str
        What was averaged ("mean of 10 consecutive steps").
    population, source : str
        Who was measured; citation.
    adopted_at, retired_at : datetime or None
        Aware UTC instants; a retired figure is kept and no longer used.
    """

    metric: str
    applies_to: AppliesTo
    origin: ErrorOrigin
    between_sd: float | None = None
    within_sd: float | None = None
    sem: float | None = None
    sem_trials: int | None = None
    grade_step: int | None = None
    published_as: str = ""
    published_level: float | None = None
    averaged: str = ""
    population: str = ""
    source: str
    adopted_at: datetime | None = None
    retired_at: datetime | None = None

    def __post_init__(self) -> None:
        problem = _figure_problem(self)
        if problem:
            raise InputRefused(
                (
                    Problem(
                        code="error_figure",
                        column="sem",
                        message=f"error figure for '{self.metric}': {problem}",
                    ),
                )
            )


def _figure_problem(figure: ErrorFigure) -> str:
    given = [x for x in (figure.between_sd, figure.within_sd, figure.sem) if x is not None]
    if not figure.source.strip():
        return "it has no source; say where it comes from."
    if figure.grade_step is not None:
        return _grade_problem(figure, figure.grade_step, given)
    if any(not math.isfinite(x) or x < 0 for x in given) or not any(x > 0 for x in given):
        return "a standard deviation must be a number of zero or more, and not all zero."
    return _form_problem(figure) or _origin_problem(figure)


def _grade_problem(figure: ErrorFigure, step: int, given: list[float]) -> str:
    if given or figure.sem_trials is not None:
        return "a grade step stands alone; a standard deviation beside it has no meaning."
    if not 0 <= step <= LARGEST_GRADE_STEP:
        return f"a grade step is a whole number of grades, 0 to {LARGEST_GRADE_STEP}."
    if figure.origin not in {ErrorOrigin.OWN, ErrorOrigin.PUBLISHED}:
        return f"its origin is '{figure.origin}'; a grade step is own or published."
    return ""


def _form_problem(figure: ErrorFigure) -> str:
    if figure.sem is not None:
        if figure.between_sd is not None or figure.within_sd is not None:
            return "give either an SEM with its number of trials or the two parts, not both."
        if figure.sem_trials is None or figure.sem_trials < 1:
            return "an SEM needs the number of trials that were averaged (sem_trials, 1 or more)."
    elif figure.within_sd is None:
        return "the between-session part needs the within-session part beside it."
    elif figure.sem_trials is not None:
        return "sem_trials belongs to an SEM; the two parts apart need none."
    return ""


def _origin_problem(figure: ErrorFigure) -> str:
    if figure.origin is ErrorOrigin.NONE:
        return "its origin is 'none'; expected own, published or within_session."
    if (figure.origin is ErrorOrigin.WITHIN_SESSION) != (
        figure.between_sd is None and figure.sem is None
    ):
        return (
            "a figure without a between-session part is 'within_session' (a lower bound), "
            "and only such a one is."
        )
    return ""


def check_figure_fits(figure: ErrorFigure, metric: Metric) -> None:
    """Refuse an error figure that says nothing about its metric.

    Raises
    ------
    InputRefused
        For a figure of the asymmetry where the metric has none, a grade step of what is no
        grade, and any other figure of a grade.
    """
    if (figure.grade_step is not None) != (metric.scale is Scale.GRADE):
        expected = (
            "it is graded, so give the grade step that repeat grading reaches (grade_step); a "
            "standard deviation of grades has no meaning"
            if metric.scale is Scale.GRADE
            else "a grade step belongs to a graded metric only; give standard deviations or an SEM"
        )
        raise InputRefused(
            (
                Problem(
                    code="error_figure_grade",
                    column="grade_step",
                    value="" if figure.grade_step is None else str(figure.grade_step),
                    message=f"error figure for '{metric.key}': {expected}.",
                ),
            )
        )
    if figure.applies_to is AppliesTo.ASYMMETRY and metric.asymmetry_form is AsymmetryForm.NONE:
        raise InputRefused(
            (
                Problem(
                    code="error_figure_asymmetry",
                    column="applies_to",
                    value=figure.applies_to,
                    message=f"error figure for '{metric.key}': it is one of the asymmetry, but "
                    "the metric's asymmetry form is 'none'; give a figure of a side's value, or "
                    "give the metric an asymmetry form first.",
                ),
            )
        )
