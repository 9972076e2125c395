"""The history in plain words, and what a record was at each of its entries."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from casebook.domain.history import Act, Change, Entry, Subject, chained
from casebook.domain.history_words import (
    column_label,
    content_words,
    field_label,
    heading_words,
    value_words,
)
from casebook.domain.meanwhile import FieldMeanwhile, VisitChangedMeanwhile
from casebook.domain.replaying import apply, state_at_revision
from tests.builders import BEND, METRICS, QUALITY, STEPS, STRENGTH

BY_KEY = {metric.key: metric for metric in METRICS}
AT = datetime(2026, 11, 27, 9, 30, tzinfo=UTC)


def entries(*told: tuple[Act, Subject, dict[str, tuple[Any, Any]]]) -> list[Entry]:
    changes = [
        Change(act=act, subject=subject, subject_id=1, fields=fields, reason="slip")
        for act, subject, fields in told
    ]
    return list(chained(changes, after=(0, ""), at=AT, by="kim"))


@pytest.mark.parametrize(
    ("content", "key", "words"),
    [
        ({"trials": [310.0, 322.5]}, STRENGTH, "310, 322.5 N"),
        ({"mean": -4.0, "n": 3, "sd": 0.2}, BEND, "−4° (mean of 3)"),
        ({"trials": [4.25], "marking_sd": 0.5}, BEND, "4.25°, marking error 0.5°"),
        ({"missing": "not_visible"}, BEND, "missing: couldn't be seen"),
        ({"trials": [1.0, 1.5, 9.0]}, QUALITY, "1 (fair), 1.5, 9"),
        ({"trials": [7.0]}, "gone", "7"),
    ],
)
def test_a_value_is_told_with_its_unit_and_a_grade_with_its_meaning(
    content: dict[str, Any], key: str, words: str
) -> None:
    assert value_words(content, BY_KEY.get(key)) == words


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("speed_km_h", 11.5, "11.5 km/h"),
        ("session", 2, "2"),
        ("note", "left_knee", "left_knee"),
        ("note", None, "nothing"),
        ("kind", "repeat", "repeat measurement"),
        ("kind", "injury", "injury"),
        ("region", "hip_groin", "hip or groin"),
        ("region", "lower_leg", "lower leg"),
        ("role", "still", "should stay still"),
        ("what", "none", "whole body"),
        ("family_name", True, "filled in"),
        ("active", False, "no"),
        ("metrics", ["a", "b"], "a, b"),
        ("n_rows", {"runners": 3, "visits": 9}, "runners: 3, visits: 9"),
        (f"value:{STEPS}:none", {"mean": 171.0, "n": 2}, "171 /min (mean of 2)"),
    ],
)
def test_a_column_is_told_in_words(name: str, content: Any, words: str) -> None:
    assert content_words(name, content, BY_KEY) == words


def test_a_field_is_called_by_its_metric_and_side_or_in_words() -> None:
    assert field_label(f"value:{STRENGTH}:left", BY_KEY) == "Strength in a test, left"
    assert field_label(f"value:{STEPS}:none", BY_KEY) == "Strength in a test"
    assert field_label("value:gone:right", BY_KEY) == "gone, right"
    assert field_label("onset_on", BY_KEY) == "began on"
    assert field_label("footwear", BY_KEY) == "footwear"
    assert (column_label("height_cm"), column_label("code")) == ("Height (cm)", "Code")


def test_an_entry_says_what_was_done_to_what() -> None:
    told = entries(
        (Act.RECORDED, Subject.INJURY, {"course": (None, "open")}),
        (Act.STRUCK_OUT, Subject.VISIT, {"note": ("a", None), "revision": (1, 2)}),
        (Act.STRUCK_OUT, Subject.VISIT, {"note": ("a", None), "revision": (2, None)}),
        (Act.UNDONE, Subject.VISIT, {}),
        (Act.STRUCK_OUT, Subject.ACKNOWLEDGEMENT, {}),
    )
    assert [heading_words(entry) for entry in told] == [
        "complaint recorded",
        "values struck out",
        "visit struck out",
        "visit: an earlier change undone",
        "flag open again",
    ]


def test_a_consent_that_is_taken_back_is_withdrawn_and_not_added_to() -> None:
    given, withdrawn = (None, "2026-03-01"), (None, "2026-05-01")
    told = entries(
        (Act.RECORDED, Subject.CONSENT, {"given_on": given}),
        (Act.ADDED, Subject.CONSENT, {"withdrawn_on": withdrawn}),
        (Act.AMENDED, Subject.CONSENT, {"withdrawn_on": ("2026-05-01", "2026-05-02")}),
        (Act.AMENDED, Subject.CONSENT, {"withdrawn_on": ("2026-05-02", None)}),
    )
    assert [heading_words(entry) for entry in told] == [
        "consent recorded",
        "consent withdrawn",
        "consent amended",
        "consent amended",
    ]


def test_every_kind_of_entry_has_words() -> None:
    entry = entries((Act.RECORDED, Subject.VISIT, {}))[0]
    for act in Act:
        for subject in Subject:
            assert heading_words(replace(entry, act=act, subject=subject))


def test_a_record_is_brought_on_entry_by_entry_and_what_it_was_not_is_told() -> None:
    state: dict[str, Any] = {"note": "a"}
    assert apply(state, {"note": ("a", None), "speed_km_h": (None, 10.0)}) == []
    assert state == {"speed_km_h": 10.0}
    assert apply(state, {"speed_km_h": (9.0, 11.0)}) == ["speed_km_h"]
    assert state == {"speed_km_h": 11.0}


def test_what_a_visit_was_at_a_revision_is_told_from_its_entries() -> None:
    told = entries(
        (Act.RECORDED, Subject.VISIT, {"note": (None, "a"), "revision": (None, 1)}),
        (Act.AMENDED, Subject.VISIT, {"note": ("a", "b"), "revision": (1, 2)}),
    )
    assert state_at_revision(told, 1) == {"note": "a", "revision": 1}
    assert state_at_revision(told, 2) == {"note": "b", "revision": 2}
    assert state_at_revision(told, 3) == {}


@pytest.mark.parametrize(
    ("opened", "stored", "given", "told"),
    [
        ("a", "b", "c", (True, True, True)),
        ("a", "b", "b", (True, True, False)),
        ("a", "b", "a", (True, False, False)),
        ("a", "a", "c", (False, True, False)),
    ],
)
def test_one_must_choose_where_both_changed_it_and_not_to_the_same(
    opened: str, stored: str, given: str, told: tuple[bool, bool, bool]
) -> None:
    one = FieldMeanwhile(name="note", opened=opened, stored=stored, given=given)
    assert (one.theirs, one.yours, one.must_choose) == told
    assert str(VisitChangedMeanwhile(words="saved by 'lee'", fields=(one,))) == "saved by 'lee'"
