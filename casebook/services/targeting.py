"""Targets: can they be seen at all, and were they met at their date?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from casebook.domain.errors import InputRefused
from casebook.domain.metrics import AppliesTo, Metric, Scale
from casebook.domain.programmes import Target, TargetOn
from casebook.domain.target_outcomes import (
    TargetOutcome,
    target_unit,
    target_words,
    unseen_words,
)
from casebook.domain.verdicts import Verdict
from casebook.services import clock
from casebook.services.cataloguing import get_metric, list_figures
from casebook.services.detectable import best_figure
from casebook.services.judging_programmes import (
    AskedProgramme,
    judge_programmes,
    verdicts_by_programme,
)
from casebook.services.opened import Casebook
from casebook.services.planning import plan_measurement
from casebook.services.registering import get_runner_row
from casebook.statistics.planning import detectable_change, sem_of_trials, smallest_trials
from casebook.statistics.target_outcome import target_outcome
from casebook.storage import bulk, prescriptions
from casebook.storage.frames import values_frame
from casebook.storage.session import Unit, reading

# At this probability the change that can be seen is the MDC itself.
EVEN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetPreview:
    """Whether a target could be seen, between one visit before and one after.

    Parameters
    ----------
    mdc : float or None
        In `unit`; None where no error is known.
    warning : str
        '' where it can be seen.
    trials : int or None
        Trials a visit with which its amount equals what stands out; None where no number of
        trials brings it there, or nothing is known.
    advice : str
        What would do, in words; '' where nothing needs to be done.
    """

    mdc: float | None
    unit: str
    warning: str
    trials: int | None
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldTarget:
    """A target of a programme with what became of it by today."""

    programme_id: int
    title: str
    target: Target
    metric: Metric
    outcome: TargetOutcome
    words: str
    preview: TargetPreview


def preview_target(casebook: Casebook, target: Target, *, runner: str = "") -> TargetPreview:
    """Can this target be seen, and how many trials would do?

    Parameters
    ----------
    runner : str
        Whose values an asymmetry in percent is reckoned with; '' knows none.

    Raises
    ------
    NotFound
        For a metric or runner that does not exist.
    """
    metric = get_metric(casebook, target.metric).metric
    typical = None
    if runner and target.what is TargetOn.ASYMMETRY:
        with reading(casebook.engine) as unit:
            runner_id, _ = get_runner_row(unit, casebook, runner)
            typical = _typical(unit, runner_id, target.metric)
    return _preview(casebook, target, metric, typical)


def list_targets(
    casebook: Casebook, runner: str, *, today: date | None = None
) -> tuple[ToldTarget, ...]:
    """Every target of a runner's programmes with what became of it, by programme.

    Held against the visits before its own programme.

    Raises
    ------
    NotFound
    """
    day = today or clock.today()
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        kept = prescriptions.programmes_of(unit, runner_id)
        asked = [asked_of(one) for one in kept]
        found = judge_programmes(unit, asked, {runner_id: asked})
        typical = {
            target.metric: _typical(unit, runner_id, target.metric)
            for one in kept
            for target in one.prescription.programme.targets
        }
    verdicts = verdicts_by_programme(found, (one.programme_id for one in asked))
    metrics = {metric.key: metric for metric in found.metrics}
    told = []
    for one in kept:
        programme = one.prescription.programme
        for target in programme.targets:
            metric = metrics[target.metric]
            outcome = target_outcome(
                target, verdicts_on(verdicts[one.programme_id], target), today=day
            )
            told.append(
                ToldTarget(
                    programme_id=one.programme_id,
                    title=programme.title,
                    target=target,
                    metric=metric,
                    outcome=outcome,
                    words=target_words(outcome, metric),
                    preview=_preview(casebook, target, metric, typical[target.metric]),
                )
            )
    return tuple(told)


def asked_of(kept: prescriptions.KeptProgramme) -> AskedProgramme:
    """A programme as a judgement asks for it."""
    programme = kept.prescription.programme
    return AskedProgramme(
        programme_id=kept.programme_id,
        runner_id=kept.runner_id,
        started_on=programme.started_on,
        ended_on=programme.ended_on,
    )


def verdicts_on(verdicts: tuple[Verdict, ...], target: Target) -> tuple[Verdict, ...]:
    """Those on a target's metric and side."""
    return tuple(
        one
        for one in verdicts
        if one.metric == target.metric and one.what.value == target.what.value
    )


def _typical(unit: Unit, runner_id: int, metric: str) -> float | None:
    """Mean of both sides over a runner's visits, for an asymmetry in percent."""
    values = values_frame(unit, [runner_id])
    read = values[
        (values["metric"] == bulk.metric_ids(unit).get(metric, -1)) & (values["side"] < 2)
    ]
    mean = float(np.abs(read["mean"]).mean()) if len(read) else 0.0
    return mean or None


def _preview(
    casebook: Casebook, target: Target, metric: Metric, typical: float | None
) -> TargetPreview:
    unit = target_unit(target, metric)
    if metric.scale is Scale.GRADE:
        return _of_grade(casebook, target, metric, unit)
    try:
        plan = plan_measurement(
            casebook,
            metric.key,
            change=target.amount,
            asymmetry=target.what is TargetOn.ASYMMETRY,
            typical=typical,
        )
    except InputRefused as refused:
        # No figure, or one that tells too little: the plan says which.
        return TargetPreview(
            mdc=None,
            unit=unit,
            warning=unseen_words(target, metric, None),
            trials=None,
            advice=" ".join(problem.message for problem in refused.problems),
        )
    usual = plan.plan.trials
    mdc = float(detectable_change(sem_of_trials(plan.error, usual), 1, EVEN))
    warning = unseen_words(target, metric, mdc)
    trials = smallest_trials(plan.error, target.amount, 1, EVEN)
    advice = ""
    if warning:
        advice = (
            f"{trials} trials a visit instead of {usual} would just do."
            if trials is not None
            else "No number of trials would do: measure on more days, or set a larger target."
        )
    return TargetPreview(mdc=mdc, unit=unit, warning=warning, trials=trials, advice=advice)


def _of_grade(casebook: Casebook, target: Target, metric: Metric, unit: str) -> TargetPreview:
    applies_to = AppliesTo.ASYMMETRY if target.what is TargetOn.ASYMMETRY else AppliesTo.SIDE_VALUE
    figure = best_figure(list_figures(casebook, metric.key), applies_to)
    step = None if figure is None or figure.grade_step is None else float(figure.grade_step)
    # A change of exactly the step lies within it.
    seen = None if step is None else step + 1.0
    warning = unseen_words(target, metric, seen)
    return TargetPreview(
        mdc=seen,
        unit=unit,
        warning=warning,
        trials=None,
        advice="More trials do not help with a grade." if warning else "",
    )
