"""What was typed of a visit, told field by field."""

from __future__ import annotations

from casebook.domain.sides import Side
from casebook.domain.visit_drafts import TypedField, cell_name, head_name, typed_fields


def test_only_what_was_typed_of_the_visit_is_told_its_head_first() -> None:
    content = {
        "runner": "R-1",
        cell_name("steps:per", Side.LEFT): "4.1 n=7",
        cell_name("empty", Side.NONE): "",
        head_name("visited_on"): "9 Mar 2026",
        head_name("no_review"): False,
        head_name("note"): None,
        head_name("set"): "short",
        head_name("session_2026-03-09"): 2,
        "sure": [],
    }
    assert typed_fields(content) == (
        TypedField(name="visited_on", side=None, typed="9 Mar 2026"),
        TypedField(name="no_review", side=None, typed="no"),
        TypedField(name="steps:per", side=Side.LEFT, typed="4.1 n=7"),
    )
    assert typed_fields({head_name("no_review"): True})[0].typed == "yes"
