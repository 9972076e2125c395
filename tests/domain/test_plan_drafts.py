"""What was typed of a programme or hypothesis and not stored, kept and told field by field."""

from __future__ import annotations

import json

import pytest

from casebook.domain.plan_drafts import (
    DraftKind,
    PlanDraft,
    kept_form,
    kind_of,
    plan_fields,
    read_plan,
)
from casebook.domain.programmes import Aim

DRAFT = PlanDraft(
    kind=DraftKind.PROGRAMME,
    runner="R-1",
    programme_id=3,
    version=2,
    complaint=7,
    rows=(("block", 4, "bridge"), ("block", 1, ""), ("target", 2, "")),
    next_row=5,
    boxes={
        "target_2_what_3": "right",
        "block_1_sets": "3",
        "block_4_aim": Aim.LOAD,
        "title": "Hips",
        "injury": 7,
        "kind": None,
    },
)


def test_a_draft_comes_back_from_what_is_kept_as_plain_text_and_numbers() -> None:
    again = read_plan(json.loads(json.dumps(DRAFT.content)))
    assert again.boxes == {**DRAFT.boxes, "block_4_aim": "load", "kind": ""}
    for name in ("kind", "runner", "programme_id", "number", "version", "complaint", "rows"):
        assert getattr(again, name) == getattr(DRAFT, name)
    assert again.next_row == 5
    assert again.content == DRAFT.content


def test_every_field_is_told_with_the_row_that_it_is_of_in_the_order_of_the_form() -> None:
    assert plan_fields(DRAFT) == (
        ("", "title", "Hips"),
        ("", "injury", "7"),
        ("exercise 1", "aim", "load"),
        ("exercise 2", "sets", "3"),
        ("target 1", "what", "right"),
    )


@pytest.mark.parametrize(("typed", "kept"), [(True, True), (2.5, 2.5), (None, ""), ("x", "x")])
def test_what_stands_in_a_box_is_kept_as_json_has_it(typed: object, kept: object) -> None:
    assert kept_form(typed) == kept


def test_drafts_of_before_there_were_kinds_are_of_visits() -> None:
    assert kind_of({"runner": "R-1", "cell:cadence:none": "172"}) is DraftKind.VISIT
