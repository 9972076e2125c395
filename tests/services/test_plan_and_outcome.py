"""A programme with targets and hypotheses over its reviews: what became of each of them.

One runner whose asymmetry of strength truly shrank from the left side gaining, while the steps
stayed; a second programme whose own baseline is what the first one left.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from casebook.domain.cautions import CautionAction, Finding, PainReason
from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.history import Subject
from casebook.domain.hypotheses import HypothesisKind, Link, LinkCall, Order, Outcome, Role
from casebook.domain.injuries import Course
from casebook.domain.injury_course import Subsequent, TimeLossBin
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.people import Role as UserRole
from casebook.domain.people import User
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import (
    AdherenceWeek,
    Aim,
    Block,
    Programme,
    Target,
    TargetDirection,
    TargetOn,
)
from casebook.domain.running_load import Run
from casebook.domain.sides import Side
from casebook.domain.target_outcomes import TargetCall
from casebook.domain.time_line import EventKind
from casebook.domain.verdicts import Call, SideMoved, What
from casebook.domain.visits import VisitKind, value_of_trials
from casebook.services import clock
from casebook.services.adhering import record_week
from casebook.services.amending_records import strike_out_record
from casebook.services.calibrating import NONE_DUE, calibrate
from casebook.services.cataloguing import adopt_figure
from casebook.services.cautioning import (
    acknowledge_caution,
    acknowledge_pain,
    findings_of,
    list_cautions,
    list_pain_flags,
    record_findings,
)
from casebook.services.hypothesising import (
    amend_hypothesis,
    list_hypotheses,
    score_hypotheses,
    write_hypothesis,
)
from casebook.services.injury_course import runner_course
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.outcomes import programme_effect
from casebook.services.pain_runs import runs_of_pain
from casebook.services.prescribing import list_injuries_of, prescribe
from casebook.services.recording import record_visit
from casebook.services.registering import record_injury, register_user
from casebook.services.running import list_runs, record_run
from casebook.services.striking_out import strike_out_visit
from casebook.services.targeting import list_targets, preview_target
from casebook.services.undoing_entries import undo_entry
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import STEPS, STRENGTH, a_visit, an_injury

START = date(2026, 3, 2)
DUE = date(2026, 5, 1)
SECOND = date(2026, 6, 1)
SHRINK = Target(
    metric=STRENGTH,
    what=TargetOn.LEFT,
    direction=TargetDirection.UP,
    amount=40.0,
    due_on=DUE,
)


@pytest.fixture
def on_day(monkeypatch: pytest.MonkeyPatch) -> Callable[[date], None]:
    """Let the only reader of the time say another day."""
    return lambda day: monkeypatch.setattr(clock, "today", lambda: day)


def fill(casebook: Casebook, *, second: bool = False) -> int:
    """Figures, visits and a programme from 2 March; returns the programme's id."""
    for metric, between in ((STRENGTH, 4.0), (STEPS, 1.0)):
        adopt_figure(
            casebook,
            ErrorFigure(
                metric=metric,
                applies_to=AppliesTo.SIDE_VALUE,
                origin=ErrorOrigin.OWN,
                between_sd=between,
                within_sd=3.0,
                source="invented for this test",
            ),
        )
    for day, left, kind in (
        (START, 250.0, VisitKind.BASELINE),
        (date(2026, 4, 6), 280.0, VisitKind.REVIEW),
        (date(2026, 5, 4), 300.0, VisitKind.REVIEW),
        (date(2026, 5, 25), 301.0, VisitKind.REVIEW),
        (date(2026, 6, 29), 303.0, VisitKind.REVIEW),
    ):
        values = (
            value_of_trials(STRENGTH, Side.LEFT, [left - 1, left, left + 1]),
            value_of_trials(STRENGTH, Side.RIGHT, [309.0, 310.0, 311.0]),
            value_of_trials(STEPS, Side.NONE, [170.0, 171.0, 172.0]),
        )
        record_visit(casebook, a_visit(visited_on=day, kind=kind, values=values), by="kim")
    first = prescribe(casebook, Prescription(programme=a_programme("First", START)), by="kim")
    if second:
        prescribe(casebook, Prescription(programme=a_programme("Second", SECOND)), by="kim")
    return first.programme_id


def a_programme(title: str, start: date) -> Programme:
    later = start - START
    return Programme(
        runner="T-001",
        title=title,
        started_on=start,
        ended_on=start + timedelta(days=70),
        blocks=(Block(position=1, aim=Aim.STRENGTH, exercise="hip", sessions_per_week=3.0),),
        targets=(replace(SHRINK, due_on=DUE + later - timedelta(days=35 if later else 0)),),
    )


def links() -> tuple[Link, ...]:
    return (
        Link(
            position=1, role=Role.DRIVER, metric=STRENGTH, on=TargetOn.LEFT,
            direction=TargetDirection.UP, amount=30.0, due_on=DUE,
        ),
        Link(
            position=2, role=Role.CONSEQUENCE, metric=STRENGTH, on=TargetOn.ASYMMETRY,
            direction=TargetDirection.TOWARDS_ZERO, amount=10.0, due_on=DUE,
        ),
        Link(position=3, role=Role.STILL, metric=STEPS, on=TargetOn.NONE, due_on=DUE),
    )  # fmt: skip


def wrote(casebook: Casebook, programme_id: int, *, sureness: int = 70) -> None:
    write_hypothesis(
        casebook,
        programme_id,
        kind=HypothesisKind.STRENGTH,
        driver="weak on the left",
        links=links(),
        sureness_pct=sureness,
        by="kim",
    )


def test_a_target_is_held_against_the_visits_before_its_own_programme(
    sqlite_clinic: Casebook,
) -> None:
    fill(sqlite_clinic, second=True)
    first, second = list_targets(sqlite_clinic, "T-001", today=date(2026, 8, 1))
    assert first.outcome.call is TargetCall.MET
    assert first.outcome.moved == pytest.approx(50.0)
    assert "met" in first.words
    # From 301 N before the second programme nothing more was gained.
    assert (second.title, second.outcome.call) == ("Second", TargetCall.NOT_MET)
    assert second.outcome.moved == pytest.approx(303.0 - 301.0)
    [not_due, _] = list_targets(sqlite_clinic, "T-001", today=date(2026, 4, 1))
    assert not_due.outcome.call is TargetCall.NOT_DUE


def test_a_target_too_small_to_see_is_warned_of_with_the_trials_that_would_do(
    sqlite_clinic: Casebook,
) -> None:
    fill(sqlite_clinic)
    seen = preview_target(sqlite_clinic, SHRINK)
    assert (seen.warning, seen.advice) == ("", "")
    assert seen.mdc is not None
    # Between endless trials the 4 N between sessions stay: 1.96 * sqrt(2) * 4 = 11.1.
    small = preview_target(sqlite_clinic, replace(SHRINK, amount=seen.mdc * 0.95))
    assert "would not be able to see" in small.warning
    assert small.trials is not None
    assert small.advice.startswith(f"{small.trials} trials a visit instead of ")
    never = preview_target(sqlite_clinic, replace(SHRINK, amount=5.0))
    assert never.trials is None
    assert "No number of trials" in never.advice
    percent = replace(SHRINK, what=TargetOn.ASYMMETRY, amount=1.0)
    assert preview_target(sqlite_clinic, percent).mdc is None
    whose = preview_target(sqlite_clinic, percent, runner="T-001")
    assert whose.mdc is not None
    assert whose.warning


def test_a_hypothesis_is_frozen_versioned_and_scored_link_by_link(
    clinic: Casebook, on_day: Callable[[date], None]
) -> None:
    programme_id = fill(clinic)
    on_day(date(2026, 3, 1))
    wrote(clinic, programme_id)
    amend_hypothesis(
        clinic, programme_id, 1, expected_version=1, reason="surer", by="kim", sureness_pct=80
    )
    on_day(date(2026, 4, 1))
    amend_hypothesis(
        clinic, programme_id, 1, expected_version=2, reason="too late", by="lee", sureness_pct=99
    )
    with pytest.raises(Conflict, match="version 3"):
        amend_hypothesis(
            clinic, programme_id, 1, expected_version=2, reason="x", by="", sureness_pct=5
        )
    [stored] = list_hypotheses(clinic, "T-001")
    assert [one.sureness_pct for one in stored.versions] == [70, 80, 99]
    assert stored.frozen
    assert stored.counts == stored.versions[1]
    [scored] = score_hypotheses(clinic, "T-001")
    assert [one.score.call for one in scored.links] == [
        LinkCall.AS_PREDICTED,
        LinkCall.AS_PREDICTED,
        LinkCall.STAYED_STILL,
    ]
    assert scored.links[1].order is Order.SAME_VISIT
    assert scored.outcome is Outcome.HELD
    assert "caused" not in scored.words
    assert scored.links[0].course[0].on_date == date(2026, 4, 6)
    with pytest.raises(Conflict, match="nobody takes back"):
        strike_out_record(clinic, "T-001", (Subject.PROGRAMME, programme_id), reason="x", by="kim")
    with reading(clinic.engine) as unit:
        number = next(
            one.number for one in history.every_entry(unit) if one.subject is Subject.HYPOTHESIS
        )
    with pytest.raises(InputRefused, match="nobody takes back"):
        undo_entry(clinic, number, reason="x", by="kim")
    assert check_casebook(clinic).ok


def test_the_database_itself_refuses_to_change_what_was_predicted(
    clinic: Casebook, on_day: Callable[[date], None]
) -> None:
    programme_id = fill(clinic)
    on_day(date(2026, 3, 1))
    wrote(clinic, programme_id)
    for statement in ("UPDATE hypothesis SET sureness_pct = 99", "DELETE FROM hypothesis_link"):
        with (
            clinic.engine.connect() as connection,
            pytest.raises(DBAPIError, match="only ever added to"),
        ):
            connection.execute(text(statement))


def test_what_is_written_after_the_start_is_never_scored(
    sqlite_clinic: Casebook, on_day: Callable[[date], None]
) -> None:
    programme_id = fill(sqlite_clinic)
    on_day(date(2026, 3, 3))
    wrote(sqlite_clinic, programme_id)
    [scored] = score_hypotheses(sqlite_clinic, "T-001")
    assert (scored.links, scored.stored.counts) == ((), None)
    assert "never scored" in scored.words
    assert calibrate(sqlite_clinic, since=START, until=DUE).hypotheses == 0
    for wrong, code in (
        (replace(links()[0], metric="nix"), "unknown_metric"),
        (replace(links()[0], on=TargetOn.NONE), "what_not_taken"),
    ):
        with pytest.raises(InputRefused) as refused:
            write_hypothesis(
                sqlite_clinic,
                programme_id,
                kind=HypothesisKind.LOAD,
                driver="x",
                links=[wrong],
                sureness_pct=50,
                by="",
            )
        assert [problem.code for problem in refused.value.problems] == [code]


def test_calibration_counts_what_fell_due_in_the_time_by_kind(
    sqlite_clinic: Casebook, on_day: Callable[[date], None]
) -> None:
    programme_id = fill(sqlite_clinic)
    on_day(date(2026, 3, 1))
    wrote(sqlite_clinic, programme_id)
    wrong = replace(links()[0], direction=TargetDirection.DOWN)
    write_hypothesis(
        sqlite_clinic,
        programme_id,
        kind=HypothesisKind.LOAD,
        driver="the load",
        links=[wrong],
        sureness_pct=90,
        by="lee",
    )
    on_day(date(2026, 12, 1))
    report = calibrate(sqlite_clinic)
    assert (report.hypotheses, report.tally.held, report.tally.did_not_hold) == (2, 1, 1)
    # ((0.7 - 1)^2 + 0.9^2) / 2
    assert report.calibrations[0].brier.score == pytest.approx(0.45)
    assert [one.kind for one in report.calibrations] == ["", "load", "strength"]
    assert set(report.by_kind) == {HypothesisKind.STRENGTH, HypothesisKind.LOAD}
    assert calibrate(sqlite_clinic, by="lee").tally.held == 0
    assert calibrate(sqlite_clinic, until=date(2026, 4, 1)).words == (NONE_DUE,)
    with pytest.raises(InputRefused, match="beginning first"):
        calibrate(sqlite_clinic, since=date(2026, 5, 1), until=date(2026, 4, 1))


def test_a_gap_that_closed_from_the_wrong_side_counts_neither_as_held_nor_as_failed(
    sqlite_clinic: Casebook, on_day: Callable[[date], None]
) -> None:
    programme_id = fill(sqlite_clinic)
    on_day(date(2026, 3, 1))
    gap = replace(
        links()[0],
        on=TargetOn.ASYMMETRY,
        direction=TargetDirection.TOWARDS_ZERO,
        amount=5.0,
        due_on=date(2026, 7, 1),
    )
    write_hypothesis(
        sqlite_clinic,
        programme_id,
        kind=HypothesisKind.STRENGTH,
        driver="a weak left hip",
        links=[gap],
        sureness_pct=90,
        by="kim",
    )
    fallen = (
        value_of_trials(STRENGTH, Side.LEFT, [249.0, 250.0, 251.0]),
        value_of_trials(STRENGTH, Side.RIGHT, [251.0, 252.0, 253.0]),
    )
    last = a_visit(visited_on=date(2026, 7, 6), kind=VisitKind.REVIEW, values=fallen)
    on_day(date(2026, 12, 1))
    record_visit(sqlite_clinic, last, by="kim")
    [scored] = score_hypotheses(sqlite_clinic, "T-001")
    assert scored.links[0].score.call is LinkCall.AS_PREDICTED
    assert scored.outcome is Outcome.HOLLOW
    assert "0 of 1 predictions held" in scored.words
    report = calibrate(sqlite_clinic)
    assert (report.hypotheses, report.tally.hollow) == (1, 1)
    assert (report.tally.held, report.tally.did_not_hold, report.tally.not_told) == (0, 0, 0)
    assert report.calibrations == ()
    assert "closed only because the better side fell" in report.words[0]


def test_the_effect_tells_targets_beside_the_others_with_what_argues_against_it(
    sqlite_clinic: Casebook,
) -> None:
    programme_id = fill(sqlite_clinic, second=True)
    record_week(
        sqlite_clinic,
        programme_id,
        AdherenceWeek(week_start=START, sessions_planned=3, sessions_done=1, pain_during=6.0),
        by="kim",
    )
    told = programme_effect(sqlite_clinic, programme_id)
    [left] = [one for one in told.effect.effects if one.targeted]
    assert (left.what, left.call) == (What.LEFT, Call.IMPROVED)
    assert left.change is not None
    assert left.change.change == pytest.approx(50.0)
    # The asymmetry is made of the same readings, so it does not count as a comparison.
    assert {one.metric for one in told.effect.effects if not one.targeted} == {STEPS}
    assert told.effect.pain_weeks == 1
    assert any("1 of 3" in part or "33" in part for part in told.against)
    assert "None of this says why" in told.paragraph
    assert "cause" not in told.paragraph
    second = programme_effect(sqlite_clinic, programme_id + 1)
    [left] = [one for one in second.effect.effects if one.targeted]
    assert left.call is Call.UNCHANGED


def test_an_asymmetry_that_is_targeted_says_which_side_moved(sqlite_clinic: Casebook) -> None:
    fill(sqlite_clinic)
    programme = replace(
        a_programme("Asymmetry", START),
        targets=(
            replace(
                SHRINK,
                what=TargetOn.ASYMMETRY,
                direction=TargetDirection.TOWARDS_ZERO,
                amount=10.0,
            ),
        ),
    )
    stored = prescribe(sqlite_clinic, Prescription(programme=programme), by="")
    told = programme_effect(sqlite_clinic, stored.programme_id)
    [asymmetry] = [one for one in told.effect.effects if one.targeted]
    assert asymmetry.side_moved is SideMoved.WORSE_SIDE_GAINED
    assert told.effect.overlapping == ("First",)


def test_findings_call_for_cautions_that_are_open_until_somebody_says_what_was_done(
    clinic: Casebook,
) -> None:
    fill(clinic)
    register_user(clinic, User(code="kim", display_name="Kim", role=UserRole.LEAD))
    found = {Finding.BONE_TENDERNESS: True, Finding.NIGHT_PAIN: True, Finding.FEVER: False}
    [caution] = record_findings(clinic, "T-001", START, 1, found, by="kim")
    assert "consider referral" in caution.caution.words
    assert findings_of(clinic, "T-001", START) == found
    rule = caution.caution.rule.key
    with pytest.raises(InputRefused, match="reason"):
        acknowledge_caution(
            clinic, "T-001", START, 1, rule, action=CautionAction.REFERRED, reason="", by="kim"
        )
    with pytest.raises(NotFound, match="no user"):
        acknowledge_caution(
            clinic, "T-001", START, 1, rule, action=CautionAction.REFERRED, reason="x", by="z"
        )
    acknowledge_caution(
        clinic,
        "T-001",
        START,
        1,
        rule,
        action=CautionAction.REFERRED,
        reason="sent to the practice",
        by="kim",
    )
    assert list_cautions(clinic, "T-001") == ()
    [seen] = list_cautions(clinic, "T-001", include_seen=True)
    assert seen.seen is not None
    assert (seen.seen.action, seen.seen.by) == (CautionAction.REFERRED, "kim")
    with pytest.raises(Conflict, match="already"):
        acknowledge_caution(
            clinic, "T-001", START, 1, rule, action=CautionAction.REFERRED, reason="x", by="kim"
        )
    with pytest.raises(InputRefused, match="reason"):
        record_findings(clinic, "T-001", START, 1, {Finding.NIGHT_PAIN: False}, by="kim")
    # More was found: what was said about less does not count for it.
    [again] = record_findings(clinic, "T-001", START, 1, {Finding.HOP_PAIN: True}, by="kim")
    assert Finding.HOP_PAIN in again.caution.findings
    assert check_casebook(clinic).ok


def test_a_struck_out_visit_takes_its_findings_along_and_brings_them_back(
    clinic: Casebook,
) -> None:
    fill(clinic)
    record_findings(clinic, "T-001", START, 1, {Finding.NUMBNESS: True}, by="kim")
    strike_out_visit(clinic, "T-001", START, expected_revision=1, reason="wrong", by="kim")
    assert list_cautions(clinic, "T-001") == ()
    with reading(clinic.engine) as unit:
        number, _ = history.last(unit)
    undo_entry(clinic, number, reason="it was right", by="kim")
    assert findings_of(clinic, "T-001", START) == {Finding.NUMBNESS: True}
    assert check_casebook(clinic).ok


def test_pain_beyond_the_limits_is_flagged_until_seen_and_again_when_the_week_changes(
    clinic: Casebook,
) -> None:
    programme_id = fill(clinic)
    register_user(clinic, User(code="kim", display_name="Kim", role=UserRole.LEAD))
    week = AdherenceWeek(
        week_start=START, sessions_planned=3, sessions_done=3, pain_morning_after=6.0
    )
    record_week(clinic, programme_id, week, by="kim")
    [pain] = list_pain_flags(clinic, "T-001")
    assert pain.flag.reason is PainReason.MORNING_TOO_HIGH
    acknowledge_pain(clinic, programme_id, [START], pain.flag.reason, reason="eased off", by="kim")
    assert list_pain_flags(clinic, "T-001") == ()
    with pytest.raises(NotFound, match="no such flag"):
        acknowledge_pain(clinic, programme_id, [START], PainReason.RISING, reason="x", by="kim")
    record_week(
        clinic, programme_id, replace(week, pain_morning_after=8.0), by="kim", reason="typo"
    )
    assert len(list_pain_flags(clinic, "T-001")) == 1
    assert check_casebook(clinic).ok


def test_weeks_of_pain_in_a_row_are_one_line_and_seen_all_or_none(clinic: Casebook) -> None:
    programme_id = fill(clinic)
    register_user(clinic, User(code="kim", display_name="Kim", role=UserRole.LEAD))
    starts = [START + timedelta(weeks=at) for at in range(3)]
    for start in starts:
        week = AdherenceWeek(week_start=start, sessions_planned=3, sessions_done=3, pain_during=7.0)
        record_week(clinic, programme_id, week, by="kim")
    kind = PainReason.DURING_TOO_HIGH
    (line,) = runs_of_pain(list_pain_flags(clinic, "T-001"))
    assert [one.flag.week.week_start for one in line.weeks] == starts
    assert "in 3 weeks in a row" in line.run.words
    acknowledge_pain(clinic, programme_id, starts[1:2], kind, reason="eased off", by="kim")
    lines = runs_of_pain(list_pain_flags(clinic, "T-001", include_seen=True))
    assert [(len(one.weeks), one.seen is not None) for one in lines] == [
        (1, False), (1, True), (1, False),
    ]  # fmt: skip
    with pytest.raises(Conflict, match="acknowledged already"):
        acknowledge_pain(clinic, programme_id, starts, kind, reason="all of it", by="kim")
    assert len(list_pain_flags(clinic, "T-001")) == 2
    acknowledge_pain(clinic, programme_id, starts[::2], kind, reason="so were these", by="kim")
    assert list_pain_flags(clinic, "T-001") == ()
    assert check_casebook(clinic).ok


def test_the_course_of_complaints_tells_time_loss_recurrence_and_the_way_back(
    clinic: Casebook,
) -> None:
    programme_id = fill(clinic)
    onset = date(2026, 1, 12)
    record_injury(
        clinic,
        an_injury(
            onset_on=onset,
            course=Course.RESOLVED,
            returned_on=date(2026, 1, 20),
            fully_back_on=date(2026, 1, 27),
            days_limited=8,
        ),
    )
    record_injury(clinic, an_injury(onset_on=date(2026, 4, 1), consulted=False, days_limited=2))
    assert [one.fully_back_on for _, one in list_injuries_of(clinic, "T-001")] == [
        date(2026, 1, 27),
        None,
    ]
    for back, km in ((-20, 8.0), (-13, 8.0), (-6, 8.0), (8, 3.0), (20, 9.0), (20, 2.0)):
        record_run(clinic, "T-001", Run(on=onset + timedelta(days=back), distance_km=km), by="")
    assert len(list_runs(clinic, "T-001")) == 6
    with pytest.raises(InputRefused, match="future"):
        record_run(clinic, "T-001", Run(on=date(2999, 1, 1)), by="")
    record_findings(clinic, "T-001", START, 1, {Finding.WEAKNESS: True}, by="kim")
    for day, running in ((date(2026, 2, 2), 1.0), (date(2026, 4, 20), 7.0)):
        felt = [value_of_trials("pain_running", Side.NONE, [running])]
        felt.append(value_of_trials("pain_rest", Side.NONE, [running / 7]))
        record_visit(clinic, a_visit(visited_on=day, values=tuple(felt)), by="kim")
    course = runner_course(clinic, "T-001", today=date(2026, 5, 1))
    first, second = course.complaints
    assert first.loss is not None
    assert (first.loss.days, first.loss.bin) == (14, TimeLossBin.DAYS_8_TO_28)
    assert first.succession.kind is Subsequent.INDEX
    assert second.succession.kind is Subsequent.RECURRENCE
    assert second.loss is not None
    assert second.loss.still_out
    assert (first.running_injury, second.running_injury) == (True, None)
    assert first.back.days_to_first_run == 8
    assert [
        [(p.what, p.pain) for p in one.pain if p.what in {"running", "rest"}]
        for one in (first, second)
    ] == [
        [("rest", pytest.approx(1 / 7)), ("running", 1.0)],
        [("rest", 1.0), ("running", 7.0)],
    ]
    kinds = {event.kind for event in course.events}
    assert {EventKind.ONSET, EventKind.VISIT, EventKind.CAUTION, EventKind.PROGRAMME_START} <= kinds
    assert [event.on for event in course.events] == sorted(event.on for event in course.events)
    assert course.weeks[0].distance_km == 8.0
    assert programme_id
    assert check_casebook(clinic).ok
