"""The published reporting items for exercise programmes, and which of them are still empty.

The items are those of CERT (Slade et al. 2016, Br J Sports Med 50:1428-1437: 16 items on 19
lines) and of TIDieR (Hoffmann et al. 2014, BMJ 348:g1687: 12 items). Numbers and topics are
theirs (read in the published tables), the words are ours. An item counts as filled in when
there is something in our fields; whether it is good enough no program can tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from casebook.domain.prescriptions import Prescription


class Standard(StrEnum):
    """A published list of reporting items."""

    CERT = "cert"
    TIDIER = "tidier"


STANDARDS = {
    Standard.CERT: "CERT (Slade et al. 2016, Br J Sports Med 50:1428-1437)",
    Standard.TIDIER: "TIDieR (Hoffmann et al. 2014, BMJ 348:g1687)",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportingItem:
    """One item of a published list and the fields of ours that answer it.

    Parameters
    ----------
    number : str
        As published ('7a').
    asks : str
        In our words.
    fields : tuple of tuple of str
        Each inner tuple holds fields of which one is enough; all inner tuples must be met.
        `block.` and `block_detail.` fields must be filled in for every block.
    """

    standard: Standard
    number: str
    asks: str
    fields: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemState:
    """Whether an item is filled in, and if not, what is lacking.

    Parameters
    ----------
    lacking : tuple of str
        In words with the block where it is one; empty where nothing is.
    """

    item: ReportingItem
    lacking: tuple[str, ...]

    @property
    def filled(self) -> bool:
        """True where nothing is lacking."""
        return not self.lacking


_DOSE = (
    ("block.sets",),
    ("block.repetitions", "block.hold_s"),
    ("block.sessions_per_week",),
    ("detail.planned_weeks", "programme.ended_on"),
)
_EXERCISE = (("block.exercise",), ("block_detail.instructions",))
_AS_PLANNED = (("programme.adherence", "detail.fidelity_actual"),)


def _items(
    standard: Standard, *rows: tuple[str, str, tuple[tuple[str, ...], ...]]
) -> tuple[ReportingItem, ...]:
    return tuple(
        ReportingItem(standard=standard, number=number, asks=asks, fields=fields)
        for number, asks, fields in rows
    )


ITEMS: tuple[ReportingItem, ...] = (
    *_items(
        Standard.CERT,
        ("1", "equipment", (("block_detail.equipment",),)),
        ("2", "who teaches it and with what training", (("detail.provider",),)),
        ("3", "alone or in a group", (("detail.mode",),)),
        ("4", "supervised or not", (("block_detail.supervision",),)),
        ("5", "how keeping to it is measured", (("programme.adherence",),)),
        ("6", "how keeping to it is encouraged", (("detail.motivation",),)),
        ("7a", "the rule for making it harder", (("block_detail.progress_when",),)),
        ("7b", "how it is made harder", (("block_detail.progress_how",),)),
        ("8", "each exercise, so that others could do it", _EXERCISE),
        ("9", "the part done at home", (("detail.home_part",),)),
        ("10", "parts that are no exercise", (("detail.other_parts",),)),
        ("11", "what went wrong, if anything", (("detail.adverse_events",),)),
        ("12", "where it is done", (("detail.setting",),)),
        ("13", "the dose in full", _DOSE),
        ("14a", "the same for all or fitted to the runner", (("detail.tailored",),)),
        ("14b", "what was fitted", (("detail.tailoring",),)),
        ("15", "how the first level was chosen", (("detail.starting_level",),)),
        ("16a", "how it is checked that it is done as meant", (("detail.fidelity_plan",),)),
        ("16b", "how far it was done as planned", _AS_PLANNED),
    ),
    *_items(
        Standard.TIDIER,
        ("1", "a name", (("programme.title",),)),
        ("2", "why", (("programme.rationale",),)),
        ("3", "what is used", (("block_detail.equipment",), ("detail.materials",))),
        ("4", "what is done", _EXERCISE),
        ("5", "who provides it", (("detail.provider",),)),
        ("6", "how it is delivered", (("detail.mode",), ("detail.delivery",))),
        ("7", "where", (("detail.setting",),)),
        ("8", "when and how much", _DOSE),
        ("9", "what was fitted to the runner", (("detail.tailoring",),)),
        ("10", "what was changed on the way", (("detail.modifications", "changes"),)),
        ("11", "how it is checked that it is done as meant", (("detail.fidelity_plan",),)),
        ("12", "how well it was done", _AS_PLANNED),
    ),
)

FIELD_WORDS = {
    "block.sets": "sets",
    "block.repetitions": "repetitions",
    "block.hold_s": "hold",
    "block.sessions_per_week": "sessions a week",
    "block.exercise": "exercise",
    "block_detail.instructions": "instructions",
    "block_detail.equipment": "equipment",
    "block_detail.supervision": "supervision",
    "block_detail.progress_when": "rule for making it harder",
    "block_detail.progress_how": "how it is made harder",
    "programme.title": "title",
    "programme.rationale": "rationale",
    "programme.ended_on": "end date",
    "programme.adherence": "weeks of adherence",
    "detail.provider": "who teaches it",
    "detail.mode": "alone or in a group",
    "detail.delivery": "in person or remote",
    "detail.motivation": "how keeping to it is encouraged",
    "detail.home_part": "part done at home",
    "detail.other_parts": "parts that are no exercise",
    "detail.adverse_events": "what went wrong",
    "detail.setting": "where it is done",
    "detail.materials": "what the runner is given",
    "detail.planned_weeks": "planned weeks",
    "detail.tailored": "same for all or fitted",
    "detail.tailoring": "what was fitted",
    "detail.starting_level": "how the first level was chosen",
    "detail.modifications": "what was changed on the way",
    "detail.fidelity_plan": "how doing it as meant is checked",
    "detail.fidelity_actual": "how well it was done",
    "changes": "a later version",
}


def item_states(
    prescription: Prescription, standard: Standard | None = None
) -> tuple[ItemState, ...]:
    """Every item of a published list (or of both) with what is still lacking for it."""
    return tuple(
        ItemState(item=item, lacking=_lacking(prescription, item))
        for item in ITEMS
        if standard is None or item.standard is standard
    )


def still_empty(
    prescription: Prescription, standard: Standard | None = None
) -> tuple[ItemState, ...]:
    """The items that are not filled in yet."""
    return tuple(state for state in item_states(prescription, standard) if not state.filled)


def coverage_words(prescription: Prescription) -> str:
    """How much of each list is filled in: 'CERT: 12 of 19 lines filled in; ...'."""
    told = []
    for standard, name in (
        (Standard.CERT, "CERT"),
        (Standard.TIDIER, "TIDieR"),
    ):
        states = item_states(prescription, standard)
        filled = sum(state.filled for state in states)
        told.append(f"{name}: {filled} of {len(states)} lines filled in")
    return "; ".join(told) + "."


def _lacking(prescription: Prescription, item: ReportingItem) -> tuple[str, ...]:
    told: list[str] = []
    for alternatives in item.fields:
        name = " or ".join(FIELD_WORDS[one] for one in alternatives)
        if not alternatives[0].startswith("block"):
            if not any(_filled(_whole(prescription, one)) for one in alternatives):
                told.append(name)
            continue
        blocks = prescription.programme.blocks
        if not blocks:
            told.append("an exercise block")
        told.extend(
            f"{name} (block {position})"
            for position, values in _of_blocks(prescription, alternatives)
            if not any(_filled(value) for value in values)
        )
    return tuple(dict.fromkeys(told))


def _whole(prescription: Prescription, name: str) -> object:
    if name == "changes":
        return prescription.changes
    owner, _, part = name.partition(".")
    held: object = getattr(getattr(prescription, owner), part)
    return held


def _of_blocks(
    prescription: Prescription, names: tuple[str, ...]
) -> list[tuple[int, list[object]]]:
    found = []
    for block in prescription.programme.blocks:
        held = {"block": block, "block_detail": prescription.detail_of(block)}
        values = [
            getattr(held[owner], part) for owner, _, part in (n.partition(".") for n in names)
        ]
        found.append((block.position, values))
    return found


def _filled(value: object) -> bool:
    return bool(value.strip()) if isinstance(value, str) else value not in (None, ())
