"""A clinic's measurement sets: made, changed, put in order, switched off; never removed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from casebook.catalogue.starter_sets import starter_sets
from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.history import Act, Change, Subject
from casebook.domain.measurement_sets import MeasurementSet
from casebook.domain.people import clean_by
from casebook.intake.nearest import nearest
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.storage import history, sets
from casebook.storage.session import Unit, reading, writing

NOTHING_STORED = "Nothing was stored."
CHANGED = "the clinic changed its measurement set"


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSet:
    """A measurement set as it is stored."""

    set_id: int
    set: MeasurementSet


def load_starter_sets(casebook: Casebook) -> int:
    """Give a clinic that never had a set the starter's; returns how many were added."""
    with writing(casebook.engine) as unit:
        if sets.sets(unit, casebook.clinic_id):
            return 0
        starter = starter_sets()
        ids = sets.metric_ids(unit, (key for one in starter for key in one.metrics))
        told = [_added(unit, casebook, one, ids)[1] for one in starter]
        history.append(unit, told, by="", at=clock.now())
        unit.commit()
    return len(starter)


def list_sets(casebook: Casebook, *, include_inactive: bool = False) -> tuple[StoredSet, ...]:
    """The clinic's sets, in its order."""
    with reading(casebook.engine) as unit:
        found = sets.sets(unit, casebook.clinic_id)
    return tuple(
        StoredSet(set_id=set_id, set=one)
        for set_id, one in found.items()
        if one.active or include_inactive
    )


def save_set(
    casebook: Casebook, wanted: MeasurementSet, *, by: str, read: StoredSet | None
) -> StoredSet:
    """Add a set, or change one that nobody else has changed since it was read.

    Parameters
    ----------
    wanted : MeasurementSet
        As it shall stand.
    by : str
        Code of whoever saves; empty where it is not known.
    read : StoredSet or None
        The set as the writer had it before them; None adds a new one.

    Raises
    ------
    InputRefused
        For a metric that the catalogue does not have.
    Conflict
        When the name is taken, or somebody else changed the set in between.
    NotFound
        When there is no such set any more.
    """
    by = clean_by(by)
    wanted = replace(wanted, name=" ".join(wanted.name.split()), purpose=wanted.purpose.strip())
    with writing(casebook.engine) as unit:
        stored = sets.sets(unit, casebook.clinic_id, to_write=True)
        ids = _known(unit, wanted)
        _refuse_taken(wanted.name, stored, None if read is None else read.set_id)
        if read is None:
            set_id, change = _added(unit, casebook, wanted, ids)
        else:
            set_id = read.set_id
            _refuse_changed(read, stored.get(set_id))
            if wanted == read.set:
                return read
            sets.write_set(unit, set_id, wanted, ids)
            change = _change(Act.AMENDED, set_id, _fields(read.set), _fields(wanted))
        history.append(unit, [change], by=by, at=clock.now())
        unit.commit()
    return StoredSet(set_id=set_id, set=wanted)


def order_sets(casebook: Casebook, names: Sequence[str], *, by: str) -> tuple[StoredSet, ...]:
    """Put the sets named in this order, before those that are not named.

    Raises
    ------
    NotFound
        For a name that no set has.
    """
    by = clean_by(by)
    with writing(casebook.engine) as unit:
        stored = sets.sets(unit, casebook.clinic_id, to_write=True)
        by_name = {one.name.casefold(): set_id for set_id, one in stored.items()}
        strange = [name for name in names if name.casefold() not in by_name]
        if strange:
            raise NotFound(_no_set(strange[0], stored))
        first = dict.fromkeys(by_name[name.casefold()] for name in names)
        wanted = [*first, *(set_id for set_id in stored if set_id not in first)]
        before = {set_id: place for place, set_id in enumerate(stored)}
        changes = [
            _change(Act.AMENDED, set_id, {"position": before[set_id]}, {"position": place})
            for place, set_id in enumerate(wanted)
            if before[set_id] != place
        ]
        for place, set_id in enumerate(wanted):
            sets.place_set(unit, set_id, place)
        if changes:
            history.append(unit, changes, by=by, at=clock.now())
        unit.commit()
    return list_sets(casebook, include_inactive=True)


def _added(
    unit: Unit, casebook: Casebook, one: MeasurementSet, ids: Mapping[str, int]
) -> tuple[int, Change]:
    set_id, position = sets.add_set(unit, casebook.clinic_id, one, ids)
    return set_id, _change(Act.RECORDED, set_id, {}, {**_fields(one), "position": position})


def get_set(casebook: Casebook, name: str) -> StoredSet:
    """A set by its name, capitals aside.

    Raises
    ------
    NotFound
    """
    stored = list_sets(casebook, include_inactive=True)
    wanted = " ".join(name.split()).casefold()
    found = next((one for one in stored if one.set.name.casefold() == wanted), None)
    if found is None:
        raise NotFound(_no_set(name, {one.set_id: one.set for one in stored}))
    return found


def _no_set(name: str, stored: Mapping[int, MeasurementSet]) -> str:
    known = ", ".join(f"'{one.name}'" for one in stored.values()) or "none yet"
    return f"There is no measurement set '{name}'. There are: {known}. {NOTHING_STORED}"


def _known(unit: Unit, wanted: MeasurementSet) -> dict[str, int]:
    ids = sets.metric_ids(unit, wanted.metrics)
    strange = [key for key in wanted.metrics if key not in ids]
    if not strange:
        return ids
    keys = sets.every_metric_key(unit)
    raise InputRefused(tuple(_unknown(wanted.name, key, nearest(key, keys)) for key in strange))


def _unknown(name: str, key: str, near: Sequence[str]) -> Problem:
    hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    return Problem(
        code="unknown_metric",
        column="metrics",
        value=key,
        message=f"the set '{name}' names the metric '{key}', which is not in the "
        f"catalogue.{hint} Check the key, or add the metric first.",
    )


def _refuse_taken(name: str, stored: Mapping[int, MeasurementSet], own: int | None) -> None:
    for set_id, one in stored.items():
        if set_id != own and one.name.casefold() == name.casefold():
            raise Conflict(
                f"There is a measurement set '{one.name}' already"
                f"{'' if one.active else ' (switched off)'}; give this one another name, or "
                f"change that one. {NOTHING_STORED}"
            )


def _refuse_changed(read: StoredSet, stored: MeasurementSet | None) -> None:
    if stored is None:
        raise NotFound(f"The measurement set '{read.set.name}' is gone. {NOTHING_STORED}")
    if stored == read.set:
        return
    was, now = _fields(read.set), _fields(stored)
    differing = ", ".join(name for name in was if was[name] != now[name])
    raise Conflict(
        f"Somebody else changed the measurement set '{read.set.name}' after you opened it "
        f"({differing}). {NOTHING_STORED} Look at it again, then change it."
    )


def _fields(one: MeasurementSet) -> dict[str, Any]:
    return {
        "name": one.name,
        "purpose": one.purpose or None,
        "active": one.active,
        "metrics": list(one.metrics),
    }


def _change(act: Act, set_id: int, was: Mapping[str, Any], now: Mapping[str, Any]) -> Change:
    return Change(
        act=act,
        subject=Subject.MEASUREMENT_SET,
        subject_id=set_id,
        fields={name: (was.get(name), now[name]) for name in now if was.get(name) != now[name]},
        reason=CHANGED if act is Act.AMENDED else "",
    )
