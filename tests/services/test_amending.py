"""Amending and striking out: nothing is overwritten, and nobody's save is lost."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from casebook.domain.errors import CasebookError, Conflict, InputRefused, NotFound
from casebook.domain.history import Act, Entry, value_field
from casebook.domain.meanwhile import VisitChangedMeanwhile
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.opened import Casebook
from casebook.services.recording import StoredVisit, find_visit, record_visit
from casebook.services.repeating import list_repeated
from casebook.services.striking_out import strike_out_values, strike_out_visit
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import BEND, STEPS, STRENGTH, a_visit

DAY = date(2026, 3, 2)
LEFT, RIGHT = value_field(STRENGTH, Side.LEFT), value_field(STRENGTH, Side.RIGHT)


def stored(casebook: Casebook) -> StoredVisit:
    found = find_visit(casebook, "T-001", DAY)
    assert found is not None
    return found


def told(casebook: Casebook) -> list[Entry]:
    with reading(casebook.engine) as unit:
        return [e for e in history.every_entry(unit) if e.visit_id is not None]


def amend(casebook: Casebook, revision: int = 1, **changes: Any) -> int:
    reason, by = changes.pop("reason", "read anew"), changes.pop("by", "kim")
    return amend_visit(
        casebook,
        "T-001",
        DAY,
        1,
        VisitChange(**changes),
        expected_revision=revision,
        reason=reason,
        by=by,
    ).revision


@pytest.fixture
def visited(clinic: Casebook) -> Casebook:
    record_visit(clinic, a_visit(), by="kim")
    return clinic


def test_an_amended_visit_is_what_was_given_and_its_history_says_what_it_was(
    visited: Casebook,
) -> None:
    new = value_of_trials(STRENGTH, Side.LEFT, [301.0, 305.5])
    added = value_of_mean(STEPS, Side.NONE, 172.0, 2)
    amend(
        visited,
        values=[new, added],
        removed=[(STRENGTH, Side.RIGHT)],
        details={"speed_km_h": 11.5, "surface": None, "note": "tired"},
        reason=" misread the scale ",
        by="lee",
    )
    kept = stored(visited)
    assert (kept.revision, kept.recorded_by, kept.last_saved_by) == (2, "kim", "lee")
    assert {(v.metric, v.side) for v in kept.visit.values} == {
        (STRENGTH, Side.LEFT),
        (BEND, Side.LEFT),
        (STEPS, Side.NONE),
    }
    assert new in kept.visit.values
    assert (kept.visit.conditions.speed_km_h, kept.visit.conditions.surface) == (11.5, "")
    first, second = told(visited)
    assert (first.act, first.by, second.act, second.by) == (Act.RECORDED, "kim", Act.AMENDED, "lee")
    assert second.reason == "misread the scale"
    assert second.fields == {
        LEFT: ({"trials": [310.0, 322.0, 318.0]}, {"trials": [301.0, 305.5]}),
        RIGHT: ({"mean": 287.5, "n": 3}, None),
        value_field(STEPS, Side.NONE): (None, {"mean": 172.0, "n": 2}),
        "speed_km_h": (10.0, 11.5),
        "surface": ("treadmill", None),
        "note": (None, "tired"),
        "revision": (1, 2),
    }


def test_numbers_given_as_they_stand_keep_the_error_of_the_points_they_were_read_from(
    sqlite_clinic: Casebook,
) -> None:
    plain = value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0])
    marked = replace(plain, marking_sd=12.5)
    record_visit(sqlite_clinic, a_visit(values=(marked,)), by="kim")
    assert amend(sqlite_clinic, values=[plain]) == 1
    assert stored(sqlite_clinic).visit.values == (marked,)


@pytest.mark.parametrize(
    ("changes", "refusal", "words"),
    [
        ({"details": {"speed_km_h": 11.0}, "reason": "  "}, InputRefused, "Say why"),
        ({"removed": [(STRENGTH, Side.LEFT)], "reason": ""}, InputRefused, "Say why"),
        ({"details": {"speed_km_h": 90.0}}, InputRefused, "speed_km_h is 90"),
        ({"details": {"kind": None}}, InputRefused, "every visit has its kind"),
        ({"details": {"kind": "first"}}, InputRefused, "kind is 'first'"),
        ({"details": {"recorded_by": "lee"}}, InputRefused, "nothing of a visit"),
        ({"details": {"visited_on": date(2199, 1, 1)}}, InputRefused, "in the future"),
        ({"removed": [(STEPS, Side.NONE)]}, NotFound, "no value of test_steps"),
        (
            {
                "values": [missing_value(BEND, Side.LEFT, MissingReason.PAINFUL)],
                "removed": [(BEND, Side.LEFT)],
            },
            InputRefused,
            "at once",
        ),
        ({"values": [value_of_mean("no_metric", Side.LEFT, 1.0, 1)]}, InputRefused, "catalogue"),
    ],
)
def test_a_refused_amendment_says_why_and_changes_nothing(
    sqlite_clinic: Casebook,
    changes: dict[str, Any],
    refusal: type[CasebookError],
    words: str,
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    before = (stored(sqlite_clinic), told(sqlite_clinic))
    with pytest.raises(refusal, match=words):
        amend(sqlite_clinic, **changes)
    assert (stored(sqlite_clinic), told(sqlite_clinic)) == before


def test_adding_asks_for_no_reason_and_giving_what_stands_changes_nothing(
    sqlite_clinic: Casebook,
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    assert amend(sqlite_clinic, values=a_visit().values, reason="") == 1
    steps = value_of_mean(STEPS, Side.NONE, 172.0, 2)
    assert amend(sqlite_clinic, values=[steps], reason="") == 2
    assert [entry.act for entry in told(sqlite_clinic)] == [Act.RECORDED, Act.ADDED]


def test_a_visit_moves_to_another_day_unless_one_stands_there(sqlite_clinic: Casebook) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    record_visit(sqlite_clinic, a_visit(visited_on=date(2026, 3, 9)), by="kim")
    with pytest.raises(Conflict, match="another visit on 2026-03-09"):
        amend(sqlite_clinic, details={"visited_on": date(2026, 3, 9)})
    amend(sqlite_clinic, details={"visited_on": date(2026, 3, 3), "session": 2})
    assert find_visit(sqlite_clinic, "T-001", DAY) is None
    moved = find_visit(sqlite_clinic, "T-001", date(2026, 3, 3), 2)
    assert moved is not None
    assert set(moved.visit.values) == set(a_visit().values)


def test_the_second_to_save_is_told_field_by_field_and_saves_again_with_what_was_chosen(
    visited: Casebook,
) -> None:
    theirs = value_of_trials(STRENGTH, Side.LEFT, [300.0])
    amend(
        visited,
        values=[theirs],
        removed=[(STRENGTH, Side.RIGHT)],
        details={"note": "theirs"},
        by="lee",
    )
    yours = VisitChange(
        values=[value_of_trials(STRENGTH, Side.LEFT, [299.0])], details={"footwear": "racing flat"}
    )
    with pytest.raises(VisitChangedMeanwhile) as refused:
        amend_visit(visited, "T-001", DAY, 1, yours, expected_revision=1, reason="slip", by="kim")
    error = refused.value
    assert (error.shown_revision, error.by) == (2, "lee")
    by_name = {one.name: one for one in error.fields}
    assert set(by_name) == {LEFT, RIGHT, "note", "footwear"}
    left = by_name[LEFT]
    assert (left.opened, left.stored, left.given, left.must_choose) == (
        {"trials": [310.0, 322.0, 318.0]},
        {"trials": [300.0]},
        {"trials": [299.0]},
        True,
    )
    assert {name for name, one in by_name.items() if one.theirs} == {LEFT, RIGHT, "note"}
    assert not by_name["footwear"].must_choose
    assert "'lee'" in str(error)
    assert "struck out test_strength right" in str(error)
    assert stored(visited).revision == 2
    saved = amend_visit(
        visited,
        "T-001",
        DAY,
        1,
        yours,
        expected_revision=error.shown_revision,
        reason="slip",
        by="kim",
    )
    kept = stored(visited).visit
    assert saved.revision == 3
    assert (kept.note, kept.conditions.footwear) == ("theirs", "racing flat")


def test_one_who_merely_adds_is_told_the_same(sqlite_clinic: Casebook) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    amend(sqlite_clinic, values=[value_of_trials(STRENGTH, Side.LEFT, [300.0])], by="lee")
    more = a_visit(values=(value_of_mean(STEPS, Side.NONE, 172.0, 2),))
    with pytest.raises(VisitChangedMeanwhile) as refused:
        record_visit(sqlite_clinic, more, by="kim", expected_revision=1)
    assert [one.name for one in refused.value.fields] == sorted(
        [LEFT, value_field(STEPS, Side.NONE)]
    )


def test_of_two_who_amend_at_once_one_is_told_and_nothing_is_lost(visited: Casebook) -> None:
    together = threading.Barrier(2)
    ends: list[object] = []

    def amender(trial: float) -> None:
        together.wait(5)
        try:
            ends.append(
                amend(visited, values=[value_of_trials(STRENGTH, Side.LEFT, [trial])], by="kim")
            )
        except VisitChangedMeanwhile as error:
            ends.append(error)

    threads = [threading.Thread(target=amender, args=(trial,)) for trial in (1.0, 2.0)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert sorted(type(end).__name__ for end in ends) == ["VisitChangedMeanwhile", "int"]
    error = next(end for end in ends if isinstance(end, VisitChangedMeanwhile))
    left = next(one for one in error.fields if one.name == LEFT)
    assert {left.stored["trials"][0], left.given["trials"][0]} == {1.0, 2.0}
    assert len(told(visited)) == 2


def test_a_visit_struck_out_leaves_the_record_and_stands_in_the_history(visited: Casebook) -> None:
    strike_out_values(
        visited,
        "T-001",
        DAY,
        removed=[(STRENGTH, Side.RIGHT)],
        expected_revision=1,
        reason="other leg",
        by="kim",
    )
    with pytest.raises(InputRefused, match="Say why"):
        strike_out_visit(visited, "T-001", DAY, expected_revision=2, reason=" ", by="kim")
    with pytest.raises(VisitChangedMeanwhile):
        strike_out_visit(visited, "T-001", DAY, expected_revision=1, reason="wrong", by="kim")
    strike_out_visit(visited, "T-001", DAY, expected_revision=2, reason="another runner", by="kim")
    assert find_visit(visited, "T-001", DAY) is None
    acts = [entry.act for entry in told(visited)]
    assert acts == [Act.RECORDED, Act.STRUCK_OUT, Act.STRUCK_OUT]
    last = told(visited)[-1].fields
    assert last[LEFT] == ({"trials": [310.0, 322.0, 318.0]}, None)
    assert RIGHT not in last
    assert all(now is None for _, now in last.values())


def test_a_study_is_made_anew_when_a_repeat_visit_is_amended(sqlite_clinic: Casebook) -> None:
    record_visit(sqlite_clinic, a_visit(kind=VisitKind.REPEAT), by="kim")

    def stamp() -> tuple[int, ...]:
        return next(one.stamp for one in list_repeated(sqlite_clinic))

    before = stamp()
    trials = [value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0, 319.0])]
    amend(sqlite_clinic, values=trials)
    assert stamp() != before


def test_a_repeat_visit_that_takes_the_place_of_one_struck_out_makes_another_study(
    clinic: Casebook,
) -> None:
    days = [date(2026, 3, day) for day in (2, 3, 4)]
    kinds = (VisitKind.REPEAT, VisitKind.REVIEW, VisitKind.REPEAT)
    for day, kind in zip(days, kinds, strict=True):
        record_visit(clinic, a_visit(visited_on=day, kind=kind), by="kim")
    amend(clinic, details={"note": "tired"})
    before = [one.stamp for one in list_repeated(clinic)]
    strike_out_visit(clinic, "T-001", DAY, expected_revision=2, reason="another runner", by="kim")
    change = VisitChange(details={"kind": VisitKind.REPEAT})
    amend_visit(clinic, "T-001", days[1], 1, change, expected_revision=1, reason="it was", by="kim")
    after = [one.stamp for one in list_repeated(clinic)]
    assert [one[:2] for one in after] == [one[:2] for one in before]
    assert not set(after) & set(before)
