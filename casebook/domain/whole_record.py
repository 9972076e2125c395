"""Everything that is held on one runner, as it leaves a casebook and comes into another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from casebook.domain.history import Subject, Was
from casebook.domain.metrics import Metric
from casebook.domain.people import User
from casebook.domain.plan_drafts import DraftKind
from casebook.domain.visits import Value

# The field that names a metric by its key.
METRIC = "metric"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldRow:
    """One thing that is held on a runner.

    Parameters
    ----------
    kind : Subject
        What it is, as the history calls it.
    number : int
        From 1 within its kind, in this record only.
    fields : mapping of str to plain JSON
        What is known of it, by the names under which it is stored; days as 2026-03-02, moments
        in UTC. What is not known is no field. A metric is named by its key, a user by the code.
        May hold direct identifiers.
    refs : mapping of str to (Subject, int)
        To which others of the record it belongs: name -> kind and number.
    """

    kind: Subject
    number: int
    fields: Mapping[str, Was] = field(default_factory=dict, repr=False)
    refs: Mapping[str, tuple[Subject, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldValue:
    """A value, in its metric's unit, and the number of the visit at which it was read."""

    visit: int
    value: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """One entry of the runner's history in words.

    Parameters
    ----------
    at : datetime
        Aware UTC.
    by : str
        Code of whoever did it; empty where it is not known.
    what : str
        What was done to what.
    changed : tuple of str
        Each field in words, from what to what.
    """

    number: int
    at: datetime
    by: str
    what: str
    reason: str = ""
    changed: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsaved:
    """What was typed of a visit, programme or hypothesis that was not saved; none by itself.

    Parameters
    ----------
    kind : DraftKind
    begun_by : str
        Code of whoever began it; empty where it is not known.
    begun_at, typed_at : datetime
        Aware UTC; when it was begun, and when something was typed last.
    fields : tuple of (str, str)
        In words what it is, and the text as it was typed.
    """

    kind: DraftKind
    begun_by: str
    begun_at: datetime
    typed_at: datetime
    fields: tuple[tuple[str, str], ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeRecord:
    """Everything that a casebook holds on one runner.

    Parameters
    ----------
    code : str
        Of the runner.
    clinic : str
        Name of the clinic.
    written_at : datetime
        Aware UTC.
    rows : tuple of HeldRow
        What others refer to stands before them.
    metrics : tuple of Metric
        As the catalogue defines them: those of which the record holds something.
    users : tuple of User
        Those who are named by it.
    unsaved : tuple of Unsaved
        In the readable form only: what is not saved is no visit, and no other casebook takes it.
    """

    code: str
    clinic: str = ""
    written_at: datetime
    rows: tuple[HeldRow, ...] = ()
    values: tuple[HeldValue, ...] = ()
    metrics: tuple[Metric, ...] = ()
    users: tuple[User, ...] = ()
    history: tuple[HistoryLine, ...] = ()
    unsaved: tuple[Unsaved, ...] = ()

    def of_kind(self, kind: Subject) -> tuple[HeldRow, ...]:
        """Its rows of one kind, by number."""
        return tuple(row for row in self.rows if row.kind == kind)
