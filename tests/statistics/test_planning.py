"""Planning: more of anything never hurts, and no number of trials beats the day-to-day error."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.statistics.error import mdc_from_sem
from casebook.statistics.planning import (
    TrialError,
    detectable_change,
    in_other_unit,
    plan_of,
    power_of,
    sem_of_trials,
    smallest_sem,
    smallest_trials,
)

sds = st.floats(0.1, 10.0).map(lambda x: round(x, 2))
changes = st.floats(0.5, 40.0).map(lambda x: round(x, 1))
visits_per_phase = st.integers(1, 3)
probabilities = st.sampled_from([0.5, 0.8, 0.9, 0.95])


@st.composite
def errors_of_trials(draw: st.DrawFn) -> TrialError:
    floor = draw(st.sampled_from([0.0, 0.29, 2.0]))
    if draw(st.booleans()):
        return TrialError(between_sd=draw(sds), within_sd=draw(sds), floor=floor)
    within = draw(st.one_of(st.none(), sds))
    return TrialError(sem=draw(sds), sem_trials=draw(st.integers(1, 8)), within_sd=within)


@given(errors_of_trials(), visits_per_phase, probabilities)
def test_more_trials_and_more_visits_never_raise_what_can_be_seen(
    error: TrialError, visits: int, probability: float
) -> None:
    found = detectable_change(sem_of_trials(error, np.arange(1, 30)), visits, probability)
    found = found[np.isfinite(found)]
    assert (np.diff(found) <= 1e-12).all()
    more = detectable_change(sem_of_trials(error, 9), visits + 1, probability)
    assert more < detectable_change(sem_of_trials(error, 9), visits, probability)


@given(errors_of_trials(), changes, visits_per_phase, probabilities)
def test_the_smallest_number_of_trials_sees_the_change_and_one_less_does_not(
    error: TrialError, change: float, visits: int, probability: float
) -> None:
    trials = smallest_trials(error, change, visits, probability)

    def seen_with(number: int) -> float:
        return float(detectable_change(sem_of_trials(error, number), visits, probability))

    if trials is None:
        assert seen_with(error.sem_trials or 10**7) > change * (1 - 1e-6)
        return
    assert seen_with(trials) <= change * (1 + 1e-6)
    if trials > 1:
        assert not seen_with(trials - 1) <= change * (1 - 1e-6)  # larger, or not known


@given(errors_of_trials(), changes, visits_per_phase, st.sampled_from([0.25, 8.0, 1024.0]))
def test_another_unit_changes_no_number_of_trials(
    error: TrialError, change: float, visits: int, factor: float
) -> None:
    other = in_other_unit(error, factor)
    assert smallest_trials(other, factor * change, visits, 0.8) == smallest_trials(
        error, change, visits, 0.8
    )
    assert smallest_sem(other) == pytest.approx(factor * smallest_sem(error))


@given(errors_of_trials(), changes, visits_per_phase)
def test_the_detectable_change_is_seen_with_its_own_probability(
    error: TrialError, change: float, visits: int
) -> None:
    sem = sem_of_trials(error, 8)
    for probability in (0.5, 0.8, 0.95):
        there = detectable_change(sem, visits, probability)
        assert power_of(there, sem, visits) == pytest.approx(probability)
    assert power_of(-change, sem, visits) == power_of(change, sem, visits)


@given(sds)
def test_a_change_of_one_mdc_is_seen_every_other_time(sem: float) -> None:
    assert power_of(mdc_from_sem(sem), sem, 1) == pytest.approx(0.5)
    assert detectable_change(sem, 1, 0.5) == pytest.approx(float(mdc_from_sem(sem)))


def test_simulated_visits_are_seen_as_often_as_planned() -> None:
    rng = np.random.default_rng(20260105)
    error = TrialError(between_sd=1.5, within_sd=2.0)
    visits, trials, runs = 2, 4, 20_000
    sem = float(sem_of_trials(error, trials))
    change = float(detectable_change(sem, visits, 0.8))
    means = rng.normal(0.0, 1.5, (runs, 2, visits)) + rng.normal(
        0.0, 2.0, (runs, 2, visits, trials)
    ).mean(axis=3)
    seen = np.diff(means.mean(axis=2), axis=1)[:, 0] + change > 1.959964 * sem * math.sqrt(
        2 / visits
    )
    assert seen.mean() == pytest.approx(0.8, abs=3.3 * math.sqrt(0.16 / runs))


def test_what_lies_at_or_below_the_error_between_sessions_is_not_reachable() -> None:
    error = TrialError(between_sd=1.0, within_sd=2.0)
    limit = float(detectable_change(1.0, 1, 0.8))
    assert smallest_trials(error, limit, 1, 0.8) is None
    assert smallest_trials(error, 0.5 * limit, 1, 0.8) is None
    # 4 / (1.5 squared - 1) = 3.2, by hand.
    assert smallest_trials(error, 1.5 * limit, 1, 0.8) == 4


def test_without_error_between_trials_one_is_as_good_as_many() -> None:
    error = TrialError(between_sd=1.0, within_sd=0.0)
    limit = float(detectable_change(1.0, 1, 0.8))
    assert smallest_trials(error, limit, 1, 0.8) == 1
    assert smallest_trials(error, 0.99 * limit, 1, 0.8) is None


def test_the_resolution_is_averaged_too_and_never_undercut() -> None:
    coarse = TrialError(between_sd=0.0, within_sd=0.0, floor=2.0)
    assert sem_of_trials(coarse, [1, 4]).tolist() == [2.0, 1.0]
    assert smallest_trials(coarse, 4.0, 1, 0.8) == 4


@pytest.mark.parametrize("probability", [0.0, 0.025, 1.0, math.nan])
def test_a_probability_that_is_none_is_refused(probability: float) -> None:
    with pytest.raises(ValueError, match=r"such as 0\.8"):
        detectable_change(1.0, 1, probability)


def test_of_a_sem_without_its_parts_only_its_own_number_of_trials_is_told() -> None:
    plan = plan_of(TrialError(sem=1.0, sem_trials=7), usual_trials=5, probability=0.8, change=3.0)
    assert {(point.visits, point.trials) for point in plan.curve} == {(1, 7), (2, 7), (3, 7)}
    assert plan.trials == 7
    assert [needed.trials for needed in plan.needed] == [None, 7, 7]


def test_with_the_spread_of_single_trials_fewer_are_told_too_and_more_given_no_credit() -> None:
    error = TrialError(sem=1.0, sem_trials=3, within_sd=2.0)
    plan = plan_of(error, usual_trials=10, probability=0.8)
    assert [point.trials for point in plan.curve] == [1, 2, 3] * 3
    assert plan.trials == 3
    # sqrt(1 + 4 (1/1 - 1/3)), by hand.
    assert sem_of_trials(error, 1) == pytest.approx(math.sqrt(11 / 3))
    assert plan.visits_needed is None
    assert all(needed.reachable is needed.trials is needed.power is None for needed in plan.needed)


def test_the_curve_reaches_as_far_as_the_usual_number_of_trials() -> None:
    error = TrialError(between_sd=1.0, within_sd=2.0)
    plan = plan_of(error, usual_trials=25, probability=0.8, change=3.2)
    assert max(point.trials for point in plan.curve) == plan.trials == 25
    assert [needed.reachable for needed in plan.needed] == [False, True, True]
    assert plan.visits_needed == 2
    assert plan.needed[1].power is not None
    assert plan.needed[1].power > 0.8
