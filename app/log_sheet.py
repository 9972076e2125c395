"""What one visit's sheet is made of, for all parts of the logging page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from app.entering import Previous
from app.log_draft import Cell, Draft, Ground
from casebook.domain.metrics import Condition, ErrorFigure, Metric
from casebook.domain.visits import Value
from casebook.services.keeping import Casebook
from casebook.services.recording import StoredVisit


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A visit as it is being typed, upon what is known of the runner.

    Parameters
    ----------
    earlier : tuple of StoredVisit
        Visits before this one, oldest first.
    stored : StoredVisit or None
        This visit, where it is stored already.
    metrics : tuple of Metric
        The catalogue's, in the order in which a clinician looks.
    shown : tuple of Metric
        Those that have a row.
    kept : dict
        Values that are stored of this visit.
    figures : mapping
        By metric, the figure that a side's change is held against.
    errors : mapping
        By metric, how far error alone may move one side, for telling swapped sides.
    unlike : frozenset of Condition
        In which this visit differs from the last one.
    frames_per_s : float or None
        The camera's rate at this visit.
    """

    casebook: Casebook
    draft: Draft
    visited_on: date
    day_problem: str
    session: int
    earlier: tuple[StoredVisit, ...]
    stored: StoredVisit | None
    metrics: tuple[Metric, ...]
    figures: Mapping[str, ErrorFigure]
    errors: Mapping[str, float]
    shown: tuple[Metric, ...] = ()
    previous: Mapping[Cell, Previous] = field(default_factory=dict)
    kept: Mapping[Cell, Value] = field(default_factory=dict)
    unlike: frozenset[Condition] = frozenset()
    frames_per_s: float | None = None
    explained: bool = False

    @property
    def ground(self) -> Ground:
        """What is typed is typed upon this."""
        return Ground(
            at=f"{self.visited_on.isoformat()}/{self.session}",
            revision=self.stored.revision if self.stored else 0,
        )
