"""Models of a cohort whose truth is known: what they find, what they leave out, whom they show."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import (
    CohortGrades,
    CohortGrowth,
    FitCheck,
    NoModel,
    Phase,
    Term,
)
from casebook.domain.audit_outcomes import On
from casebook.domain.errors import InputRefused
from casebook.domain.people import Purpose
from casebook.domain.verdicts import Reason
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_growth import MOST_POINTS, MOST_RAW, cohort_growth
from casebook.services.cohort_models import cohort_model
from casebook.services.cohort_ordinal import cohort_grades
from casebook.statistics.codes import code_of
from tests.services import grown_cohorts as true
from tests.services.drawn_cohorts import AS_OF
from tests.services.grown_cohorts import grown_cohort

CHOICE = AuditChoice(as_of=date(1970, 1, 1) + timedelta(days=AS_OF))


@pytest.fixture(scope="module")
def cohort() -> LoadedCohort:
    return grown_cohort()


@pytest.fixture(scope="module")
def growth(cohort: LoadedCohort) -> CohortGrowth:
    found = cohort_growth(cohort, CHOICE, "test_pain", On.VALUE)
    assert isinstance(found, CohortGrowth)
    return found


def grown(cohort: LoadedCohort, **more: object) -> CohortGrowth:
    found = cohort_growth(cohort, CHOICE, "test_pain", On.VALUE, **more)  # type: ignore[arg-type]
    assert isinstance(found, CohortGrowth)
    return found


def test_what_is_true_lies_within_what_the_model_tells(growth: CohortGrowth) -> None:
    terms = {term.what: term for term in growth.terms}
    assert list(terms) == [
        *list(Term)[:2],
        Term.LEVEL_BY_KIND,
        Term.SLOPE_BY_KIND,
        Term.STEP,
        Term.BASELINE_SPEED,
        Term.ADHERENCE,
        Term.SLOPE_BY_ADHERENCE,
    ]
    for what, truth in {
        Term.LEVEL: true.LEVEL,
        Term.SLOPE: true.SLOPE,
        Term.STEP: true.STEP,
        Term.SLOPE_BY_KIND: true.BY_KIND,
        Term.BASELINE_SPEED: true.BY_SPEED,
        Term.SLOPE_BY_ADHERENCE: true.BY_ADHERENCE,
        Term.LEVEL_BY_KIND: 0.0,
        Term.ADHERENCE: 0.0,
    }.items():
        # Of eight independent intervals of 99.97 % hardly ever one misses.
        assert abs(terms[what].estimate - truth) < 3.6 * terms[what].se, what
        assert terms[what].low < terms[what].estimate < terms[what].high
        # 200 runners less their level and what kind, speed and adherence tell of it.
        wide = (terms[what].high - terms[what].estimate) / terms[what].se
        assert wide == pytest.approx(t.ppf(0.975, 196))
    assert terms[Term.SLOPE].unit == "points a week"
    assert growth.random.sd_level == pytest.approx(true.OWN_LEVEL, rel=0.25)
    assert growth.random.sd_slope == pytest.approx(true.OWN_SLOPE, rel=0.25)
    assert growth.random.sd_residual == pytest.approx(true.ERROR, rel=0.1)
    assert growth.random.sd_error == pytest.approx(true.ERROR)
    assert growth.random.error_share == pytest.approx(1.0, rel=0.2)
    assert (growth.check, growth.n_runners, growth.n_rows) == (FitCheck.AGREES, 200, 1200)


def test_courses_run_through_both_phases_and_single_runners_beneath(growth: CohortGrowth) -> None:
    pieces = [(course.group, course.phase) for course in growth.courses]
    assert pieces == [(group, phase) for phase in Phase for group in ("injury", "performance")]
    before, after = growth.courses[0], growth.courses[2]
    assert before.weeks[-1] == after.weeks[0] == 0.0
    step = next(term for term in growth.terms if term.what is Term.STEP)
    assert after.mean[0] - before.mean[-1] == pytest.approx(step.estimate)
    assert len(growth.raw) == MOST_RAW
    assert all(course.weeks == tuple(sorted(course.weeks)) for course in growth.raw)
    assert {course.group for course in growth.raw} == {"injury", "performance"}


def test_residuals_keep_their_extremes_when_only_some_are_drawn(growth: CohortGrowth) -> None:
    many = grown(grown_cohort(300, 2))
    assert len(many.residuals) <= MOST_POINTS < many.n_rows
    drawn = [point.residual for point in many.residuals]
    assert drawn == sorted(drawn)
    assert len(growth.residuals) == growth.n_rows
    assert any("beyond 2 SD" in words for words in growth.words)


def test_for_others_than_the_clinic_no_single_runner_is_drawn(cohort: LoadedCohort) -> None:
    # In a drawn cohort some consented to the first purpose, and some withdrew.
    choice = replace(CHOICE, purpose=next(iter(Purpose)))
    found = cohort_growth(cohort, choice, "test_pain", On.VALUE)
    assert isinstance(found, CohortGrowth)
    assert found.n_runners < 200
    assert found.raw == found.residuals == ()
    assert any("Single runners are not drawn" in words for words in found.words)


def test_kinds_are_told_apart_only_when_asked_and_never_a_small_one(cohort: LoadedCohort) -> None:
    together = grown(cohort, by=False)
    assert {course.group for course in together.courses} == {""}
    assert together.raw[0].group == ""
    kind = np.zeros(200, dtype="int8")
    kind[:4] = 1
    few = grown(replace(cohort, runners=cohort.runners.assign(kind=kind)))
    assert {course.group for course in few.courses} == {""}
    assert any("fewer runners than may be shown" in words for words in few.words)
    one = grown(replace(cohort, runners=cohort.runners.assign(kind=kind * 0)))
    assert any("Only one kind" in words for words in one.words)


def test_what_too_few_have_recorded_is_left_out_and_said(cohort: LoadedCohort) -> None:
    runners = cohort.runners
    most = np.arange(200) % 10 > 0
    some = np.arange(200) % 2 > 0
    found = grown(
        replace(
            cohort,
            runners=runners.assign(
                baseline_speed=runners["baseline_speed"].where(most),
                adherence=runners["adherence"].where(some),
            ),
        )
    )
    assert found.n_runners == 180
    assert {term.what for term in found.terms}.isdisjoint({Term.ADHERENCE})
    told = " ".join(found.words)
    assert "20 runners are without a speed at the baseline, left out" in told
    assert "Adherence is left out: too few runners have it recorded" in told


def test_few_that_were_left_out_are_not_counted(cohort: LoadedCohort) -> None:
    runners = cohort.runners
    found = grown(
        replace(
            cohort,
            runners=runners.assign(adherence=runners["adherence"].where(np.arange(200) > 2)),
        )
    )
    told = " ".join(found.words)
    assert "Fewer than 5 runners are without recorded adherence, left out" in told


def test_of_few_runners_not_everything_is_asked(cohort: LoadedCohort) -> None:
    found = grown(grown_cohort(14, 3))
    assert {term.what for term in found.terms} == {
        Term.LEVEL,
        Term.SLOPE,
        Term.STEP,
        Term.LEVEL_BY_KIND,
        Term.SLOPE_BY_KIND,
    }
    told = " ".join(found.words)
    assert "Speed at the baseline is left out: there are too few runners" in told
    fewer = " ".join(grown(grown_cohort(8, 3)).words)
    assert "Kinds of programme are not told apart: there are too few runners" in fewer
    assert "known from so few runners only" in fewer


def test_a_value_that_is_not_like_for_like_is_left_out_and_counted(cohort: LoadedCohort) -> None:
    reason = cohort.levels["reason"].to_numpy().copy()
    later = np.flatnonzero(~cohort.levels["reference"].to_numpy())[:3]
    reason[later] = code_of(Reason.NOT_LIKE_FOR_LIKE)
    found = grown(replace(cohort, levels=cohort.levels.assign(reason=reason)))
    assert found.n_rows == 1197
    assert any(words.startswith("3 values were not like for like") for words in found.words)


def test_an_error_that_is_only_a_lower_bound_is_not_called_known(cohort: LoadedCohort) -> None:
    origin = np.full(len(cohort.levels), 2, dtype="int8")
    found = grown(replace(cohort, levels=cohort.levels.assign(origin=origin)))
    assert found.random.error_share is found.random.sd_error is None


def test_an_asymmetry_counts_in_the_direction_of_its_baseline(
    cohort: LoadedCohort, growth: CohortGrowth
) -> None:
    """Half of the runners lean to the left; by sign the mean course would be flat at 0."""
    found = cohort_growth(cohort, CHOICE, "test_force", On.ASYMMETRY)
    assert isinstance(found, CohortGrowth)
    assert found.unit == "%"
    assert [term.estimate for term in found.terms] == pytest.approx(
        [term.estimate for term in growth.terms]
    )
    assert any("in the direction" in words for words in found.words)


@pytest.mark.parametrize("level", [0.0, 20.0])
def test_values_that_are_all_the_same_give_no_interval_of_nothing(
    cohort: LoadedCohort, level: float
) -> None:
    """No pain at any visit is what a clinic hopes for."""
    found = cohort_growth(
        replace(cohort, levels=cohort.levels.assign(value=level)), CHOICE, "test_pain", On.VALUE
    )
    assert isinstance(found, NoModel)
    assert found.code == "no_scatter"


def test_a_course_runs_forward_where_no_week_was_seen_of_many(cohort: LoadedCohort) -> None:
    """Each seen once, later and later: nobody is still seen when the fifth begins."""
    levels = cohort.levels
    eight = [len(true.DAYS) * one + 2 + one // 2 for one in range(8)]
    once = replace(cohort, levels=levels[levels["visit"].isin(eight)])
    found = grown(once, by=False)
    assert found.n_rows == found.n_runners
    assert {course.phase for course in found.courses} == {None}
    assert all(list(course.weeks) == sorted(course.weeks) for course in found.courses)


def test_too_few_runners_and_a_single_time_are_not_modelled(cohort: LoadedCohort) -> None:
    few = cohort_growth(grown_cohort(4, 3), CHOICE, "test_pain", On.VALUE)
    assert isinstance(few, NoModel)
    assert few.code == "group_too_small"
    nobody = cohort_growth(cohort, CHOICE, "test_force", On.WORSE_SIDE)
    assert isinstance(nobody, NoModel)
    once = replace(cohort, visits=cohort.visits.assign(day=true.START))
    flat = cohort_growth(once, CHOICE, "test_pain", On.VALUE)
    assert isinstance(flat, NoModel)
    assert flat.code == "no_slope"
    empty = replace(cohort, references=cohort.references[:0], levels=cohort.levels.assign(ref=-1))
    assert isinstance(cohort_growth(empty, CHOICE, "test_force", On.ASYMMETRY), NoModel)


@pytest.mark.parametrize(
    ("metric", "on", "said"),
    [
        ("test_pian", On.VALUE, "Did you mean 'test_pain'"),
        ("test_pain", On.WORSE_SIDE, "expected one of: value"),
        ("test_force", On.VALUE, "asymmetry, worse_side, other_side"),
        ("test_grade", On.ASYMMETRY, "expected one of: value"),
    ],
)
def test_what_is_not_there_is_refused_in_words(
    cohort: LoadedCohort, metric: str, on: On, said: str
) -> None:
    with pytest.raises(InputRefused, match=said):
        cohort_model(cohort, CHOICE, metric, on)


def test_the_scale_of_a_metric_says_which_model(cohort: LoadedCohort) -> None:
    found = cohort_model(cohort, CHOICE, "test_force", None)
    assert isinstance(found, CohortGrowth)
    assert found.on is On.ASYMMETRY
    assert isinstance(cohort_model(cohort, CHOICE, "test_grade", None), CohortGrades)
    with pytest.raises(InputRefused):
        cohort_model(cohort, CHOICE, "nothing", None)


def test_grades_lean_as_they_truly_do(cohort: LoadedCohort) -> None:
    found = cohort_grades(cohort, CHOICE, "test_grade", On.VALUE)
    assert isinstance(found, CohortGrades)
    baseline, kind = found.terms
    assert baseline.low < 1.0 < baseline.high  # drawn apart from the baseline
    assert kind.low < np.exp(0.8) < kind.high
    assert kind.words.endswith("programmes for performance against programmes for an injury")
    injury, performance = dict(found.groups).values()
    assert sum(share.count.n or 0 for share in (*injury, *performance)) == found.n_runners == 200
    assert sum(share.predicted for share in injury) == pytest.approx(1.0)
    assert injury[0].predicted > performance[0].predicted


def test_grades_of_sides_are_those_of_the_side_that_was_read_as_worse(
    cohort: LoadedCohort,
) -> None:
    """Right sides carry the grade, left ones none: by the baseline the right one is the worse."""
    levels, references = cohort.levels, cohort.references
    graded = levels["metric"] == true.GRADE
    at = references["metric"] == true.GRADE
    sided = replace(
        cohort,
        metrics=(*true.METRICS[:2], replace(true.METRICS[2], sided=True)),
        levels=levels.assign(what=levels["what"].where(~graded, 1)),
        references=references.assign(what=references["what"].where(~at, 1)),
    )
    # The left sides: the same rows, all of grade 0, with one half grade between.
    left = levels[graded].assign(what=np.int8(0), value=0.0)
    left.loc[left.index[left["visit"] == 5], "value"] = 0.4
    left_at = references[at].assign(what=np.int8(0), baseline=0.0)
    both = replace(
        sided,
        levels=pd.concat([sided.levels, left], ignore_index=True),
        references=pd.concat([sided.references, left_at], ignore_index=True),
    )
    worse = cohort_grades(both, CHOICE, "test_grade", On.WORSE_SIDE)
    whole = cohort_grades(cohort, CHOICE, "test_grade", On.VALUE)
    assert isinstance(worse, CohortGrades)
    assert isinstance(whole, CohortGrades)
    assert [term.ratio for term in worse.terms] == [term.ratio for term in whole.terms]
    other = cohort_grades(both, CHOICE, "test_grade", On.OTHER_SIDE)
    assert isinstance(other, NoModel)
    assert other.code == "one_grade"


def test_grades_of_few_or_of_a_small_kind(cohort: LoadedCohort) -> None:
    few = cohort_grades(grown_cohort(4, 3), CHOICE, "test_grade", On.VALUE)
    assert isinstance(few, NoModel)
    assert few.code == "group_too_small"
    kind = np.zeros(200, dtype="int8")
    kind[:4] = 1
    found = cohort_grades(
        replace(cohort, runners=cohort.runners.assign(kind=kind)), CHOICE, "test_grade", On.VALUE
    )
    assert isinstance(found, CohortGrades)
    assert [group for group, _ in found.groups] == [""]
    assert any("fewer runners than may be shown" in words for words in found.words)
