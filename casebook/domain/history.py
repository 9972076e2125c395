"""The history of a record: what each entry says, and the seal that chains it to the one before.

An entry is never changed. Its seal is a hash over everything it says and over the seal before,
so that an entry that was altered, removed or put in behind the program's back breaks the chain.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from typing import Any

from casebook.domain.sides import Side
from casebook.domain.visits import Value

VALUE = "value:"

Was = Any
"""A field's content before or after: None where there was none, else plain JSON."""


class Act(StrEnum):
    """What was done."""

    RECORDED = "recorded"
    ADDED = "added"
    AMENDED = "amended"
    STRUCK_OUT = "struck_out"
    UNDONE = "undone"
    # What stood in a casebook before it kept a history; who entered it is not known here.
    ADOPTED = "adopted"


class Subject(StrEnum):
    """What an entry tells of."""

    RUNNER = "runner"
    IDENTITY = "identity"
    CONSENT = "consent"
    INJURY = "injury"
    VISIT = "visit"
    PROGRAMME = "programme"
    BLOCK = "block"
    TARGET = "target"
    ADHERENCE = "adherence"
    ACKNOWLEDGEMENT = "acknowledgement"
    METRIC = "metric"
    ERROR_FIGURE = "error_figure"
    ATTACHMENT = "attachment"
    MEASUREMENT_SET = "measurement_set"
    USER = "user"
    EXERCISE = "exercise"
    RUN = "run"
    FINDING = "finding"
    CAUTION = "caution"
    PAIN = "pain"
    HYPOTHESIS = "hypothesis"
    LINK = "link"
    EXPORT = "export"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Something done to one record, not stored yet.

    Parameters
    ----------
    subject, subject_id
        What kind of record, and its id in the store.
    fields : mapping of str to (was, is)
        What changed, field by field; None where there was nothing, or is nothing now. A
        visit's values are fields, too: see `value_field`. Of an identity the fields are named
        and what they hold is left out, so that names can be left behind.
    runner_id, visit_id : int or None
        Whose record it belongs to.
    reason : str
        Why; asked for whenever something stored is amended, struck out or undone.
    """

    act: Act
    subject: Subject
    subject_id: int
    fields: Mapping[str, tuple[Was, Was]] = field(default_factory=dict)
    runner_id: int | None = None
    visit_id: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A change as it stands in the history.

    Parameters
    ----------
    number : int
        1 for the first entry of the store, without gaps.
    at : datetime
        Aware UTC.
    by : str
        Code of whoever did it; empty where it is not known.
    content : str
        The change's fields as canonical JSON, as they were sealed.
    previous, hash : str
        Seal of the entry before (empty for the first) and of this one, 64 hexadecimal digits.
    """

    number: int
    at: datetime
    by: str
    act: Act
    subject: Subject
    subject_id: int
    runner_id: int | None
    visit_id: int | None
    import_run_id: int | None
    reason: str
    content: str
    previous: str
    hash: str

    @property
    def fields(self) -> dict[str, tuple[Was, Was]]:
        """What changed, field by field."""
        return {name: (was, now) for name, (was, now) in json.loads(self.content).items()}


def written(fields: Mapping[str, tuple[Was, Was]]) -> str:
    """Fields as canonical JSON: sorted names, no blanks, no NaN."""
    return json.dumps(
        {name: list(pair) for name, pair in fields.items()},
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
    )


def seal(entry: Entry) -> str:
    """SHA-256 (FIPS 180-4) over everything that an entry says and the seal before it.

    The entry's own `hash` does not count. Its moment does, not the zone in which it is written.
    """
    said = json.dumps(
        [
            entry.previous,
            entry.number,
            round(entry.at.timestamp() * 1_000_000),
            entry.by,
            entry.act.value,
            entry.subject.value,
            entry.subject_id,
            entry.runner_id,
            entry.visit_id,
            entry.import_run_id,
            entry.reason,
            entry.content,
        ],
        separators=(",", ":"),
        ensure_ascii=True,
    )
    return hashlib.sha256(said.encode("ascii")).hexdigest()


def chained(
    changes: Iterable[Change],
    *,
    after: tuple[int, str],
    at: datetime,
    by: str,
    import_run_id: int | None = None,
) -> Iterator[Entry]:
    """Changes as entries, each sealed upon the one before.

    Parameters
    ----------
    after : (int, str)
        Number and hash of the last entry there is; (0, '') in an empty history.
    """
    number, previous = after
    for change in changes:
        number += 1
        entry = Entry(
            number=number,
            at=at,
            by=by,
            act=change.act,
            subject=change.subject,
            subject_id=change.subject_id,
            runner_id=change.runner_id,
            visit_id=change.visit_id,
            import_run_id=import_run_id,
            reason=change.reason,
            content=written(change.fields),
            previous=previous,
            hash="",
        )
        previous = seal(entry)
        yield replace(entry, hash=previous)


def value_field(metric: str, side: Side) -> str:
    """Name of the field in which a visit's entry tells of a value."""
    return f"{VALUE}{metric}:{side.value}"


def metric_and_side(name: str) -> tuple[str, Side] | None:
    """The metric's key and the side of a field that tells of a value; None for another field."""
    if not name.startswith(VALUE):
        return None
    metric, _, side = name.removeprefix(VALUE).rpartition(":")
    return metric, Side(side)


def numbers_told(content: Mapping[str, Any]) -> list[int]:
    """Numbers of the trials of a value that a history entry holds."""
    return list(content.get("numbers", range(1, len(content["trials"]) + 1)))


def value_content(value: Value) -> dict[str, Any]:
    """A value as a history entry holds it; trials' numbers only where they have gaps."""
    held: dict[str, Any]
    if value.missing_reason is not None:
        return {"missing": value.missing_reason.value}
    if value.trials:
        held = {"trials": list(value.trials)}
        if value.trial_numbers:
            held["numbers"] = list(value.trial_numbers)
    else:
        held = {"mean": value.mean, "n": value.n_trials}
        if value.sd is not None:
            held["sd"] = value.sd
    if value.marking_sd is not None:
        held["marking_sd"] = value.marking_sd
    return held
