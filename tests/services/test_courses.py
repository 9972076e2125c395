"""The course of one metric: which visits and errors it rests on, and what it says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from sqlalchemy import select

from casebook.domain.metrics import Condition
from casebook.domain.sides import Side
from casebook.domain.verdicts import What
from casebook.domain.visits import Conditions, VisitKind, value_of_mean, value_of_trials
from casebook.services.cataloguing import adopt_figure, get_metric, save_metric
from casebook.services.courses import courses_of, programme_start
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.reviewing import review_runner
from casebook.statistics.course.enough import NotFitted
from casebook.statistics.course.smoothing import SmoothedCourse
from casebook.storage.session import writing
from casebook.storage.tables import ProgrammeRow, RunnerRow
from tests.builders import BEND, QUALITY, a_visit
from tests.services.test_reviewing import bend, own_figure

START = date(2026, 3, 2)


def record(casebook: Casebook, week: int, *values: object, **changes: object) -> None:
    record_visit(
        casebook,
        a_visit(
            **{
                "visited_on": START + timedelta(weeks=week),
                "kind": VisitKind.BASELINE if week == 0 else VisitKind.REVIEW,
                "values": values,
            }
            | changes
        ),
        by="ab",
    )


def test_each_side_and_the_asymmetry_have_a_course_with_a_band(sqlite_clinic: Casebook) -> None:
    adopt_figure(sqlite_clinic, own_figure())
    for week, right in enumerate((30.0, 32.0, 34.0, 36.0)):
        record(sqlite_clinic, 4 * week, *bend(20.0, right))
    found = courses_of(review_runner(sqlite_clinic, "T-001"), BEND)
    assert list(found) == [What.LEFT, What.RIGHT, What.ASYMMETRY]
    right = found[What.RIGHT]
    assert isinstance(right.smoothed, SmoothedCourse)
    # sqrt(0.6**2 + 1/5), the error of a visit's mean of five trials.
    np.testing.assert_allclose(right.sems, (0.36 + 0.2) ** 0.5)
    assert right.sentence.startswith("Over 4 visits in 84 days it rose by 6.0°")
    assert "no steady rise or fall" in found[What.LEFT].sentence


def test_without_an_error_figure_it_says_why_there_is_no_course(sqlite_clinic: Casebook) -> None:
    for week in range(3):
        record(sqlite_clinic, 4 * week, *bend(20.0, 30.0 + week))
    found = courses_of(review_runner(sqlite_clinic, "T-001"), BEND)
    assert isinstance(found[What.RIGHT].smoothed, NotFitted)
    assert "no error figure: measure your own" in found[What.RIGHT].sentence


def test_an_error_within_the_session_is_no_error_between_visits(sqlite_clinic: Casebook) -> None:
    for week in range(3):
        trials = [30.0 + week, 31.0 + week, 32.0 + week]
        record(sqlite_clinic, 4 * week, value_of_trials(BEND, Side.RIGHT, trials))
    review = review_runner(sqlite_clinic, "T-001")
    assert review.course["lower_bound"].all()
    (right,) = courses_of(review, BEND).values()
    assert np.isnan(right.sems).all()
    assert "only the error within a session is known" in right.sentence


def test_a_grade_has_no_smoothed_course_and_it_is_said(sqlite_clinic: Casebook) -> None:
    for week in range(3):
        record(sqlite_clinic, 4 * week, value_of_mean(QUALITY, Side.LEFT, 1.0, 1))
    (left,) = courses_of(review_runner(sqlite_clinic, "T-001"), QUALITY).values()
    assert isinstance(left.smoothed, NotFitted)
    assert "a grade goes in steps and has no standard error" in left.sentence


@pytest.mark.parametrize(("unlike", "words"), [(1, "1 visit that was"), (2, "2 visits that were")])
def test_visits_that_were_not_like_for_like_are_left_out_and_counted(
    sqlite_clinic: Casebook, unlike: int, words: str
) -> None:
    stored = get_metric(sqlite_clinic, BEND)
    save_metric(
        sqlite_clinic,
        replace(stored.metric, sensitive_to=(Condition.SPEED,)),
        expected_revision=stored.revision,
    )
    adopt_figure(sqlite_clinic, own_figure())
    for week in range(4):
        record(sqlite_clinic, week, *bend(20.0, 30.0), conditions=Conditions(speed_km_h=10.0))
    for week in range(4, 4 + unlike):
        record(sqlite_clinic, week, *bend(20.0, 40.0), conditions=Conditions(speed_km_h=14.0))
    right = courses_of(review_runner(sqlite_clinic, "T-001"), BEND)[What.RIGHT]
    assert right.values.tolist() == [30.0] * 4
    assert right.sentence.endswith(f"Left out: {words} not like for like with the baseline.")


def test_the_first_programme_parts_the_course_into_phases(sqlite_clinic: Casebook) -> None:
    adopt_figure(sqlite_clinic, own_figure())
    for week in range(6):
        record(sqlite_clinic, week, *bend(20.0, 30.0))
    with writing(sqlite_clinic.engine) as unit:
        runner_id = unit.scalars(select(RunnerRow.id)).one()
        for week in (2, 5):
            unit.add(
                ProgrammeRow(
                    runner_id=runner_id,
                    title=f"Block {week}",
                    started_on=START + timedelta(weeks=week),
                    kind="injury",
                )
            )
        unit.commit()
    review = review_runner(sqlite_clinic, "T-001")
    assert programme_start(review.programmes) == START + timedelta(weeks=2)
    right = courses_of(review, BEND)[What.RIGHT]
    assert right.in_programme.tolist() == [False] * 3 + [True] * 3
    assert programme_start(()) is None
