"""Reviewing a runner, listing the caseload, acknowledging flags; on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from casebook.domain.cautions import CautionAction, Finding
from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.metrics import AppliesTo, Condition, ErrorFigure, ErrorOrigin
from casebook.domain.people import User
from casebook.domain.programmes import Programme
from casebook.domain.sides import Side
from casebook.domain.verdicts import Call, Flag, FlagKind, Reason, SideMoved, Verdict, What
from casebook.domain.visits import Conditions, Value, VisitKind, value_of_mean
from casebook.services.cataloguing import adopt_figure
from casebook.services.cautioning import acknowledge_caution, record_findings
from casebook.services.flagging import acknowledge_flag, list_flags
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import record_injury, register_runner, register_user
from casebook.services.reviewing import list_caseload, review_runner
from casebook.services.standings import StandingMemo
from casebook.storage.session import writing
from casebook.storage.tables import ProgrammeRow, RunnerRow
from tests.builders import BEND, STEPS, a_runner, a_visit, an_injury

START = date(2026, 3, 2)
FEBRUARY = START - timedelta(days=28)


def bend(left: float, right: float, trials: int = 5) -> tuple[Value, ...]:
    return (
        value_of_mean(BEND, Side.LEFT, left, trials),
        value_of_mean(BEND, Side.RIGHT, right, trials),
    )


def own_figure(metric: str = BEND, between: float = 0.6, within: float = 1.0) -> ErrorFigure:
    return ErrorFigure(
        metric=metric,
        applies_to=AppliesTo.SIDE_VALUE,
        origin=ErrorOrigin.OWN,
        between_sd=between,
        within_sd=within,
        source="our repeat measurements, spring 2026",
    )


def record(casebook: Casebook, week: int, *values: Value, **changes: object) -> None:
    kind = VisitKind.BASELINE if week == 0 else VisitKind.REVIEW
    day = START + timedelta(weeks=week)
    record_visit(
        casebook,
        a_visit(**({"visited_on": day, "kind": kind, "values": values} | changes)),
        by="ab",
    )


def verdict(casebook: Casebook, what: What, metric: str = BEND) -> Verdict:
    found = review_runner(casebook, "T-001").verdicts
    return next(v for v in found if (v.metric, v.what) == (metric, what))


def test_a_weak_side_that_gained_is_told_as_such_with_the_source_of_the_error(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    record(clinic, 0, *bend(20.0, 30.0))
    record(clinic, 8, *bend(27.0, 30.2))
    asymmetry = verdict(clinic, What.ASYMMETRY)
    assert asymmetry.verdict is Call.IMPROVED
    assert asymmetry.which_side_moved is SideMoved.WORSE_SIDE_GAINED
    assert asymmetry.error_origin is ErrorOrigin.OWN
    assert asymmetry.error_source == "our repeat measurements, spring 2026"
    assert asymmetry.baseline == pytest.approx(10.0)
    assert asymmetry.change == pytest.approx(-6.8)
    # SEM of each side: sqrt(0.6**2 + 1/5); twice for R - L, twice for a change.
    assert asymmetry.se_change == pytest.approx(2 * (0.36 + 0.2) ** 0.5)


def test_an_asymmetry_that_shrank_because_the_better_side_fell_raises_a_flag(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    record(clinic, 0, *bend(20.0, 30.0))
    record(clinic, 8, *bend(20.3, 23.0))
    review = review_runner(clinic, "T-001")
    assert [flag.kind for flag in review.open_flags] == [FlagKind.BETTER_SIDE_FELL]
    assert "only because the better side fell" in review.open_flags[0].message


def test_without_an_error_figure_there_are_numbers_and_no_verdict(clinic: Casebook) -> None:
    record(clinic, 0, value_of_mean(STEPS, Side.NONE, 165.0, 1))
    record(clinic, 8, value_of_mean(STEPS, Side.NONE, 176.0, 1))
    steps = verdict(clinic, What.NONE, STEPS)
    assert (steps.verdict, steps.reason) == (Call.CANNOT_SAY, Reason.NO_ERROR_FIGURE)
    assert steps.change == pytest.approx(11.0)
    assert steps.mdc95 is None


def test_an_adopted_figure_changes_the_verdict_at_once(clinic: Casebook) -> None:
    record(clinic, 0, *bend(20.0, 30.0))
    record(clinic, 8, *bend(20.0, 22.0))
    assert verdict(clinic, What.RIGHT).reason is Reason.NO_ERROR_FIGURE
    adopt_figure(clinic, own_figure())
    assert verdict(clinic, What.RIGHT).verdict is Call.WORSENED


def test_everything_before_the_programme_is_baseline_and_repeat_measurements_never_count(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    record(clinic, 0, *bend(20.0, 30.0))
    record(clinic, 1, *bend(90.0, 10.0), kind=VisitKind.REPEAT)
    record(clinic, 2, *bend(22.0, 30.0))
    record(clinic, 10, *bend(27.0, 30.0))
    with writing(clinic.engine) as unit:
        unit.add(
            ProgrammeRow(
                runner_id=unit.scalars(select(RunnerRow.id)).one(),
                title="Calf and hip, eight weeks",
                kind="injury",
                started_on=START + timedelta(weeks=2),
            )
        )
        unit.commit()
    review = review_runner(clinic, "T-001")
    assert [line.reference for line in review.visits] == [True, False, True, False]
    left = next(v for v in review.verdicts if v.what is What.LEFT)
    assert (left.baseline, left.baseline_visits) == (pytest.approx(21.0), 2)
    assert isinstance(review.programmes[0], Programme)
    assert set(review.course["session"]) == {1}
    assert len(review.course[review.course["what"] == "left"]) == 3


def test_what_differs_is_listed_and_withholds_the_verdict_only_where_it_matters(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    record(clinic, 0, *bend(20.0, 30.0))
    record(clinic, 8, *bend(27.0, 30.0), conditions=Conditions(speed_km_h=13.0, surface="track"))
    left = verdict(clinic, What.LEFT)
    assert left.verdict is Call.IMPROVED, "this metric is sensitive to no condition"
    assert left.like_for_like == (Condition.SPEED, Condition.SURFACE)
    assert left.not_recorded == ()


def test_a_review_states_how_many_false_flags_to_expect_now_and_over_the_course(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    record(clinic, 0, *bend(20.0, 21.0))
    for week in (4, 8, 12):
        record(clinic, week, *bend(20.0, 21.0))
    review = review_runner(clinic, "T-001")
    assert review.tests == 1
    assert review.expected_false == pytest.approx(0.025)
    assert review.expected_false_course == pytest.approx(3 * 0.025)
    assert review.flags == ()


def test_what_was_measured_at_baseline_and_not_since_is_told_as_missing(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, own_figure())
    steps = value_of_mean(STEPS, Side.NONE, 165.0, 1)
    record(clinic, 0, *bend(20.0, 30.0), steps)
    # Without a later visit there is nothing to miss.
    assert review_runner(clinic, "T-001").verdicts == ()
    record(clinic, 8, bend(20.0, 30.0)[0])
    found = review_runner(clinic, "T-001").verdicts
    assert [(v.metric, v.what, v.reason) for v in found] == [
        (BEND, What.LEFT, None),
        (BEND, What.RIGHT, Reason.MISSING),
        (BEND, What.ASYMMETRY, Reason.MISSING),
        (STEPS, What.NONE, Reason.MISSING),
    ]
    right = found[1]
    assert (right.verdict, right.baseline, right.latest) == (Call.CANNOT_SAY, 30.0, None)
    assert (right.error_origin, right.error_source) == (
        ErrorOrigin.OWN,
        "our repeat measurements, spring 2026",
    )
    assert found[3].error_origin is ErrorOrigin.NONE


def test_an_unknown_runner_is_refused_and_one_without_visits_is_shown(clinic: Casebook) -> None:
    with pytest.raises(NotFound, match="T-999"):
        review_runner(clinic, "T-999")
    review = review_runner(clinic, "T-001")
    assert (review.visits, review.verdicts, review.flags) == ((), (), ())
    assert review.course.empty


def worsened(clinic: Casebook) -> Flag:
    adopt_figure(clinic, own_figure())
    register_user(clinic, User(code="ab"))
    record(clinic, 0, *bend(20.0, 25.0))
    record(clinic, 8, *bend(20.0, 33.0))
    return review_runner(clinic, "T-001").open_flags[0]


def acknowledge(clinic: Casebook, flag: Flag, reason: str = "new shoes", by: str = "ab") -> None:
    acknowledge_flag(
        clinic,
        flag.runner,
        flag.visit_date,
        flag.session,
        flag.metric,
        flag.kind,
        reason=reason,
        by=by,
    )


def test_an_acknowledged_flag_leaves_the_open_ones_and_stays_in_the_history(
    clinic: Casebook,
) -> None:
    flag = worsened(clinic)
    acknowledge(clinic, flag)
    review = review_runner(clinic, "T-001")
    assert review.open_flags == ()
    assert (review.flags[0].acknowledged_by, review.flags[0].acknowledged_reason) == (
        "ab",
        "new shoes",
    )
    assert review.flags[0].acknowledged_at is not None
    assert list_flags(clinic).flags == ()
    assert [found.acknowledged for found in list_flags(clinic, all_visits=True).flags] == [True]


def test_a_flag_is_acknowledged_once_by_a_known_user_with_a_reason(clinic: Casebook) -> None:
    flag = worsened(clinic)
    with pytest.raises(InputRefused, match="reason"):
        acknowledge(clinic, flag, reason="   ")
    with pytest.raises(NotFound, match="nobody"):
        acknowledge(clinic, flag, by="nobody")
    acknowledge(clinic, flag)
    with pytest.raises(Conflict, match="new shoes"):
        acknowledge(clinic, flag, reason="again")


def test_a_flag_that_does_not_exist_cannot_be_acknowledged(clinic: Casebook) -> None:
    flag = worsened(clinic)
    with pytest.raises(NotFound, match="no flag of kind 'symptom_up'"):
        acknowledge_flag(
            clinic,
            flag.runner,
            flag.visit_date,
            1,
            flag.metric,
            FlagKind.SYMPTOM_UP,
            reason="x",
            by="ab",
        )


def test_the_caseload_says_who_is_overdue_who_is_flagged_and_what_is_worst(
    clinic: Casebook,
) -> None:
    worsened(clinic)
    record_injury(clinic, an_injury())
    register_runner(clinic, a_runner(code="T-002"))
    record(clinic, 0, runner="T-002", next_due_on=START + timedelta(weeks=3))
    first, second = list_caseload(clinic, today=START + timedelta(weeks=9))
    assert (first.code, first.open_flags, first.n_visits) == ("T-001", 1, 2)
    assert "asymmetry up from 5.0° (right larger) to 13.0° (right larger)" in first.worst_flag
    assert first.complaint == "left knee: tendinopathy (open)"
    assert (second.overdue, second.open_flags, second.worst_flag) == (True, 0, "")


def test_the_caseload_names_a_prompt_to_consider_referral_until_somebody_has_seen_it(
    clinic: Casebook,
) -> None:
    register_user(clinic, User(code="kim", display_name="Kim"))
    record(clinic, 0)
    found = {Finding.BONE_TENDERNESS: True, Finding.NIGHT_PAIN: True, Finding.FEVER: False}
    [prompt] = record_findings(clinic, "T-001", START, 1, found, by="kim")
    [entry] = list_caseload(clinic, today=START)
    assert (entry.open_flags, entry.open_prompts) == (0, 1)
    assert (entry.worst_prompt, entry.prompted_on) == (prompt.caution.words, START)
    acknowledge_caution(
        clinic,
        "T-001",
        START,
        1,
        prompt.caution.rule.key,
        action=CautionAction.REFERRED,
        reason="sent on",
        by="kim",
    )
    [entry] = list_caseload(clinic, today=START)
    assert (entry.open_prompts, entry.worst_prompt, entry.prompted_on) == (0, "", None)


def test_what_was_judged_before_is_judged_again_only_when_the_record_moved_on(
    clinic: Casebook,
) -> None:
    worsened(clinic)
    register_runner(clinic, a_runner(code="T-002"))
    memo = StandingMemo()
    today = START + timedelta(weeks=9)
    list_caseload(clinic, today=today, memo=memo)
    kept = {runner: found for runner, (_, found) in memo.kept.items()}
    record(clinic, 9, *bend(20.0, 25.0))
    entries = list_caseload(clinic, today=today, memo=memo)
    assert entries[0].open_flags == 0
    moved = [runner for runner, (_, found) in memo.kept.items() if found is not kept[runner]]
    assert len(moved) == 1
    adopt_figure(clinic, own_figure(between=50.0))
    list_caseload(clinic, today=today, memo=memo)
    assert all(memo.kept[runner][1] is not found for runner, found in kept.items())


def test_a_flag_stays_open_until_the_same_thing_could_be_compared_again(clinic: Casebook) -> None:
    worsened(clinic)
    record(clinic, 9, value_of_mean(STEPS, Side.NONE, 170.0, 1))
    assert [flag.visit_date for flag in review_runner(clinic, "T-001").open_flags] == [
        START + timedelta(weeks=8)
    ], "a visit that did not measure it settles nothing"
    record(clinic, 10, *bend(20.0, 25.0))
    review = review_runner(clinic, "T-001")
    assert review.open_flags == ()
    assert [flag.stands for flag in review.flags] == [False]
