"""Two people at one visit: what the second to save is told, field by field."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from casebook.domain.errors import Conflict
from casebook.domain.history import Was


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldMeanwhile:
    """One field of a visit in the eyes of two people.

    Parameters
    ----------
    name : str
        The field's name in the history: a column's, or `value_field`.
    opened : plain JSON
        What it was when the second person opened the visit; None where there was nothing.
    stored : plain JSON
        What it is now.
    given : plain JSON
        What the second person gave, or `opened` where they left it as it was.
    """

    name: str
    opened: Was
    stored: Was
    given: Was

    @property
    def theirs(self) -> bool:
        """The other person changed it."""
        return bool(self.stored != self.opened)

    @property
    def yours(self) -> bool:
        """The second person changed it."""
        return bool(self.given != self.opened)

    @property
    def must_choose(self) -> bool:
        """Both changed it, and not to the same."""
        return self.theirs and self.yours and bool(self.stored != self.given)


@dataclass(eq=False)
class VisitChangedMeanwhile(Conflict):
    """Somebody else saved the visit after it was opened; nothing was stored.

    Save again with `shown_revision` as the expected one, and with what was chosen of `fields`.

    Parameters
    ----------
    words : str
        The whole of it in words.
    fields : tuple of FieldMeanwhile
        Every field that either of the two changed.
    shown_revision : int
        The visit's revision as `fields` shows it.
    by, at
        Who saved it last, and when (aware UTC).
    """

    words: str
    fields: tuple[FieldMeanwhile, ...] = field(default=())
    shown_revision: int = 1
    by: str = ""
    at: datetime | None = None

    def __str__(self) -> str:
        return self.words
