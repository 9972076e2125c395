"""Reviewing: one runner with every verdict, and the caseload at a glance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from casebook.domain.injuries import Injury
from casebook.domain.metrics import ErrorFigure, Metric
from casebook.domain.people import Runner, Sex
from casebook.domain.programmes import Programme
from casebook.domain.sides import Side
from casebook.domain.verdicts import Flag, FlagKind, Verdict, What
from casebook.domain.visits import Conditions, MissingReason, VisitKind
from casebook.domain.wording import complaint_words
from casebook.services.judging import JudgedRunners, judge_runners, number_or_none, rows_of
from casebook.services.keeping import Casebook
from casebook.services.norming import Norms
from casebook.services.prompting import calls_for_referral, open_pain, open_prompts
from casebook.services.registering import get_runner_row
from casebook.services.standings import StandingMemo, stand, standings
from casebook.services.telling import course_frame, figures_used, latest_rows, latest_verdicts
from casebook.storage import cases, people
from casebook.storage.frames import missing_frame
from casebook.storage.session import reading

# The side codes of the frames.
SIDES = (Side.LEFT, Side.RIGHT, Side.NONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLine:
    """A visit as the review lists it; `reference` says whether the baseline is made of it."""

    visited_on: date
    session: int
    kind: VisitKind
    reference: bool
    next_due_on: date | None
    conditions: Conditions = field(default_factory=Conditions)
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """One runner, ready to be shown.

    Parameters
    ----------
    metrics : mapping of str to Metric
        The catalogue's metrics that were ever measured on this runner, in its order.
    verdicts : tuple of Verdict
        The latest of each metric and side, in the catalogue's order.
    figures : mapping of (str, What) to ErrorFigure
        The error figure behind the verdict on a metric and side, where it has one.
    flags : tuple of Flag
        Of all visits, newest visit first, the strongest first within it.
    open_flags : tuple of Flag
        Those that still stand and that nobody has acknowledged.
    tests, expected_false : int, float
        Metrics tested at the latest visit, and how many of them would be flagged falsely on
        average if the runner had not changed at all (missed targets left out).
    expected_false_course : float
        The same summed over all visits so far. The sum needs no independence between visits.
    tested_visits, tests_course : int, int
        Visits at which anything was tested, and the metrics tested at all of them together.
    missing_latest : mapping of (str, Side) to MissingReason
        What was meant to be measured at the latest visit and was not, by metric and side.
    course : DataFrame
        What the charts draw; columns as `telling.course_frame` gives them.
    """

    runner: Runner
    visits: tuple[VisitLine, ...]
    metrics: Mapping[str, Metric]
    verdicts: tuple[Verdict, ...]
    figures: Mapping[tuple[str, What], ErrorFigure]
    flags: tuple[Flag, ...]
    open_flags: tuple[Flag, ...]
    tests: int
    expected_false: float
    expected_false_course: float
    tested_visits: int
    tests_course: int
    course: pd.DataFrame
    programmes: tuple[Programme, ...]
    injuries: tuple[Injury, ...]
    missing_latest: Mapping[tuple[str, Side], MissingReason] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseloadEntry:
    """One line of the caseload.

    `worst_flag` is in words, '' where no flag is open: a symptom that rose before any other.
    `worst_metric` is its metric's key and `worst_kind` its kind. `open_prompts` counts the
    prompts to consider referral that nobody has acknowledged; `worst_prompt` is the first of
    them in words and `prompted_on` the day of its visit, '' and None where there is none.
    `open_pain` counts the weeks of recent flags of pain that nobody has acknowledged;
    `worst_pain` is the first of them in words, and `pain_to_refer` whether these are to consider
    referral, as with a bone stress injury.
    """

    code: str
    sex: Sex
    discipline: str
    complaint: str
    n_visits: int
    last_visit: date | None
    next_due: date | None
    overdue: bool
    open_flags: int
    worst_flag: str
    worst_metric: str
    worst_kind: FlagKind | None
    open_prompts: int
    worst_prompt: str
    prompted_on: date | None
    open_pain: int = 0
    worst_pain: str = ""
    pain_to_refer: bool = False


def review_runner(casebook: Casebook, code: str, *, norms: Norms | None = None) -> Review:
    """Everything that a review of one runner shows, from one state of the store.

    Parameters
    ----------
    norms : Norms or None
        As `norming.clinic_norms` gives them. With them each verdict tells the change that was
        to be expected by itself. They are not fetched here, so that opening one runner takes
        as long among many as among few.

    Raises
    ------
    NotFound
        For a code that no runner has.
    """
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        found = judge_runners(unit, [runner_id])
        acknowledged = cases.acknowledgements(unit, [runner_id])
        programmes = cases.programmes_of(unit, runner_id, runner.code)
        injuries = people.injuries(unit, runner_id, runner.code)
        notes = cases.notes_of(unit, runner_id)
        missing = missing_frame(unit, [runner_id])
    standing = stand(found, {runner_id: runner.code}, acknowledged)[runner_id]
    latest = latest_rows(found)
    return Review(
        runner=runner,
        visits=_visit_lines(found.visits, notes),
        metrics=_measured(found),
        verdicts=latest_verdicts(found, latest, norms),
        figures=figures_used(found, latest),
        flags=standing.flags,
        open_flags=standing.open_flags,
        tests=standing.tests,
        expected_false=standing.expected_false,
        expected_false_course=standing.expected_false_course,
        tested_visits=standing.tested_visits,
        tests_course=standing.tests_course,
        course=course_frame(found),
        programmes=programmes,
        injuries=injuries,
        missing_latest=_missing_latest(found, missing),
    )


def _missing_latest(
    found: JudgedRunners, missing: pd.DataFrame
) -> dict[tuple[str, Side], MissingReason]:
    if found.visits.empty:
        return {}
    latest = missing[missing["visit"] == found.visits["visit"].iloc[-1]]
    keys = {
        metric_id: metric.key
        for metric_id, metric in zip(found.metric_ids, found.metrics, strict=True)
    }
    return {
        (keys[row.metric], SIDES[row.side]): MissingReason(row.reason) for row in rows_of(latest)
    }


def _visit_lines(visits: pd.DataFrame, notes: Mapping[int, str]) -> tuple[VisitLine, ...]:
    return tuple(
        VisitLine(
            visited_on=row.visited_on.date(),
            session=int(row.session),
            kind=VisitKind(row.kind),
            reference=bool(row.reference),
            next_due_on=None if pd.isna(row.next_due_on) else row.next_due_on.date(),
            conditions=Conditions(
                speed_km_h=number_or_none(row.speed_km_h),
                surface=row.surface,
                incline_pct=number_or_none(row.incline_pct),
                footwear=row.footwear,
                view=row.view,
                frames_per_s=number_or_none(row.frames_per_s),
                assessor=row.assessor,
                pain_today=number_or_none(row.pain_today),
            ),
            note=notes.get(row.visit, ""),
        )
        for row in rows_of(visits)
    )


def _measured(found: JudgedRunners) -> dict[str, Metric]:
    seen = found.judged.measures["metric"].unique()
    ordered = sorted((found.metrics[index] for index in seen), key=lambda m: (m.position, m.key))
    return {metric.key: metric for metric in ordered}


def list_caseload(
    casebook: Casebook, *, today: date, memo: StandingMemo | None = None
) -> tuple[CaseloadEntry, ...]:
    """Every runner of the clinic with what calls for attention, by code.

    Parameters
    ----------
    today : date
        Day against which a due date is overdue.
    memo : StandingMemo or None
        Where a face keeps it, only runners whose record or error figures changed since are
        judged again.
    """
    with reading(casebook.engine) as unit:
        lines = cases.runner_lines(unit, casebook.clinic_id)
        visits = cases.last_visits(unit, casebook.clinic_id)
        injuries = cases.current_injuries(unit, casebook.clinic_id)
        standing = standings(unit, lines, memo if memo is not None else StandingMemo())
        prompts = open_prompts(unit, casebook.clinic_id)
        pains = open_pain(unit, casebook.clinic_id, today=today)
    entries = []
    for line in lines:
        last = visits.get(line.runner_id)
        due = last.next_due_on if last else None
        injury = injuries.get(line.runner_id)
        # What the runner feels comes before any number; else the strongest flag stands first.
        open_flags = sorted(
            standing[line.runner_id].open_flags,
            key=lambda flag: flag.kind is not FlagKind.SYMPTOM_UP,
        )
        mine = prompts.get(line.runner_id, ())
        first = mine[0] if mine else None
        painful = pains.get(line.runner_id, ())
        entries.append(
            CaseloadEntry(
                code=line.code,
                sex=line.sex,
                discipline=line.discipline,
                complaint=complaint_words(injury) if injury else "",
                n_visits=last.n_visits if last else 0,
                last_visit=last.visited_on if last else None,
                next_due=due,
                overdue=due is not None and due < today,
                open_flags=len(open_flags),
                worst_flag=open_flags[0].message if open_flags else "",
                worst_metric=open_flags[0].metric if open_flags else "",
                worst_kind=open_flags[0].kind if open_flags else None,
                open_prompts=len(mine),
                worst_prompt=first.caution.words if first else "",
                prompted_on=first.visited_on if first else None,
                open_pain=sum(len(run.weeks) for run in painful),
                worst_pain=painful[0].run.words if painful else "",
                pain_to_refer=bool(painful) and calls_for_referral(painful[0]),
            )
        )
    return tuple(entries)
