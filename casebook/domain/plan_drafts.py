"""How what was typed of a programme or hypothesis and not stored is named in a draft's content.

It lies beside the drafts of visits, told apart by its kind, and is counted nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from casebook.domain.visit_drafts import RUNNER


class DraftKind(StrEnum):
    """What is being typed."""

    VISIT = "visit"
    PROGRAMME = "programme"
    HYPOTHESIS = "hypothesis"


KIND: Final = "kind"
PROGRAMME, NUMBER, VERSION = "programme", "number", "version"
COMPLAINT, ROWS, NEXT = "complaint", "rows", "next"
BOX: Final = "box"
ROW_WORDS: Final = {"block": "exercise", "target": "target", "link": "prediction"}
# Boxes that offer what fits another one's answer have its number of answers in their name.
_ENDS_IN_NUMBER = re.compile(r"_\d+$")


def kind_of(content: Mapping[str, Any]) -> DraftKind:
    """What a draft is of; those from before there was any other kind are of visits.

    Examples
    --------
    >>> kind_of({"runner": "R-1"}) is DraftKind.VISIT
    True
    """
    return DraftKind(content.get(KIND, DraftKind.VISIT))


def box_name(part: str) -> str:
    """Name of the field of a box of the form."""
    return f"{BOX}:{part}"


def kept_form(value: object) -> str | int | float | bool:
    """What stands in a box as a draft keeps it: a code as text, no choice as ''.

    Examples
    --------
    >>> kept_form(DraftKind.VISIT), kept_form(None), kept_form(3)
    ('visit', '', 3)
    """
    if isinstance(value, bool | int | float):
        return value
    return "" if value is None else str(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDraft:
    """A draft of a programme or hypothesis, read from its content.

    Parameters
    ----------
    programme_id : int
        Of the programme that is changed or that the hypothesis is on; 0 for a new programme.
    number : int
        Of the hypothesis that gets a new version; 0 for a new one, and of programmes.
    version : int
        That stood when it was begun; 0 where nothing was stored then.
    complaint : int
        Number of the complaint that it was begun for; 0 for none.
    rows : tuple of (str, int, str)
        Exercises, targets or predictions in their order: which it is, the number in the names
        of its boxes, and the key in the clinic's list of exercises.
    boxes : mapping of str to str, int, float or bool
        What stands in each box, by its part of the form.
    """

    kind: DraftKind
    runner: str
    programme_id: int = 0
    number: int = 0
    version: int = 0
    complaint: int = 0
    rows: tuple[tuple[str, int, str], ...] = ()
    next_row: int = 1
    boxes: Mapping[str, Any]

    @property
    def content(self) -> dict[str, Any]:
        """As it is kept, field by field."""
        return {
            KIND: self.kind.value,
            RUNNER: self.runner,
            PROGRAMME: self.programme_id,
            NUMBER: self.number,
            VERSION: self.version,
            COMPLAINT: self.complaint,
            ROWS: [list(row) for row in self.rows],
            NEXT: self.next_row,
            **{box_name(part): kept_form(typed) for part, typed in self.boxes.items()},
        }


def read_plan(content: Mapping[str, Any]) -> PlanDraft:
    """A draft of a programme or hypothesis from what is kept."""
    boxes = {
        name.removeprefix(f"{BOX}:"): typed
        for name, typed in content.items()
        if name.startswith(f"{BOX}:")
    }
    return PlanDraft(
        kind=kind_of(content),
        runner=str(content.get(RUNNER, "")),
        programme_id=int(content.get(PROGRAMME, 0)),
        number=int(content.get(NUMBER, 0)),
        version=int(content.get(VERSION, 0)),
        complaint=int(content.get(COMPLAINT, 0)),
        rows=tuple((str(row), int(slot), str(key)) for row, slot, key in content.get(ROWS, ())),
        next_row=int(content.get(NEXT, 1)),
        boxes=boxes,
    )


def plan_fields(draft: PlanDraft) -> tuple[tuple[str, str, str], ...]:
    """What was typed of it: the row that a field is of in words or '', its name, and the text.

    Examples
    --------
    >>> plan_fields(PlanDraft(kind=DraftKind.PROGRAMME, runner="R-1", rows=(("target", 4, ""),),
    ...     boxes={"title": "Hips", "target_4_amount": "3", "rationale": ""}))
    (('', 'title', 'Hips'), ('target 1', 'amount', '3'))
    """
    told = [
        (*_place(draft.rows, part), str(typed))
        for part, typed in draft.boxes.items()
        if typed not in (None, "")
    ]
    # Those of the whole first, then row by row as they stand in the form.
    order = ["", *(words for words, _ in _rows(draft.rows))]
    return tuple(sorted(told, key=lambda field: order.index(field[0])))


def _rows(rows: Sequence[tuple[str, int, str]]) -> list[tuple[str, str]]:
    """Each row in words, with what the names of its boxes begin with."""
    found: list[tuple[str, str]] = []
    for row, slot, _ in rows:
        number = 1 + sum(words.startswith(ROW_WORDS[row]) for words, _ in found)
        found.append((f"{ROW_WORDS[row]} {number}", f"{row}_{slot}_"))
    return found


def _place(rows: Sequence[tuple[str, int, str]], part: str) -> tuple[str, str]:
    for words, start in _rows(rows):
        if part.startswith(start):
            return words, _ENDS_IN_NUMBER.sub("", part.removeprefix(start))
    return "", part
