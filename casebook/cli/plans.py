"""What was prescribed and what came of it: programmes, hypotheses, complaints, cautions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.days import read_day

if TYPE_CHECKING:
    from casebook.services.calibrating import CalibrationReport
    from casebook.services.cautioning import RunnerCaution, RunnerPain
    from casebook.services.hypothesising import ScoredHypothesis
    from casebook.services.injury_course import RunnerCourse
    from casebook.services.outcomes import ToldEffect
    from casebook.services.prescribing import StoredPrescription
    from casebook.services.targeting import ToldTarget
    from casebook.statistics.hypotheses import Tally

# By the published lists' codes, so that --help needs not load them.
STANDARD_NAMES = {"cert": "CERT", "tidier": "TIDieR"}
Runner = Annotated[str, typer.Argument(metavar="RUNNER", help="Code of the runner.")]
Db = Annotated[
    str | None,
    typer.Option("--db", metavar="FILE_OR_ADDRESS", help="The casebook, as with other commands."),
]
Json = Annotated[
    bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
]


def programme(runner: Runner, *, db: Db = None, as_json: Json = False) -> None:
    """Tell a runner's programmes: what was prescribed, what is still empty, what came of it.

    For each: its exercises, its versions, the published reporting items that are not filled in
    yet, its targets at their dates, and one paragraph on what changed about it, with what
    argues against reading that as the programme's doing.
    """
    from casebook.cli.opening import opened
    from casebook.services import norming, outcomes, prescribing, targeting

    with opened(db) as casebook:
        found = prescribing.list_prescriptions(casebook, runner)
        targets = targeting.list_targets(casebook, runner)
        norms = norming.clinic_norms(casebook)
        effects = [
            outcomes.programme_effect(casebook, one.programme_id, norms=norms) for one in found
        ]
    if as_json:
        _print({"runner": runner, "programmes": _programme_objects(found, targets, effects)})
        return
    for one, effect in zip(found, effects, strict=True):
        _show_programme(one, [t for t in targets if t.programme_id == one.programme_id], effect)
    if not found:
        typer.echo(f"{runner} has no programme.")


def hypotheses(
    runner: Annotated[
        str | None,
        typer.Argument(
            metavar="[RUNNER]", help="Code of the runner; needed but for --calibration."
        ),
    ] = None,
    *,
    calibration: Annotated[
        bool,
        typer.Option(
            "--calibration",
            help="Over the whole caseload: how often predictions held, and how well their "
            "sureness was stated.",
        ),
    ] = False,
    since: Annotated[
        str | None,
        typer.Option(
            "--since",
            metavar="YYYY-MM-DD",
            help="With --calibration: from this day on; a year back without it.",
        ),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--until", metavar="YYYY-MM-DD", help="With --calibration: up to this day."),
    ] = None,
    by: Annotated[
        str,
        typer.Option("--by", metavar="USER", help="With --calibration: those of this user alone."),
    ] = "",
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Tell what became of a runner's working hypotheses, prediction by prediction.

    Only the version that was written before its programme started is scored. That a prediction
    held does not show why. With --calibration it is the whole caseload: the hypotheses whose
    last prediction fell due within the time.
    """
    from casebook.cli.opening import opened
    from casebook.services import calibrating, hypothesising

    if calibration == (runner is not None):
        raise typer.BadParameter("name a runner, or give --calibration for the whole caseload.")
    if not calibration and (since or until or by):
        raise typer.BadParameter("--since, --until and --by go with --calibration.")
    with opened(db) as casebook:
        if runner is None:
            report = calibrating.calibrate(
                casebook, since=read_day(since, "--since"), until=read_day(until, "--until"), by=by
            )
            _show_calibration(report, as_json=as_json)
            return
        found = hypothesising.score_hypotheses(casebook, runner)
    if as_json:
        _print({"runner": runner, "hypotheses": [_hypothesis_object(one) for one in found]})
        return
    for one in found:
        _show_hypothesis(one)
    if not found:
        typer.echo(f"{runner} has no working hypothesis.")


def course(runner: Runner, *, db: Db = None, as_json: Json = False) -> None:
    """Tell the course of a runner's complaints, and everything on one time line.

    Time lost in the bins of the published consensus, what is a recurrence and what is new, the
    way back to running, and running by the week with the longest recent run.
    """
    from casebook.cli.opening import opened
    from casebook.services import injury_course

    with opened(db) as casebook:
        found = injury_course.runner_course(casebook, runner)
    if as_json:
        _print({"runner": runner, **_course_object(found)})
        return
    _show_course(found)


def cautions(
    runner: Runner,
    *,
    everything: Annotated[
        bool, typer.Option("--all", help="Those that somebody has seen, too.")
    ] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List what a runner's findings and pain call for: consider referral, follow local pathways.

    A prompt is no diagnosis. Shown are those that nobody has acknowledged.
    """
    from casebook.cli.opening import opened
    from casebook.services import cautioning

    with opened(db) as casebook:
        found = cautioning.list_cautions(casebook, runner, include_seen=everything)
        pain = cautioning.list_pain_flags(casebook, runner, include_seen=everything)
    if as_json:
        _print(
            {
                "runner": runner,
                "cautions": [_caution_object(one) for one in found],
                "pain": [_pain_object(one) for one in pain],
            }
        )
        return
    _show_cautions(runner, found, pain)


def _print(report: dict[str, Any]) -> None:
    from casebook.cli.objects import print_object

    print_object(report)


def _say(words: str) -> None:
    from rich.text import Text

    from casebook.cli.showing import terminal

    terminal().print(Text(words))


def _list(title: str, lines: Iterable[str]) -> None:
    given = list(lines)
    if given:
        _say(title)
    for line in given:
        _say(f"  - {line}")


def _programme_objects(
    found: Iterable[StoredPrescription],
    targets: Iterable[ToldTarget],
    effects: Iterable[ToldEffect],
) -> list[dict[str, Any]]:
    from casebook.domain.programme_words import effect_sentence
    from casebook.services.prescribing import reporting_gaps

    given = list(targets)
    objects = []
    for one, effect in zip(found, effects, strict=True):
        prescription, gaps = one.prescription, reporting_gaps(one.prescription)
        objects.append(
            {
                "programme_id": one.programme_id,
                "injury_id": one.injury_id,
                "version": prescription.version,
                "changes": prescription.changes,
                "programme": prescription.programme,
                "detail": prescription.detail,
                "block_details": prescription.block_details,
                "still_empty": [
                    {
                        "standard": state.item.standard,
                        "item": state.item.number,
                        "asks": state.item.asks,
                        "lacking": state.lacking,
                    }
                    for state in gaps.empty
                ],
                "reporting": gaps.words,
                "targets": [
                    {
                        "metric": told.metric.key,
                        "what": told.target.what,
                        "call": told.outcome.call,
                        "hollow": told.outcome.hollow,
                        "near": told.outcome.near,
                        "on_date": told.outcome.on_date,
                        "moved": told.outcome.moved,
                        "error": told.outcome.error,
                        "words": told.words,
                        "mdc95": told.preview.mdc,
                        "warning": told.preview.warning,
                        "trials": told.preview.trials,
                    }
                    for told in given
                    if told.programme_id == one.programme_id
                ],
                "effect": effect.effect,
                "measures": [
                    {
                        "metric": measure.metric,
                        "what": measure.what,
                        "hollow": measure.hollow,
                        "words": effect_sentence(measure, effect.metrics[measure.metric]),
                    }
                    for measure in effect.effect.effects
                ],
                "paragraph": effect.paragraph,
                "against": effect.against,
            }
        )
    return objects


def _show_programme(one: StoredPrescription, targets: list[ToldTarget], effect: ToldEffect) -> None:
    from casebook.services.prescribing import reporting_gaps

    prescription = one.prescription
    programme = prescription.programme
    until = f"to {programme.ended_on}" if programme.ended_on else "and still running"
    _say(f"{programme.title} ({programme.started_on} {until}), version {prescription.version}")
    if programme.rationale:
        _say(programme.rationale)
    _list(
        "Exercises:",
        (_block_words(block, prescription.detail_of(block).tempo) for block in programme.blocks),
    )
    _list("Changed since version 1:", prescription.changes)
    gaps = reporting_gaps(prescription)
    _say(f"Reporting items: {gaps.words}")
    _list(
        "Still empty:",
        (
            f"{STANDARD_NAMES[state.item.standard]} {state.item.number}, {state.item.asks}: "
            f"{', '.join(state.lacking)}"
            for state in gaps.empty
        ),
    )
    _list("Targets:", (" ".join(filter(None, (t.words, t.preview.warning))) for t in targets))
    _say(effect.paragraph)
    _say("")


def _block_words(block: Any, tempo: Any) -> str:
    from casebook.domain.programme_versions import SIDES

    sets = f"{block.sets} x {block.repetitions}" if block.sets and block.repetitions else ""
    parts = (
        sets,
        block.load,
        f"hold {block.hold_s:g} s" if block.hold_s else "",
        f"tempo {tempo.words}" if tempo else "",
        f"{block.sessions_per_week:g} sessions a week" if block.sessions_per_week else "",
    )
    return ", ".join(part for part in (f"{block.exercise} ({SIDES[block.side]})", *parts) if part)


def _hypothesis_object(one: ScoredHypothesis) -> dict[str, Any]:
    stored = one.stored
    return {
        "programme_id": stored.programme_id,
        "programme": stored.programme,
        "number": stored.number,
        "frozen": stored.frozen,
        "counts": None if stored.counts is None else stored.counts.version,
        "versions": stored.versions,
        "outcome": one.outcome,
        "words": one.words,
        "links": [
            {"score": link.score, "words": link.words, "order": link.order, "course": link.course}
            for link in one.links
        ],
    }


def _show_hypothesis(one: ScoredHypothesis) -> None:
    from casebook.domain.hypotheses import KINDS, ROLES

    stored = one.stored
    shown = stored.counts or stored.latest
    _say(
        f"{stored.programme}, hypothesis {stored.number} ({KINDS[shown.kind]}), version "
        f"{shown.version} of {shown.written_on}: {shown.driver}"
    )
    _say(one.words)
    for link in one.links:
        order = f" It {link.order_words}." if link.order_words else ""
        _say(f"  - {ROLES[link.score.link.role]}: {link.words}{order}")
    _say("")


def _show_calibration(report: CalibrationReport, *, as_json: bool) -> None:
    from casebook.domain.hypotheses import KINDS
    from casebook.domain.hypothesis_words import tally_words

    if as_json:
        from casebook.cli.objects import plainly

        _print(plainly(report))
        return

    def told(one: Tally) -> str:
        return tally_words(
            held=one.held,
            did_not_hold=one.did_not_hold,
            hollow=one.hollow,
            not_told=one.not_told,
        )

    tally = report.tally
    _say(
        f"Hypotheses that fell due from {report.since} to {report.until}: {report.hypotheses}; "
        f"{told(tally)}."
    )
    if tally.not_told and tally.lowest is not None and tally.highest is not None:
        _say(
            f"Whatever became of the {tally.not_told} that can't be told, between "
            f"{tally.lowest:.0%} and {tally.highest:.0%} held."
        )
    for words in report.words:
        _say(words)
    _list(
        "By kind:",
        (f"{KINDS[kind]}: {told(one)}" for kind, one in report.by_kind.items()),
    )


def _course_object(found: RunnerCourse) -> dict[str, Any]:
    return {
        "complaints": [
            {
                "injury_id": one.injury_id,
                "injury": one.complaint.injury,
                "days_lost": None if one.loss is None else one.loss.days,
                "time_loss": None if one.loss is None else one.loss.bin,
                "still_out": None if one.loss is None else one.loss.still_out,
                "words": one.loss_words,
                "kind": one.succession.kind,
                "follows": one.succession_words,
                "running_injury": one.running_injury,
                "return": one.back,
                "pain": one.pain,
            }
            for one in found.complaints
        ],
        "weeks": [
            {"beyond_recent_pct": week.beyond_recent_pct, "week": week} for week in found.weeks
        ],
        "longest_recent_km": found.longest_recent_km,
        "events": found.events,
    }


def _show_course(found: RunnerCourse) -> None:
    from casebook.domain.wording import complaint_words

    for one in found.complaints:
        back = one.back
        _say(
            f"{complaint_words(one.complaint.injury)} since {one.complaint.injury.onset_on}: "
            f"{one.succession_words}. Time loss: {one.loss_words}."
        )
        if back.first_run_on is not None:
            _say(f"  First run on {back.first_run_on}, {back.days_to_first_run} days after onset.")
        if back.back_to_usual_on is not None:
            _say(f"  As many kilometres as before from the week of {back.back_to_usual_on} on.")
    if found.longest_recent_km is not None:
        _say(f"Longest run of the last 30 days: {found.longest_recent_km:g} km.")
    _list("Time line:", (f"{event.on}  {event.words}" for event in found.events))


def _caution_object(one: RunnerCaution) -> dict[str, Any]:
    return {
        "visit": [one.visited_on, one.session],
        "rule": one.caution.rule.key,
        "urgency": one.caution.rule.urgency,
        "findings": one.caution.findings,
        "words": one.caution.words,
        "sources": one.caution.rule.sources,
        "seen": one.seen,
    }


def _pain_object(one: RunnerPain) -> dict[str, Any]:
    return {
        "programme_id": one.programme_id,
        "programme": one.title,
        "week": one.flag.week.week_start,
        "reason": one.flag.reason,
        "pain": one.flag.pain,
        "against": one.flag.against,
        "words": one.flag.words,
        "seen": one.seen,
    }


def _show_cautions(runner: str, found: Iterable[RunnerCaution], pain: Iterable[RunnerPain]) -> None:
    from casebook.domain.cautions import PAIN_SOURCES
    from casebook.services.pain_runs import runs_of_pain

    cautions, pains = list(found), list(pain)
    for one in cautions:
        _say(f"Visit of {one.visited_on}: {one.caution.words}{_seen(one.seen)}")
        _say(f"  Source: {one.caution.rule.sources}")
    for run in runs_of_pain(pains):
        _say(f"{run.title}: {run.run.words}{_seen(run.seen)}")
    if pains:
        _say(f"  Source: {PAIN_SOURCES}")
    if not cautions and not pains:
        typer.echo(f"Nothing that was entered of {runner} calls for a caution.")


def _seen(seen: Any) -> str:
    return "" if seen is None else f" Seen by {seen.by} on {seen.at:%Y-%m-%d}: {seen.reason}"
