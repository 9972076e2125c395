"""Names by which a record stands in an HL7 FHIR R4 Bundle, and where each of its fields stands.

What FHIR has a place for stands there, and only there; everything else stands in an extension
under its own name, so that nothing is lost and nothing is said twice. Codes of our own live
under `urn:casebook:`, which leads nowhere on purpose.

The two codes of sides, that of both sides and the element names are those of SNOMED CT and of
HL7 FHIR R4 (4.0.1); they were written down from memory, and the resources are held against
general-purpose FHIR libraries in the tests.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from casebook.domain.history import Subject
from casebook.domain.sides import InjurySide, Side
from casebook.domain.visits import MissingReason

FORMAT: Final = "1"
OURS: Final = "urn:casebook:"
RECORD: Final = f"{OURS}record"
FIELD: Final = f"{OURS}field:"
REFERENCE: Final = f"{OURS}reference:"
METRIC: Final = f"{OURS}metric"
KIND: Final = f"{OURS}kind"
RUNNER: Final = f"{OURS}runner"
USER: Final = f"{OURS}user"
PART: Final = f"{OURS}part"
MISSING: Final = f"{OURS}missing-reason"
DEFINED: Final = f"{OURS}metric-definition"

UCUM: Final = "http://unitsofmeasure.org"
SNOMED: Final = "http://snomed.info/sct"
HL7: Final = "http://terminology.hl7.org/CodeSystem/"
ABSENT: Final = f"{HL7}data-absent-reason"

# SNOMED CT: 7771000 |Left|, 24028007 |Right|, 51440002 |Right and left| (from memory).
SIDES: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        Side.LEFT.value: ("7771000", "Left"),
        Side.RIGHT.value: ("24028007", "Right"),
        InjurySide.BOTH.value: ("51440002", "Right and left"),
    }
)
SIDE_OF: Final = MappingProxyType({code: side for side, (code, _) in SIDES.items()})

# HL7's code for why a value is absent, beside our own.
ABSENT_CODES: Final[Mapping[MissingReason, str]] = MappingProxyType(
    {
        MissingReason.NOT_DONE: "not-performed",
        MissingReason.PAINFUL: "not-performed",
        MissingReason.NOT_VISIBLE: "unknown",
        MissingReason.EQUIPMENT: "error",
    }
)

# UCUM code of a field that is a quantity.
UNITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "speed_km_h": "km/h",
        "incline_pct": "%",
        "frames_per_s": "{frames}/s",
        "pain_today": "{score}",
        "pain_during": "{score}",
        "pain_morning_after": "{score}",
        "effort": "{score}",
        "height_cm": "cm",
        "mass_kg": "kg",
        "hold_s": "s",
        "rest_s": "s",
        "tempo_lower_s": "s",
        "tempo_hold_s": "s",
        "tempo_lift_s": "s",
        "tempo_rest_s": "s",
        "sessions_per_week": "/wk",
        "distance_km": "km",
        "minutes": "min",
    }
)

# Which resource a kind of row becomes; any other becomes a Basic. A runner and the identity are
# one Patient.
RESOURCES: Final[Mapping[Subject, str]] = MappingProxyType(
    {
        Subject.RUNNER: "Patient",
        Subject.CONSENT: "Consent",
        Subject.INJURY: "Condition",
        Subject.VISIT: "Encounter",
        Subject.PROGRAMME: "CarePlan",
        Subject.BLOCK: "ServiceRequest",
        Subject.TARGET: "Goal",
        Subject.ADHERENCE: "Observation",
        Subject.ACKNOWLEDGEMENT: "DetectedIssue",
        Subject.ATTACHMENT: "DocumentReference",
        Subject.RUN: "Observation",
    }
)
# Those that hold no kind of row.
OTHERS: Final = frozenset({"CodeSystem", "Practitioner", "Provenance", "Observation", "Basic"})
