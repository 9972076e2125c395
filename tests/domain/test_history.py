from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from casebook.domain.history import (
    Act,
    Change,
    Entry,
    Subject,
    chained,
    metric_and_side,
    numbers_told,
    seal,
    value_content,
    value_field,
    written,
)
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, missing_value, value_of_mean, value_of_trials

AT = datetime(2026, 11, 27, 9, 30, 0, 123456, tzinfo=UTC)


def entries(after: tuple[int, str] = (0, "")) -> list[Entry]:
    changes = [
        Change(act=Act.RECORDED, subject=Subject.VISIT, subject_id=1, fields={"note": (None, "a")}),
        Change(
            act=Act.AMENDED,
            subject=Subject.VISIT,
            subject_id=1,
            fields={"note": ("a", "b")},
            reason="typing slip",
        ),
    ]
    return list(chained(changes, after=after, at=AT, by="kim", import_run_id=3))


def test_each_entry_is_sealed_upon_the_one_before() -> None:
    first, second = entries()
    assert (first.number, first.previous) == (1, "")
    assert (second.number, second.previous) == (2, first.hash)
    assert [seal(first), seal(second)] == [first.hash, second.hash]
    assert entries(after=(2, second.hash))[0].previous == second.hash


@pytest.mark.parametrize(
    "altered",
    [
        {"by": "lee"},
        {"at": AT + timedelta(microseconds=1)},
        {"act": Act.ADDED},
        {"subject": Subject.RUNNER},
        {"subject_id": 2},
        {"runner_id": 9},
        {"visit_id": 9},
        {"import_run_id": None},
        {"reason": "another"},
        {"content": "{}"},
        {"number": 7},
        {"previous": "0" * 64},
    ],
)
def test_whatever_of_an_entry_is_altered_its_seal_no_longer_fits(
    altered: dict[str, object],
) -> None:
    entry = entries()[1]
    assert seal(replace(entry, **altered)) != entry.hash  # type: ignore[arg-type]


def test_a_moment_is_sealed_whatever_the_zone_in_which_it_is_written() -> None:
    entry = entries()[0]
    elsewhere = replace(entry, at=entry.at.astimezone(timezone(timedelta(hours=-7))))
    assert seal(elsewhere) == entry.hash


def test_an_entry_gives_back_its_fields() -> None:
    assert entries()[1].fields == {"note": ("a", "b")}


def test_what_is_no_number_is_never_written() -> None:
    with pytest.raises(ValueError, match="JSON"):
        written({"speed_km_h": (None, float("nan"))})


def test_a_value_has_a_field_of_its_own_whatever_its_metric_is_called() -> None:
    assert metric_and_side(value_field("odd:key", Side.LEFT)) == ("odd:key", Side.LEFT)
    assert metric_and_side("note") is None


def test_a_value_is_told_as_its_trials_or_its_mean_or_why_it_is_missing() -> None:
    trials = value_of_trials("bend", Side.LEFT, [1.0, 2.5])
    assert value_content(trials) == {"trials": [1.0, 2.5]}
    assert value_content(replace(trials, marking_sd=0.5)) == {
        "trials": [1.0, 2.5],
        "marking_sd": 0.5,
    }
    gapped = replace(trials, trial_numbers=(1, 3))
    assert value_content(gapped) == {"trials": [1.0, 2.5], "numbers": [1, 3]}
    assert numbers_told(value_content(gapped)) == [1, 3]
    assert numbers_told(value_content(trials)) == [1, 2]
    mean = value_of_mean("bend", Side.LEFT, 4.0, 3)
    assert value_content(mean) == {"mean": 4.0, "n": 3}
    assert value_content(replace(mean, sd=0.2)) == {"mean": 4.0, "n": 3, "sd": 0.2}
    missing = missing_value("bend", Side.LEFT, MissingReason.PAINFUL)
    assert value_content(missing) == {"missing": "painful"}
