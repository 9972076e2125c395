"""The Bundle of a record, judged by two libraries that are not ours; and Bundles refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle as Bundle43
from fhirclient.models.bundle import Bundle as Bundle401
from fhirclient.models.fhirabstractbase import FHIRValidationError
from hypothesis import given, settings

from casebook.domain.errors import InputRefused
from casebook.domain.history import Subject
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, missing_value, value_of_trials
from casebook.domain.whole_record import HeldRow, HeldValue, WholeRecord
from casebook.intake.fhir_in import read_bundle
from casebook.intake.fhir_out import bundle_text
from tests.builders import METRICS, STRENGTH
from tests.whole_records import MOMENT, USERS, whole_records

Json = dict[str, Any]


@settings(max_examples=8)
@given(record=whole_records())
def test_every_bundle_is_valid_r4_for_two_libraries_and_reads_back_the_same(
    record: WholeRecord,
) -> None:
    text = bundle_text(record)
    Bundle43.model_validate_json(text)  # types, patterns, what must be there, nothing else
    Bundle401(json.loads(text), strict=True)  # the same of 4.0.1 itself
    back = read_bundle(text.encode(), name="record.json").record
    assert [(row.kind, row.number) for row in back.rows] == [
        (row.kind, row.number) for row in sorted_as_read(record)
    ]
    assert back.values == record.values
    assert back.metrics == record.metrics
    assert [(line.at, line.what) for line in back.history] == [
        (line.at, line.what) for line in record.history
    ]


def sorted_as_read(record: WholeRecord) -> list[HeldRow]:
    """A runner and the identity are one Patient, so that they stand together."""
    first = {Subject.RUNNER: 0, Subject.IDENTITY: 1}
    return sorted(record.rows, key=lambda row: first.get(row.kind, 2))


@cache
def small() -> str:
    visit = HeldRow(
        kind=Subject.VISIT,
        number=1,
        fields={"visited_on": "2026-03-02", "kind": "baseline", "session": 1, "speed_km_h": 10.5},
    )
    injury = HeldRow(
        kind=Subject.INJURY,
        number=1,
        fields={
            "region": "knee",
            "pathology": "tendinopathy",
            "side": "right",
            "onset_on": "2026-01-12",
            "onset": "gradual",
            "occurrence": "first",
            "course": "resolved",
        },
    )
    values = (
        value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0]),
        missing_value(STRENGTH, Side.RIGHT, MissingReason.PAINFUL),
    )
    return bundle_text(
        WholeRecord(
            code="T-7",
            written_at=MOMENT,
            rows=(
                HeldRow(kind=Subject.RUNNER, number=1, fields={"code": "T-7", "sex": "female"}),
                injury,
                visit,
            ),
            values=tuple(HeldValue(visit=1, value=replace(one)) for one in values),
            metrics=METRICS[:1],
            users=USERS[:1],
        )
    )


def bundle() -> Json:
    found: Json = json.loads(small())
    return found


def resource(sort: str, place: int = 0) -> Json:
    found = [one["resource"] for one in bundle()["entry"]]
    return [one for one in found if one["resourceType"] == sort][place]


def test_sides_units_and_what_is_missing_stand_in_codes_that_others_know():
    left, right = resource("Observation"), resource("Observation", 1)
    assert left["bodySite"]["coding"][0]["code"] == "7771000"
    assert left["valueQuantity"] == {
        "value": 316.0,
        "system": "http://unitsofmeasure.org",
        "code": "N",
        "unit": "N",
    }
    assert right["bodySite"]["coding"][0]["code"] == "24028007"
    assert right["dataAbsentReason"]["coding"][0]["code"] == "not-performed"
    assert "valueQuantity" not in right
    condition = resource("Condition")
    assert condition["clinicalStatus"]["coding"][0]["code"] == "resolved"
    assert condition["bodySite"][1]["coding"][0]["code"] == "24028007"


def test_the_judges_do_say_no():
    """An element that R4 does not have, deep in the Bundle, is refused by either."""
    found = bundle()
    entry(6)(found)["valueQuantity"]["amount"] = 3
    with pytest.raises(ValueError, match="amount"):
        Bundle43.model_validate(found)
    with pytest.raises(FHIRValidationError, match="amount"):
        Bundle401(found, strict=True)


def entry(number: int) -> Callable[[Json], Json]:
    return lambda found: found["entry"][number - 1]["resource"]


# Entries: 1 CodeSystem, 2 Practitioner, 3 Patient, 4 Condition, 5 Encounter, 6 and 7 Observations.
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda b: b.pop("resourceType"), "field resourceType: is 'None'; expected 'Bundle'"),
        (lambda b: b.pop("meta"), "field meta.tag: holds no code of the system urn:casebook:rec"),
        (lambda b: b.update(type="document"), "field type: is 'document'; expected 'collection'"),
        (lambda b: b.pop("entry"), "field entry: is missing or empty"),
        (lambda b: b.update(timestamp="now"), "field timestamp: is no moment"),
        (lambda b: b["entry"].pop(2), "field entry: holds 0 Patients"),
        (lambda b: b["entry"].append(b["entry"][2]), "entry 8 (Patient), field fullUrl: "),
        (
            lambda b: b["entry"].append(
                {"fullUrl": "urn:x", "resource": {"resourceType": "MedicationRequest"}}
            ),
            "entry 8 (MedicationRequest), field resourceType: is 'MedicationRequest'; expected",
        ),
        (lambda b: b["entry"].append({}), "entry 8: has no resource or no fullUrl"),
        (
            lambda b: entry(4)(b).update(severity={"text": "bad"}),
            "entry 4 (Condition), field severity: casebook keeps nothing of that kind",
        ),
        (
            lambda b: entry(4)(b)["bodySite"][1]["coding"][0].update(code="1"),
            "entry 4 (Condition), field bodySite: has the code '1'; expected 7771000 (left)",
        ),
        (
            lambda b: entry(5)(b)["extension"].append({"url": "http://x/y", "valueCode": "1"}),
            "entry 5 (Encounter), field extension.2.url: 'http://x/y' is no extension of caseb",
        ),
        (
            lambda b: entry(5)(b)["extension"][1]["valueQuantity"].update(code="m/s"),
            "entry 5 (Encounter), field extension.1.valueQuantity.code: is 'm/s'",
        ),
        (
            lambda b: entry(6)(b)["valueQuantity"].update(code="[lbf_av]"),
            "entry 6 (Observation), field valueQuantity.code: is '[lbf_av]' of",
        ),
        (
            lambda b: entry(6)(b)["valueQuantity"].update(value="316"),
            "entry 6 (Observation), field valueQuantity.value: is '316'; expected a number",
        ),
        (
            lambda b: entry(6)(b)["valueQuantity"].update(value=300.0),
            "entry 6 (Observation), field valueQuantity.value: is 300.0, but its trials make it",
        ),
        (
            lambda b: entry(6)(b)["encounter"].update(reference="urn:uuid:0"),
            "entry 6 (Observation), field encounter.reference: no entry has the fullUrl",
        ),
        (
            lambda b: entry(6)(b)["code"]["coding"][0].update(system="http://loinc.org"),
            "entry 6 (Observation), field code: is 'None'; expected a metric or one of",
        ),
        (
            lambda b: entry(7)(b)["dataAbsentReason"]["coding"].pop(),
            "entry 7 (Observation), field dataAbsentReason: is 'None'; expected one of not_done",
        ),
        (
            lambda b: entry(1)(b)["concept"][0]["property"][0].update(valueString="{}"),
            "entry 1 (CodeSystem), field concept.0.property.0.valueString: is no definition",
        ),
        (
            lambda b: entry(3)(b).update(gender="f"),
            "entry 3 (Patient), field gender: is 'f'; expected one of female",
        ),
    ],
)
def test_what_another_program_wrote_is_refused_by_entry_and_field(
    spoil: Callable[[Json], object], words: str
) -> None:
    found = bundle()
    spoil(found)
    with pytest.raises(InputRefused) as refused:
        read_bundle(json.dumps(found).encode(), name="other.json")
    assert f"other.json: {words}" in str(refused.value)


@pytest.mark.parametrize("content", [b"", b"\xff", b"[" * 100_000, b'{"a": NaN}', b"[]", b"3"])
def test_a_file_that_is_no_bundle_is_refused_in_words(content: bytes):
    with pytest.raises(InputRefused, match=r"no JSON|expected 'Bundle'"):
        read_bundle(content, name="other.json")


def with_target(what: str) -> Json:
    """A Bundle with one target of 15 on a side, or on the asymmetry in percent."""
    programme = HeldRow(
        kind=Subject.PROGRAMME,
        number=1,
        fields={"title": "Hips", "kind": "injury", "started_on": "2026-03-02"},
    )
    target = HeldRow(
        kind=Subject.TARGET,
        number=1,
        fields={
            "metric": STRENGTH,
            "what": what,
            "direction": "towards_zero" if what == "asymmetry" else "up",
            "amount": 15.5,
            "due_on": "2026-06-01",
        },
        refs={"programme_id": (Subject.PROGRAMME, 1)},
    )
    runner = HeldRow(kind=Subject.RUNNER, number=1, fields={"code": "T-7", "sex": "female"})
    record = WholeRecord(
        code="T-7", written_at=MOMENT, rows=(runner, programme, target), metrics=METRICS[:1]
    )
    found: Json = json.loads(bundle_text(record))
    return found


def goal_of(told: Json) -> Json:
    found: Json = next(
        one["resource"] for one in told["entry"] if one["resource"]["resourceType"] == "Goal"
    )
    return found


@pytest.mark.parametrize(("what", "unit"), [("left", "N"), ("asymmetry", "%")])
def test_the_amount_of_a_target_carries_its_unit_in_ucum_and_reads_back(
    what: str, unit: str
) -> None:
    told = with_target(what)
    (target,) = goal_of(told)["target"]
    assert target["detailQuantity"] == {
        "value": 15.5,
        "system": "http://unitsofmeasure.org",
        "code": unit,
        "unit": unit,
    }
    assert target["measure"]["text"].startswith("Amount of change of ")
    Bundle401(told, strict=True)
    rows = read_bundle(json.dumps(told).encode(), name="record.json").record.rows
    assert rows[-1].fields["amount"] == 15.5

    # Another unit is refused, for it would not be converted.
    target["detailQuantity"]["code"] = "mm"
    with pytest.raises(InputRefused, match=r"detailQuantity\.code: is 'mm'"):
        read_bundle(json.dumps(told).encode(), name="record.json")
    # As it was written before: the amount in an extension, without a unit.
    del target["detailQuantity"]
    goal_of(told)["extension"].append({"url": "urn:casebook:field:amount", "valueDecimal": 15.5})
    rows = read_bundle(json.dumps(told).encode(), name="record.json").record.rows
    assert rows[-1].fields["amount"] == 15.5
