"""Looking into a resource: every wrong or missing element is told with its entry and path."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

from casebook.domain.errors import Problem
from casebook.domain.history import Subject, Was
from casebook.intake import fhir_codes as codes
from casebook.intake.fhir_parts import UTC_ENDING
from casebook.intake.fhir_places import ANYWHERE, ELEMENTS, How, Place

Json = dict[str, Any]
MOST_PROBLEMS: Final = 200


@dataclass(slots=True)
class Told:
    """What is wrong with a file, so far."""

    file: str
    problems: list[Problem] = field(default_factory=list)

    def add(self, place: str, words: str, *, value: object = "", code: str = "fhir") -> None:
        """Note a problem."""
        if len(self.problems) < MOST_PROBLEMS:
            said = str(value)[:60]
            self.problems.append(
                Problem(code=code, file=self.file, value=said, message=f"{place}: {words}")
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry of a Bundle on its way in.

    Parameters
    ----------
    number : int
        From 1.
    addresses : dict
        (kind, number) of each row by the address of its entry; users by theirs.
    """

    number: int
    resource: Json
    told: Told
    addresses: dict[str, tuple[Subject, int]]
    users: dict[str, str]

    @property
    def sort(self) -> str:
        """Its type of resource."""
        return str(self.resource.get("resourceType", ""))

    @property
    def place(self) -> str:
        """How a message names it."""
        return f"entry {self.number} ({self.sort or 'no resourceType'})"

    def wrong(self, path: str, words: str, value: object = "") -> None:
        """Tell what is wrong with an element."""
        self.told.add(f"{self.place}, field {path}", words, value=value)

    def refuse_unknown(self) -> None:
        """Tell of elements that would be lost."""
        known = ELEMENTS[self.sort] | ANYWHERE
        for name in self.resource:
            if name not in known:
                self.wrong(
                    name, "casebook keeps nothing of that kind, and would lose it; remove it"
                )

    def at(self, path: str) -> Any:
        """What stands at a path; None where nothing does."""
        found: Any = self.resource
        for step in path.split("."):
            if isinstance(found, list):
                found = found[int(step)] if step.isdigit() and int(step) < len(found) else None
            elif isinstance(found, dict):
                found = found.get(step)
            else:
                return None
        return found

    def text(self, path: str) -> str | None:
        """A text, or None where there is none."""
        found = self.at(path)
        if found is None or isinstance(found, str):
            return found
        self.wrong(path, f"is {str(found)[:40]!r}; expected a text", found)
        return None

    def number_at(self, path: str) -> float | None:
        """A finite number, or None where there is none."""
        found = self.at(path)
        if found is None:
            return None
        if isinstance(found, int | float) and not isinstance(found, bool) and _finite(found):
            return float(found)
        self.wrong(path, f"is {str(found)[:40]!r}; expected a number", found)
        return None

    def quantity(self, path: str, unit: str) -> float | None:
        """A number in a unit that is asked for; None where there is none."""
        if self.at(path) is None:
            return None
        system, code = self.text(f"{path}.system"), self.text(f"{path}.code")
        if system != codes.UCUM or code != unit:
            self.wrong(
                f"{path}.code",
                f"is '{code}' of {system}; expected '{unit}' of {codes.UCUM}: the number is not "
                "converted",
                code,
            )
            return None
        number = self.number_at(f"{path}.value")
        if number is None and self.at(f"{path}.value") is None:
            self.wrong(f"{path}.value", "is missing; expected a number")
        return number

    def code(self, path: str, system: str) -> str | None:
        """The code of a system in a CodeableConcept."""
        codings = self.at(f"{path}.coding")
        for number, coding in enumerate(codings if isinstance(codings, list) else ()):
            if isinstance(coding, dict) and coding.get("system") == system:
                return self.text(f"{path}.coding.{number}.code")
        return None

    def side(self, path: str) -> str:
        """The side that an element's codings say; 'none' where none does."""
        found = self.at(path)
        for concept in found if isinstance(found, list) else [found]:
            codings = concept.get("coding") if isinstance(concept, dict) else None
            for coding in codings if isinstance(codings, list) else ():
                if not isinstance(coding, dict) or coding.get("system") != codes.SNOMED:
                    continue
                side = codes.SIDE_OF.get(str(coding.get("code")))
                if side is not None:
                    return side
                known = ", ".join(f"{code} ({one})" for code, one in codes.SIDE_OF.items())
                self.wrong(path, f"has the code '{coding.get('code')}'; expected {known}")
        return "none"

    def row(self, path: str) -> tuple[Subject, int] | None:
        """The row that a reference names; None where there is no reference."""
        address = self.text(f"{path}.reference")
        if address is None:
            return None
        found = self.addresses.get(address)
        if found is None:
            self.wrong(f"{path}.reference", f"no entry has the fullUrl '{address}'", address)
        return found

    def user(self, path: str) -> str | None:
        """Code of the user that a reference names."""
        address = self.text(f"{path}.reference")
        if address is None:
            return None
        found = self.users.get(address)
        if found is None:
            self.wrong(f"{path}.reference", f"no Practitioner has the fullUrl '{address}'", address)
        return found

    def placed(self, place: Place) -> Was:
        """A field from its own place; a row for a reference to one."""
        if place.how is How.CODE:
            found = self.code(place.path, place.system)
            if found is None and self.at(place.path) is not None:
                self.wrong(place.path, f"has no code of the system {place.system}")
            return found
        if place.how is How.SIDE:
            return self.side(place.path)
        if place.how is How.ROW:
            return self.row(place.path)
        if place.how is How.USER:
            return self.user(place.path)
        if place.how is How.WHOLE:
            return self.at(place.path)
        if place.how is How.NUMBER:
            return self.number_at(place.path)
        told = self.text(place.path)
        if told is not None and place.how is How.MOMENT:
            return in_utc(told)
        return told

    def extensions(self) -> tuple[dict[str, Was], dict[str, tuple[Subject, int]]]:
        """Fields and references that have no place of their own."""
        fields: dict[str, Was] = {}
        refs: dict[str, tuple[Subject, int]] = {}
        found = self.at("extension")
        for number in range(len(found) if isinstance(found, list) else 0):
            path = f"extension.{number}"
            url = self.text(f"{path}.url") or ""
            if url.startswith(codes.REFERENCE):
                row = self.row(f"{path}.valueReference")
                if row is not None:
                    refs[url.removeprefix(codes.REFERENCE)] = row
            elif url.startswith(codes.FIELD):
                name = url.removeprefix(codes.FIELD)
                if name in fields:
                    self.wrong(path, f"'{url}' stands there twice; keep one of them", url)
                fields[name] = self._extended(path, name)
            else:
                self.wrong(f"{path}.url", f"'{url}' is no extension of casebook's; remove it", url)
        return fields, refs

    def _extended(self, path: str, name: str) -> Was:
        held = self.at(path)
        kinds = [one for one in held if one.startswith("value")] if isinstance(held, dict) else []
        if len(kinds) != 1:
            self.wrong(path, f"holds {len(kinds)} values; expected one", len(kinds))
            return None
        if name in codes.UNITS:
            return self.quantity(f"{path}.{kinds[0]}", codes.UNITS[name])
        found = held[kinds[0]]
        if isinstance(found, dict | list):
            self.wrong(f"{path}.{kinds[0]}", "expected a plain value")
            return None
        return in_utc(found) if kinds[0] == "valueDateTime" and isinstance(found, str) else found


def in_utc(told: str) -> str:
    """A moment as a field holds it."""
    return f"{told.removesuffix('Z')}{UTC_ENDING}" if told.endswith("Z") else told


def _finite(number: float) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:
        return False
