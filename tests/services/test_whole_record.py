"""Everything held on a runner comes into another casebook unchanged, or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from casebook.domain.errors import Conflict, InputRefused
from casebook.domain.history import Subject
from casebook.domain.people import Identity
from casebook.domain.whole_record import HeldRow, WholeRecord
from casebook.intake.fhir_out import bundle_text
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.record_in import RecordStored, import_record
from casebook.services.recording import list_visits, record_visit
from casebook.services.recording_out import get_record
from casebook.services.registering import list_runners, list_users, register_runner
from casebook.services.telling_history import runner_history
from casebook.services.undoing_imports import undo_import
from casebook.storage import whole_record as store
from casebook.storage.tables import Row
from tests.builders import METRICS, a_runner, a_visit
from tests.whole_records import whole_records

codes = (f"T-{number}" for number in count(1))


def imported(casebook: Casebook, record: WholeRecord, folder: Path) -> RecordStored:
    path = folder / "record.json"
    path.write_text(bundle_text(record), encoding="utf-8")
    return import_record(casebook, path, by="KM")


def held(record: WholeRecord) -> list[HeldRow]:
    """Rows as another casebook holds them: without files, and saved by whoever imported them."""
    return [
        replace(
            row,
            fields={
                name: told
                for name, told in row.fields.items()
                if name not in {"recorded_at", "recorded_by"}
            },
        )
        for row in record.rows
        if row.kind is not Subject.ATTACHMENT
    ]


# Not made smaller when it fails: each try is an import.
@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(record=whole_records())
def test_a_record_is_the_same_in_the_casebook_that_takes_it(
    casebook: Casebook, tmp_path: Path, record: WholeRecord
) -> None:
    code = next(codes)
    runner = replace(record.rows[0], fields={**record.rows[0].fields, "code": code})
    record = replace(record, code=code, rows=(runner, *record.rows[1:]))
    stored = imported(casebook, record, tmp_path)
    again = get_record(casebook, code)
    assert held(again) == held(record)
    assert again.values == record.values
    assert again.metrics == METRICS[:3]
    assert stored.values == len(record.values)
    assert (stored.history, stored.files) == (1, len(record.of_kind(Subject.ATTACHMENT)))
    assert [part for part in check_casebook(casebook).parts if not part.ok] == []


def test_what_is_taken_in_is_told_to_the_history_and_undone_as_a_whole(
    sqlite_casebook: Casebook, postgresql_clinic: Casebook, tmp_path: Path
) -> None:
    casebook, clinic = sqlite_casebook, postgresql_clinic
    register_runner(clinic, a_runner(code="Q 9"), Identity(runner="Q 9", given_name="Ínv"))
    record_visit(clinic, a_visit(runner="Q 9"), by="")
    stored = imported(casebook, get_record(clinic, "Q 9"), tmp_path)
    assert list_visits(casebook, "Q 9")[0].visit == list_visits(clinic, "Q 9")[0].visit
    assert list_visits(casebook, "Q 9")[0].recorded_by == "KM"
    assert {entry.heading for entry in runner_history(casebook, "Q 9")} == {
        "runner recorded",
        "name and birth date recorded",
        "visit recorded",
    }
    assert all(entry.imported for entry in runner_history(casebook, "Q 9"))
    assert check_casebook(casebook).ok
    undo_import(casebook, stored.run_id, reason="the wrong clinic")
    assert list_runners(casebook) == ()
    assert check_casebook(casebook).ok


def test_a_runner_who_is_registered_keeps_the_record_that_stands(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="")
    with pytest.raises(Conflict, match="'T-001' is registered already"):
        imported(sqlite_clinic, get_record(sqlite_clinic, "T-001"), tmp_path)


def visit_twice(record: WholeRecord) -> WholeRecord:
    visit = record.of_kind(Subject.VISIT)[0]
    return replace(record, rows=(*record.rows, replace(visit, number=2)))


def field(kind: Subject, name: str, content: Any) -> Callable[[WholeRecord], WholeRecord]:
    def changed(record: WholeRecord) -> WholeRecord:
        return replace(
            record,
            rows=tuple(
                replace(row, fields={**row.fields, name: content}) if row.kind is kind else row
                for row in record.rows
            ),
        )

    return changed


def metric(**changes: Any) -> Callable[[WholeRecord], WholeRecord]:
    return lambda record: replace(
        record, metrics=tuple(replace(one, **changes) for one in record.metrics)
    )


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (visit_twice, "(Encounter): a visit on 2026-03-02, session 1, stands in an earlier"),
        (
            field(Subject.VISIT, "visited_on", "2199-01-01"),
            "(Encounter), field period.start: is 2199-01-01, which lies in the future",
        ),
        (
            field(Subject.VISIT, "visited_on", "soon"),
            "(Encounter), field period.start: is 'soon'; expected a day, as 2026-03-02",
        ),
        (
            field(Subject.VISIT, "kind", "party"),
            "(Encounter), field type.0: is 'party'; expected one of baseline, review",
        ),
        (
            field(Subject.VISIT, "pain_today", 11.0),
            "(Encounter), field extension urn:casebook:field:pain_today: pain_today is 11.0; "
            "expected 0 to 10",
        ),
        (
            field(Subject.VISIT, "shoe_size", 42),
            "(Encounter), field extension urn:casebook:field:shoe_size: is '42'; expected no such",
        ),
        (
            field(Subject.RUNNER, "height_cm", 1780.0),
            "(Patient), field extension urn:casebook:field:height_cm: runner 'T-001': height_cm "
            "is 1780.0; expected 50 to 260",
        ),
        (metric(unit="kN"), "the metric 'test_strength' of the record has another unit ('kN')"),
    ],
)
def test_a_record_that_breaks_a_rule_is_refused_as_a_whole(
    sqlite_clinic: Casebook,
    tmp_path: Path,
    spoil: Callable[[WholeRecord], WholeRecord],
    words: str,
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="")
    bad = spoil(get_record(sqlite_clinic, "T-001"))
    before = runner_history(sqlite_clinic, "T-001")
    path = tmp_path / "bad.json"
    # Into the clinic that knows the metrics, for a runner whom it does not know.
    path.write_text(bundle_text(bad).replace('"T-001"', '"T-002"'), encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        import_record(sqlite_clinic, path)
    assert words.replace("T-001", "T-002") in str(refused.value)
    assert "bad.json" in str(refused.value)
    assert [runner.code for runner in list_runners(sqlite_clinic)] == ["T-001"]
    assert runner_history(sqlite_clinic, "T-001") == before
    assert list_users(sqlite_clinic) == ()


def test_every_table_that_leads_to_a_runner_is_part_of_the_record():
    leads = {"runner"}
    for table in Row.metadata.sorted_tables:
        if leads & {key.column.table.name for key in table.foreign_keys}:
            leads.add(table.name)
    kinds = {store.ROW_OF[kind].__tablename__ for kind in store.kinds()}
    assert leads == kinds | store.APART


def test_the_bundle_says_what_a_metric_is_so_that_the_same_key_never_means_two_things(
    sqlite_clinic: Casebook,
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="")
    bundle = json.loads(bundle_text(get_record(sqlite_clinic, "T-001")))
    concepts = bundle["entry"][0]["resource"]["concept"]
    assert [one["code"] for one in concepts] == ["test_strength", "test_bend"]
