"""A runner's history as it is shown: who did what, when and why, and what it was before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from casebook.domain.history import Act, Entry, Subject
from casebook.domain.history_words import UNTOLD, content_words, field_label, heading_words
from casebook.domain.metrics import Metric
from casebook.domain.verdicts import What
from casebook.domain.wording import asymmetry_unit, unit_words
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row
from casebook.services.undoing_entries import cannot_be_undone
from casebook.storage import cases, history
from casebook.storage.session import reading


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldField:
    """One field that an entry changed, in words."""

    label: str
    was: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldEntry:
    """One entry in words.

    Parameters
    ----------
    at : datetime
        Aware UTC.
    by : str
        Code of whoever did it; empty where it is not known.
    heading : str
        What was done to what.
    subject, subject_id
        The record, for whoever wants to amend it.
    visit : (date, int) or None
        Day and session of the visit that it belongs to, as they were last.
    imported : bool
        An import did it.
    why_not_undone : str
        Why it can't be undone by itself; empty where it can be tried.
    """

    number: int
    at: datetime
    by: str
    act: Act
    heading: str
    subject: Subject
    subject_id: int
    visit: tuple[date, int] | None
    reason: str
    imported: bool
    fields: tuple[ToldField, ...]
    why_not_undone: str
    hash: str

    def to_json(self) -> dict[str, object]:
        """As an object for a script."""
        return {
            "number": self.number,
            "at": self.at.isoformat(),
            "by": self.by,
            "act": self.act.value,
            "record": f"{self.subject.value}:{self.subject_id}",
            "visit": None if self.visit is None else [self.visit[0].isoformat(), self.visit[1]],
            "reason": self.reason,
            "imported": self.imported,
            "fields": [{"field": one.label, "was": one.was, "is": one.now} for one in self.fields],
            "hash": self.hash,
        }


def runner_history(casebook: Casebook, runner: str) -> tuple[ToldEntry, ...]:
    """Everything told of a runner, newest first.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        entries = history.entries_of_runner(unit, runner_id)
        metrics = cases.metrics_by_id(unit)
    by_key = {metric.key: metric for metric in metrics.values()}
    labels = {number: metric.label for number, metric in metrics.items()}
    days = visit_days(entries)
    return tuple(
        _told(entry, by_key, labels, metrics, days.get(entry.visit_id or 0))
        for entry in reversed(entries)
    )


def of_visit(
    entries: Iterable[ToldEntry], visited_on: date, session: int | None = None
) -> tuple[ToldEntry, ...]:
    """Those of one visit, or of all visits of a day."""
    return tuple(
        entry
        for entry in entries
        if entry.visit is not None
        and entry.visit[0] == visited_on
        and session in (None, entry.visit[1])
    )


def _unit(entry: Entry, metrics: Mapping[int, Metric]) -> str:
    """The unit of an amount that a target or a prediction names, where its metric is told too."""
    told = {name: now if now is not None else was for name, (was, now) in entry.fields.items()}
    metric = metrics.get(told.get("metric_id", 0))
    if metric is None:
        return ""
    if told.get("what") == What.ASYMMETRY.value:
        return asymmetry_unit(metric.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def history_head(casebook: Casebook) -> tuple[int, str]:
    """Number and hash of the last entry, to be noted down elsewhere; (0, '') where there is none.

    A check that is given the hash tells whether everything up to that entry still stands.
    """
    with reading(casebook.engine) as unit:
        return history.last(unit)


def visit_days(entries: Iterable[Entry]) -> dict[int, tuple[date, int]]:
    """Day and session of each visit as they were last, struck out ones too; by id."""
    found: dict[int, dict[str, object]] = {}
    for entry in entries:
        if entry.subject is not Subject.VISIT:
            continue
        place = found.setdefault(entry.subject_id, {})
        for name in ("visited_on", "session"):
            now = entry.fields.get(name, (None, None))[1]
            if now is not None:
                place[name] = now
    return {
        visit_id: (date.fromisoformat(str(place["visited_on"])), int(str(place["session"])))
        for visit_id, place in found.items()
        if len(place) == len(("visited_on", "session"))
    }


def _told(
    entry: Entry,
    metrics: Mapping[str, Metric],
    labels: Mapping[int, str],
    units: Mapping[int, Metric],
    visit: tuple[date, int] | None,
) -> ToldEntry:
    def words(name: str, content: object) -> str:
        if name == "metric_id" and isinstance(content, int):
            return labels.get(content, f"number {content}")
        if name == "amount" and content is not None:
            return f"{content_words(name, content, metrics)} {_unit(entry, units)}".strip()
        return content_words(name, content, metrics)

    positions = {key: (metric.position, key) for key, metric in metrics.items()}

    def place(name: str) -> tuple[bool, tuple[int, str], str]:
        key = name.split(":")[1] if ":" in name else ""
        return bool(key), positions.get(key, (0, key)), name

    return ToldEntry(
        number=entry.number,
        at=entry.at,
        by=entry.by,
        act=entry.act,
        heading=heading_words(entry),
        subject=entry.subject,
        subject_id=entry.subject_id,
        visit=visit,
        reason=entry.reason,
        imported=entry.import_run_id is not None,
        fields=tuple(
            ToldField(label=field_label(name, metrics), was=words(name, was), now=words(name, now))
            for name, (was, now) in sorted(entry.fields.items(), key=lambda one: place(one[0]))
            if name not in UNTOLD
        ),
        why_not_undone=cannot_be_undone(entry),
        hash=entry.hash,
    )
