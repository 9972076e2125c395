"""What changed about a programme: its phases, its targets beside the others, and the paragraph."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from casebook.domain.cautions import pain_flags
from casebook.domain.hypotheses import Role, version_to_score
from casebook.domain.metrics import Metric, Scale
from casebook.domain.programme_effects import (
    ProgrammeEffect,
    adherence_of,
    counts_of,
)
from casebook.domain.programme_words import arguments_against, programme_paragraph
from casebook.domain.programmes import AdherenceWeek, Programme, TargetDirection
from casebook.domain.verdicts import What
from casebook.services.judging_programmes import judge_programmes, span_of
from casebook.services.norming import Norms
from casebook.services.opened import Casebook
from casebook.services.prescribing import get_kept
from casebook.services.targeting import asked_of
from casebook.services.telling import course_frame
from casebook.statistics.codes import Floats, Whole
from casebook.statistics.course.whole import one_a_day
from casebook.statistics.programme_effect import (
    MetricSeries,
    Readings,
    effect_on,
    overlapping,
)
from casebook.storage import hypotheses, people, prescriptions
from casebook.storage.session import Unit, reading

Place = tuple[str, What]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldEffect:
    """What changed about a programme, ready to be shown.

    Parameters
    ----------
    metrics : mapping of str to Metric
        Of every metric in the effect.
    paragraph : str
        In plain words, with what argues against reading it as the programme's doing.
    against : tuple of str
        What argues against it, each by itself.
    weeks : tuple of AdherenceWeek
        Those that were entered, for the bars under the charts.
    course : DataFrame
        What the charts draw, held against the visits before this programme; columns as
        `telling.course_frame` gives them. Nothing in it is flagged: flags are a review's.
    visits : tuple of date
        Every day of a visit, in order.
    programmes : tuple of Programme
        All of the runner's, for the time axis; the one that this is about is `programme`.
    """

    programme_id: int
    effect: ProgrammeEffect
    metrics: Mapping[str, Metric]
    paragraph: str
    against: tuple[str, ...]
    weeks: tuple[AdherenceWeek, ...]
    course: pd.DataFrame
    visits: tuple[date, ...]
    programme: Programme
    programmes: tuple[Programme, ...]


def programme_effect(
    casebook: Casebook, programme_id: int, *, norms: Norms | None = None
) -> ToldEffect:
    """What changed about a programme of one runner, and what argues against its part in it.

    Parameters
    ----------
    norms : Norms or None
        With them, the change to be expected by itself is told (regression to the mean).

    Raises
    ------
    NotFound
        For a programme that does not exist.
    """
    with reading(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id)
        every = prescriptions.programmes_of(unit, kept.runner_id)
        targeted = _targeted(unit, casebook, kept)
        injury = dict(people.injuries_by_id(unit, kept.runner_id, kept.runner)).get(
            kept.injury_id or 0
        )
        asked = [asked_of(one) for one in every]
        own = [one for one in asked if one.programme_id == programme_id]
        found = judge_programmes(unit, own, {kept.runner_id: asked})
    programme = kept.prescription.programme
    span = span_of(programme.started_on, programme.ended_on)
    others = [one for one in asked if one.programme_id != programme_id]
    titles = [one.prescription.programme.title for one in every if one.programme_id != programme_id]
    spans = [span_of(one.started_on, one.ended_on) for one in others]
    known = {metric.key: metric for metric in found.metrics}
    frame = course_frame(found)
    effects = tuple(
        effect_on(series, span, spans)
        for series in _series(frame, known, targeted, norms, kept.runner_id)
    )
    # An asymmetry and its own sides are one measurement: none of them compares with another.
    same = {metric for metric, _ in targeted}
    shown = tuple(one for one in effects if one.targeted or one.metric not in same)
    weeks = programme.adherence
    flagged = {flag.week.week_start for flag in pain_flags(weeks, injury)}
    effect = ProgrammeEffect(
        title=programme.title,
        started_on=programme.started_on,
        ended_on=programme.ended_on,
        effects=shown,
        targeted=counts_of([one for one in shown if one.targeted]),
        others=counts_of([one for one in shown if not one.targeted]),
        adherence=adherence_of(weeks),
        own_sides=tuple(one for one in effects if not one.targeted and one.metric in same),
        overlapping=tuple(titles[at] for at in overlapping(span, spans)),
        left_out=_left_out(frame),
        pain_weeks=len(flagged),
    )
    metrics = {key: known[key] for key in sorted({one.metric for one in shown})}
    return ToldEffect(
        programme_id=programme_id,
        effect=effect,
        metrics=metrics,
        paragraph=programme_paragraph(effect, metrics),
        against=arguments_against(effect, metrics),
        weeks=weeks,
        course=frame.assign(flagged=False),
        visits=tuple(sorted({day.date() for day in frame["visited_on"]})),
        programme=programme,
        programmes=tuple(one.prescription.programme for one in every),
    )


def _targeted(
    unit: Unit, casebook: Casebook, kept: prescriptions.KeptProgramme
) -> dict[Place, TargetDirection | None]:
    """What the programme was to change, and which way: its targets, and its hypotheses' links.

    None for the way where they contradict one another.
    """
    ways: dict[Place, set[TargetDirection | None]] = {}
    for target in kept.prescription.programme.targets:
        ways.setdefault((target.metric, What(target.what.value)), set()).add(target.direction)
    start = kept.prescription.programme.started_on
    for one in hypotheses.hypotheses_of(unit, casebook.clinic_id, [kept.runner_id]):
        counts = version_to_score(one.versions, programme_started_on=start)
        if one.programme_id != kept.programme_id or counts is None:
            continue
        for link in counts.links:
            if link.role is not Role.STILL:
                ways.setdefault((link.metric, What(link.on.value)), set()).add(link.direction)
    return {place: way.pop() if len(way) == 1 else None for place, way in ways.items()}


def _series(
    frame: pd.DataFrame,
    metrics: Mapping[str, Metric],
    targeted: Mapping[Place, TargetDirection | None],
    norms: Norms | None,
    runner_id: int,
) -> list[MetricSeries]:
    found = []
    rows_of = _rows_of(frame)
    columns = _Columns(frame)
    for key in dict.fromkeys(frame["metric"]):
        metric = metrics[key]
        graded = metric.scale is Scale.GRADE
        readings = {
            what: columns.readings(rows_of[key, what.value])
            for what in What
            if (key, what.value) in rows_of
        }
        for what, one in readings.items():
            asymmetry = what is What.ASYMMETRY
            group = None if norms is None else norms.groups.get((metric.key, what))
            baselines = None if group is None else group.without(runner_id)
            found.append(
                MetricSeries(
                    metric=metric.key,
                    what=what,
                    targeted=(metric.key, what) in targeted,
                    better=metric.better,
                    readings=one,
                    low=metric.target_low,
                    high=metric.target_high,
                    left=readings.get(What.LEFT) if asymmetry else None,
                    right=readings.get(What.RIGHT) if asymmetry else None,
                    others=None if baselines is None else baselines[0],
                    other_sems=None if baselines is None else baselines[1],
                    step=columns.step(rows_of[key, what.value]) if graded else None,
                    aim=targeted.get((metric.key, what)),
                )
            )
    return found


def _rows_of(frame: pd.DataFrame) -> dict[tuple[str, str], Whole]:
    """Which rows, in order, belong to each metric and part of it."""
    found: dict[tuple[str, str], list[int]] = {}
    for at, place in enumerate(zip(frame["metric"], frame["what"], strict=True)):
        found.setdefault(place, []).append(at)
    return {place: np.array(rows, dtype=np.int64) for place, rows in found.items()}


class _Columns:
    """The columns of a frame as arrays, read once: a runner has hundreds of series in it."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._days = _days(frame)
        self._values = frame["value"].to_numpy(dtype=float)
        self._sems = frame["sem"].where(~frame["lower_bound"]).to_numpy(dtype=float)
        self._mdcs = frame["mdc95"].to_numpy(dtype=float)
        self._used = ~frame["unlike"].to_numpy(dtype=bool) & ~np.isnan(self._values)

    def readings(self, rows: Whole) -> Readings:
        """One value a day; visits that were not like for like left out, lower bounds no error."""
        kept = rows[self._used[rows]]
        days, values, sems = one_a_day(self._days[kept], self._values[kept], self._sems[kept])
        return Readings(days=days, values=values, sems=sems)

    def step(self, rows: Whole) -> float | None:
        """Changes of a grade up to this are within error; None where no figure tells."""
        known = self._mdcs[rows]
        known = known[~np.isnan(known)]
        return float(known[0]) if len(known) else None


def _days(frame: pd.DataFrame) -> Floats:
    since = frame["visited_on"] - pd.Timestamp(0)
    return np.asarray(since.dt.days, dtype=float)


def _left_out(frame: pd.DataFrame) -> int:
    """Visits that were not like for like with those before the start in something measured."""
    unlike = frame[frame["unlike"]]
    return len(unlike[["visited_on", "session"]].drop_duplicates())
