"""Time to running again and clinicians side by side, over drawn cohorts."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from casebook.cli.objects import plainly
from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import Funnel, On, ReturnToRunning
from casebook.domain.people import Purpose
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_returns import cohort_returns
from casebook.services.cohort_rows import chosen_metrics, outcome_rows
from casebook.statistics.change import CANNOT_SAY, IMPROVED
from casebook.statistics.survival import kaplan_meier
from tests.services.drawn_cohorts import AS_OF, CLINICIANS, drawn_cohort

CHOICE = AuditChoice(as_of=date(1970, 1, 1) + timedelta(days=AS_OF))


def returns(loaded: LoadedCohort, least: int = 5) -> tuple[ReturnToRunning, ...]:
    choice = replace(CHOICE, least_group=least)
    return cohort_returns(loaded, choose(loaded, choice), choice)


def watched(loaded: LoadedCohort) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days, days of entry and returns, runner by runner, read as a person would."""
    days, ran, entry = [], [], []
    visits = loaded.visits[(loaded.visits["day"] <= AS_OF) & loaded.visits["counts"]]
    first, last = (getattr(visits.groupby("runner")["day"], one)() for one in ("min", "max"))
    included = choose(loaded, CHOICE).included
    for runner, row in loaded.runners.iterrows():
        if not included[runner]:
            continue
        if runner not in last.index or last[runner] < row["onset_day"]:
            continue
        returned = row["first_run_day"] <= AS_OF
        day = row["first_run_day"] if returned else last[runner]
        since = first[runner]
        if day <= since and not (returned and since <= row["onset_day"]):
            continue
        days.append(day - row["onset_day"])
        ran.append(returned)
        entry.append(max(since - row["onset_day"], 0.0) or -1.0)
    return np.array(days), np.array(ran), np.array(entry)


def test_the_whole_curve_is_that_of_the_runners_one_by_one() -> None:
    loaded = drawn_cohort(120, 4)
    days, ran, entry = watched(loaded)
    whole = returns(loaded)[0]
    assert (whole.n, whole.returned) == (len(days), int(ran.sum()))
    late = days > whole.begins
    curve = kaplan_meier(days[late], ran[late], entry=np.maximum(entry[late], whole.begins))
    shown = curve.at_risk >= 5
    assert [step.day for step in whole.steps] == curve.time[shown].tolist()
    assert [step.still_out for step in whole.steps] == curve.share[shown].tolist()
    for day, number in whole.at_risk:
        assert number == np.sum((entry < day) & (days >= day))
    assert whole.median is not None
    assert whole.median[0] == curve.median[0]


def seen_from(loaded: LoadedCohort, first: list[float], run: list[float]) -> LoadedCohort:
    """The same runners with first visits and first runs on these days after the onset."""
    count, onset = len(first), float(AS_OF - 200)
    days = np.column_stack([first, np.full(count, 150.0)]).ravel() + onset
    visits = loaded.visits.iloc[:1]
    visits = visits.loc[visits.index.repeat(2 * count)].reset_index(drop=True)
    visits = visits.assign(runner=np.repeat(np.arange(count, dtype=np.int32), 2), day=days)
    runners = loaded.runners.assign(
        onset_day=onset, first_run_day=onset + np.array(run), registered_day=0.0
    )
    return replace(loaded, runners=runners, visits=visits)


def test_who_comes_late_is_at_risk_from_then_on_and_few_early_runs_are_passed_over() -> None:
    early, late = [10.0, 12.0, 14.0], [40.0 + at for at in range(12)]
    loaded = seen_from(drawn_cohort(15, 4), [-5.0] * 3 + [30.0] * 12, early + late)
    (whole, *_) = returns(loaded)
    assert (whole.n, whole.returned, whole.begins) == (15, 15, 30.0)
    # At day 10 three were watched, not fifteen: none of the twelve could have been seen to run.
    assert [(one.day, round(12 * one.still_out)) for one in whole.steps] == [
        (40.0 + at, 11 - at) for at in range(8)
    ]
    assert all(day >= 30.0 and number == 12 for day, number in whole.at_risk if day <= 40.0)
    # For others the day of one runner's first visit is the end of its week.
    choice = replace(CHOICE, purpose=Purpose.AUDIT)
    everyone = loaded.consents.assign(given_day=0.0, withdrawn_day=np.nan)
    loaded = replace(loaded, consents=everyone)
    (weekly, *_) = cohort_returns(loaded, choose(loaded, choice), choice)
    assert weekly.begins == 35.0
    assert all(day % 7 == 0 for day, _ in weekly.at_risk)


def test_who_ran_again_before_the_first_visit_was_never_watched() -> None:
    run = [20.0] * 4 + [40.0 + at for at in range(11)]
    (whole, *_) = returns(seen_from(drawn_cohort(15, 4), [30.0] * 15, run))
    assert (whole.n, whole.returned) == (11, 11)


def test_kinds_are_told_when_all_are_large_enough_and_add_up() -> None:
    loaded = drawn_cohort(200, 9)
    whole, *kinds = returns(loaded)
    assert [one.group for one in kinds] == ["injury", "performance"]
    assert all(one.steps for one in kinds)
    assert whole.n is not None
    # Who has no programme yet is left over, and is not few.
    left = whole.n - sum(one.n or 0 for one in kinds)
    assert left == 0 or left >= 5


def test_of_few_nothing_is_told_and_of_few_returns_no_curve() -> None:
    loaded = drawn_cohort(60, 2)
    (alone,) = returns(loaded, least=1000)
    assert alone == ReturnToRunning(
        group="", n=None, returned=None, steps=(), at_risk=(), median=None
    )
    seen = loaded.visits["runner"].unique()[:3]
    run = np.full(60, np.nan)
    run[seen] = loaded.visits["day"].max()
    few = returns(replace(loaded, runners=loaded.runners.assign(first_run_day=run)))[0]
    assert few.n is not None
    assert (few.returned, few.steps, few.median) == (None, (), None)
    assert all(number is None or number >= 5 for _, number in few.at_risk)


def test_full_training_counts_where_no_first_run_is_recorded_and_the_future_does_not() -> None:
    loaded = drawn_cohort(80, 5)
    none = np.full(80, np.nan)
    back = loaded.runners["first_run_day"].to_numpy()
    by_training = loaded.runners.assign(first_run_day=none, fully_back_day=back)
    assert returns(replace(loaded, runners=by_training)) == returns(loaded)
    later = loaded.runners.assign(first_run_day=float(AS_OF + 1))
    assert returns(replace(loaded, runners=later))[0].returned == 0


def test_who_was_not_seen_since_the_onset_counts_neither_when_they_ran_nor_when_not() -> None:
    """Of them only a return could be known: the curve would tell that all of them ran."""
    loaded = drawn_cohort(80, 5)
    unseen = loaded.runners.assign(onset_day=AS_OF - 10.0, first_run_day=AS_OF - 5.0)
    assert returns(replace(loaded, runners=unseen)) == ()


def test_nobody_with_a_complaint_has_no_curve() -> None:
    loaded = drawn_cohort(20, 1)
    assert returns(replace(loaded, runners=loaded.runners.assign(onset_day=np.nan))) == ()


def funnels(seed: int, least: int = 5) -> tuple[LoadedCohort, tuple[Funnel, ...]]:
    loaded = drawn_cohort(150, seed)
    return loaded, audit(loaded, replace(CHOICE, least_group=least)).funnels


def test_a_clinician_stands_where_the_runners_outcomes_put_them() -> None:
    loaded, found = funnels(3)
    members = choose(loaded, CHOICE)
    rows = outcome_rows(loaded, members, chosen_metrics(loaded, CHOICE))
    clinician = loaded.runners["clinician"].to_numpy()
    assert found
    for funnel in found:
        metric = next(at for at, one in enumerate(loaded.metrics) if one.key == funnel.metric)
        mine = (rows.metric == metric) & (rows.on == list(On).index(funnel.on))
        told = mine & (rows.call != CANNOT_SAY)
        for point in funnel.points:
            theirs = told & (clinician[rows.runner] == CLINICIANS.index(point.name))
            assert point.total == theirs.sum()
            assert point.count == np.sum(rows.call[theirs] == IMPROVED)
        totals = [point.total for point in funnel.points]
        assert totals == sorted(totals, reverse=True)
        assert min(totals) >= 5
        assert funnel.overall == pytest.approx(
            sum(point.count for point in funnel.points) / sum(totals)
        )
        sizes = [limit.total for limit in funnel.limits]
        assert sizes[0] <= min(totals) <= max(totals) <= sizes[-1]
        assert all(
            one.low_998 <= one.low_95 <= funnel.overall <= one.high_95 <= one.high_998
            for one in funnel.limits
        )
    assert On.OTHER_SIDE not in {funnel.on for funnel in found}


def test_a_clinician_whose_runners_all_improve_is_seen_and_one_alone_is_not_compared() -> None:
    loaded = drawn_cohort(150, 3)
    clinician = loaded.runners["clinician"].to_numpy()
    call = loaded.levels["call"].to_numpy().copy()
    later = call >= 0
    first = clinician[loaded.levels["runner"].to_numpy()] == 0
    call[later] = np.where(first[later], IMPROVED, 2)
    apart = replace(loaded, levels=loaded.levels.assign(call=call))
    for funnel in audit(apart, CHOICE).funnels:
        beyond = {point.name: point.beyond_998 for point in funnel.points}
        assert beyond[CLINICIANS[0]]
    alone = replace(
        loaded, runners=loaded.runners.assign(clinician=np.where(clinician > 0, -1, clinician))
    )
    assert audit(alone, CHOICE).funnels == ()


def test_for_others_than_the_clinic_clinicians_are_numbered_and_not_named() -> None:
    loaded = drawn_cohort(200, 3)
    choice = replace(CHOICE, purpose=Purpose.AUDIT)
    found = audit(loaded, choice).funnels
    assert found
    for funnel in found:
        names = [point.name for point in funnel.points]
        assert names == [f"clinician {at}" for at in range(1, len(names) + 1)]
    told = json.dumps(plainly(audit(loaded, choice)))
    assert not any(f'"{code}"' in told for code in CLINICIANS)


def test_too_small_a_clinic_has_no_funnel() -> None:
    assert funnels(3, least=60)[1] == ()
