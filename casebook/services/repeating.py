"""Repeatability: analyse repeat measurements, and adopt what they say as the clinic's own error."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from casebook.domain.errors import InputRefused, NotFound, Problem, refuse
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
)
from casebook.domain.sides import Side
from casebook.domain.wording import CONDITIONS, asymmetry_unit, unit_words
from casebook.intake.reading import read_sheet
from casebook.intake.repeat_table import RepeatColumns, read_repeat_table
from casebook.services import clock
from casebook.services.cataloguing import adopt_figure, get_metric, list_metrics
from casebook.services.opened import Casebook
from casebook.statistics.codes import conditions_of
from casebook.statistics.like_for_like import condition_columns, conditions_that_differ
from casebook.statistics.repeatability.analysis import analyse
from casebook.statistics.repeatability.cells import readings_of
from casebook.statistics.repeatability.results import Repeatability, SidedRepeatability
from casebook.statistics.repeatability.sides import analyse_sides
from casebook.storage.repeats import repeat_counts, repeat_readings_frame, repeat_visits_frame
from casebook.storage.session import reading

# Repeat visits farther apart than this begin a new series: the runner may have changed in
# between. Common practice, no source.
LONGEST_GAP_DAYS = 31
RATIO_SCALES = frozenset({Scale.RATIO, Scale.COUNT})


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """A repeatability study.

    Parameters
    ----------
    result : Repeatability
        Of the values; for a metric with sides both sides pooled.
    sides : SidedRepeatability or None
        Left, right and the asymmetry, where there are both.
    unit, asymmetry_unit : str
        In words; '' where not known.
    metric : Metric or None
        None for a file that says nothing about the catalogue.
    n_runners : int
        Subjects, however many sides.
    began_on, ended_on : date or None
        First and last session, where known.
    place : str
        Where the readings come from: a file's name, or 'casebook'.
    notes : tuple of str
        How the readings were understood.
    """

    result: Repeatability
    sides: SidedRepeatability | None
    n_runners: int
    place: str
    unit: str = ""
    asymmetry_unit: str = ""
    metric: Metric | None = None
    began_on: date | None = None
    ended_on: date | None = None
    notes: tuple[str, ...] = ()

    def of(self, applies_to: AppliesTo) -> Repeatability | None:
        """The result that a figure of this kind is made of."""
        if applies_to is AppliesTo.SIDE_VALUE:
            return self.result
        return None if self.sides is None else self.sides.asymmetry


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatedMetric:
    """A metric of which repeat visits have values.

    Parameters
    ----------
    stamp : tuple of int
        Moves whenever such a value is added, amended or struck out.
    """

    metric: Metric
    runners: int
    visits: int
    stamp: tuple[int, ...]


def list_repeated(casebook: Casebook) -> tuple[RepeatedMetric, ...]:
    """The metrics that a study can be made of from the repeat visits, in the catalogue's order."""
    with reading(casebook.engine) as unit:
        counts = {one.metric: one for one in repeat_counts(unit, casebook.clinic_id)}
    return tuple(
        RepeatedMetric(
            metric=metric,
            runners=one.runners,
            visits=one.visits,
            stamp=(one.values, one.trials, one.saves, one.which),
        )
        for metric in list_metrics(casebook, include_inactive=True)
        if (one := counts.get(metric.key)) is not None
    )


def columns_of_file(path: Path) -> tuple[str, ...]:
    """Names of a CSV file's columns, in order.

    Raises
    ------
    InputRefused
        When it cannot be read as a table.
    """
    return tuple(read_sheet(path).header)


def study_from_file(
    path: Path,
    columns: RepeatColumns,
    *,
    wide: bool = False,
    grades: bool = False,
    first_minus_second: bool = False,
    asymmetry_form: AsymmetryForm = AsymmetryForm.DIFFERENCE,
    metric: Metric | None = None,
) -> Study:
    """Analyse a table of repeat measurements.

    Parameters
    ----------
    path : Path
    columns : RepeatColumns
        Which column holds what.
    wide : bool
        A row a subject and a column a session.
    grades : bool
        The values are grades: whole numbers, for which kappa is told.
    first_minus_second : bool
        Turn the differences of two sessions round.
    asymmetry_form : AsymmetryForm
        How right is compared with left, where there is a column of sides and no metric says it.
    metric : Metric or None
        What was measured, in the metric's unit, where a figure is to be adopted from it.

    Raises
    ------
    InputRefused
        With file, row, column and value of everything that cannot be taken.
    """
    table = read_repeat_table(path, columns, wide=wide, whole=grades)
    steps: tuple[float, ...] | None = None
    if grades:
        values = table.frame["value"]
        steps = tuple(float(step) for step in range(int(values.min()), int(values.max()) + 1))
    notes = list(table.notes)
    form = asymmetry_form if metric is None else metric.asymmetry_form
    result, sides = _analysed(
        table.frame,
        sessions=table.sessions,
        form=form,
        smallest_mean=0.0 if metric is None else metric.resolution,
        first_minus_second=first_minus_second,
        ratio_scale=metric is None or metric.scale in RATIO_SCALES,
        grades=steps,
        notes=notes,
    )
    return Study(
        result=result,
        sides=sides,
        n_runners=int(table.frame["subject"].nunique()),
        place=path.name,
        unit="" if metric is None else unit_words(metric.unit),
        asymmetry_unit="" if metric is None else asymmetry_unit(form, metric.unit),
        metric=metric,
        notes=tuple(notes),
    )


def study_from_casebook(
    casebook: Casebook, metric_key: str, *, first_minus_second: bool = False
) -> Study:
    """Analyse the visits that were repeat measurements.

    A runner's repeat visits are numbered by date. Where two lie more than 31 days apart, a new
    series begins, which counts as another subject: the runner may have changed in between.

    Raises
    ------
    NotFound
        For a metric that the catalogue does not have, or that no repeat visit has a value of.
    """
    metric = get_metric(casebook, metric_key).metric
    with reading(casebook.engine) as unit:
        visits = repeat_visits_frame(unit)
        readings = repeat_readings_frame(unit, casebook.clinic_id, metric_key)
    if readings.empty:
        raise NotFound(
            f"No repeat measurement has a value of '{metric_key}'. Measure some runners on two "
            "days within a month, and log both visits with the kind 'repeat measurement'."
        )
    used = visits[visits["visit"].isin(readings["visit"])].reset_index(drop=True)
    numbered = _numbered(used)
    frame, notes = _readings(readings, numbered)
    notes += _condition_notes(used, numbered, metric)
    grades = tuple(float(step) for step in range(len(metric.grades)))
    result, sides = _analysed(
        frame,
        sessions=tuple(str(one) for one in sorted(set(numbered["number"]))),
        form=metric.asymmetry_form,
        smallest_mean=metric.resolution,
        first_minus_second=first_minus_second,
        ratio_scale=metric.scale in RATIO_SCALES,
        grades=grades if metric.scale is Scale.GRADE else None,
        notes=notes,
    )
    return Study(
        result=result,
        sides=sides,
        n_runners=int(readings["runner"].nunique()),
        place="casebook",
        unit=unit_words(metric.unit),
        asymmetry_unit=asymmetry_unit(metric.asymmetry_form, metric.unit),
        metric=metric,
        began_on=used["visited_on"].min().date(),
        ended_on=used["visited_on"].max().date(),
        notes=tuple(notes),
    )


def adopt_study(
    casebook: Casebook,
    study: Study,
    *,
    applies_to: AppliesTo = AppliesTo.SIDE_VALUE,
    by: str = "",
) -> ErrorFigure:
    """Adopt a study's error as the clinic's own figure; the one it replaces is kept.

    From then on every verdict uses it before any published figure, until
    `cataloguing.retire_figure` takes it back.

    Parameters
    ----------
    study : Study
        With its metric.
    applies_to : AppliesTo
        The error of a side's value, or that of the asymmetry.
    by : str
        Who adopts it; the figure's source says so.

    Raises
    ------
    InputRefused
        When the study cannot give the figure, with the reason.
    """
    figure = figure_from_study(study, applies_to, on=clock.today(), by=by)
    return adopt_figure(casebook, figure, by=by)


def figure_from_study(
    study: Study, applies_to: AppliesTo, *, on: date, by: str = ""
) -> ErrorFigure:
    """The error figure that a study gives, as it would be adopted.

    Raises
    ------
    InputRefused
        Without a metric, without a second session, without any error, without both sides.
    """
    metric = study.metric
    if metric is None:
        raise refuse("study_without_metric", "Say which metric was measured to adopt its error.")
    found = study.of(applies_to)
    of_asymmetry = applies_to is AppliesTo.ASYMMETRY
    if found is None or (of_asymmetry and metric.asymmetry_form is AsymmetryForm.NONE):
        raise refuse(
            "study_without_asymmetry",
            f"The study of '{metric.key}' has no left and right to compare in the form of the "
            "metric, so it gives no figure of the asymmetry; adopt the figure of a side's value.",
        )
    between = within = sem = trials = step = None
    if metric.scale is Scale.GRADE:
        step, how = _of_grades(found, metric)
    elif found.nested is not None and math.isfinite(found.nested.between_sd.estimate):
        between, within = found.nested.between_sd.estimate, found.nested.within_sd.estimate
        how = (
            f"between-session SD {between:.3g} and within-session SD {within:.3g} "
            f"by {found.nested.method.value.upper()}"
        )
    elif math.isfinite(found.sem_agreement.estimate):
        sem, trials = found.sem_agreement.estimate, found.trials_most
        interval = found.sem_agreement
        how = (
            f"SEM for agreement {sem:.3g} (95 % interval {interval.low:.3g} to {interval.high:.3g})"
        )
    else:
        raise refuse(
            "study_without_second_session",
            f"The study of '{metric.key}' has no runner with two sessions to compare, so the error "
            "between sessions cannot be told. Measure the same runners on a second day.",
        )
    if step is None and not any((between, within, sem)):
        raise refuse(
            "study_without_error",
            f"The repeated readings of '{metric.key}' are all the same: no error can be adopted "
            "from them. Were they copied?",
        )
    return ErrorFigure(
        metric=metric.key,
        applies_to=applies_to,
        origin=ErrorOrigin.OWN,
        between_sd=between,
        within_sd=within,
        sem=sem,
        sem_trials=trials,
        grade_step=step,
        published_as=how,
        averaged=_averaged(found),
        population=f"{_counted(study.n_runners, 'runner')} of this clinic",
        source=_source(study, found, on, by),
    )


def _of_grades(found: Repeatability, metric: Metric) -> tuple[int, str]:
    """The step that 95 % of pairs of grades keep within."""
    if found.grading is None:
        raise refuse(
            "study_without_second_session",
            f"The study of '{metric.key}' has nobody who was graded twice.",
        )
    step = found.grading.step95
    return (
        step,
        f"95 % of {_counted(found.grading.pairs, 'pair')} of grades differ by {step} or less; a "
        "change counts from one grade more",
    )


def _averaged(found: Repeatability) -> str:
    if found.trials_most == 1:
        return "single readings"
    if found.trials_least == found.trials_most:
        return f"mean of {found.trials_most} trials"
    return f"mean of {found.trials_least} to {found.trials_most} trials"


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'s' * (number != 1)}"


def _source(study: Study, found: Repeatability, on: date, by: str) -> str:
    where = "" if study.place == "casebook" else f" (file {study.place})"
    when = ""
    if study.began_on is not None and study.ended_on is not None:
        when = (
            f", {study.began_on.isoformat()}"
            if study.began_on == study.ended_on
            else f", {study.began_on.isoformat()} to {study.ended_on.isoformat()}"
        )
    return (
        f"Own repeat study{where}: {_counted(study.n_runners, 'runner')}, "
        f"{_counted(found.n_sessions, 'session')}{when}; adopted {on.isoformat()}"
        f"{f' by {by}' if by else ''}."
    )


def _analysed(
    frame: pd.DataFrame,
    *,
    sessions: tuple[str, ...],
    form: AsymmetryForm,
    smallest_mean: float,
    first_minus_second: bool,
    ratio_scale: bool,
    grades: tuple[float, ...] | None,
    notes: list[str],
) -> tuple[Repeatability, SidedRepeatability | None]:
    """Analyse values with sides or without; without an asymmetry the sides are pooled only."""
    sides = set(frame["side"]) if "side" in frame else set()
    if sides >= {Side.LEFT.value, Side.RIGHT.value}:
        try:
            found = analyse_sides(
                frame,
                sessions=sessions,
                form=AsymmetryForm.DIFFERENCE if form is AsymmetryForm.NONE else form,
                smallest_mean=smallest_mean,
                first_minus_second=first_minus_second,
                ratio_scale=ratio_scale,
                grades=grades,
            )
        except ValueError as reason:
            notes.append(f"The asymmetry is left out: {reason}")
            frame = frame.assign(subject=frame["subject"].astype(str) + ", " + frame["side"])
        else:
            return found.pooled, found
    elif sides and sides != {Side.NONE.value}:
        notes.append(f"Only the {sides.pop()} side was measured.")
    plain = frame.drop(columns="side", errors="ignore")
    result = analyse(
        readings_of(plain, sessions=sessions),
        first_minus_second=first_minus_second,
        ratio_scale=ratio_scale,
        grades=grades,
    )
    return result, None


def _numbered(visits: pd.DataFrame) -> pd.DataFrame:
    """Series and number within it of each repeat visit, which come by runner and date."""
    gap = visits.groupby("runner")["visited_on"].diff().dt.days
    series = (gap > LONGEST_GAP_DAYS).groupby(visits["runner"]).cumsum().astype(int)
    number = visits.groupby([visits["runner"], series]).cumcount() + 1
    return pd.DataFrame({"visit": visits["visit"], "series": series + 1, "number": number})


def _readings(readings: pd.DataFrame, numbered: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    joined = readings.merge(numbered, on="visit")
    again = " (series " + joined["series"].astype(str) + ")"
    frame = pd.DataFrame(
        {
            "subject": joined["runner"] + again.where(joined["series"] > 1, ""),
            "session": joined["number"].astype(str),
            "side": joined["side"],
        }
    )
    notes = []
    more = int(frame["subject"].nunique()) - int(joined["runner"].nunique())
    if more:
        notes.append(
            f"Repeat visits more than {LONGEST_GAP_DAYS} days apart begin a new series, which "
            f"counts as another subject ({more} more)."
        )
    single = joined["reading"].isna() & (joined["n"] == 1)
    means_only = joined["reading"].isna() & ~single
    if not means_only.any():
        value = joined["reading"].where(~single, joined["mean"])
        return frame.assign(trial=joined["trial"], value=value), notes
    notes.append(
        f"Of {_counted(int(means_only.sum()), 'value')} only the mean is stored; so the study "
        "uses the mean of every session, and cannot tell the part within sessions."
    )
    one_each = ~joined.duplicated(["visit", "side"])
    means = frame.assign(value=joined["mean"], trials_in_value=joined["n"])[one_each]
    return means.reset_index(drop=True), notes


def _condition_notes(visits: pd.DataFrame, numbered: pd.DataFrame, metric: Metric) -> list[str]:
    """Which conditions that matter to this metric differed between a runner's sessions."""
    later = np.flatnonzero(numbered["number"].to_numpy() > 1)
    if not later.size:
        return []
    differs, _ = conditions_that_differ(condition_columns(visits), later - 1, later)
    found = []
    for condition in metric.sensitive_to:
        count = sum(condition in conditions_of(int(mask)) for mask in differs)
        if count:
            found.append(
                f"{CONDITIONS[condition].capitalize()} differed between sessions in "
                f"{_counted(count, 'runner')}; what that adds is part of the error found here."
            )
    return found


def check_metric_takes_grades(metric: Metric, *, grades: bool) -> None:
    """Refuse a table of grades for a metric that has none, and the other way round.

    Raises
    ------
    InputRefused
    """
    if grades == (metric.scale is Scale.GRADE):
        return
    raise InputRefused(
        (
            Problem(
                code="scale_differs",
                column="--grades",
                message=f"'{metric.key}' is "
                + (
                    "a grade; give --grades."
                    if metric.scale is Scale.GRADE
                    else f"no grade but of the scale '{metric.scale}'; leave --grades out."
                ),
            ),
        )
    )
