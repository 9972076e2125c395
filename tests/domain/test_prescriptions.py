"""A prescription in full: what it takes, how it is copied, what is empty, what changed."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.domain.prescriptions import (
    LONGEST_TITLE,
    SUPERVISIONS,
    BlockDetail,
    Delivery,
    Mode,
    Prescription,
    ProgrammeDetail,
    Supervision,
    Tailoring,
    Tempo,
    copied,
    numbered_title,
    tempo_of,
)
from casebook.domain.programme_versions import ChangeOf, changes_between, dose_changed
from casebook.domain.programmes import (
    AdherenceWeek,
    Aim,
    Block,
    Programme,
    Target,
    TargetDirection,
    TargetOn,
)
from casebook.domain.reporting_items import (
    FIELD_WORDS,
    ITEMS,
    STANDARDS,
    Standard,
    coverage_words,
    item_states,
    still_empty,
)
from casebook.domain.sides import InjurySide

RAISES = Block(
    position=1, aim=Aim.STRENGTH, exercise="Heel raises", side=InjurySide.LEFT, sets=3,
    repetitions=12, sessions_per_week=3,
)  # fmt: skip
HOLD = Block(position=2, aim=Aim.MOTOR_CONTROL, exercise="Short foot")
TARGET = Target(
    metric="heel_raise_count", what=TargetOn.LEFT, direction=TargetDirection.UP, amount=8.0,
    due_on=date(2026, 6, 1),
)  # fmt: skip
PROGRAMME = Programme(
    runner="T-001", title="Calf", started_on=date(2026, 3, 2), blocks=(RAISES, HOLD),
    targets=(TARGET,),
)  # fmt: skip
DETAIL = BlockDetail(
    position=1, instructions="Rise and lower slowly.", tempo=tempo_of("3-1-1"), rest_s=90.0,
    progress_when="three sessions without pain", progress_how="add 2 kg", equipment="a step",
    ease_when="pain the morning after", supervision=Supervision.PARTLY,
)  # fmt: skip
PLAIN = Prescription(programme=PROGRAMME, block_details=(DETAIL,))
WEEK = AdherenceWeek(week_start=date(2026, 3, 2), sessions_planned=3, sessions_done=3)
FULL = Prescription(
    programme=replace(
        PROGRAMME, rationale="weak calf", blocks=(RAISES,), ended_on=date(2026, 5, 25),
        adherence=(WEEK,),
    ),
    detail=ProgrammeDetail(
        provider="physiotherapist", setting="clinic and home", mode=Mode.INDIVIDUAL,
        delivery=Delivery.BOTH, materials="sheet", home_part="all", other_parts="advice",
        starting_level="most repetitions, less three", tailored=Tailoring.TAILORED,
        tailoring="load", motivation="diary", adverse_events="none", fidelity_plan="watched",
    ),
    block_details=(DETAIL,),
    changes=("sets from 2 to 3",),
)  # fmt: skip


def with_block(prescription: Prescription, **changes: Any) -> Prescription:
    first, *others = prescription.programme.blocks
    blocks = (replace(first, **changes), *others)
    return replace(prescription, programme=replace(prescription.programme, blocks=blocks))


@given(st.lists(st.integers(0, 60), min_size=3, max_size=4).filter(any))
def test_a_tempo_is_read_back_as_it_was_written(parts: list[int]) -> None:
    read = tempo_of("-".join(map(str, parts)))
    assert read is not None
    assert tempo_of(str(read)) == read
    assert read.repetition_s == sum(parts)


@pytest.mark.parametrize("text", ["slow", "3-1", "1-2-3-4-5", "3-x-1"])
def test_a_tempo_that_is_no_tempo_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputRefused, match="3-0-1"):
        tempo_of(text)


@pytest.mark.parametrize("parts", [(0, 0, 0), (61, 0, 1), (float("nan"), 0, 1)])
def test_a_tempo_takes_some_time_and_not_too_much(parts: tuple[float, ...]) -> None:
    with pytest.raises(InputRefused, match="expected"):
        Tempo(lower_s=parts[0], hold_s=parts[1], lift_s=parts[2])


def test_a_tempo_in_words_leaves_out_what_takes_no_time() -> None:
    assert Tempo(lower_s=3, hold_s=0, lift_s=1).words == "3 s down, 1 s up"


def test_details_out_of_range_are_refused() -> None:
    with pytest.raises(InputRefused, match="position is 0"):
        BlockDetail(position=0)
    with pytest.raises(InputRefused, match="rest_s is -1"):
        BlockDetail(position=1, rest_s=-1.0)
    with pytest.raises(InputRefused, match="planned_weeks is 0"):
        ProgrammeDetail(planned_weeks=0)
    assert ProgrammeDetail(planned_weeks=12).planned_weeks == 12


def test_details_of_a_block_that_does_not_exist_or_has_some_are_refused_together() -> None:
    with pytest.raises(InputRefused) as refused:
        replace(PLAIN, block_details=(DETAIL, DETAIL, BlockDetail(position=7)))
    assert "block 1 of 'Calf', which has details already" in str(refused.value)
    assert "block 7 of 'Calf', which does not exist" in str(refused.value)


def test_a_copy_starts_anew_with_its_dates_as_far_apart_as_before() -> None:
    new = copied(FULL, started_on=date(2026, 9, 7))
    assert new.programme.ended_on == date(2026, 11, 30)
    assert new.programme.targets[0].due_on - new.programme.started_on == (
        TARGET.due_on - PROGRAMME.started_on
    )
    assert (new.programme.adherence, new.changes, new.version) == ((), (), 1)
    assert new.detail.adverse_events == ""
    assert new.block_details == FULL.block_details
    assert copied(PLAIN, started_on=date(2026, 9, 7)).programme.ended_on is None


def test_cert_has_sixteen_items_on_nineteen_lines_and_tidier_twelve() -> None:
    cert = [item.number for item in ITEMS if item.standard is Standard.CERT]
    tidier = [item.number for item in ITEMS if item.standard is Standard.TIDIER]
    assert len(cert) == 19
    assert {number.rstrip("ab") for number in cert} == {str(n) for n in range(1, 17)}
    assert tidier == [str(n) for n in range(1, 13)]
    assert set(STANDARDS) == set(Standard)


def test_every_field_that_answers_an_item_exists_and_has_words() -> None:
    named = {name for item in ITEMS for any_of in item.fields for name in any_of}
    ours = {"changes"} | {
        f"{owner}.{one.name}"
        for owner, kind in (
            ("block", Block), ("block_detail", BlockDetail), ("detail", ProgrammeDetail),
            ("programme", Programme),
        )
        for one in fields(kind)
    }  # fmt: skip
    assert named <= ours
    assert named == set(FIELD_WORDS)


def test_a_programme_with_everything_leaves_no_item_empty() -> None:
    assert still_empty(FULL) == ()
    assert coverage_words(FULL) == (
        "CERT: 19 of 19 lines filled in; TIDieR: 12 of 12 lines filled in."
    )


def test_what_is_empty_is_told_with_the_block_that_lacks_it() -> None:
    dose = next(s for s in item_states(PLAIN, Standard.CERT) if s.item.number == "13")
    assert dose.lacking == (
        "sets (block 2)",
        "repetitions or hold (block 2)",
        "sessions a week (block 2)",
        "planned weeks or end date",
    )
    assert not dose.filled


def test_a_hold_is_a_dose_as_repetitions_are_and_blanks_are_empty() -> None:
    held = with_block(FULL, repetitions=None, hold_s=30.0)
    assert still_empty(held) == ()
    blank = replace(FULL, detail=replace(FULL.detail, setting="  "))
    assert {state.item.number for state in still_empty(blank)} == {"12", "7"}


def test_a_programme_without_blocks_has_no_exercise_described() -> None:
    empty = Prescription(programme=replace(PROGRAMME, blocks=()))
    described = next(s for s in item_states(empty, Standard.TIDIER) if s.item.number == "4")
    assert described.lacking == ("an exercise block",)


def test_the_same_version_has_no_changes() -> None:
    assert changes_between(PLAIN, replace(PLAIN, version=2)) == ()
    assert not dose_changed(())


def test_a_changed_dose_is_told_from_what_to_what_and_marked() -> None:
    later = with_block(PLAIN, sets=4, load="12 kg")
    later = replace(later, block_details=(replace(DETAIL, tempo=None, rest_s=120.0),))
    changes = changes_between(PLAIN, later)
    assert [change.words for change in changes] == [
        "Heel raises (left): sets from 3 to 4.",
        "Heel raises (left): load from nothing to 12 kg.",
        "Heel raises (left): tempo from 3-1-1-0 to nothing.",
        "Heel raises (left): rest between sets from 90 s to 120 s.",
    ]
    assert dose_changed(changes)


def test_a_changed_rule_is_no_changed_dose() -> None:
    later = replace(PLAIN, block_details=(replace(DETAIL, ease_when="any pain"),))
    later = with_block(later, aim=Aim.LOAD)
    changes = changes_between(PLAIN, later)
    assert [change.of for change in changes] == [ChangeOf.RULE, ChangeOf.RULE]
    assert not dose_changed(changes)


def test_a_block_for_the_other_side_is_another_block() -> None:
    words = [c.words for c in changes_between(PLAIN, with_block(PLAIN, side=InjurySide.RIGHT))]
    assert words == [
        "Heel raises (right): added, sets 3, repetitions 12, sessions a week 3, tempo 3-1-1-0, "
        "rest between sets 90 s.",
        "Heel raises (left): taken out.",
    ]
    bare = Prescription(programme=replace(PROGRAMME, blocks=()))
    only = replace(PROGRAMME, blocks=(HOLD,))
    assert changes_between(bare, Prescription(programme=only))[0].words == (
        "Short foot (both sides): added."
    )


def test_targets_and_the_programme_itself_are_compared_too() -> None:
    other = replace(TARGET, metric="calf_strength")
    later = replace(
        PLAIN,
        programme=replace(
            PROGRAMME, targets=(replace(TARGET, amount=10.0), other), ended_on=date(2026, 6, 1)
        ),
        detail=ProgrammeDetail(setting="home", delivery=Delivery.IN_PERSON),
    )
    assert [change.words for change in changes_between(PLAIN, later)] == [
        "Target on heel raise count (left): from up by 8 until 1 Jun 2026 to up by 10 until "
        "1 Jun 2026.",
        "Target on calf strength (left): added.",
        "Programme: end from nothing to 1 Jun 2026.",
        "Programme: setting from nothing to home.",
        "Programme: delivery from nothing to in person.",
    ]
    assert "taken out" in changes_between(later, PLAIN)[1].words


def test_kinds_of_supervision_have_words() -> None:
    assert set(SUPERVISIONS) == set(Supervision)


def test_a_copys_title_is_taken_by_no_other_and_never_too_long() -> None:
    assert numbered_title("Hips", {"Hips"}) == "Hips (2)"
    assert numbered_title("Hips (2)", {"Hips", "Hips (2)", "Hips (3)"}) == "Hips (4)"
    long = "x" * LONGEST_TITLE
    assert numbered_title(long, {long}) == f"{'x' * (LONGEST_TITLE - 4)} (2)"
