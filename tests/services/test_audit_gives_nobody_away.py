"""Numbers that are large enough by themselves and would still tell of a few runners."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from casebook.domain.audit import AuditChoice, OutcomeVisit, Step
from casebook.domain.audit_growth import CohortGrades, NoModel
from casebook.domain.audit_outcomes import On
from casebook.domain.people import Purpose
from casebook.domain.visits import VisitKind
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_ordinal import cohort_grades
from casebook.services.cohort_returns import cohort_returns
from casebook.statistics.codes import code_of
from tests.services.drawn_cohorts import AS_OF, drawn_cohort
from tests.services.grown_cohorts import DAYS, GRADE, SCORE, grown_cohort

LEAST = 5
CHOICE = AuditChoice(as_of=date(1970, 1, 1) + timedelta(days=AS_OF))
OUTSIDE = replace(CHOICE, purpose=Purpose.AUDIT)


@pytest.fixture(scope="module")
def cohort() -> LoadedCohort:
    return grown_cohort(60)


def test_many_planned_visits_of_few_runners_are_not_told() -> None:
    loaded = drawn_cohort(150, 3)
    visits = loaded.visits
    three = np.flatnonzero(np.bincount(visits["runner"], minlength=150) == 3)[:3]
    few = visits.assign(
        due_day=visits["due_day"].fillna(20_200.0).where(visits["runner"].isin(three))
    )
    assert audit(loaded, CHOICE).timeliness.in_time.total is not None
    assert int(few["due_day"].notna().sum()) == 9
    assert audit(replace(loaded, visits=few), CHOICE).timeliness.in_time.total is None


def test_a_reason_that_few_runners_have_twice_is_not_told(cohort: LoadedCohort) -> None:
    def lacking(runners: int) -> LoadedCohort:
        levels = cohort.levels
        gone = (levels["metric"] == SCORE) & (levels["runner"] < runners)
        return replace(cohort, levels=levels[~gone], missing=cohort.missing[:0])

    def reasons(loaded: LoadedCohort) -> tuple[object, ...]:
        (found,) = audit(loaded, replace(CHOICE, metrics=("test_pain",))).completeness
        return found.reasons

    assert reasons(lacking(4)) == ()  # eight values
    assert [why for why, _ in reasons(lacking(5))] == ["not_entered"]  # type: ignore[misc]


def test_a_model_of_the_discharged_does_not_tell_a_number_that_the_flow_withholds(
    cohort: LoadedCohort,
) -> None:
    """Twenty discharged, two lost: included less discharged less in care would be the two."""
    visits = cohort.visits
    last = visits["visit_id"].to_numpy() % len(DAYS) == 0
    kind = np.where(last & (visits["runner"] < 20), code_of(VisitKind.DISCHARGE), 0)
    due = np.where(visits["runner"] < 58, AS_OF - 10.0, np.nan)
    loaded = replace(cohort, visits=visits.assign(kind=kind.astype("int8"), due_day=due))
    choice = replace(CHOICE, visit=OutcomeVisit.DISCHARGE)
    assert dict(audit(loaded, choice).flow.steps)[Step.DISCHARGED].withheld
    found = cohort_grades(loaded, choice, "test_grade", On.VALUE, by=False)
    assert isinstance(found, NoModel)
    assert found.code == "withheld"
    all_seen = replace(loaded, visits=loaded.visits.assign(due_day=AS_OF - 10.0))
    assert isinstance(
        cohort_grades(all_seen, choice, "test_grade", On.VALUE, by=False), CohortGrades
    )


def test_a_grade_that_few_runners_have_is_not_counted(cohort: LoadedCohort) -> None:
    levels = cohort.levels
    graded = levels["metric"] == GRADE
    value = levels["value"].where(~graded | (levels["value"] < 2), 1.0)
    value = value.mask(graded & (levels["runner"] < 3), 2.0)
    rare = replace(cohort, levels=levels.assign(value=value))
    found = cohort_grades(rare, CHOICE, "test_grade", On.VALUE, by=False)
    assert isinstance(found, CohortGrades)
    ((_, shares),) = found.groups
    counts = [share.count.n for share in shares]
    assert counts[2] is None
    assert counts.count(None) == 2  # and another one, or the three were what is left of sixty


def ran(cohort: LoadedCohort, day: np.ndarray) -> LoadedCohort:
    return replace(cohort, runners=cohort.runners.assign(first_run_day=day))


def test_few_returns_of_one_kind_are_not_left_over_between_two_curves(
    cohort: LoadedCohort,
) -> None:
    each = np.arange(60)
    day = np.where((each % 2 == 0) | (each < 6), 20_060.0 + each, np.nan)
    loaded = ran(cohort, day)
    whole, injury, performance = cohort_returns(loaded, choose(loaded, CHOICE), CHOICE)
    assert whole.steps
    assert injury.n == performance.n == 30
    assert injury.steps == performance.steps == ()
    assert injury.returned is performance.returned is None


def test_for_others_than_the_clinic_no_step_is_a_single_runners_day(cohort: LoadedCohort) -> None:
    random = np.random.default_rng(4)
    day = 20_000.0 + random.integers(0, 150, 60)
    day[:9] = np.nan
    loaded = ran(cohort, day)
    members = choose(loaded, OUTSIDE)
    whole, *kinds = cohort_returns(loaded, members, OUTSIDE)
    exact, *_ = cohort_returns(loaded, members, CHOICE)
    days = (day - 19_990.0)[members.included & np.isfinite(day)]
    assert len(whole.steps) > 3
    assert any(one.steps for one in kinds)
    before = -1.0
    for step in whole.steps:
        assert step.day % 7 == 0
        assert np.sum((days >= max(before, 0)) & (days < step.day)) >= LEAST
        last = [one for one in exact.steps if one.day < step.day][-1]
        assert step.still_out == round(last.still_out, 2)
        assert step.low <= step.still_out <= step.high
        before = step.day
    told = [number for _, number in whole.at_risk if number is not None]
    assert all(one - other >= LEAST for one, other in pairwise(told))
    assert whole.median is not None
    assert exact.median is not None
    assert whole.median[0] == 7 * (exact.median[0] // 7 + 1)  # type: ignore[operator]
