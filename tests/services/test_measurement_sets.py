"""Measurement sets: a clinic's own, in its order, told in the history, never removed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.history import Act, Subject
from casebook.domain.measurement_sets import MeasurementSet
from casebook.services.keeping import Casebook
from casebook.services.measurement_sets import (
    get_set,
    list_sets,
    load_starter_sets,
    order_sets,
    save_set,
)
from casebook.storage import history
from casebook.storage.session import reading

SPRINT = MeasurementSet(name="Sprint", metrics=("contact_time", "cadence"), purpose="after a race")


def told(casebook: Casebook) -> list[tuple[Act, dict[str, tuple[object, object]]]]:
    with reading(casebook.engine) as unit:
        return [
            (entry.act, entry.fields)
            for entry in history.every_entry(unit)
            if entry.subject is Subject.MEASUREMENT_SET
        ]


def test_a_clinic_begins_with_three_sets_and_they_do_not_come_back(casebook: Casebook) -> None:
    assert [one.set.name for one in list_sets(casebook)] == [
        "First visit",
        "Short review",
        "Strength and range",
    ]
    first = list_sets(casebook)[0]
    save_set(casebook, replace(first.set, active=False), by="AB", read=first)
    assert load_starter_sets(casebook) == 0
    assert len(list_sets(casebook)) == 2
    assert len(list_sets(casebook, include_inactive=True)) == 3


def test_a_set_is_made_changed_and_put_in_order_and_the_history_tells_it(
    casebook: Casebook,
) -> None:
    made = save_set(casebook, SPRINT, by="AB", read=None)
    assert list_sets(casebook)[-1] == made
    changed = replace(SPRINT, metrics=("cadence", "flight_time"))
    assert save_set(casebook, changed, by="CD", read=made).set == changed
    assert get_set(casebook, "sprint").set.metrics == ("cadence", "flight_time")
    ordered = order_sets(casebook, ["Sprint", "Short review"], by="AB")
    assert [one.set.name for one in ordered] == [
        "Sprint",
        "Short review",
        "First visit",
        "Strength and range",
    ]
    starter, (made_act, made_fields), (changed_act, fields), *moved = (
        told(casebook)[:3],
        *told(casebook)[3:],
    )
    assert {act for act, _ in starter} == {Act.RECORDED}
    assert made_fields["position"] == (None, 3)
    assert (made_act, changed_act) == (Act.RECORDED, Act.AMENDED)
    assert fields == {"metrics": (["contact_time", "cadence"], ["cadence", "flight_time"])}
    assert all(set(fields) == {"position"} for _, fields in moved)
    assert len(moved) == 3  # the review keeps its place


def test_a_set_changed_by_another_meanwhile_is_not_overwritten(casebook: Casebook) -> None:
    read = save_set(casebook, SPRINT, by="AB", read=None)
    save_set(casebook, replace(SPRINT, purpose="theirs"), by="CD", read=read)
    with pytest.raises(Conflict, match=r"Somebody else changed .*purpose"):
        save_set(casebook, replace(SPRINT, purpose="mine"), by="AB", read=read)
    assert get_set(casebook, "Sprint").set.purpose == "theirs"


def test_what_is_no_set_is_refused_in_words_and_nothing_is_stored(casebook: Casebook) -> None:
    before = list_sets(casebook)
    with pytest.raises(InputRefused, match=r"'cadense'.*Did you mean 'cadence'"):
        save_set(casebook, replace(SPRINT, metrics=("cadense",)), by="", read=None)
    with pytest.raises(Conflict, match="'Short review' already"):
        save_set(casebook, replace(SPRINT, name=" short  REVIEW "), by="", read=None)
    with pytest.raises(NotFound, match="no measurement set 'Sprint'"):
        order_sets(casebook, ["Sprint"], by="")
    for wrong, words in (
        ({"name": " "}, "needs a name"),
        ({"metrics": ()}, "has no metric"),
        ({"metrics": ("cadence", "cadence")}, "named twice: cadence"),
        ({"name": "x" * 101}, "at most 100"),
    ):
        with pytest.raises(InputRefused, match=words):
            replace(SPRINT, **wrong)
    assert list_sets(casebook) == before
