"""A programme's form and its draft in the store: one from the other."""

from __future__ import annotations

from dataclasses import replace

from app.plan_kept import asked_plan, boxes_of, forget_kept, keep_plan, leave_kept, take_up
from app.programme_draft import (
    ProgrammeDraft,
    begin_draft,
    draft_name,
    drop_draft,
    find_draft,
)
from casebook.domain.plan_drafts import DraftKind, PlanDraft
from casebook.domain.prescriptions import BlockDetail, Prescription
from casebook.domain.programmes import Aim, Block
from casebook.domain.sides import InjurySide
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription, list_versions

BLOCK, TARGET = "block", "target"


def draft_to_write(
    casebook: Casebook,
    runner: str,
    start: Prescription,
    *,
    stored: StoredPrescription | None = None,
) -> ProgrammeDraft:
    """The form's draft: the one that the address names, else this session's, else a new one."""
    draft = find_draft(draft_name(runner, stored))
    asked = asked_plan(casebook, draft.typing if draft else None)
    if asked is not None and _fits(asked[1], runner, stored):
        draft = _taken_up(casebook, *asked, start, stored)
    injury_id = stored.injury_id if stored else None
    draft = draft or begin_draft(runner, start, stored=stored, injury_id=injury_id)
    draft.typing.keep_now = lambda: keep(casebook, draft)
    return draft


def begin_anew(
    runner: str,
    start: Prescription,
    *,
    stored: StoredPrescription | None = None,
    injury_id: int | None = None,
) -> ProgrammeDraft:
    """Begin a draft; one of the same name stays in the store to go on with."""
    before = find_draft(draft_name(runner, stored))
    if before is not None:
        leave_kept(before.typing)
    return begin_draft(runner, start, stored=stored, injury_id=injury_id)


def keep(casebook: Casebook, draft: ProgrammeDraft) -> None:
    """Keep what is typed, as the form holds it."""
    rows = [
        *((BLOCK, slot, detail.exercise_key or "") for slot, (_, detail) in draft.blocks.items()),
        *((TARGET, slot, "") for slot in draft.targets),
    ]
    keep_plan(
        casebook,
        draft.typing,
        PlanDraft(
            kind=DraftKind.PROGRAMME,
            runner=draft.runner,
            programme_id=draft.stored.programme_id if draft.stored else 0,
            version=draft.start.version if draft.stored else 0,
            complaint=draft.injury_id or 0,
            rows=tuple(rows),
            next_row=draft.typing.next_slot,
            boxes=boxes_of(draft.typing),
        ),
    )


def forget(casebook: Casebook, draft: ProgrammeDraft) -> None:
    """Drop all that was typed: it is stored, or not wanted any more."""
    forget_kept(casebook, draft.typing)
    drop_draft(draft.typing.name)


def _fits(kept: PlanDraft, runner: str, stored: StoredPrescription | None) -> bool:
    programme_id = stored.programme_id if stored else 0
    return (kept.kind, kept.runner, kept.programme_id) == (
        DraftKind.PROGRAMME,
        runner,
        programme_id,
    )


def _taken_up(
    casebook: Casebook,
    key: str,
    kept: PlanDraft,
    start: Prescription,
    stored: StoredPrescription | None,
) -> ProgrammeDraft:
    if stored is not None:
        stored = _as_it_was(casebook, stored, kept.version)
        start = stored.prescription
    bare = replace(start, programme=replace(start.programme, blocks=(), targets=()))
    draft = begin_anew(
        kept.runner,
        replace(bare, block_details=()),
        stored=stored,
        injury_id=kept.complaint or None,
    )
    draft.start = start
    take_up(key, kept, draft.typing)
    for row, slot, exercise_key in kept.rows:
        if row == BLOCK:
            draft.blocks[slot] = _row(kept, slot, exercise_key)
        else:
            draft.targets[slot] = None
    return draft


def _row(kept: PlanDraft, slot: int, exercise_key: str) -> tuple[Block, BlockDetail]:
    """An exercise by its name; the rest of it stands in its boxes."""
    name = str(kept.boxes.get(f"{BLOCK}_{slot}_exercise", ""))
    block = Block(position=1, aim=Aim.STRENGTH, exercise=name, side=InjurySide.BOTH)
    return block, BlockDetail(position=1, exercise_key=exercise_key)


def _as_it_was(casebook: Casebook, stored: StoredPrescription, version: int) -> StoredPrescription:
    """The version that the change was begun upon: storing it is refused if there is a newer one."""
    if stored.prescription.version == version:
        return stored
    known = {one.number: one.prescription for one in list_versions(casebook, stored.programme_id)}
    before = known.get(version, stored.prescription)
    programme = replace(before.programme, adherence=stored.prescription.programme.adherence)
    return replace(stored, prescription=replace(before, programme=programme, version=version))
