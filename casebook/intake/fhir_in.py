"""A Bundle that casebook wrote, read back; anything else is refused with its entry and field."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Final

from casebook.domain.errors import InputRefused
from casebook.domain.history import Subject
from casebook.domain.metrics import (
    AsymmetryForm,
    Better,
    Condition,
    FloorKind,
    Metric,
    MetricGroup,
    Scale,
)
from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.domain.whole_record import METRIC, HeldRow, HeldValue, HistoryLine, WholeRecord
from casebook.intake import fhir_codes as codes
from casebook.intake.fhir_out import GENDERS
from casebook.intake.fhir_parts import amount_unit
from casebook.intake.fhir_places import ELEMENTS, PLACES, How
from casebook.intake.fhir_reading import Entry, Json, Told, in_utc

LARGEST_BYTES: Final = 200_000_000
NOT_OURS: Final = (
    "casebook takes only Bundles that it wrote itself with 'casebook record': what another "
    "program means by its codes is not guessed."
)
_KIND_OF: Final = {
    sort: kind for kind, sort in codes.RESOURCES.items() if sort not in {"Observation"}
}
_DAY_LENGTH: Final = len("2026-03-02")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRecord:
    """A record that was read, and by which entry each row of it stands in the file."""

    record: WholeRecord
    places: Mapping[tuple[Subject, int], str]
    value_places: tuple[str, ...]


def read_bundle(content: bytes, *, name: str) -> ReadRecord:
    """Read a Bundle back.

    Parameters
    ----------
    name : str
        Of the file, for messages.

    Raises
    ------
    InputRefused
        With every problem found, each with its entry and field.
    """
    told = Told(name)
    bundle = _parsed(content, told)
    entries = _entries(bundle, told) if bundle is not None else []
    read = _read(bundle or {}, entries, told) if not told.problems else None
    if told.problems or read is None:
        raise InputRefused(tuple(told.problems))
    return read


def _parsed(content: bytes, told: Told) -> Json | None:
    if len(content) > LARGEST_BYTES:
        told.add("the file", f"is larger than {LARGEST_BYTES:,} bytes")
        return None
    try:
        found = json.loads(content.decode("utf-8-sig"), parse_constant=_no_number)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        told.add("the file", f"is no JSON in UTF-8 ({error}); expected a FHIR R4 Bundle")
        return None
    if not isinstance(found, dict) or found.get("resourceType") != "Bundle":
        sort = found.get("resourceType") if isinstance(found, dict) else type(found).__name__
        told.add("field resourceType", f"is '{sort}'; expected 'Bundle'", value=sort)
        return None
    entry = Entry(number=0, resource=found, told=told, addresses={}, users={})
    tags = entry.at("meta.tag")
    ours = [
        one.get("code")
        for one in (tags if isinstance(tags, list) else ())
        if isinstance(one, dict) and one.get("system") == codes.RECORD
    ]
    if ours != [codes.FORMAT]:
        told.add(
            "field meta.tag",
            f"holds {ours or 'no code'} of the system {codes.RECORD}; expected '{codes.FORMAT}'. "
            f"{NOT_OURS}",
            code="foreign_bundle",
        )
    if found.get("type") != "collection":
        told.add("field type", f"is '{found.get('type')}'; expected 'collection'")
    return found


def _no_number(text: str) -> float:
    raise ValueError(f"'{text}' is no number")


def _entries(bundle: Json, told: Told) -> list[Entry]:
    given = bundle.get("entry")
    if not isinstance(given, list) or not given:
        told.add("field entry", "is missing or empty; expected the entries of a record")
        return []
    addresses: dict[str, tuple[Subject, int]] = {}
    users: dict[str, str] = {}
    entries: list[Entry] = []
    counts: Counter[Subject] = Counter()
    seen: set[str] = set()
    for number, one in enumerate(given, start=1):
        resource = one.get("resource") if isinstance(one, dict) else None
        address = one.get("fullUrl") if isinstance(one, dict) else None
        if not isinstance(resource, dict) or not isinstance(address, str):
            told.add(f"entry {number}", "has no resource or no fullUrl; expected both")
            continue
        entry = Entry(number=number, resource=resource, told=told, addresses=addresses, users=users)
        if address in seen:
            entry.wrong("fullUrl", f"'{address}' is that of an earlier entry, too", address)
        seen.add(address)
        if entry.sort not in ELEMENTS:
            entry.wrong(
                "resourceType",
                f"is '{entry.sort}'; expected one of {', '.join(sorted(ELEMENTS))}. {NOT_OURS}",
                entry.sort,
            )
            continue
        entry.refuse_unknown()
        entries.append(entry)
        kind = _kind_of(entry)
        if kind is not None:
            counts[kind] += 1
            addresses[address] = (kind, counts[kind])
        if entry.sort == "Practitioner":
            users[address] = entry.text("identifier.0.value") or ""
    if counts[Subject.RUNNER] != 1:
        told.add(
            "field entry", f"holds {counts[Subject.RUNNER]} Patients; expected the one of a record"
        )
    return entries


def _kind_of(entry: Entry) -> Subject | None:
    """What kind of row an entry holds; None where it holds another thing."""
    if entry.sort in _KIND_OF:
        return _KIND_OF[entry.sort]
    if entry.sort not in {"Observation", "Basic"}:
        return None
    if entry.sort == "Observation" and entry.code("code", codes.METRIC) is not None:
        return None
    code = entry.code("code", f"{codes.OURS}kind")
    fitting = {
        kind.value: kind
        for kind in Subject
        if codes.RESOURCES.get(kind, "Basic") == entry.sort and kind is not Subject.IDENTITY
    }
    if code not in fitting:
        wanted = "a metric or " if entry.sort == "Observation" else ""
        entry.wrong("code", f"is '{code}'; expected {wanted}one of {', '.join(fitting)}", code)
        return None
    return fitting[code]


def _read(bundle: Json, entries: list[Entry], told: Told) -> ReadRecord | None:
    counts: Counter[Subject] = Counter()
    rows: list[HeldRow] = []
    places: dict[tuple[Subject, int], str] = {}
    goals: list[tuple[Entry, HeldRow]] = []
    for entry in entries:
        kind = _kind_of(entry)
        if kind is None:
            continue
        counts[kind] += 1
        places[kind, counts[kind]] = entry.place
        rows += _rows(entry, kind, counts[kind])
        goals += [(entry, row) for row in rows[-1:] if row.kind is Subject.TARGET]
        if kind is Subject.RUNNER and rows[-1].kind is Subject.IDENTITY:
            places[Subject.IDENTITY, 1] = entry.place
    metrics = _metrics(entries)
    _check_amounts(goals, metrics)
    values: list[HeldValue] = []
    value_places = []
    for entry in entries:
        if entry.sort == "Observation" and entry.code("code", codes.METRIC) is not None:
            held = _held_value(entry, metrics)
            if held is not None:
                values.append(held)
                value_places.append(entry.place)
    moment = _moment(str(bundle.get("timestamp", "")))
    if moment is None:
        told.add("field timestamp", "is no moment; expected one as 2026-03-02T10:00:00Z")
    if told.problems or moment is None:
        return None
    record = WholeRecord(
        code=str(next(row.fields["code"] for row in rows if row.kind is Subject.RUNNER)),
        written_at=moment,
        rows=tuple(rows),
        values=tuple(values),
        metrics=tuple(metrics.values()),
        users=tuple(_user(one) for one in entries if one.sort == "Practitioner"),
        history=tuple(
            _line(entry, number)
            for number, entry in enumerate(
                (one for one in entries if one.sort == "Provenance"), start=1
            )
        ),
    )
    return ReadRecord(record=record, places=places, value_places=tuple(value_places))


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(in_utc(text))
    except ValueError:
        return None
    return None if moment.tzinfo is None else moment.astimezone(UTC)


def _rows(entry: Entry, kind: Subject, number: int) -> list[HeldRow]:
    fields, refs = entry.extensions()
    for name, place in PLACES.get(kind, {}).items():
        found = entry.placed(place)
        if found is None:
            continue
        if place.how is How.ROW:
            refs[name] = found
        else:
            fields[name] = found
    if kind is Subject.RUNNER:
        return _runner(entry, fields)
    known = {name: content for name, content in fields.items() if content not in (None, "")}
    return [HeldRow(kind=kind, number=number, fields=known, refs=refs)]


def _runner(entry: Entry, fields: dict[str, Any]) -> list[HeldRow]:
    if not fields.get("code"):
        entry.wrong("identifier.0.value", "is missing; expected the runner's code")
        fields["code"] = ""
    sexes = {gender: sex.value for sex, gender in GENDERS.items()}
    gender = entry.text("gender")
    if gender not in sexes:
        entry.wrong("gender", f"is '{gender}'; expected one of {', '.join(sexes)}", gender)
    fields["sex"] = sexes.get(gender or "")
    named: dict[str, Any] = {
        "given_name": entry.text("name.0.given.0"),
        "family_name": entry.text("name.0.family"),
    }
    born = entry.text("birthDate") or ""
    if len(born) == _DAY_LENGTH:
        named["birth_date"] = born
    elif born.isdecimal():
        fields["birth_year"] = int(born)
    elif born:
        entry.wrong("birthDate", "expected a day, as 1990-03-02, or a year")
    known = {name: content for name, content in fields.items() if content not in (None, "")}
    rows = [HeldRow(kind=Subject.RUNNER, number=1, fields=known)]
    identity = {name: content for name, content in named.items() if content not in (None, "")}
    if identity:
        rows.append(HeldRow(kind=Subject.IDENTITY, number=1, fields=identity))
    return rows


def _check_amounts(goals: Iterable[tuple[Entry, HeldRow]], metrics: Mapping[str, Metric]) -> None:
    """An amount stands in its metric's unit; one in an extension, as written before, has none."""
    for entry, target in goals:
        metric = metrics.get(str(target.fields.get(METRIC)))
        if metric is not None:
            unit = amount_unit(metric, str(target.fields.get("what")))
            entry.quantity("target.0.detailQuantity", unit)


def _metrics(entries: list[Entry]) -> dict[str, Metric]:
    found: dict[str, Metric] = {}
    for entry in entries:
        if entry.sort != "CodeSystem":
            continue
        if entry.text("url") != codes.METRIC:
            entry.wrong("url", f"is '{entry.text('url')}'; expected '{codes.METRIC}'")
        concepts = entry.at("concept")
        for number in range(len(concepts) if isinstance(concepts, list) else 0):
            path = f"concept.{number}.property.0.valueString"
            try:
                metric = _metric(json.loads(entry.text(path) or ""))
                found[metric.key] = metric
            except InputRefused as refused:
                entry.wrong(path, str(refused))
            except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
                entry.wrong(path, f"is no definition of a metric as casebook writes it ({error})")
    return found


def _metric(told: dict[str, Any]) -> Metric:
    kinds: dict[str, Any] = {
        "group": MetricGroup,
        "scale": Scale,
        "better": Better,
        "asymmetry_form": AsymmetryForm,
        "floor_kind": FloorKind,
    }
    told = told | {name: kind(told[name]) for name, kind in kinds.items()}
    told["sensitive_to"] = tuple(Condition(one) for one in told["sensitive_to"])
    told["grades"] = tuple(str(one) for one in told["grades"])
    return Metric(**told)


def _held_value(entry: Entry, metrics: Mapping[str, Metric]) -> HeldValue | None:
    key = entry.code("code", codes.METRIC) or ""
    metric = metrics.get(key)
    visit = entry.row("encounter")
    if metric is None:
        entry.wrong("code", f"the metric '{key}' is not among the concepts of the CodeSystem", key)
        return None
    if visit is None or visit[0] is not Subject.VISIT:
        entry.wrong("encounter", "names no Encounter; expected the visit of the value")
        return None
    try:
        value = _value(entry, metric)
    except InputRefused as refused:
        entry.wrong("valueQuantity", str(refused))
        return None
    return None if value is None else HeldValue(visit=visit[1], value=value)


def _value(entry: Entry, metric: Metric) -> Value | None:
    side = entry.side("bodySite")
    if side not in set(Side):
        entry.wrong("bodySite", f"is '{side}'; expected left, right or none", side)
        return None
    parts, trials = _components(entry, metric.unit)
    mean = entry.quantity("valueQuantity", metric.unit)
    if entry.at("dataAbsentReason") is not None:
        return _missing(entry, metric.key, Side(side), read=mean is not None or bool(trials))
    if mean is None:
        entry.wrong("valueQuantity", "is missing; expected it or a dataAbsentReason")
        return None
    number: float | None = len(trials) if trials else parts.get("number_of_trials")
    if number is None or not float(number).is_integer():
        entry.wrong("component", "has neither trials nor a number_of_trials; expected one of them")
        return None
    made = value_of_mean(metric.key, Side(side), mean, int(number))
    sd = parts.get("standard_deviation")
    if trials:
        from_trials = value_of_trials(metric.key, Side(side), trials)
        for path, told, is_one in (
            ("valueQuantity.value", mean, from_trials.mean),
            ("component (standard_deviation)", sd, from_trials.sd),
        ):
            if not _same(told, is_one):
                entry.wrong(path, f"is {told}, but its trials make it {is_one}; correct one", told)
        # Mean and SD as they were stored, to the last digit.
        made = replace(made, trials=tuple(trials))
    return replace(made, sd=sd, marking_sd=parts.get("marking_error_sd"))


def _same(told: float | None, is_one: float | None) -> bool:
    if told is None or is_one is None:
        return told is is_one
    return math.isclose(told, is_one, rel_tol=1e-9, abs_tol=1e-9)


def _missing(entry: Entry, key: str, side: Side, *, read: bool) -> Value | None:
    code = entry.code("dataAbsentReason", codes.MISSING)
    if read:
        entry.wrong("dataAbsentReason", "stands beside a number; expected one of them")
    if code not in set(MissingReason):
        entry.wrong(
            "dataAbsentReason", f"is '{code}'; expected one of {', '.join(MissingReason)}", code
        )
        return None
    return missing_value(key, side, MissingReason(code))


def _components(entry: Entry, unit: str) -> tuple[dict[str, float], list[float]]:
    parts: dict[str, float] = {}
    trials: list[float] = []
    found = entry.at("component")
    for number in range(len(found) if isinstance(found, list) else 0):
        path = f"component.{number}"
        name = entry.code(f"{path}.code", codes.PART)
        if name == "number_of_trials":
            read = entry.number_at(f"{path}.valueInteger")
        elif name in {"trial", "standard_deviation", "marking_error_sd"}:
            read = entry.quantity(f"{path}.valueQuantity", unit)
        else:
            entry.wrong(f"{path}.code", f"is '{name}', which casebook does not know", name)
            continue
        if read is None:
            entry.wrong(path, "holds no number")
        elif name == "trial":
            trials.append(read)
        elif name in parts:
            entry.wrong(path, f"'{name}' stands there twice; keep one of them")
        else:
            parts[str(name)] = read
    return parts, trials


def _user(entry: Entry) -> User:
    return User(
        code=entry.text("identifier.0.value") or "",
        display_name=entry.text("name.0.text") or "",
        active=False,
    )


def _line(entry: Entry, number: int) -> HistoryLine:
    return HistoryLine(
        number=number,
        at=_moment(entry.text("recorded") or "") or datetime.min.replace(tzinfo=UTC),
        by=entry.text("agent.0.who.display") or "",
        what=entry.text("activity.text") or "",
        reason=entry.text("reason.0.text") or "",
    )
