"""What changed between two versions of a programme, in words; a changed dose is marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import date
from enum import StrEnum

from casebook.domain.date_words import day_words
from casebook.domain.prescriptions import BlockDetail, Prescription, ProgrammeDetail
from casebook.domain.programmes import Block, Target
from casebook.domain.sides import InjurySide


class ChangeOf(StrEnum):
    """What part of a programme a change is in."""

    DOSE = "dose"
    BLOCK = "block"
    RULE = "rule"
    TARGET = "target"
    PROGRAMME = "programme"


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionChange:
    """One thing that differs between two versions.

    Parameters
    ----------
    words : str
        A sentence, the side spelled out.
    """

    of: ChangeOf
    words: str


# Field of a block or its detail, what it is called, its unit.
DOSE_FIELDS = (
    ("sets", "sets", ""),
    ("repetitions", "repetitions", ""),
    ("load", "load", ""),
    ("hold_s", "hold", " s"),
    ("sessions_per_week", "sessions a week", ""),
)
DOSE_DETAILS = (("tempo", "tempo", ""), ("rest_s", "rest between sets", " s"))
RULES = (
    ("progress_when", "rule for making it harder"),
    ("progress_how", "how it is made harder"),
    ("ease_when", "rule for easing off"),
    ("equipment", "equipment"),
    ("supervision", "supervision"),
    ("instructions", "instructions"),
)
SIDES = {
    InjurySide.LEFT: "left",
    InjurySide.RIGHT: "right",
    InjurySide.BOTH: "both sides",
    InjurySide.NONE: "no side",
}


def changes_between(earlier: Prescription, later: Prescription) -> tuple[VersionChange, ...]:
    """What the later version of a programme changed.

    Parameters
    ----------
    earlier, later : Prescription
        Blocks are matched by exercise and side; what is left over was added or taken out.

    Returns
    -------
    tuple of VersionChange
        Blocks in the order of the later version, then those taken out, then targets, then the
        programme itself. Empty where nothing but the blocks' order differs.
    """
    return (
        *_block_changes(earlier, later),
        *_target_changes(earlier.programme.targets, later.programme.targets),
        *_programme_changes(earlier, later),
    )


def dose_changed(changes: Sequence[VersionChange]) -> bool:
    """True where the dose is another: a block's own, or a block more or less."""
    return any(change.of in {ChangeOf.DOSE, ChangeOf.BLOCK} for change in changes)


def _block_changes(earlier: Prescription, later: Prescription) -> Iterator[VersionChange]:
    left = list(earlier.programme.blocks)
    for block in later.programme.blocks:
        before = next((one for one in left if _same(one, block)), None)
        if before is None:
            dose = _dose_words(block, later.detail_of(block))
            yield VersionChange(of=ChangeOf.BLOCK, words=f"{_name(block)}: added{dose}.")
            continue
        left.remove(before)
        yield from _within(before, earlier.detail_of(before), block, later.detail_of(block))
    for block in left:
        yield VersionChange(of=ChangeOf.BLOCK, words=f"{_name(block)}: taken out.")


def _same(one: Block, other: Block) -> bool:
    return (one.exercise.casefold(), one.side) == (other.exercise.casefold(), other.side)


def _within(
    before: Block, before_detail: BlockDetail, after: Block, after_detail: BlockDetail
) -> Iterator[VersionChange]:
    name = _name(after)
    for owner, other, known in (
        (before, after, DOSE_FIELDS),
        (before_detail, after_detail, DOSE_DETAILS),
    ):
        for field, label, unit in known:
            was, now = getattr(owner, field), getattr(other, field)
            if was != now:
                yield VersionChange(
                    of=ChangeOf.DOSE, words=f"{name}: {label} {_from_to(was, now, unit)}."
                )
    if before.aim is not after.aim:
        yield VersionChange(
            of=ChangeOf.RULE, words=f"{name}: aim {_from_to(before.aim, after.aim, '')}."
        )
    for field, label in RULES:
        was, now = getattr(before_detail, field), getattr(after_detail, field)
        if was != now:
            yield VersionChange(
                of=ChangeOf.RULE, words=f"{name}: {label} {_from_to(was, now, '')}."
            )


def _target_changes(earlier: Sequence[Target], later: Sequence[Target]) -> Iterator[VersionChange]:
    was = {(target.metric, target.what): target for target in earlier}
    now = {(target.metric, target.what): target for target in later}
    for key in dict.fromkeys([*was, *now]):
        before, after = was.get(key), now.get(key)
        if before == after:
            continue
        name = f"Target on {key[0].replace('_', ' ')} ({key[1]})"
        if before is None or after is None:
            words = f"{name}: {'added' if before is None else 'taken out'}."
        else:
            words = f"{name}: {_from_to(_target(before), _target(after), '')}."
        yield VersionChange(of=ChangeOf.TARGET, words=words)


def _target(target: Target) -> str:
    way = target.direction.replace("_", " ")
    return f"{way} by {target.amount:g} until {day_words(target.due_on)}"


def _programme_changes(earlier: Prescription, later: Prescription) -> Iterator[VersionChange]:
    for field in ("title", "kind", "rationale", "started_on", "ended_on"):
        was, now = getattr(earlier.programme, field), getattr(later.programme, field)
        if was != now:
            yield _of_programme(field, was, now)
    for one in fields(ProgrammeDetail):
        was, now = getattr(earlier.detail, one.name), getattr(later.detail, one.name)
        if was != now:
            yield _of_programme(one.name, was, now)


def _of_programme(field: str, was: object, now: object) -> VersionChange:
    label = {"started_on": "start", "ended_on": "end"}.get(field, field.replace("_", " "))
    return VersionChange(
        of=ChangeOf.PROGRAMME, words=f"Programme: {label} {_from_to(was, now, '')}."
    )


def _name(block: Block) -> str:
    return f"{block.exercise} ({SIDES[block.side]})"


def _dose_words(block: Block, detail: BlockDetail) -> str:
    told = [
        f"{label} {_shown(value, unit)}"
        for owner, known in ((block, DOSE_FIELDS), (detail, DOSE_DETAILS))
        for field, label, unit in known
        if (value := getattr(owner, field)) not in {None, ""}
    ]
    return f", {', '.join(told)}" if told else ""


def _from_to(was: object, now: object, unit: str) -> str:
    return f"from {_shown(was, unit)} to {_shown(now, unit)}"


def _shown(value: object, unit: str) -> str:
    if value in (None, ""):
        return "nothing"
    if isinstance(value, StrEnum):
        return value.replace("_", " ")
    if isinstance(value, date):
        return day_words(value)
    return f"{value:g}{unit}" if isinstance(value, int | float) else f"{value}{unit}"
