"""Time lost, what came again, running by the week and the way back."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.domain.injuries import Course, Pathology, Region
from casebook.domain.injury_course import (
    SUBSEQUENT_WORDS,
    TIME_LOSS_WORDS,
    Complaint,
    Subsequent,
    TimeLossBin,
    is_running_injury,
    succession,
    time_loss,
)
from casebook.domain.running_load import (
    Run,
    load_weeks,
    longest_recent_km,
    return_to_running,
)
from casebook.domain.sides import InjurySide
from tests.builders import an_injury

ONSET = date(2026, 1, 12)  # a Monday
AS_OF = date(2026, 12, 1)


def lost(days: int) -> Complaint:
    return Complaint(injury=an_injury(), fully_back_on=ONSET + timedelta(days=days))


@pytest.mark.parametrize(
    ("back_after", "days", "kind", "words"),
    [
        (0, 0, TimeLossBin.NONE, "0 days lost"),
        (1, 0, TimeLossBin.NONE, "0 days lost"),
        (2, 1, TimeLossBin.DAYS_1_TO_7, "1 day lost (1 to 7)"),
        (8, 7, TimeLossBin.DAYS_1_TO_7, "7 days lost (1 to 7)"),
        (9, 8, TimeLossBin.DAYS_8_TO_28, "8 days lost (8 to 28)"),
        (29, 28, TimeLossBin.DAYS_8_TO_28, "28 days lost (8 to 28)"),
        (30, 29, TimeLossBin.OVER_28_DAYS, "29 days lost (more than 28)"),
    ],
)
def test_days_are_counted_from_the_day_after_the_onset_to_the_day_before_the_return(
    back_after: int, days: int, kind: TimeLossBin, words: str
) -> None:
    found = time_loss(lost(back_after), as_of=AS_OF)
    assert found is not None
    assert (found.days, found.bin, found.still_out, found.words) == (days, kind, False, words)


def test_while_the_runner_is_out_the_days_are_counted_so_far() -> None:
    # The first run is no full return.
    running = Complaint(injury=an_injury(returned_on=ONSET + timedelta(days=3)))
    out = time_loss(running, as_of=ONSET + timedelta(days=10))
    assert out is not None
    assert (out.days, out.bin, out.still_out) == (10, TimeLossBin.DAYS_8_TO_28, True)
    assert out.words == "up to 10 days lost so far (no day of full return is on record)"
    then = time_loss(lost(40), as_of=ONSET + timedelta(days=5))
    assert then is not None
    assert (then.days, then.still_out) == (5, True)


def test_what_was_not_recorded_is_not_counted() -> None:
    assert time_loss(lost(40), as_of=ONSET - timedelta(days=1)) is None
    resolved = Complaint(injury=an_injury(course=Course.RESOLVED))
    assert time_loss(resolved, as_of=AS_OF) is None


def test_a_full_return_before_the_onset_or_the_first_run_is_refused() -> None:
    with pytest.raises(InputRefused, match="before the onset on 2026-01-12"):
        lost(-1)
    with pytest.raises(InputRefused, match="before the first run on 2026-02-01"):
        Complaint(injury=an_injury(returned_on=date(2026, 2, 1)), fully_back_on=date(2026, 1, 20))


EARLIER = Complaint(injury=an_injury(onset_on=date(2025, 5, 1)), fully_back_on=date(2025, 6, 1))


@pytest.mark.parametrize(
    ("changes", "kind", "days"),
    [
        ({}, Subsequent.RECURRENCE, 225),
        ({"fully_back_on": None}, Subsequent.EXACERBATION, None),
        ({"fully_back_on": None, "course": Course.RESOLVED}, Subsequent.UNCLEAR, None),
        ({"fully_back_on": date(2026, 2, 1)}, Subsequent.EXACERBATION, None),
        ({"fully_back_on": ONSET}, Subsequent.RECURRENCE, 0),
        ({"pathology": Pathology.JOINT}, Subsequent.LOCAL, None),
        ({"side": InjurySide.RIGHT}, Subsequent.NEW, None),
        ({"side": InjurySide.BOTH}, Subsequent.RECURRENCE, 225),
        ({"side": InjurySide.NONE}, Subsequent.NEW, None),
        ({"region": Region.FOOT}, Subsequent.NEW, None),
        ({"runner": "T-002"}, Subsequent.INDEX, None),
        ({"onset_on": ONSET, "fully_back_on": ONSET}, Subsequent.INDEX, None),
    ],
)
def test_what_came_again_is_told_from_what_is_new(
    changes: dict[str, Any], kind: Subsequent, days: int | None
) -> None:
    back = changes.get("fully_back_on", EARLIER.fully_back_on)
    of_injury = {name: value for name, value in changes.items() if name != "fully_back_on"}
    before = Complaint(injury=replace(EARLIER.injury, **of_injury), fully_back_on=back)
    found = succession(an_injury(), [before, Complaint(injury=an_injury())])
    assert (found.kind, found.days_after_recovery) == (kind, days)
    assert (found.of is before) == (kind not in {Subsequent.NEW, Subsequent.INDEX})


def test_the_latest_of_several_alike_is_what_it_follows() -> None:
    later = replace(EARLIER, injury=an_injury(onset_on=date(2025, 9, 1)), fully_back_on=ONSET)
    assert succession(an_injury(), [EARLIER, later]).of is later


def test_both_sides_and_no_side_are_no_one_place() -> None:
    both = an_injury(side=InjurySide.BOTH, onset_on=date(2025, 1, 1))
    found = succession(an_injury(side=InjurySide.NONE), [Complaint(injury=both)])
    assert found.kind is Subsequent.NEW


def test_what_makes_a_running_injury_is_as_published() -> None:
    cases = {(6, 2, False): False, (7, 0, False): True, (5, 3, False): True, (1, 0, True): True}
    for (days, missed, consulted), expected in cases.items():
        assert expected is is_running_injury(
            days_limited=days, sessions_missed_in_row=missed, consulted=consulted
        )


def test_every_bin_and_kind_has_words() -> None:
    assert set(TIME_LOSS_WORDS) == set(TimeLossBin)
    assert set(SUBSEQUENT_WORDS) == set(Subsequent)


@pytest.mark.parametrize(
    "numbers", [{"distance_km": -1.0}, {"minutes": 1e6}, {"effort": 11.0}, {"effort": float("nan")}]
)
def test_a_run_that_nobody_ran_is_refused(numbers: dict[str, float]) -> None:
    with pytest.raises(InputRefused, match="the run on 2026-01-12"):
        Run(on=ONSET, **numbers)


RUNS = st.lists(
    st.builds(
        Run,
        on=st.dates(date(2026, 1, 1), date(2026, 3, 1)),
        distance_km=st.none() | st.floats(0, 60),
        minutes=st.none() | st.floats(0, 300),
        effort=st.none() | st.floats(0, 10),
    ),
    max_size=25,
)


@given(RUNS)
def test_every_run_is_in_one_week_and_no_week_is_left_out(runs: list[Run]) -> None:
    weeks = load_weeks(runs)
    assert sum(week.runs for week in weeks) == len(runs)
    starts = [week.week_start for week in weeks]
    assert all(start.weekday() == 0 for start in starts)
    assert all(b - a == timedelta(days=7) for a, b in pairwise(starts))
    if weeks and all(run.distance_km is not None for run in runs):
        total = sum(week.distance_km or 0.0 for week in weeks)
        assert total == pytest.approx(sum(run.distance_km or 0.0 for run in runs))


def test_a_week_with_a_number_lacking_has_no_sum_and_one_without_runs_has_nought() -> None:
    first = Run(on=ONSET, distance_km=8.0, minutes=50.0, effort=4.0)
    second = Run(on=ONSET + timedelta(days=2), distance_km=5.0)
    week, empty = load_weeks([second, first], last=ONSET + timedelta(days=7))
    assert (week.distance_km, week.minutes, week.load, week.longest_km) == (13.0, None, None, 8.0)
    assert (empty.runs, empty.distance_km, empty.load, empty.longest_km) == (0, 0.0, 0.0, None)
    assert first.load == 200.0
    assert load_weeks([]) == ()
    assert len(load_weeks([], first=ONSET, last=ONSET)) == 1
    assert load_weeks([], first=ONSET) == ()


def test_the_longest_run_is_held_against_the_thirty_days_before_it() -> None:
    runs = [
        Run(on=ONSET - timedelta(days=31), distance_km=30.0),
        Run(on=ONSET - timedelta(days=30), distance_km=10.0),
        Run(on=ONSET, distance_km=15.0),
    ]
    assert longest_recent_km(runs, ONSET) == 10.0
    week = load_weeks(runs)[-1]
    assert (week.longest_before_km, week.beyond_recent_pct) == (10.0, 50.0)
    assert load_weeks(runs)[0].beyond_recent_pct is None
    unknown = Run(on=ONSET - timedelta(days=1), minutes=150.0)
    assert load_weeks([unknown])[0].beyond_recent_pct is None
    # The run whose distance was not recorded may have been the longest of them.
    assert load_weeks([*runs, unknown])[-1].beyond_recent_pct is None


def usual(km: float | None) -> list[Run]:
    return [Run(on=ONSET - timedelta(weeks=back), distance_km=km) for back in range(1, 5)]


def test_the_way_back_is_the_first_run_and_the_first_week_with_as_much_as_before() -> None:
    runs = [
        *usual(20.0),
        Run(on=ONSET, distance_km=20.0),
        Run(on=ONSET + timedelta(days=16), distance_km=5.0),
        Run(on=ONSET + timedelta(days=23), distance_km=20.0),
    ]
    found = return_to_running(lost(30), runs)
    assert found.first_run_on == ONSET + timedelta(days=16)
    assert (found.days_to_first_run, found.usual_km_a_week) == (16, 20.0)
    assert found.full_return_on == ONSET + timedelta(days=30)
    assert found.back_to_usual_on == ONSET + timedelta(days=21)
    short = return_to_running(lost(30), runs[:-1])
    assert short.back_to_usual_on is None


@pytest.mark.parametrize("before", [usual(None), []])
def test_without_known_weeks_before_nothing_is_called_usual(before: list[Run]) -> None:
    found = return_to_running(Complaint(injury=an_injury()), before)
    assert (found.first_run_on, found.days_to_first_run, found.usual_km_a_week) == (None,) * 3
    never = return_to_running(Complaint(injury=an_injury()), usual(20.0))
    assert (never.usual_km_a_week, never.back_to_usual_on) == (20.0, None)
