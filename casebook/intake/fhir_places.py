"""Where in its resource each field of a row stands; what is not named here is an extension."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from casebook.domain.history import Subject
from casebook.domain.whole_record import METRIC
from casebook.intake import fhir_codes as codes


class How(Enum):
    """In which form a field stands there."""

    TEXT = auto()
    WHOLE = auto()
    NUMBER = auto()
    MOMENT = auto()
    CODE = auto()
    SIDE = auto()
    ROW = auto()
    USER = auto()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a field stands: its path, the form, and for a code the system."""

    path: str
    how: How = How.TEXT
    system: str = ""


def _code(path: str, name: str) -> Place:
    return Place(path, How.CODE, f"{codes.OURS}{name}")


PLACES: Final[Mapping[Subject, Mapping[str, Place]]] = {
    Subject.RUNNER: {"code": Place("identifier.0.value")},
    Subject.CONSENT: {
        "purpose": _code("category.0", "purpose"),
        "given_on": Place("dateTime"),
        "withdrawn_on": Place("provision.period.end"),
    },
    Subject.INJURY: {
        "pathology": _code("code", "pathology"),
        "region": _code("bodySite.0", "region"),
        "side": Place("bodySite", How.SIDE),
        "onset_on": Place("onsetDateTime"),
    },
    Subject.VISIT: {
        "visited_on": Place("period.start"),
        "kind": _code("type.0", "visit-kind"),
    },
    Subject.PROGRAMME: {
        "kind": _code("category.0", "programme-kind"),
        "title": Place("title"),
        "rationale": Place("description"),
        "started_on": Place("period.start"),
        "ended_on": Place("period.end"),
        "injury_id": Place("addresses.0", How.ROW),
    },
    Subject.BLOCK: {
        "programme_id": Place("basedOn.0", How.ROW),
        "aim": _code("category.0", "aim"),
        "exercise": Place("code.text"),
        "side": Place("bodySite", How.SIDE),
        "instructions": Place("patientInstruction"),
    },
    Subject.TARGET: {
        METRIC: Place("target.0.measure", How.CODE, codes.METRIC),
        "amount": Place("target.0.detailQuantity.value", How.NUMBER),
        "due_on": Place("target.0.dueDate"),
    },
    Subject.ADHERENCE: {
        "programme_id": Place("basedOn.0", How.ROW),
        "week_start": Place("effectivePeriod.start"),
        "comment": Place("note.0.text"),
    },
    Subject.RUN: {"run_on": Place("effectiveDateTime")},
    Subject.ACKNOWLEDGEMENT: {
        "kind": _code("code", "flag"),
        "visit_id": Place("implicated.0", How.ROW),
        METRIC: Place("evidence.0.code.0", How.CODE, codes.METRIC),
        "reason": Place("mitigation.0.action.text"),
        "acknowledged_at": Place("mitigation.0.date", How.MOMENT),
        "acknowledged_by": Place("mitigation.0.author", How.USER),
    },
    Subject.ATTACHMENT: {
        "visit_id": Place("context.encounter.0", How.ROW),
        "name": Place("content.0.attachment.title"),
        "n_bytes": Place("content.0.attachment.size", How.WHOLE),
        "caption": Place("description"),
        "added_at": Place("date", How.MOMENT),
    },
}

# What a resource of ours may hold beside what every resource may; anything else would be lost.
ELEMENTS: Final[Mapping[str, frozenset[str]]] = {
    name: frozenset(elements.split())
    for name, elements in {
        "Patient": "identifier name gender birthDate",
        "Consent": "status scope category patient dateTime policyRule provision",
        "Condition": "clinicalStatus code bodySite subject onsetDateTime",
        "Encounter": "status class type subject period",
        "CarePlan": "status intent category title description subject period addresses goal "
        "activity",
        "ServiceRequest": "basedOn status intent category code subject bodySite patientInstruction",
        "Goal": "lifecycleStatus description subject target",
        "Observation": "basedOn status code subject encounter effectivePeriod effectiveDateTime "
        "note valueQuantity dataAbsentReason bodySite component",
        "DetectedIssue": "status code patient implicated evidence mitigation",
        "DocumentReference": "status subject date description content context",
        "Basic": "code subject",
        "CodeSystem": "url status content property concept",
        "Practitioner": "identifier name",
        "Provenance": "target recorded activity reason agent",
    }.items()
}
ANYWHERE: Final = frozenset({"resourceType", "id", "meta", "text", "language", "extension"})


def field_place(kind: Subject, name: str) -> str:
    """How a message names the place of a field."""
    place = PLACES.get(kind, {}).get(name)
    return place.path if place else f"extension {codes.FIELD}{name}"
