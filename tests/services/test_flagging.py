"""Acknowledged flags carried on or raised again, missed targets, and what is judged anew."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from casebook.domain.errors import Conflict
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.people import User
from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.domain.sides import Side
from casebook.domain.verdicts import Flag, FlagKind
from casebook.domain.visits import Value, VisitKind, value_of_mean
from casebook.services.cataloguing import adopt_figure
from casebook.services.flagging import acknowledge_flag, list_flags
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner, register_user
from casebook.services.reviewing import review_runner
from casebook.services.standings import StandingMemo
from casebook.storage.frames import targets_frame
from casebook.storage.session import reading, writing
from casebook.storage.tables import MetricRow, ProgrammeRow, RunnerRow, TargetRow
from tests.builders import BEND, a_runner, a_visit

START = date(2026, 3, 2)
# Each side's SEM is 1, that of R - L sqrt(2), and that of a change between two visits 2.
FIGURE = ErrorFigure(
    metric=BEND,
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    between_sd=1.0,
    within_sd=0.001,
    source="our repeat measurements, spring 2026",
)


def bend(left: float, right: float) -> tuple[Value, ...]:
    return (
        value_of_mean(BEND, Side.LEFT, left, 5),
        value_of_mean(BEND, Side.RIGHT, right, 5),
    )


def record(casebook: Casebook, week: int, left: float, right: float, runner: str = "T-001") -> None:
    kind = VisitKind.BASELINE if week == 0 else VisitKind.REVIEW
    day = START + timedelta(weeks=week)
    visit = a_visit(runner=runner, visited_on=day, kind=kind, values=bend(left, right))
    record_visit(casebook, visit, by="ab")


@pytest.fixture(name="worsened")
def _worsened(sqlite_clinic: Casebook) -> Casebook:
    """A runner whose asymmetry was 5 at baseline and 17 at week 4; T-002 has no visit."""
    return worsen(sqlite_clinic)


def worsen(clinic: Casebook) -> Casebook:
    adopt_figure(clinic, FIGURE)
    register_user(clinic, User(code="ab"))
    register_runner(clinic, a_runner(code="T-002"))
    record(clinic, 0, 20.0, 25.0)
    record(clinic, 4, 20.0, 37.0)
    return clinic


def acknowledge(casebook: Casebook, flag: Flag, reason: str = "new shoes") -> None:
    acknowledge_flag(
        casebook,
        flag.runner,
        flag.visit_date,
        flag.session,
        flag.metric,
        flag.kind,
        reason=reason,
        by="ab",
    )


def flag_of(casebook: Casebook, week: int, kind: FlagKind) -> Flag:
    day = START + timedelta(weeks=week)
    flags = review_runner(casebook, "T-001").flags
    return next(flag for flag in flags if (flag.visit_date, flag.kind) == (day, kind))


def open_kinds(casebook: Casebook) -> set[FlagKind]:
    return {flag.kind for flag in review_runner(casebook, "T-001").open_flags}


def test_the_same_flag_at_a_later_visit_carries_the_acknowledgement_on(worsened: Casebook) -> None:
    acknowledge(worsened, flag_of(worsened, 4, FlagKind.ASYMMETRY_ABOVE_BASELINE))
    record(worsened, 8, 20.0, 38.9)  # 1.9 worse, the standard error of that is 2
    carried = flag_of(worsened, 8, FlagKind.ASYMMETRY_ABOVE_BASELINE)
    assert (carried.acknowledged, carried.carried) == (True, True)
    assert carried.acknowledged_visit == START + timedelta(weeks=4)
    assert (carried.acknowledged_by, carried.acknowledged_reason) == ("ab", "new shoes")
    assert FlagKind.ASYMMETRY_ABOVE_BASELINE not in open_kinds(worsened)
    listed = list_flags(worsened, all_visits=True).flags
    assert carried in listed, "it stays visible in the history"
    with pytest.raises(Conflict, match="not worse by a standard error since"):
        acknowledge(worsened, carried)


def test_one_that_got_worse_by_more_than_its_standard_error_is_raised_again(
    worsened: Casebook,
) -> None:
    acknowledge(worsened, flag_of(worsened, 4, FlagKind.ASYMMETRY_ABOVE_BASELINE))
    record(worsened, 8, 20.0, 39.1)  # 2.1 worse
    assert FlagKind.ASYMMETRY_ABOVE_BASELINE in open_kinds(worsened)
    again = flag_of(worsened, 8, FlagKind.ASYMMETRY_ABOVE_BASELINE)
    assert not again.acknowledged
    acknowledge(worsened, again, "seen by the physician")
    settled = flag_of(worsened, 8, FlagKind.ASYMMETRY_ABOVE_BASELINE)
    assert (settled.carried, settled.acknowledged_reason) == (False, "seen by the physician")
    first = flag_of(worsened, 4, FlagKind.ASYMMETRY_ABOVE_BASELINE)
    assert first.acknowledged_reason == "new shoes", "each keeps its own reason"


def test_small_steps_add_up_to_being_raised_again(worsened: Casebook) -> None:
    acknowledge(worsened, flag_of(worsened, 4, FlagKind.ASYMMETRY_ABOVE_BASELINE))
    record(worsened, 8, 20.0, 38.5)
    record(worsened, 12, 20.0, 40.0)  # 1.5 since the last visit, 3 since it was acknowledged
    assert flag_of(worsened, 8, FlagKind.ASYMMETRY_ABOVE_BASELINE).carried
    assert FlagKind.ASYMMETRY_ABOVE_BASELINE in open_kinds(worsened)


def test_another_kind_is_not_covered_by_the_acknowledgement(worsened: Casebook) -> None:
    acknowledge(worsened, flag_of(worsened, 4, FlagKind.ASYMMETRY_ABOVE_BASELINE))
    record(worsened, 8, 20.0, 38.0)
    assert open_kinds(worsened) == {FlagKind.ASYMMETRY_ABOVE_BEST}


def add_target(casebook: Casebook, what: TargetOn, direction: TargetDirection, due: date) -> None:
    with writing(casebook.engine) as unit:
        programme = unit.scalars(select(ProgrammeRow)).first()
        if programme is None:
            runner = unit.scalars(select(RunnerRow.id).where(RunnerRow.code == "T-001")).one()
            programme = ProgrammeRow(
                runner_id=runner, title="Calf and hip", kind="injury", started_on=START
            )
            unit.add(programme)
            unit.flush()
        metric = unit.scalars(select(MetricRow.id).where(MetricRow.key == BEND)).one()
        unit.add(
            TargetRow(
                programme_id=programme.id,
                metric_id=metric,
                what=what,
                direction=direction,
                amount=4.0,
                due_on=due,
            )
        )
        unit.commit()


# On both databases: the codes of a target are made by the query.
def test_targets_missed_on_a_side_and_on_the_asymmetry_are_one_flag_with_both_sentences(
    clinic: Casebook,
) -> None:
    worsened = worsen(clinic)
    due = START + timedelta(weeks=6)
    add_target(worsened, TargetOn.LEFT, TargetDirection.UP, due)
    add_target(worsened, TargetOn.ASYMMETRY, TargetDirection.TOWARDS_ZERO, due)
    with reading(worsened.engine) as unit:
        frame = targets_frame(unit)
    assert frame["what"].tolist() == [0, 3]
    assert frame["direction"].tolist() == [0, 2]
    record(worsened, 8, 20.0, 30.0)
    flag = flag_of(worsened, 8, FlagKind.TARGET_MISSED)
    assert "the target of left side 24.0°" in flag.message
    assert "an asymmetry of at most 1.0° was missed by more than error" in flag.message
    assert FlagKind.TARGET_MISSED in open_kinds(worsened)
    review = review_runner(worsened, "T-001")
    assert review.tests == 1, "targets are not among the tests that could be false"


def test_a_target_acknowledged_on_one_side_is_raised_again_when_another_is_missed(
    worsened: Casebook,
) -> None:
    add_target(worsened, TargetOn.LEFT, TargetDirection.UP, START + timedelta(weeks=4))
    add_target(
        worsened, TargetOn.ASYMMETRY, TargetDirection.TOWARDS_ZERO, START + timedelta(weeks=8)
    )
    acknowledge(worsened, flag_of(worsened, 4, FlagKind.TARGET_MISSED))
    record(worsened, 8, 20.0, 30.0)
    assert FlagKind.TARGET_MISSED in open_kinds(worsened)


def test_after_one_visit_only_its_runner_is_judged_again(worsened: Casebook) -> None:
    record(worsened, 0, 20.0, 25.0, runner="T-002")
    memo = StandingMemo()
    list_flags(worsened, memo=memo)
    assert memo.judged == 2
    list_flags(worsened, memo=memo)
    assert memo.judged == 2
    record(worsened, 4, 20.0, 25.0, runner="T-002")
    list_flags(worsened, memo=memo)
    assert memo.judged == 3


def test_the_flag_list_states_the_false_ones_to_expect_now_and_over_the_course(
    worsened: Casebook,
) -> None:
    record(worsened, 8, 20.0, 25.0)
    found = list_flags(worsened)
    assert found.expected_false == pytest.approx(0.025)
    assert found.expected_false_course == pytest.approx(0.05)
