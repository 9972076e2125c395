from __future__ import annotations

from datetime import date

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.programmes import Programme, Target, TargetDirection, TargetOn


@pytest.mark.parametrize("amount", [0.0, -2.0, float("nan"), 1e12])
def test_a_target_without_a_sensible_amount_is_refused(amount: float) -> None:
    with pytest.raises(InputRefused, match="the direction says which way"):
        Target(
            metric="lunge_distance",
            what=TargetOn.LEFT,
            direction=TargetDirection.UP,
            amount=amount,
            due_on=date(2026, 5, 1),
        )


def test_a_programme_without_a_title_is_refused() -> None:
    with pytest.raises(InputRefused, match="no title"):
        Programme(runner="R-01", title=" ", started_on=date(2026, 5, 1))


def test_a_programme_cannot_end_before_it_starts() -> None:
    with pytest.raises(InputRefused, match="2026-04-30, before its start on 2026-05-01"):
        Programme(
            runner="R-01",
            title="Hip strength",
            started_on=date(2026, 5, 1),
            ended_on=date(2026, 4, 30),
        )


@pytest.mark.parametrize("ended_on", [None, date(2026, 5, 1)])
def test_a_programme_may_be_open_or_end_on_its_first_day(ended_on: date | None) -> None:
    programme = Programme(
        runner="R-01", title="Hip strength", started_on=date(2026, 5, 1), ended_on=ended_on
    )
    assert programme.ended_on == ended_on


def test_a_target_with_an_amount_is_taken() -> None:
    target = Target(
        metric="lunge_distance",
        what=TargetOn.ASYMMETRY,
        direction=TargetDirection.TOWARDS_ZERO,
        amount=1.5,
        due_on=date(2026, 5, 1),
    )
    assert target.amount == 1.5
