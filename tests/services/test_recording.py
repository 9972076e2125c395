"""Recording visits, on SQLite and on PostgreSQL."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import func, select, text

from casebook.domain.errors import CasebookError, Conflict, InputRefused, NotFound
from casebook.domain.people import Identity
from casebook.domain.sides import Side
from casebook.domain.visits import (
    Conditions,
    MissingReason,
    Value,
    Visit,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services import clock
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import VisitSaved, find_visit, list_visits, record_visit
from casebook.services.registering import register_runner
from casebook.storage.session import reading, writing
from casebook.storage.tables import RunnerRow, TrialRow, ValueRow, VisitRow, VisitSaveRow
from tests.builders import BEND, QUALITY, STEPS, STRENGTH, a_runner, a_visit

DAY = a_visit().visited_on


def _codes(refused: pytest.ExceptionInfo[InputRefused]) -> list[str]:
    return [problem.code for problem in refused.value.problems]


def _counts(casebook: Casebook) -> tuple[int, ...]:
    with reading(casebook.engine) as unit:
        return tuple(
            unit.scalar(select(func.count()).select_from(row)) or 0
            for row in (VisitRow, ValueRow, TrialRow, VisitSaveRow)
        )


def _runner_revision(casebook: Casebook) -> int:
    with reading(casebook.engine) as unit:
        return unit.scalars(select(RunnerRow.revision)).one()


def test_a_visit_is_read_back_as_it_was_recorded(clinic: Casebook) -> None:
    before = clock.now()
    saved = record_visit(clinic, a_visit(note="ran after work, ünïcode 🏃"), by="AB")
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert saved == VisitSaved(visit_id=stored.visit_id, revision=1, added=3)
    assert stored.visit == a_visit(note="ran after work, ünïcode 🏃")
    assert (stored.revision, stored.recorded_by, stored.last_saved_by) == (1, "AB", "AB")
    assert before <= stored.recorded_at <= clock.now()
    assert stored.recorded_at.utcoffset() == timedelta(0)


def test_a_day_without_a_visit_has_none(clinic: Casebook) -> None:
    assert find_visit(clinic, "T-001", DAY) is None
    assert list_visits(clinic, "T-001") == ()


def test_visits_are_listed_oldest_first_with_two_on_one_day_apart(clinic: Casebook) -> None:
    days = [(date(2026, 5, 1), 1), (DAY, 2), (DAY, 1)]
    for day, session in days:
        record_visit(clinic, a_visit(visited_on=day, session=session), by="AB")
    listed = [(one.visit.visited_on, one.visit.session) for one in list_visits(clinic, "T-001")]
    assert listed == sorted(days)


def test_n_mean_and_sd_are_made_from_the_trials_whoever_made_the_value(clinic: Casebook) -> None:
    made = Value(
        metric=STRENGTH, side=Side.LEFT, n_trials=9, mean=1.0, sd=99.0, trials=(10.0, 20.0)
    )
    record_visit(clinic, a_visit(values=(made,)), by="AB")
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert stored.visit.values == (value_of_trials(STRENGTH, Side.LEFT, [10.0, 20.0]),)
    assert check_casebook(clinic).ok


def test_a_value_outside_the_plausible_range_is_kept(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(values=(value_of_trials(STRENGTH, Side.LEFT, [5000.0]),)), by="AB")
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert stored.visit.values[0].mean == 5000.0


def test_an_unknown_runner_is_named_and_one_in_other_capitals_is_hinted_at(
    clinic: Casebook,
) -> None:
    with pytest.raises(NotFound, match=r"'X-9'"):
        record_visit(clinic, a_visit(runner="X-9"), by="AB")
    with pytest.raises(NotFound, match=r"Did you mean 'T-001'"):
        record_visit(clinic, a_visit(runner="t-001"), by="AB")
    assert _counts(clinic) == (0, 0, 0, 0)


REFUSED: dict[str, tuple[Visit, str]] = {
    "a date in the future": (
        a_visit(visited_on=clock.today() + timedelta(days=1)),
        "date_in_future",
    ),
    "a date before the birth year": (a_visit(visited_on=date(1989, 12, 31)), "date_before_birth"),
    "a metric the catalogue does not know": (
        a_visit(values=(value_of_mean("no_such_metric", Side.LEFT, 1.0, 1),)),
        "unknown_metric",
    ),
    "a side for a metric that has none": (
        a_visit(values=(value_of_mean(STEPS, Side.LEFT, 170.0, 1),)),
        "side_not_expected",
    ),
    "no side for a metric that has sides": (
        a_visit(values=(value_of_mean(STRENGTH, Side.NONE, 300.0, 1),)),
        "side_missing",
    ),
    "a value given twice": (
        a_visit(values=(value_of_mean(STRENGTH, Side.LEFT, 300.0, 1),) * 2),
        "value_twice",
    ),
    "a NaN among the trials": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT, trials=(1.0, math.nan)),)),
        "not_a_number",
    ),
    "an infinite mean": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT, n_trials=1, mean=math.inf),)),
        "not_a_number",
    ),
    "a value of 1e9": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT, n_trials=1, mean=1e9),)),
        "value_too_large",
    ),
    "a mean of no trials": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT, mean=1.0),)),
        "trial_count",
    ),
    "a value with neither number nor reason": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT),)),
        "value_empty",
    ),
    "a negative SD": (
        a_visit(values=(Value(metric=STRENGTH, side=Side.LEFT, n_trials=3, mean=1.0, sd=-1.0),)),
        "sd",
    ),
    "a negative strength": (
        a_visit(values=(value_of_trials(STRENGTH, Side.LEFT, [300.0, -310.0]),)),
        "impossible_reading",
    ),
    "a grade between two grades": (
        a_visit(values=(value_of_trials(QUALITY, Side.LEFT, [1.5]),)),
        "impossible_reading",
    ),
    "a grade beyond the last": (
        a_visit(values=(value_of_mean(QUALITY, Side.LEFT, 2.5, 2),)),
        "impossible_reading",
    ),
    "a next visit before this one": (
        a_visit(next_due_on=DAY - timedelta(days=1)),
        "due_before_visit",
    ),
    "session zero": (a_visit(session=0), "session"),
    "a text longer than fits": (
        a_visit(conditions=Conditions(surface="x" * 61)),
        "text_too_long",
    ),
    "a NUL in the note": (a_visit(note="a\x00b"), "text_unprintable"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_a_visit_is_refused_with_nothing_stored_for(clinic: Casebook, what: str) -> None:
    visit, code = REFUSED[what]
    with pytest.raises(InputRefused) as refused:
        record_visit(clinic, visit, by="AB")
    assert _codes(refused) == [code]
    assert _counts(clinic) == (0, 0, 0, 0)
    assert _runner_revision(clinic) == 1


def test_a_visit_before_the_exact_birth_date_is_refused(clinic: Casebook) -> None:
    register_runner(
        clinic,
        a_runner(code="B-1", birth_year=None),
        Identity(runner="B-1", birth_date=date(2000, 6, 15)),
    )
    with pytest.raises(InputRefused, match="before runner 'B-1' was born"):
        record_visit(clinic, a_visit(runner="B-1", visited_on=date(2000, 6, 14)), by="AB")
    record_visit(clinic, a_visit(runner="B-1", visited_on=date(2000, 6, 15)), by="AB")


def test_an_inactive_metric_is_refused(clinic: Casebook) -> None:
    with writing(clinic.engine) as unit:
        unit.execute(
            text("UPDATE metric SET active = :no WHERE key = :key"), {"no": False, "key": STRENGTH}
        )
        unit.commit()
    with pytest.raises(InputRefused) as refused:
        record_visit(clinic, a_visit(), by="AB")
    assert _codes(refused) == ["inactive_metric"] * 2


def test_every_problem_of_a_visit_is_told_together(clinic: Casebook) -> None:
    wrong = a_visit(
        visited_on=date(1980, 1, 1),
        values=(
            value_of_mean("nothing_known", Side.LEFT, 1.0, 1),
            value_of_mean(STEPS, Side.RIGHT, 1.0, 1),
        ),
    )
    with pytest.raises(InputRefused) as refused:
        record_visit(clinic, wrong, by="AB")
    assert _codes(refused) == ["date_before_birth", "unknown_metric", "side_not_expected"]


def test_a_whole_mean_of_grades_need_not_be_whole(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(values=(value_of_mean(QUALITY, Side.LEFT, 1.5, 2),)), by="AB")
    assert _counts(clinic)[:2] == (1, 1)


def test_a_second_save_of_a_visit_names_who_saved_it_and_when_and_what(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="AB")
    counts, stored = _counts(clinic), find_visit(clinic, "T-001", DAY)
    assert stored is not None
    with pytest.raises(Conflict) as refused:
        record_visit(clinic, a_visit(values=()), by="CD")
    told = str(refused.value)
    for part in ("'T-001'", "'AB'", f"{stored.recorded_at:%Y-%m-%d %H:%M} UTC", STRENGTH):
        assert part in told
    assert _counts(clinic) == counts


def test_values_are_added_to_a_visit_and_both_revisions_move(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="AB")
    more = a_visit(values=(value_of_trials(STEPS, Side.NONE, [172.0]),))
    saved = record_visit(clinic, more, by="CD", expected_revision=1)
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert (saved.revision, saved.added, stored.revision) == (2, 1, 2)
    assert (stored.recorded_by, stored.last_saved_by) == ("AB", "CD")
    assert set(stored.visit.values) == {*a_visit().values, *more.values}
    assert _runner_revision(clinic) == 3


def test_adding_what_stands_already_changes_nothing(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="AB")
    saved = record_visit(clinic, a_visit(), by="CD", expected_revision=1)
    assert (saved.revision, saved.added) == (1, 0)
    assert _runner_revision(clinic) == 2


def test_conditions_that_were_left_open_are_filled_in(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="AB")
    fuller = Conditions(speed_km_h=10.0, footwear="own shoes", pain_today=2.0)
    record_visit(
        clinic,
        a_visit(values=(), conditions=fuller, next_due_on=date(2026, 5, 1)),
        by="AB",
        expected_revision=1,
    )
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert stored.visit.conditions == replace(
        a_visit().conditions, footwear="own shoes", pain_today=2.0
    )
    assert stored.visit.next_due_on == date(2026, 5, 1)
    assert stored.revision == 2


@pytest.mark.parametrize(
    ("visit", "told"),
    [
        (a_visit(conditions=Conditions(speed_km_h=12.0)), "speed_km_h .stored: 10.0; given: 12.0"),
        (a_visit(kind=VisitKind.REVIEW), "kind .stored: baseline; given: review"),
        (
            a_visit(values=(value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0, 319.0]),)),
            "stored: 310 322 318; given: 310 322 319",
        ),
        (
            a_visit(values=(missing_value(STRENGTH, Side.RIGHT, MissingReason.PAINFUL),)),
            r"stored: 287.5 \(mean of 3\); given: missing, painful",
        ),
        (
            a_visit(values=(value_of_mean(BEND, Side.LEFT, 40.0, 1),)),
            r"stored: missing, not_visible; given: 40 \(mean of 1\)",
        ),
    ],
)
def test_what_is_stored_is_never_changed(clinic: Casebook, visit: Visit, told: str) -> None:
    record_visit(clinic, a_visit(), by="AB")
    extra = value_of_trials(STEPS, Side.NONE, [170.0])
    before = find_visit(clinic, "T-001", DAY)
    with pytest.raises(Conflict, match=told):
        record_visit(
            clinic, replace(visit, values=(*visit.values, extra)), by="CD", expected_revision=1
        )
    assert find_visit(clinic, "T-001", DAY) == before


def test_adding_to_a_visit_that_is_not_there_says_so(clinic: Casebook) -> None:
    with pytest.raises(NotFound, match="Save it as a new visit"):
        record_visit(clinic, a_visit(), by="AB", expected_revision=1)


def test_adding_after_somebody_else_did_lists_what_they_stored(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="AB")
    theirs = a_visit(values=(value_of_trials(QUALITY, Side.RIGHT, [1.0]),))
    record_visit(clinic, theirs, by="CD", expected_revision=1)
    before = find_visit(clinic, "T-001", DAY)
    mine = a_visit(values=(value_of_trials(STEPS, Side.NONE, [172.0]),))
    with pytest.raises(Conflict) as refused:
        record_visit(clinic, mine, by="AB", expected_revision=1)
    told = str(refused.value)
    assert "'CD'" in told
    assert f"{QUALITY} right" in told
    assert STRENGTH not in told
    assert find_visit(clinic, "T-001", DAY) == before


def _at_once(casebook: Casebook, save: Callable[[Casebook, str], VisitSaved]) -> list[object]:
    """Outcome of the same save by four people at once, each with their own connections."""
    gate = threading.Barrier(4)
    outcomes: list[object] = []

    def one(by: str) -> None:
        own = open_casebook(casebook.url)
        gate.wait()
        try:
            outcomes.append(save(own, by))
        except CasebookError as error:
            outcomes.append(error)
        finally:
            own.close()

    people = [threading.Thread(target=one, args=(by,)) for by in ("AA", "BB", "CC", "DD")]
    for person in people:
        person.start()
    for person in people:
        person.join()
    return outcomes


@pytest.mark.parametrize("again", range(3))
def test_of_four_people_who_save_the_same_visit_exactly_one_does(
    clinic: Casebook, again: int
) -> None:
    outcomes = _at_once(clinic, lambda own, by: record_visit(own, a_visit(), by=by))
    saved = [one for one in outcomes if isinstance(one, VisitSaved)]
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert len(saved) == 1
    for refused in (one for one in outcomes if one not in saved):
        assert isinstance(refused, Conflict)
        assert f"already saved by '{stored.recorded_by}'" in str(refused)
    assert _counts(clinic) == (1, 3, 3, 0)
    assert _runner_revision(clinic) == 2
    assert check_casebook(clinic).ok


@pytest.mark.parametrize("again", range(3))
def test_of_four_people_who_add_to_the_same_visit_exactly_one_does(
    clinic: Casebook, again: int
) -> None:
    record_visit(clinic, a_visit(), by="ZZ")
    more = a_visit(values=(value_of_trials(STEPS, Side.NONE, [172.0]),))
    outcomes = _at_once(clinic, lambda own, by: record_visit(own, more, by=by, expected_revision=1))
    saved = [one for one in outcomes if isinstance(one, VisitSaved)]
    stored = find_visit(clinic, "T-001", DAY)
    assert stored is not None
    assert len(saved) == 1
    assert stored.revision == 2
    for refused in (one for one in outcomes if one not in saved):
        assert isinstance(refused, Conflict)
        assert f"saved by '{stored.last_saved_by}'" in str(refused)
        assert STEPS in str(refused)


def test_different_visits_saved_at_once_are_all_kept(clinic: Casebook) -> None:
    days = {"AA": 1, "BB": 2, "CC": 3, "DD": 4}
    outcomes = _at_once(
        clinic,
        lambda own, by: record_visit(own, a_visit(visited_on=date(2026, 4, days[by])), by=by),
    )
    assert all(isinstance(one, VisitSaved) for one in outcomes), outcomes
    assert _counts(clinic)[0] == 4
    assert _runner_revision(clinic) == 5
