"""A runner's whole record as an HL7 FHIR R4 Bundle; `fhir_in` reads it back."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import date, timedelta
from html import escape
from typing import Any

from casebook.domain.history import Subject
from casebook.domain.metrics import Metric
from casebook.domain.people import Sex
from casebook.domain.visits import Value
from casebook.domain.whole_record import METRIC, HeldRow, HeldValue, HistoryLine, WholeRecord
from casebook.domain.wording import MISSING_REASONS, asymmetry_unit, unit_words
from casebook.intake import fhir_codes as codes
from casebook.intake.fhir_parts import (
    Json,
    Written,
    amount_unit,
    coding,
    concept,
    instant,
    moment,
    printed,
    quantity,
    refs_to,
    side_concept,
    without_nothing,
)

GENDERS = {Sex.FEMALE: "female", Sex.MALE: "male", Sex.OTHER: "other", Sex.NOT_RECORDED: "unknown"}


def bundle_of(record: WholeRecord) -> Json:
    """A record as a Bundle of the type 'collection'.

    Laterality stands in SNOMED CT, units in UCUM, what is of our own under `urn:casebook:`. It
    holds direct identifiers where they are stored. Of attached files it holds the names.
    """
    at = Written(record)
    entries = [
        {"fullUrl": address, "resource": without_nothing(resource)}
        for address, resource in _resources(at)
    ]
    return {
        "resourceType": "Bundle",
        "meta": {"tag": [coding(codes.RECORD, codes.FORMAT)]},
        "identifier": {"system": codes.RECORD, "value": at.address("record", 1)},
        "type": "collection",
        "timestamp": instant(record.written_at),
        "entry": entries,
    }


def bundle_text(record: WholeRecord) -> str:
    """The Bundle as JSON; every number reads back as the very same one."""
    return json.dumps(bundle_of(record), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _resources(at: Written) -> Iterator[tuple[str, Json]]:
    record = at.record
    if record.metrics:
        yield at.address("metrics", 1), _metrics(record.metrics)
    for user in record.users:
        yield (
            at.address("user", user.code),
            {
                "resourceType": "Practitioner",
                "identifier": [{"system": codes.USER, "value": printed(user.code)}],
                "name": [{"text": printed(user.display_name)}] if user.display_name else None,
            },
        )
    for row in record.rows:
        if row.kind is not Subject.IDENTITY:
            make = _MAKERS.get(row.kind, _basic)
            yield at.address(row.kind.value, row.number), make(at, row)
    by_key = {metric.key: metric for metric in record.metrics}
    days = {row.number: row.fields["visited_on"] for row in record.of_kind(Subject.VISIT)}
    for number, held in enumerate(record.values, start=1):
        metric = by_key[held.value.metric]
        yield at.address("value", number), _value(at, held, metric, days[held.visit])
    for line in record.history:
        yield at.address("history", line.number), _provenance(at, line)


def _metrics(metrics: tuple[Metric, ...]) -> Json:
    """What the catalogue says of each metric, so that another casebook can tell its own."""
    return {
        "resourceType": "CodeSystem",
        "url": codes.METRIC,
        "status": "active",
        "content": "fragment",
        "property": [{"code": "definition", "uri": codes.DEFINED, "type": "string"}],
        "concept": [
            without_nothing(
                {
                    "code": metric.key,
                    "display": printed(metric.label),
                    "definition": printed(metric.sign_convention),
                    "property": [{"code": "definition", "valueString": _definition(metric)}],
                }
            )
            for metric in metrics
        ],
    }


def _definition(metric: Metric) -> str:
    return json.dumps(
        {one.name: getattr(metric, one.name) for one in fields(metric)},
        ensure_ascii=True,
        sort_keys=True,
        allow_nan=False,
    )


def _patient(at: Written, row: HeldRow) -> Json:
    identity = next(iter(at.record.of_kind(Subject.IDENTITY)), None)
    named = identity.fields if identity else {}
    born, year = named.get("birth_date"), row.fields.get("birth_year")
    given, family = named.get("given_name"), named.get("family_name")
    name = without_nothing(
        {"family": printed(family or ""), "given": [printed(given)] if given else None}
    )
    placed = ("code", "sex", *(() if born else ("birth_year",)))
    return {
        "resourceType": "Patient",
        "identifier": [{"system": codes.RUNNER, "value": printed(row.fields["code"])}],
        "name": [name] if name else None,
        "gender": GENDERS[Sex(row.fields["sex"])],
        "birthDate": born or (f"{year:04d}" if year else None),
        **at.rest(row, *placed),
    }


def _consent(at: Written, row: HeldRow) -> Json:
    purpose, ended = row.fields["purpose"], row.fields.get("withdrawn_on")
    scope = "research" if purpose == "research" else "patient-privacy"
    return {
        "resourceType": "Consent",
        "status": "inactive" if ended else "active",
        "scope": concept(coding(f"{codes.HL7}consentscope", scope)),
        "category": [concept(_code("purpose", purpose))],
        "patient": at.patient,
        "dateTime": row.fields["given_on"],
        "policyRule": {"text": f"consent to {purpose}, as the clinic recorded it"},
        "provision": {"period": {"end": ended}} if ended else None,
        **at.rest(row, "purpose", "given_on", "withdrawn_on"),
    }


def _code(name: str, code: str) -> Json:
    return coding(f"{codes.OURS}{name}", code, code.replace("_", " "))


def _condition(at: Written, row: HeldRow) -> Json:
    told = row.fields
    state = "resolved" if told["course"] == "resolved" else "active"
    return {
        "resourceType": "Condition",
        "clinicalStatus": concept(coding(f"{codes.HL7}condition-clinical", state)),
        "code": concept(_code("pathology", told["pathology"])),
        "bodySite": [
            concept(_code("region", told["region"])),
            *([site] if (site := side_concept(told["side"])) else []),
        ],
        "subject": at.patient,
        "onsetDateTime": told["onset_on"],
        **at.rest(row, "pathology", "region", "side", "onset_on"),
    }


def _encounter(at: Written, row: HeldRow) -> Json:
    day = row.fields["visited_on"]
    return {
        "resourceType": "Encounter",
        "status": "finished",
        "class": coding("http://terminology.hl7.org/CodeSystem/v3-ActCode", "AMB", "ambulatory"),
        "type": [concept(_code("visit-kind", row.fields["kind"]))],
        "subject": at.patient,
        "period": {"start": day, "end": day},
        **at.rest(row, "visited_on", "kind"),
    }


def _care_plan(at: Written, row: HeldRow) -> Json:
    told, record = row.fields, at.record
    injury = row.refs.get("injury_id")
    goals = refs_to(record.of_kind(Subject.TARGET), "programme_id", row)
    blocks = refs_to(record.of_kind(Subject.BLOCK), "programme_id", row)
    return {
        "resourceType": "CarePlan",
        "status": "completed" if "ended_on" in told else "active",
        "intent": "plan",
        "category": [concept(_code("programme-kind", told["kind"]))],
        "title": printed(told["title"]),
        "description": printed(told.get("rationale", "")),
        "subject": at.patient,
        "period": without_nothing({"start": told["started_on"], "end": told.get("ended_on")}),
        "addresses": [at.to(*injury)] if injury else None,
        "goal": [at.to(one.kind, one.number) for one in goals],
        "activity": [{"reference": at.to(one.kind, one.number)} for one in blocks],
        **at.rest(row, "kind", "title", "rationale", "started_on", "ended_on", "injury_id"),
    }


def _service_request(at: Written, row: HeldRow) -> Json:
    told = row.fields
    site = side_concept(told["side"])
    return {
        "resourceType": "ServiceRequest",
        "basedOn": [at.to(*row.refs["programme_id"])],
        "status": "active",
        "intent": "plan",
        "category": [concept(_code("aim", told["aim"]))],
        "code": {"text": printed(told["exercise"])},
        "subject": at.patient,
        "bodySite": [site] if site else None,
        "patientInstruction": printed(told.get("instructions", "")),
        **at.rest(row, "programme_id", "aim", "exercise", "side", "instructions"),
    }


def _goal(at: Written, row: HeldRow) -> Json:
    told = row.fields
    metric = next(one for one in at.record.metrics if one.key == told[METRIC])
    unit = unit_words(metric.unit)
    if told["what"] == "asymmetry":
        unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
    words = (
        f"{metric.label}, {told['what']}: {told['direction'].replace('_', ' ')} by "
        f"{told['amount']:g} {unit}, until {told['due_on']}"
    )
    return {
        "resourceType": "Goal",
        "lifecycleStatus": "active",
        "description": {"text": printed(" ".join(words.split()))},
        "subject": at.patient,
        "target": [
            {
                # The text says that the amount is one of change, and no value to be reached.
                "measure": concept(
                    coding(codes.METRIC, metric.key, metric.label),
                    text=f"Amount of change of {metric.label} ({told['what']}) against before",
                ),
                "detailQuantity": quantity(told["amount"], amount_unit(metric, told["what"]), unit),
                "dueDate": told["due_on"],
            }
        ],
        **at.rest(row, METRIC, "amount", "due_on"),
    }


def _metric_code(metric: Metric) -> Json:
    return concept(coding(codes.METRIC, metric.key, metric.label))


def _adherence(at: Written, row: HeldRow) -> Json:
    start = row.fields["week_start"]
    end = date.fromisoformat(start) + timedelta(days=6)
    return {
        "resourceType": "Observation",
        "basedOn": [at.to(*row.refs["programme_id"])],
        "status": "final",
        "code": concept(_code("kind", row.kind.value)),
        "subject": at.patient,
        "effectivePeriod": {"start": start, "end": end.isoformat()},
        "note": [{"text": printed(row.fields["comment"])}] if "comment" in row.fields else None,
        **at.rest(row, "programme_id", "week_start", "comment"),
    }


def _run(at: Written, row: HeldRow) -> Json:
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": concept(_code("kind", row.kind.value)),
        "subject": at.patient,
        "effectiveDateTime": row.fields["run_on"],
        **at.rest(row, "run_on"),
    }


def _detected_issue(at: Written, row: HeldRow) -> Json:
    told = row.fields
    return {
        "resourceType": "DetectedIssue",
        "status": "final",
        "code": concept(_code("flag", told["kind"])),
        "patient": at.patient,
        "implicated": [at.to(*row.refs["visit_id"])],
        "evidence": [{"code": [concept(coding(codes.METRIC, told[METRIC]))]}],
        "mitigation": [
            {
                "action": {"text": printed(told["reason"])},
                "date": moment(told["acknowledged_at"]),
                "author": at.user(told["acknowledged_by"]),
            }
        ],
        **at.rest(row, "kind", "visit_id", METRIC, "reason", "acknowledged_at", "acknowledged_by"),
    }


def _document(at: Written, row: HeldRow) -> Json:
    told = row.fields
    media = {"pdf": "application/pdf", "png": "image/png", "jpeg": "image/jpeg"}[told["kind"]]
    return {
        "resourceType": "DocumentReference",
        "status": "current",
        "subject": at.patient,
        "date": moment(told["added_at"]),
        "description": printed(told.get("caption", "")),
        "content": [
            {
                "attachment": {
                    "contentType": media,
                    "title": printed(told["name"]),
                    "size": told["n_bytes"],
                }
            }
        ],
        "context": {"encounter": [at.to(*row.refs["visit_id"])]},
        **at.rest(row, "kind", "added_at", "caption", "name", "n_bytes", "visit_id"),
    }


def _basic(at: Written, row: HeldRow) -> Json:
    return {
        "resourceType": "Basic",
        "code": concept(_code("kind", row.kind.value)),
        "subject": at.patient,
        **at.rest(row),
    }


_MAKERS: dict[Subject, Callable[[Written, HeldRow], Json]] = {
    Subject.RUNNER: _patient,
    Subject.CONSENT: _consent,
    Subject.INJURY: _condition,
    Subject.VISIT: _encounter,
    Subject.PROGRAMME: _care_plan,
    Subject.BLOCK: _service_request,
    Subject.TARGET: _goal,
    Subject.ADHERENCE: _adherence,
    Subject.RUN: _run,
    Subject.ACKNOWLEDGEMENT: _detected_issue,
    Subject.ATTACHMENT: _document,
}


def _value(at: Written, held: HeldValue, metric: Metric, day: Any) -> Json:
    value = held.value
    words = unit_words(metric.unit)
    reading = None if value.mean is None else quantity(value.mean, metric.unit, words)
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": _metric_code(metric),
        "subject": at.patient,
        "encounter": at.to(Subject.VISIT, held.visit),
        "effectiveDateTime": day,
        "valueQuantity": reading,
        "dataAbsentReason": _absent(value),
        "bodySite": side_concept(value.side.value),
        "component": _components(value, metric.unit, words),
    }


def _absent(value: Value) -> Json | None:
    reason = value.missing_reason
    if reason is None:
        return None
    return concept(
        coding(codes.ABSENT, codes.ABSENT_CODES[reason]),
        coding(codes.MISSING, reason.value, MISSING_REASONS[reason]),
    )


def _components(value: Value, unit: str, words: str) -> list[Json]:
    """Each trial in its order, else of how many the mean is; then what is known of its error."""
    parts: list[Json] = [
        {"code": concept(coding(codes.PART, "trial")), "valueQuantity": quantity(one, unit, words)}
        for one in value.trials
    ]
    if value.mean is not None and not value.trials:
        number = concept(coding(codes.PART, "number_of_trials"))
        parts.append({"code": number, "valueInteger": value.n_trials})
    for name, number_of in (
        ("standard_deviation", value.sd),
        ("marking_error_sd", value.marking_sd),
    ):
        if number_of is not None:
            told = quantity(number_of, unit, words)
            parts.append({"code": concept(coding(codes.PART, name)), "valueQuantity": told})
    return parts


def _provenance(at: Written, line: HistoryLine) -> Json:
    """An entry of the history, in words."""
    # A statement of who did what; the words stand in the narrative.
    said = [line.what, *line.changed, *([f"Why: {line.reason}"] if line.reason else [])]
    return {
        "resourceType": "Provenance",
        "text": {"status": "generated", "div": _narrative(said)},
        "target": [at.patient],
        "recorded": instant(line.at),
        "activity": {"text": printed(line.what)},
        "reason": [{"text": printed(line.reason)}] if line.reason.strip() else None,
        "agent": [{"who": {"display": printed(line.by) or "not known"}}],
    }


def _narrative(lines: list[str]) -> str:
    body = "".join(f"<p>{escape(printed(line), quote=False)}</p>" for line in lines)
    return f'<div xmlns="http://www.w3.org/1999/xhtml">{body}</div>'
