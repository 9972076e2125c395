"""The small parts of which resources are made: codings, quantities, extensions, references."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any, Final

from casebook.domain.history import Subject, Was
from casebook.domain.metrics import AsymmetryForm, Metric
from casebook.domain.whole_record import HeldRow, WholeRecord
from casebook.intake import fhir_codes as codes

Json = dict[str, Any]
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}\Z")
_MOMENT: Final = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?\+00:00\Z")
UTC_ENDING: Final = "+00:00"
PERCENTAGES: Final = frozenset({AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO})
# FHIR's integer has 32 bits.
_LARGEST: Final = 2**31 - 1
_UNPRINTED: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
# Within a record's own identifiers: urn:uuid is what a Bundle's entries refer to one another by.
_SPACE: Final = uuid.UUID("5f0c6c1e-54ff-4d43-9d2c-0a4a3b0a6c55")


def printed(text: str) -> str:
    """A text as FHIR takes it: a control character, which it forbids, shown as one replaced."""
    return _UNPRINTED.sub("\N{REPLACEMENT CHARACTER}", text)


def coding(system: str, code: str, display: str = "") -> Json:
    """A coding; without a display where there is none."""
    made = {"system": system, "code": code}
    return made | {"display": printed(display)} if display.strip() else made


def concept(*codings: Json, text: str = "") -> Json:
    """A CodeableConcept."""
    made: Json = {"coding": list(codings)} if codings else {}
    return made | {"text": printed(text)} if text.strip() else made


def side_concept(side: str) -> Json | None:
    """A side as SNOMED CT codes it; None for none."""
    if side not in codes.SIDES:
        return None
    code, display = codes.SIDES[side]
    return concept(coding(codes.SNOMED, code, display), text=side)


def quantity(number: float, unit: str, words: str = "") -> Json:
    """A number with its UCUM unit."""
    made = {"value": number, "system": codes.UCUM, "code": unit}
    return made | {"unit": words} if words else made


def amount_unit(metric: Metric, what: str) -> str:
    """The UCUM code of an amount of change of a metric, or of its asymmetry."""
    if what == "asymmetry" and metric.asymmetry_form in PERCENTAGES:
        return "%"
    return metric.unit


def extension(name: str, content: Was) -> Json:
    """A field that FHIR has no place for, under its own name."""
    url = f"{codes.FIELD}{name}"
    if isinstance(content, bool):
        return {"url": url, "valueBoolean": content}
    if name in codes.UNITS and isinstance(content, int | float):
        return {"url": url, "valueQuantity": quantity(content, codes.UNITS[name])}
    if isinstance(content, int) and abs(content) <= _LARGEST:
        return {"url": url, "valueInteger": content}
    if isinstance(content, int | float):
        return {"url": url, "valueDecimal": content}
    text = str(content)
    if _DAY.match(text) and _is_day(text):
        return {"url": url, "valueDate": text}
    if _MOMENT.match(text) and _is_day(text[:10]):
        return {"url": url, "valueDateTime": moment(text)}
    return {"url": url, "valueString": printed(text)}


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def moment(told: str) -> str:
    """A moment of a field, in UTC, as FHIR writes it."""
    return f"{told.removesuffix(UTC_ENDING)}Z"


def instant(at: datetime) -> str:
    """A moment as FHIR writes it, in UTC."""
    return moment(at.astimezone(UTC).isoformat())


class Written:
    """A record on its way out: whatever refers to something finds its address here."""

    def __init__(self, record: WholeRecord) -> None:
        self.record = record
        self._seed = f"{record.clinic}\n{record.code}\n{instant(record.written_at)}\n"

    def address(self, kind: str, number: int | str) -> str:
        """Address of an entry of the Bundle."""
        own = uuid.uuid5(_SPACE, f"{self._seed}{kind}\n{number}")
        return f"urn:uuid:{own}"

    def to(self, kind: Subject, number: int) -> Json:
        """A reference to a row of the record."""
        # A runner and the identity are one Patient.
        return {"reference": self.address(kind.value, number)}

    @property
    def patient(self) -> Json:
        """A reference to the runner."""
        return self.to(Subject.RUNNER, 1)

    def user(self, code: str) -> Json:
        """A reference to a user."""
        return {"reference": self.address("user", code), "display": printed(code)}

    def rest(self, row: HeldRow, *placed: str) -> Json:
        """Extensions for the fields and references that have no place of their own."""
        made = [
            extension(name, content) for name, content in row.fields.items() if name not in placed
        ]
        made += [
            {"url": f"{codes.REFERENCE}{name}", "valueReference": self.to(*ref)}
            for name, ref in row.refs.items()
            if name not in placed and ref[0] is not Subject.RUNNER
        ]
        return {"extension": made} if made else {}


def without_nothing(resource: Mapping[str, Any]) -> Json:
    """The elements that hold something: FHIR has no empty ones."""
    return {name: part for name, part in resource.items() if part not in (None, "", [], {})}


def refs_to(rows: Iterable[HeldRow], name: str, of: HeldRow) -> list[HeldRow]:
    """Rows that refer to another by a name."""
    return [row for row in rows if row.refs.get(name) == (of.kind, of.number)]
