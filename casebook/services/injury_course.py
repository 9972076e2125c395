"""The course of a runner's complaints: time lost, what came again, the way back to running."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from casebook.domain.injuries import Injury, Pathology
from casebook.domain.injury_course import (
    SUBSEQUENT_WORDS,
    Complaint,
    Subsequent,
    Succession,
    TimeLoss,
    is_running_injury,
    succession,
    time_loss,
)
from casebook.domain.programmes import Programme
from casebook.domain.running_load import (
    LoadWeek,
    Return,
    Run,
    load_weeks,
    longest_recent_km,
    return_to_running,
)
from casebook.domain.time_line import Event, EventKind, time_line
from casebook.services import clock
from casebook.services.cautioning import RunnerCaution, RunnerPain, list_cautions, list_pain_flags
from casebook.services.opened import Casebook
from casebook.services.pain_runs import runs_of_pain
from casebook.services.registering import get_runner_row
from casebook.storage import hypotheses, people, prescriptions, runs, visits
from casebook.storage.session import reading

ALIKE = {Subsequent.RECURRENCE, Subsequent.EXACERBATION, Subsequent.UNCLEAR}
# Two complaints recorded as these are not known to be of one kind.
LOOSE = {Pathology.NON_SPECIFIC, Pathology.OTHER}
# Pain that is measured at a visit as a value of its own.
PAIN_METRICS = {"pain_running": "running", "pain_rest": "rest"}
NOT_RECORDED = "not recorded: the day of full return was not entered"


@dataclass(frozen=True, slots=True, kw_only=True)
class PainPoint:
    """Pain on a day, 0 to 10, and when it was felt.

    Parameters
    ----------
    what : str
        'visit', 'running' or 'rest' (told at a visit), 'during' or 'morning after' (of a week).
    """

    on: date
    pain: float
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintCourse:
    """One complaint with its course.

    Parameters
    ----------
    loss : TimeLoss or None
        None where it cannot be told; `loss_words` says why.
    running_injury : bool or None
        Whether it counts as a running-related injury; None where none of what decides it was
        recorded, or what was recorded does not decide.
    pain : tuple of PainPoint
        From its onset to the next complaint's or today: at visits, and of the weeks of the
        programmes for it.
    """

    injury_id: int
    complaint: Complaint
    loss: TimeLoss | None
    loss_words: str
    succession: Succession
    succession_words: str
    running_injury: bool | None
    back: Return
    pain: tuple[PainPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerCourse:
    """A runner's complaints, everything on a time line, and running by the week.

    Parameters
    ----------
    longest_recent_km : float or None
        The longest run of the 30 days before today.
    """

    complaints: tuple[ComplaintCourse, ...]
    events: tuple[Event, ...]
    weeks: tuple[LoadWeek, ...]
    longest_recent_km: float | None


def runner_course(casebook: Casebook, runner: str, *, today: date | None = None) -> RunnerCourse:
    """Everything on the course of a runner's complaints.

    Raises
    ------
    NotFound
    """
    day = today or clock.today()
    with reading(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        injuries = people.injuries_by_id(unit, runner_id, known.code)
        kept = prescriptions.programmes_of(unit, runner_id)
        ran = runs.runs_of(unit, runner_id)
        written = hypotheses.hypotheses_of(unit, casebook.clinic_id, [runner_id])
        seen = visits.plain_visits(unit, runner_id, known.code)
        measured = visits.whole_body_means(unit, runner_id, PAIN_METRICS)
    felt = [PainPoint(on=on, pain=pain, what=PAIN_METRICS[metric]) for on, metric, pain in measured]
    felt += [
        PainPoint(on=visit.visited_on, pain=visit.conditions.pain_today, what="visit")
        for visit in seen
        if visit.conditions.pain_today is not None
    ]
    complaints = tuple(
        Complaint(injury=injury, fully_back_on=injury.fully_back_on) for _, injury in injuries
    )
    weeks = load_weeks(ran)
    events = time_line(
        complaints=complaints,
        visits=seen,
        programmes=[one.prescription.programme for one in kept],
        hypotheses=[version for one in written for version in one.versions],
        weeks=weeks,
    )
    return RunnerCourse(
        complaints=tuple(
            _course(
                injury_id,
                complaint,
                complaints,
                [one.prescription.programme for one in kept if one.injury_id == injury_id],
                felt,
                ran,
                day,
            )
            for (injury_id, _), complaint in zip(injuries, complaints, strict=True)
        ),
        events=_with_cautions(
            events,
            list_cautions(casebook, runner, include_seen=True),
            list_pain_flags(casebook, runner, include_seen=True),
        ),
        weeks=weeks,
        longest_recent_km=longest_recent_km(ran, day + timedelta(days=1)),
    )


def _course(
    injury_id: int,
    complaint: Complaint,
    every: Sequence[Complaint],
    programmes: Sequence[Programme],
    felt: Sequence[PainPoint],
    ran: Sequence[Run],
    day: date,
) -> ComplaintCourse:
    injury = complaint.injury
    loss = time_loss(complaint, as_of=day)
    follows = succession(injury, every)
    return ComplaintCourse(
        injury_id=injury_id,
        complaint=complaint,
        loss=loss,
        loss_words=NOT_RECORDED if loss is None else loss.words,
        succession=follows,
        succession_words=_follows_words(follows),
        running_injury=_counts(injury),
        back=return_to_running(complaint, ran),
        pain=_pain(injury, programmes, felt, _until(injury, every, day)),
    )


def _follows_words(follows: Succession) -> str:
    told = SUBSEQUENT_WORDS[follows.kind]
    if follows.kind in ALIKE and follows.of is not None and follows.of.injury.pathology in LOOSE:
        told += "; the kind is recorded in one word for many, so that it may be another"
    days = follows.days_after_recovery
    return told if days is None else f"{told} ({days} day{'' if days == 1 else 's'} after it)"


def _counts(injury: Injury) -> bool | None:
    """None where what is recorded cannot decide; one criterion that is met is enough."""
    known = (injury.days_limited, injury.sessions_missed_in_row, injury.consulted)
    met = is_running_injury(
        days_limited=injury.days_limited or 0,
        sessions_missed_in_row=injury.sessions_missed_in_row or 0,
        consulted=bool(injury.consulted),
    )
    if met:
        return True
    return None if None in known else False


def _until(injury: Injury, every: Sequence[Complaint], day: date) -> date:
    later = [one.injury.onset_on for one in every if one.injury.onset_on > injury.onset_on]
    return min([*later, day])


def _pain(
    injury: Injury, programmes: Sequence[Programme], felt: Sequence[PainPoint], until: date
) -> tuple[PainPoint, ...]:
    points = [one for one in felt if injury.onset_on <= one.on <= until]
    points += [
        PainPoint(on=week.week_start, pain=pain, what=what)
        for programme in programmes
        for week in programme.adherence
        for pain, what in (
            (week.pain_during, "during"),
            (week.pain_morning_after, "morning after"),
        )
        if pain is not None
    ]
    return tuple(sorted(points, key=lambda one: (one.on, one.what)))


def _with_cautions(
    events: Sequence[Event],
    cautions: Sequence[RunnerCaution],
    pains: Sequence[RunnerPain],
) -> tuple[Event, ...]:
    more = [
        Event(
            on=one.visited_on,
            kind=EventKind.CAUTION,
            words=f"Caution: {one.caution.rule.prompt}"
            + ("" if one.seen is None else f" (seen by {one.seen.by}: {one.seen.reason})"),
        )
        for one in cautions
    ]
    more += [
        Event(
            on=one.run.flags[0].week.week_start,
            kind=EventKind.PAIN,
            words=one.run.words,
            until=one.run.flags[-1].week.week_start + timedelta(days=6),
        )
        for one in runs_of_pain(pains)
    ]
    order = list(EventKind)
    return tuple(sorted([*events, *more], key=lambda event: (event.on, order.index(event.kind))))
