"""The paragraph on a programme: made of the numbers, with what argues against it, no cause."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from casebook.domain.metrics import AsymmetryForm
from casebook.domain.programme_effects import (
    Adherence,
    Levels,
    MetricEffect,
    Overlap,
    Phase,
    PhaseName,
    ProgrammeEffect,
    Step,
    adherence_of,
    counts_of,
)
from casebook.domain.programme_words import (
    ALWAYS,
    arguments_against,
    asymmetry_answers,
    effect_sentence,
    programme_paragraph,
)
from casebook.domain.programmes import AdherenceWeek
from casebook.domain.verdicts import Call, Regression, SideMoved, What
from tests.builders import METRICS, STEPS, a_metric

BY_KEY = {metric.key: metric for metric in METRICS}
PHASES = tuple(
    Phase(name=name, visits=visits, first_day=0.0, last_day=1.0, mean=mean, sem=4.0)
    for name, visits, mean in (
        (PhaseName.BEFORE, 2, 300.0), (PhaseName.DURING, 2, 330.0), (PhaseName.AFTER, 0, None),
    )
)  # fmt: skip
UP = Step(change=40.0, low=20.0, high=60.0, call=Call.IMPROVED)
FLAT = Step(change=3.0, low=-17.0, high=23.0, call=Call.UNCHANGED)
TARGETED = MetricEffect(
    metric="test_strength", what=What.LEFT, targeted=True, phases=PHASES, change=UP
)
OTHER = replace(TARGETED, metric=STEPS, what=What.NONE, targeted=False, change=FLAT)


LACKS = (
    "too few visits to tell whether what improved was moving before the start already",
    "what is picked since it read far out reads less so the next time by itself; how much of an "
    "improvement that is can't be told here",
)


def of(*effects: MetricEffect, **changes: Any) -> ProgrammeEffect:
    made = ProgrammeEffect(
        title="Calf",
        started_on=date(2026, 3, 2),
        ended_on=date(2026, 5, 25),
        effects=effects,
        targeted=counts_of([one for one in effects if one.targeted]),
        others=counts_of([one for one in effects if not one.targeted]),
        adherence=Adherence(weeks=12, planned=36, done=30),
    )
    return replace(made, **changes)


def test_the_paragraph_tells_the_numbers_the_comparison_and_what_argues_against() -> None:
    assert programme_paragraph(of(TARGETED, OTHER), BY_KEY) == (
        "Programme 'Calf' (2 Mar 2026 to 25 May 2026): 30 of 36 planned sessions done in the 12 "
        "weeks entered. Of 1 targeted measure, 1 improved beyond error. Strength in a test "
        "(left): from 300 N before (mean of 2 visits) to 340 N, improved beyond error (change "
        "+40.0 N, 95 % interval +20.0 N to +60.0 N). Of 1 other measure of the same runner, 1 "
        "showed no change beyond error. What argues against the programme having a part "
        f"in it: {'; '.join(LACKS)}; complaints and measures also change with time and training "
        "alone. None of this says why it changed."
    )


def test_a_gap_that_closed_from_the_wrong_side_is_counted_apart_and_never_as_improved() -> None:
    hollow = replace(TARGETED, what=What.ASYMMETRY, side_moved=SideMoved.BETTER_SIDE_FELL)
    told = programme_paragraph(of(TARGETED, hollow, OTHER), BY_KEY)
    assert (
        "Of 2 targeted measures, 1 improved beyond error, 1 shrank only because the better side "
        "fell, which is no gain."
    ) in told
    assert "smaller beyond error, but only because the better side fell, which is no gain" in told
    assert told.count("improved beyond error") == 2
    alone = of(hollow, OTHER)
    assert (alone.targeted.improved, alone.targeted.hollow, alone.targeted.told) == (0, 1, 1)
    assert alone.targeted.share_improved == 0.0
    said = programme_paragraph(alone, BY_KEY)
    assert "improved" not in said
    assert "What weakens this answer: " in said
    # Without the better side falling it is an improvement like any other.
    assert of(replace(hollow, side_moved=None)).targeted.improved == 1


def test_a_side_that_was_no_target_and_fell_is_told_and_argues_against() -> None:
    fell = replace(
        TARGETED,
        what=What.RIGHT,
        targeted=False,
        change=Step(change=-50.0, low=-70.0, high=-30.0, call=Call.WORSENED),
    )
    rose = replace(fell, what=What.ASYMMETRY, change=UP)
    still = replace(fell, metric=STEPS, what=What.NONE, change=FLAT)
    told = programme_paragraph(of(TARGETED, own_sides=(fell, rose, still)), BY_KEY)
    assert "Of 1 targeted measure, 1 improved beyond error." in told
    assert (
        "No target itself: Strength in a test (right): from 300 N before (mean of 2 visits) to "
        "250 N, worsened beyond error"
    ) in told
    assert told.count("No target itself") == 2
    assert told.count("it was no target itself, and worsened") == 1


def test_without_a_target_or_a_record_of_sessions_that_is_said() -> None:
    told = programme_paragraph(
        of(OTHER, adherence=Adherence(weeks=0, planned=0, done=0), ended_on=None), BY_KEY
    )
    assert told.startswith("Programme 'Calf' (2 Mar 2026 and still running). It had no target")
    assert "it was not recorded how much of it was done" in told


def test_without_other_measures_there_is_no_comparison() -> None:
    told = programme_paragraph(of(TARGETED), BY_KEY)
    assert "of the same runner" not in told
    assert "there is no comparison" in told


def test_others_that_improved_as_often_argue_against() -> None:
    both = of(TARGETED, replace(OTHER, change=UP))
    assert "improved at least as often (1 of 1)" in arguments_against(both, BY_KEY)[0]
    fewer = of(TARGETED, replace(OTHER, change=UP), OTHER)
    assert arguments_against(fewer, BY_KEY) == (*LACKS, ALWAYS)
    untold = of(replace(TARGETED, change=None), replace(OTHER, change=UP))
    assert arguments_against(untold, BY_KEY) == (ALWAYS,)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"side_moved": SideMoved.BETTER_SIDE_FELL}, "of the better side falling"),
        (
            {"side_moved": SideMoved.BETTER_SIDE_FELL, "change": FLAT},
            "(left): the better side fell",
        ),
        ({"phases": (replace(PHASES[0], visits=1), *PHASES[1:])}, "rests on one visit before"),
        ({"kept": FLAT}, "not seen any more after the programme's end"),
        (
            {
                "levels": Levels(
                    slope_before=Step(change=2.0, low=1.0, high=3.0), level=UP, slope=UP
                )
            },
            "already moving before the start (+2.0 N a week)",
        ),
    ],
)
def test_each_weakness_of_a_measure_argues_against(changes: dict[str, Any], words: str) -> None:
    told = arguments_against(of(replace(TARGETED, **changes), OTHER), BY_KEY)
    assert any(words in argument for argument in told)
    untargeted = replace(TARGETED, targeted=False, **changes)
    assert not any(words in one for one in arguments_against(of(untargeted), BY_KEY))


@pytest.mark.parametrize(
    ("beyond", "words"), [(True, "by more than that"), (False, "by no more, beyond error, than")]
)
def test_what_is_expected_by_itself_is_told_beside_an_improvement(beyond: bool, words: str) -> None:
    regression = Regression(expected=12.0, icc=0.8, clinic_mean=360.0, runners=20)
    effect = replace(TARGETED, regression=regression, beyond_regression=beyond)
    (told, *more) = arguments_against(of(effect, OTHER), BY_KEY)
    assert "a change of +12.0 N is expected by itself" in told
    assert words in told
    assert more == [LACKS[0], ALWAYS]


def test_what_is_expected_to_go_the_other_way_does_not_argue_against() -> None:
    # A runner who was on the good side of the clinic's others already, and improved further.
    regression = Regression(expected=-12.0, icc=0.8, clinic_mean=200.0, runners=20)
    effect = replace(TARGETED, regression=regression, beyond_regression=True)
    assert arguments_against(of(effect, OTHER), BY_KEY) == (LACKS[0], ALWAYS)


def test_of_many_targeted_measures_some_improve_by_chance_and_that_is_said() -> None:
    four = of(*[TARGETED] * 4, OTHER)
    assert any("of 4 measures about 0.1 would" in one for one in arguments_against(four, BY_KEY))
    three = of(*[TARGETED] * 3, OTHER)
    assert not any("though nothing changed" in one for one in arguments_against(three, BY_KEY))


def test_a_gap_that_closed_while_both_sides_became_worse_is_no_gain() -> None:
    fell = replace(TARGETED, what=What.ASYMMETRY, side_moved=SideMoved.BOTH, both_fell=True)
    told = programme_paragraph(of(fell, OTHER), BY_KEY)
    assert "1 shrank only because the better side fell, which is no gain" in told
    assert "improved" not in told


def test_where_neither_way_is_better_it_is_told_against_what_was_aimed_at() -> None:
    aimed = replace(TARGETED, aimed=True)
    assert "moved the way that was aimed at, beyond error (" in effect_sentence(aimed, a_metric())
    against = replace(aimed, change=replace(UP, call=Call.WORSENED))
    assert "moved against the way that was aimed at" in effect_sentence(against, a_metric())
    flat = replace(aimed, change=FLAT)
    assert "no change beyond error" in effect_sentence(flat, a_metric())


def test_a_grade_has_no_interval_and_tells_the_step_within_which_nothing_changed() -> None:
    step = Step(change=1.0, low=None, high=None, call=Call.UNCHANGED, within=1.0)
    grade = replace(TARGETED, change=step)
    told = effect_sentence(grade, a_metric())
    assert told.endswith("no change beyond error (change +1.0 N; changes up to 1.0 N are within "
                         "error).")  # fmt: skip
    assert (
        "changes up to 1.0 N could not have been seen"
        in arguments_against(of(grade, OTHER), BY_KEY)[0]
    )
    bare = replace(TARGETED, change=replace(step, within=None))
    assert not any("been seen" in one for one in arguments_against(of(bare, OTHER), BY_KEY))


def test_without_an_improvement_what_weakens_that_answer_is_told() -> None:
    regression = Regression(expected=12.0, icc=0.8, clinic_mean=360.0, runners=20)
    flat = of(replace(TARGETED, change=FLAT, regression=regression), OTHER)
    assert arguments_against(flat, BY_KEY) == (
        "Strength in a test (left): changes up to 20.0 N could not have been seen",
        ALWAYS,
    )
    assert "What weakens this answer: " in programme_paragraph(flat, BY_KEY)


def test_each_weakness_of_the_programme_argues_against() -> None:
    weak = of(
        TARGETED, OTHER, adherence=Adherence(weeks=12, planned=36, done=9),
        overlapping=("Hip",), left_out=1,
    )  # fmt: skip
    assert arguments_against(weak, BY_KEY) == (
        "another programme ran in the same weeks ('Hip'), and what changed beside each of them "
        "can't be told apart",
        *LACKS,
        "only 25 % of the planned sessions were done",
        "1 visit left out as not like for like",
        ALWAYS,
    )
    many = arguments_against(replace(weak, overlapping=("Hip", "Cues")), BY_KEY)
    assert many[0].startswith("2 other programmes ran in the same weeks ('Hip', 'Cues'), and")


def test_weeks_of_which_nothing_was_recorded_weaken_what_was_recorded_of_the_others() -> None:
    some = of(TARGETED, OTHER, adherence=Adherence(weeks=2, planned=6, done=6))
    lacking = "how much of it was done in 10 weeks of its 12 was not recorded"
    assert lacking in arguments_against(some, BY_KEY)
    running = replace(some, ended_on=None)
    assert running.whole_weeks is None
    assert lacking not in arguments_against(running, BY_KEY)


def test_level_and_slope_stand_where_they_were_estimated_and_overlap_else() -> None:
    levels = Levels(slope_before=FLAT, level=UP, slope=FLAT)
    told = effect_sentence(replace(TARGETED, levels=levels), a_metric())
    assert "the level changes by +40.0 N (beyond error) and the slope by +3.0 N a week" in told
    for higher, words in ((0.9, "higher than one before in 90 %"), (0.1, "lower than one before")):
        overlap = Overlap(higher=higher, low=0.5, high=1.0)
        assert words in effect_sentence(replace(TARGETED, overlap=overlap), a_metric())


def test_an_asymmetry_names_its_larger_side_and_the_side_that_moved() -> None:
    shrunk = replace(
        TARGETED,
        what=What.ASYMMETRY,
        phases=(replace(PHASES[0], mean=-12.0, visits=1), *PHASES[1:]),
        change=Step(change=9.0, low=4.0, high=14.0, call=Call.IMPROVED),
        side_moved=SideMoved.WORSE_SIDE_GAINED,
        kept=UP,
    )
    assert effect_sentence(shrunk, a_metric(asymmetry_form=AsymmetryForm.PERCENT)) == (
        "Strength in a test (asymmetry): from 12.0% (left larger) before (1 visit) to 3.0% (left "
        "larger), improved beyond error (change +9.0%, 95 % interval +4.0% to +14.0%); the worse "
        "side gained; at the last visit after its end, against before: improved beyond error."
    )
    swung = replace(
        shrunk, change=Step(change=30.0, low=20.0, high=40.0, call=Call.CANNOT_SAY), kept=None
    )
    assert (
        "to 18.0% (right larger), can't say: it swung over to the other side, which is not the "
        "same as shrinking (change +30.0%"
    ) in effect_sentence(swung, a_metric(asymmetry_form=AsymmetryForm.PERCENT))


def test_whether_a_targeted_asymmetry_is_smaller_is_answered_in_one_sentence() -> None:
    before = replace(PHASES[0], mean=-30.0)
    gap = replace(
        TARGETED,
        what=What.ASYMMETRY,
        phases=(before, *PHASES[1:]),
        change=replace(UP, change=28.0),
        side_moved=SideMoved.WORSE_SIDE_GAINED,
    )
    assert asymmetry_answers(of(TARGETED, gap, OTHER), BY_KEY) == (
        "Strength in a test: improved beyond error, from 30.0% (left larger) to 2.0% (left "
        "larger); the worse side gained.",
    )
    (hollow,) = asymmetry_answers(of(replace(gap, side_moved=SideMoved.BETTER_SIDE_FELL)), BY_KEY)
    assert "smaller beyond error, but only because the better side fell, which is no gain" in hollow
    assert hollow.count("the better side fell") == 1
    unmeasured = replace(gap, change=None, side_moved=None)
    assert asymmetry_answers(of(unmeasured), BY_KEY) == ("Strength in a test: not measured.",)
    # One that was no target is no answer to the question.
    assert asymmetry_answers(of(TARGETED, replace(gap, targeted=False)), BY_KEY) == ()


def test_what_was_not_measured_or_has_no_error_is_told_so() -> None:
    never = replace(TARGETED, phases=(replace(PHASES[0], mean=None), *PHASES[1:]), change=None)
    assert effect_sentence(never, a_metric()).endswith("not measured before the start.")
    since = replace(TARGETED, change=None)
    assert effect_sentence(since, a_metric()).endswith("not measured since the start.")
    unknown = replace(TARGETED, change=Step(change=5.0, low=None, high=None))
    assert "can't say (change +5.0 N, error not known)" in effect_sentence(unknown, a_metric())
    assert "error not known" in programme_paragraph(of(unknown, OTHER), BY_KEY)


def test_no_sentence_names_a_cause() -> None:
    worst = replace(
        TARGETED, side_moved=SideMoved.BETTER_SIDE_FELL, kept=FLAT,
        regression=Regression(expected=12.0, icc=0.8, clinic_mean=360.0, runners=20),
    )  # fmt: skip
    told = programme_paragraph(of(worst, replace(OTHER, change=UP), pain_weeks=1), BY_KEY)
    assert "Pain was beyond the usual limits in 1 week." in told
    assert not re.search(r"\bcaus|\bdue to|thanks to|\bprove|diagnos|effective", told)


def test_sessions_are_added_up_over_the_weeks_entered() -> None:
    week = AdherenceWeek(week_start=date(2026, 3, 2), sessions_planned=3, sessions_done=2)
    assert adherence_of([week, week]) == Adherence(weeks=2, planned=6, done=4)
    assert Adherence(weeks=1, planned=0, done=0).share is None
