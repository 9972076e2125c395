"""Planning how often to measure, so that a change of a given size can be seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from casebook.domain import wording
from casebook.domain.errors import InputRefused, refuse
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    Scale,
)
from casebook.services.cataloguing import get_metric, list_figures
from casebook.services.opened import Casebook
from casebook.statistics.caseload import DURATION_UNITS, figure_columns
from casebook.statistics.codes import NOTHING
from casebook.statistics.error import interval_floor, reading_floor
from casebook.statistics.planning import Needed, Plan, TrialError, in_other_unit, plan_of

PROBABILITY = 0.8
MANY_TRIALS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorGiven:
    """Error figures given for this plan alone; of one side's value, in the metric's unit.

    Attributes
    ----------
    between_sd, within_sd : float or None
        Both together replace the catalogue's figure; one alone completes it.
    sem, sem_trials : float, int or None
        SEM of a mean of that many trials; replaces the catalogue's figure.
    """

    between_sd: float | None = None
    within_sd: float | None = None
    sem: float | None = None
    sem_trials: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementPlan:
    """What a plan rests on, its curve, and its answer in words.

    Attributes
    ----------
    metric : Metric
    what : AppliesTo
        A side's value or the asymmetry.
    unit : str
        Unit of all changes and errors here, in words.
    error : TrialError
        In that unit.
    origin : ErrorOrigin or None
        Where the error came from; None where it was given for this plan.
    source : str
    change : float or None
    probability : float
    plan : Plan
    answer : str
        One or more sentences.
    notes : tuple of str
        What the answer takes for granted.
    """

    metric: Metric
    what: AppliesTo
    unit: str
    error: TrialError
    origin: ErrorOrigin | None
    source: str
    change: float | None
    probability: float
    plan: Plan
    answer: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Basis:
    """The error that a plan rests on, in the unit of what is planned."""

    error: TrialError
    origin: ErrorOrigin | None
    source: str
    notes: tuple[str, ...]


def plan_measurement(
    casebook: Casebook,
    metric_key: str,
    *,
    change: float | None = None,
    probability: float = PROBABILITY,
    asymmetry: bool = False,
    given: ErrorGiven | None = None,
    frames_per_s: float | None = None,
    typical: float | None = None,
) -> MeasurementPlan:
    """How many trials and visits it takes to see a change of a metric or its asymmetry.

    Parameters
    ----------
    change : float or None
        In the metric's unit, or in that of its asymmetry form; its size counts. None tells
        only what can be seen.
    probability : float
        Of seeing it beyond the MDC95.
    given : ErrorGiven or None
        Figures to be used instead of the catalogue's, or to complete them.
    frames_per_s : float or None
        Of the camera, for durations between two frames; None takes the metric's resolution.
    typical : float or None
        Typical value of one side, which an asymmetry in percent needs.

    Raises
    ------
    NotFound
        For a metric that the catalogue does not have.
    InputRefused
        For numbers that are none or do not go together; for a grade; where no error figure
        can be used; for the asymmetry of a metric that has none.
    """
    metric = get_metric(casebook, metric_key).metric
    given = given or ErrorGiven()
    _check_numbers(change, probability, given, frames_per_s, typical)
    _check_metric(metric, asymmetry=asymmetry)
    figures = list_figures(casebook, metric_key)
    floor = _floor(metric, frames_per_s)
    basis = (
        _asymmetry_basis(metric, figures, given, floor, typical)
        if asymmetry
        else _side_basis(metric, figures, given, floor)
    )
    size = None if change is None else abs(change)
    plan = plan_of(
        basis.error, usual_trials=metric.usual_trials, probability=probability, change=size
    )
    unit = (
        wording.asymmetry_unit(metric.asymmetry_form, metric.unit)
        if asymmetry
        else wording.unit_words(metric.unit)
    )
    return MeasurementPlan(
        metric=metric,
        what=AppliesTo.ASYMMETRY if asymmetry else AppliesTo.SIDE_VALUE,
        unit=unit,
        error=basis.error,
        origin=basis.origin,
        source=basis.source,
        change=size,
        probability=probability,
        plan=plan,
        answer=_answer(plan, basis.error, size, probability, unit),
        notes=(*basis.notes, *_notes(basis.error)),
    )


def _check_numbers(
    change: float | None,
    probability: float,
    given: ErrorGiven,
    frames_per_s: float | None,
    typical: float | None,
) -> None:
    if not 0.025 < probability < 1.0:
        raise refuse(
            "plan_probability",
            f"The probability is {probability:g}; expected one above 0.025 and below 1, such as "
            "0.8 for four times out of five.",
            value=probability,
        )
    if change is not None and (not math.isfinite(change) or change == 0.0):
        raise refuse(
            "plan_change",
            f"The change to be seen is {change:g}; expected a number other than 0, in the unit "
            "of the metric or of its asymmetry.",
            value=change,
        )
    above_zero = {
        "SEM": given.sem,
        "number of trials of the SEM": given.sem_trials,
        "frame rate": frames_per_s,
        "typical value": typical,
    }
    spreads = {"between-session SD": given.between_sd, "within-session SD": given.within_sd}
    for name, number in (above_zero | spreads).items():
        lowest = "zero or more" if name in spreads else "above zero"
        if number is None:
            continue
        if not math.isfinite(number) or number < 0 or (number == 0 and name in above_zero):
            raise refuse(
                "plan_number",
                f"The {name} is {number:g}; expected a number {lowest}.",
                value=number,
            )
    _check_together(given)


def _check_together(given: ErrorGiven) -> None:
    if (given.sem is None) != (given.sem_trials is None):
        raise refuse(
            "plan_sem", "An SEM and the number of trials it is for belong together; give both."
        )
    if given.sem is not None and given.between_sd is not None:
        raise refuse(
            "plan_sem",
            "Give either an SEM with its number of trials or the between-session SD, not both.",
        )


def _check_metric(metric: Metric, *, asymmetry: bool) -> None:
    if metric.scale is Scale.GRADE:
        raise refuse(
            "plan_grade",
            f"'{metric.key}' is a grade: the steps of a grade have no standard error, so trials "
            "cannot be planned by one. Grade the same recordings twice and look at how far the "
            "two agree.",
        )
    if asymmetry and metric.asymmetry_form is AsymmetryForm.NONE:
        raise refuse(
            "plan_asymmetry",
            f"'{metric.key}' has no asymmetry form; plan its value itself, or give the metric "
            "an asymmetry form in the catalogue first.",
        )


def _floor(metric: Metric, frames_per_s: float | None) -> float:
    milliseconds = DURATION_UNITS.get(metric.unit)
    if metric.floor_kind is FloorKind.INTERVAL and frames_per_s and milliseconds:
        return float(interval_floor(frames_per_s)) / milliseconds
    return float(reading_floor(metric.resolution))


def _best(
    metric: Metric, figures: tuple[ErrorFigure, ...], applies_to: AppliesTo
) -> ErrorFigure | None:
    """The figure that the judgement would use."""
    at = int(figure_columns((metric,), figures, applies_to).index[0])
    return None if at == NOTHING else figures[at]


def _side_basis(
    metric: Metric, figures: tuple[ErrorFigure, ...], given: ErrorGiven, floor: float
) -> _Basis:
    if given.sem is not None or (given.between_sd is not None and given.within_sd is not None):
        return _given_basis(given, floor)
    figure = _best(metric, figures, AppliesTo.SIDE_VALUE)
    if figure is None:
        raise _no_figure(metric)
    return _figure_basis(figure, given, floor)


def _asymmetry_basis(
    metric: Metric,
    figures: tuple[ErrorFigure, ...],
    given: ErrorGiven,
    floor: float,
    typical: float | None,
) -> _Basis:
    factor = _asymmetry_factor(metric, typical)
    replaced = given.sem is not None or given.between_sd is not None
    figure = None if replaced else _best(metric, figures, AppliesTo.ASYMMETRY)
    if figure is not None and figure.origin is not ErrorOrigin.WITHIN_SESSION:
        if factor is None and given.within_sd is not None:
            raise _no_typical(metric)
        sides = in_other_unit(TrialError(within_sd=given.within_sd, floor=floor), factor or 1.0)
        # Without a typical value the floor of a percent is not known, and none is applied.
        return _figure_basis(
            figure, ErrorGiven(within_sd=sides.within_sd), 0.0 if factor is None else sides.floor
        )
    if factor is None:
        raise _no_typical(metric)
    side = _side_basis(metric, figures, given, floor)
    return _Basis(
        error=in_other_unit(side.error, factor),
        origin=side.origin,
        source=side.source,
        notes=(
            *side.notes,
            "The error of the asymmetry is that of its two sides, taken as alike and as "
            "independent of one another; measured by repeating the asymmetry itself it may be "
            "smaller or larger.",
        ),
    )


def _asymmetry_factor(metric: Metric, typical: float | None) -> float | None:
    """From a side's error to that of the asymmetry near symmetry; None where it is not known."""
    if metric.asymmetry_form is AsymmetryForm.DIFFERENCE:
        return math.sqrt(2.0)
    return None if typical is None else 100.0 * math.sqrt(2.0) / typical


def _given_basis(given: ErrorGiven, floor: float) -> _Basis:
    error = TrialError(
        between_sd=given.between_sd,
        within_sd=given.within_sd,
        sem=given.sem,
        sem_trials=given.sem_trials,
        floor=floor,
    )
    if not any((error.between_sd, error.within_sd, error.sem, error.floor)):
        raise refuse(
            "plan_number",
            "The between-session SD and the within-session SD are both 0; expected one of them "
            "above zero.",
        )
    return _Basis(error=error, origin=None, source="given for this plan", notes=())


def _figure_basis(figure: ErrorFigure, given: ErrorGiven, floor: float) -> _Basis:
    between, within = figure.between_sd, figure.within_sd
    if figure.origin is ErrorOrigin.WITHIN_SESSION:
        between = given.between_sd
        if between is None:
            raise refuse(
                "plan_only_within_session",
                f"'{figure.metric}' has a figure of the error within a session only, which is "
                "too small for comparing visits: measure your own, or give the between-session "
                "SD.",
            )
    elif given.between_sd is not None or (given.within_sd is not None and figure.sem is None):
        raise refuse(
            "plan_parts",
            "Give the between-session SD and the within-session SD together to replace the "
            "catalogue's figure; one alone does not fit to it.",
        )
    error = TrialError(
        between_sd=between,
        within_sd=given.within_sd if given.within_sd is not None else within,
        sem=figure.sem,
        sem_trials=figure.sem_trials,
        floor=floor,
    )
    return _Basis(error=error, origin=figure.origin, source=figure.source, notes=())


def _no_figure(metric: Metric) -> InputRefused:
    return refuse(
        "plan_no_error_figure",
        f"{metric.label} has {wording.NO_ERROR_FIGURE}; or give the between-session SD and the "
        "within-session SD for this plan.",
    )


def _no_typical(metric: Metric) -> InputRefused:
    return refuse(
        "plan_typical",
        f"The asymmetry of {metric.label} is in percent of the sides; give a typical value of "
        f"one side, in {wording.unit_words(metric.unit)}, to plan by it.",
    )


def _answer(
    plan: Plan, error: TrialError, change: float | None, probability: float, unit: str
) -> str:
    share = f"{100 * probability:.4g} %"
    if change is None:
        told = "; ".join(
            f"{wording.number_words(needed.detectable, unit)} with {_visits_words(needed.visits)}"
            for needed in plan.needed
        )
        return (
            f"With {_count(plan.trials, 'trial')} a visit, a change is seen beyond measurement "
            f"error with a probability of {share} when it is at least {told}."
        )
    enough = [needed for needed in plan.needed if needed.reachable]
    never = [needed for needed in plan.needed if not needed.reachable]
    told = "; ".join(
        (
            *(_enough_words(needed, error) for needed in enough),
            *([_never_words(never, error, unit)] if never else []),
        )
    )
    answer = (
        f"To see a change of {wording.number_words(change, unit)} beyond measurement error with "
        f"a probability of {share}: {told}."
    )
    if plan.visits_needed is not None and not enough:
        answer += (
            f" With {_count(plan.trials, 'trial')} a visit it takes "
            f"{plan.visits_needed} visits in each phase."
        )
    return answer


def _enough_words(needed: Needed, error: TrialError) -> str:
    trials = needed.trials or 0
    told = f"{_count(trials, 'trial')} a visit with {_visits_words(needed.visits)}"
    if trials > 1 and error.sem_trials == trials and error.within_sd is None:
        return f"{told} (fewer cannot be told)"
    return f"{told} (more than is practical)" if trials > MANY_TRIALS else told


def _never_words(never: list[Needed], error: TrialError, unit: str) -> str:
    visits = " or ".join(str(needed.visits) for needed in never)
    phases = f"{visits} {'visit' if visits == '1' else 'visits'} before and as many after"
    smallest = " or ".join(wording.number_words(needed.smallest, unit) for needed in never)
    if error.sem_trials is not None:
        return (
            f"with {phases} it is not reachable by more trials as far as is known: means of "
            f"{_count(error.sem_trials, 'trial')} see {smallest}"
        )
    return (
        f"with {phases} it is not reachable by more trials: even endless trials would see no less "
        f"than {smallest}, for the error between sessions stays"
    )


def _visits_words(visits: int) -> str:
    return f"{_count(visits, 'visit')} before and {visits} after"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _notes(error: TrialError) -> tuple[str, ...]:
    notes = [
        "Seen means: beyond the minimal detectable change at 95 %, in the right direction. It "
        "is taken that the true value stays the same within a phase, that both phases have as "
        "many visits, and that the set-up is done anew at each visit.",
        "With 2 or 3 visits after, it is their mean that is compared; a verdict on one visit "
        "compares that visit alone with the baseline.",
    ]
    if error.sem_trials is not None:
        k = _count(error.sem_trials, "trial")
        notes.append(
            f"The figure is an SEM of a mean of {k}, whose parts are not known: more trials are "
            "given no credit. A repeatability study of your own tells both parts."
        )
        if error.within_sd is None and error.sem_trials > 1:
            notes.append(
                f"Fewer than {k} cannot be told without the SD of single trials within a "
                "session (within-session SD)."
            )
    return tuple(notes)
