"""A summary says everything in words, spells sides out, and never tells a size as certain."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from casebook.domain.metrics import AsymmetryForm, Condition, ErrorOrigin
from casebook.domain.programmes import Aim, Block, Target, TargetDirection, TargetOn
from casebook.domain.sides import InjurySide
from casebook.domain.summaries import (
    Drawing,
    Facts,
    Grid,
    Line,
    Panel,
    Points,
    Reader,
    Section,
    Summary,
    Text,
)
from casebook.domain.summary_words import (
    CAUTION_FOR_RUNNER,
    HOW_SURE_FOR_RUNNER,
    PLAIN_FLAGS,
    PLAIN_REASONS,
    block_words,
    by_chance_words,
    change_sentence,
    mdc_words,
    shortened,
    size_words,
    target_sentence,
    verdict_words,
)
from casebook.domain.target_outcomes import TargetCall, TargetOutcome
from casebook.domain.verdicts import Call, FlagKind, Reason, SideMoved, Verdict, What
from tests.builders import a_metric

METRIC = a_metric()
DAY = date(2026, 3, 9)


def a_verdict(**changes: object) -> Verdict:
    verdict = Verdict(
        metric=METRIC.key,
        what=What.LEFT,
        baseline=205.0,
        baseline_visits=2,
        latest=317.0,
        latest_date=DAY,
        change=112.0,
        se_change=13.9,
        mdc95=27.3,
        verdict=Call.IMPROVED,
        reason=None,
        which_side_moved=None,
        error_origin=ErrorOrigin.OWN,
        error_source="own",
        like_for_like=(),
        not_recorded=(),
        p_better=0.99,
        asymmetry_form=AsymmetryForm.PERCENT,
    )
    return replace(verdict, **changes)  # type: ignore[arg-type]


ASYMMETRY = a_verdict(what=What.ASYMMETRY, baseline=43.5, latest=-0.21, change=-43.7, mdc95=13.2)


def test_a_change_is_told_to_the_runner_with_what_measuring_alone_can_make() -> None:
    assert change_sentence(a_verdict(), METRIC) == (
        "Strength in a test, left side: from 205 N at the start to 317 N on 9 Mar 2026. "
        "Better, by more than measuring alone usually makes it (up to 27.3 N)."
    )


def test_a_difference_always_says_which_side_is_the_larger() -> None:
    assert change_sentence(ASYMMETRY, METRIC).startswith(
        "Strength in a test, difference between left and right: from 43.5% (right larger) at the "
        "start to 0.21% (left larger) on 9 Mar 2026."
    )
    assert size_words(-0.21, ASYMMETRY, METRIC, Reader.REFERRER) == "−0.21% (left larger)"
    assert size_words(None, ASYMMETRY, METRIC, Reader.REFERRER) == "–"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"verdict": Call.WORSENED}, "Worse, by more than measuring alone usually makes it"),
        ({"verdict": Call.UNCHANGED}, "No change that stands out from what measuring alone"),
        ({"verdict": Call.WORSENED, "mdc95": None}, "usually makes it."),
        (
            {"verdict": Call.CANNOT_SAY, "reason": Reason.NO_BETTER_DIRECTION},
            "that is neither better nor worse.",
        ),
        (
            {
                "verdict": Call.CANNOT_SAY,
                "reason": Reason.NOT_LIKE_FOR_LIKE,
                "like_for_like": (Condition.SPEED,),
            },
            "Whether it changed can't be said: the visits were not alike (different: speed).",
        ),
        (
            {"verdict": Call.CANNOT_SAY, "reason": Reason.NO_ERROR_FIGURE},
            "Whether it changed can't be said: how exactly it can be measured is not known yet.",
        ),
        ({"verdict": Call.CANNOT_SAY}, "Whether it changed can't be said."),
        ({"what": What.NONE}, "Strength in a test: from 205 N"),
        (
            {"verdict": Call.CANNOT_SAY, "reason": Reason.MISSING, "latest": None},
            "left side: 205 N at the start. Whether it changed can't be said: it was not measured",
        ),
    ],
)
def test_every_verdict_has_its_plain_words(changes: dict[str, object], said: str) -> None:
    assert said in change_sentence(a_verdict(**changes), METRIC)


def test_a_difference_that_shrank_because_the_better_side_fell_is_no_improvement() -> None:
    hollow = replace(ASYMMETRY, which_side_moved=SideMoved.BETTER_SIDE_FELL)
    assert change_sentence(hollow, METRIC).endswith(
        "Smaller, but only because the better side fell: no improvement."
    )
    assert "improved" not in verdict_words(hollow)


def test_the_referrer_reads_the_verdict_with_its_reason_and_which_side_moved() -> None:
    assert verdict_words(a_verdict()) == "improved beyond error"
    unlike = a_verdict(
        verdict=Call.CANNOT_SAY,
        reason=Reason.NOT_LIKE_FOR_LIKE,
        like_for_like=(Condition.FOOTWEAR,),
    )
    assert verdict_words(unlike) == (
        "can't say: the visits were not like for like (different: footwear)"
    )
    gained = replace(ASYMMETRY, which_side_moved=SideMoved.WORSE_SIDE_GAINED)
    assert verdict_words(gained) == "improved beyond error; the worse side gained"


def test_an_error_that_is_a_lower_bound_is_told_as_one() -> None:
    within = a_verdict(error_origin=ErrorOrigin.WITHIN_SESSION)
    assert mdc_words(within, METRIC) == "at least 27.3 N"
    assert mdc_words(replace(within, mdc95=None), METRIC) == "–"


def test_how_many_would_look_changed_by_chance_is_told_to_both() -> None:
    assert "about 2.4 would look changed by chance" in by_chance_words(48, Reader.RUNNER)
    assert "about 5 %, that is 2.4," in by_chance_words(48, Reader.REFERRER)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "step-up, left side: 3 sets of 8, load 10 kg, hold 2 s, 3 a week"),
        ({"sets": 1, "repetitions": None}, "step-up, left side: 1 set, load"),
        ({"sets": None}, "step-up, left side: 8 repetitions, load"),
        ({"side": InjurySide.BOTH}, "step-up, both sides:"),
        (
            {
                "side": InjurySide.NONE,
                "sets": None,
                "repetitions": None,
                "load": " ",
                "hold_s": None,
                "sessions_per_week": None,
            },
            "step-up",
        ),
    ],
)
def test_an_exercise_is_told_with_its_side_and_only_the_dose_that_was_noted(
    changes: dict[str, object], said: str
) -> None:
    block = Block(
        position=1,
        aim=Aim.STRENGTH,
        exercise="step-up",
        side=InjurySide.LEFT,
        sets=3,
        repetitions=8,
        load="10 kg",
        hold_s=2.0,
        sessions_per_week=3.0,
    )
    told = block_words(replace(block, **changes), "step-up")  # type: ignore[arg-type]
    assert told.startswith(said)
    assert "None" not in told


@pytest.mark.parametrize(
    ("call", "why", "said"),
    [
        (TargetCall.MET, "", "met."),
        (TargetCall.CANNOT_SAY, "no visit yet", "can't be said, no visit yet."),
        (TargetCall.CANNOT_SAY, "", "can't be said."),
    ],
)
def test_a_target_is_told_to_the_runner_with_side_and_date(
    call: TargetCall, why: str, said: str
) -> None:
    target = Target(
        metric=METRIC.key,
        what=TargetOn.LEFT,
        direction=TargetDirection.UP,
        amount=20.0,
        due_on=DAY,
    )
    outcome = TargetOutcome(target=target, call=call, on_date=None, moved=None, error=None, why=why)
    assert target_sentence(outcome, METRIC) == (
        f"Strength in a test, left side, 20.0 N up by 9 Mar 2026: {said}"
    )


def test_a_target_met_by_the_wrong_side_is_told_to_the_runner_as_no_gain() -> None:
    target = Target(
        metric=METRIC.key,
        what=TargetOn.ASYMMETRY,
        direction=TargetDirection.TOWARDS_ZERO,
        amount=5.0,
        due_on=DAY,
    )
    outcome = TargetOutcome(
        target=target, call=TargetCall.MET, on_date=DAY, moved=6.0, error=2.0, hollow=True
    )
    assert target_sentence(outcome, METRIC).endswith(
        "met, but only because the better side fell, which is no gain."
    )
    late = replace(outcome, hollow=False, on_date=date(2027, 3, 9))
    assert target_sentence(late, METRIC).endswith("by 9 Mar 2026: met (visit of 9 Mar 2027).")


def test_a_text_is_cut_only_where_it_is_too_long_and_says_so() -> None:
    assert shortened("one  two", 10) == "one two"
    assert shortened("x" * 12, 10) == "xxxxxxxxxx … (shortened)"


def test_every_kind_of_flag_and_reason_has_plain_words_that_name_no_cause() -> None:
    assert set(PLAIN_FLAGS) == set(FlagKind)
    assert set(PLAIN_REASONS) == set(Reason) - {Reason.NO_BETTER_DIRECTION}
    told = [*PLAIN_FLAGS.values(), *PLAIN_REASONS.values(), HOW_SURE_FOR_RUNNER]
    assert not re.search(r"\b(caus|diagnos|injur|prove[sdn]?\b)", " ".join(told))
    assert "no diagnosis" in CAUTION_FOR_RUNNER
    assert "It does not tell why" in CAUTION_FOR_RUNNER


def test_a_summary_says_all_that_its_parts_say_in_order() -> None:
    line = Line(name="left", days=(DAY,), values=(1.0,), reference=(True,), unlike=(False,))
    drawing = Drawing(
        title="Strength",
        panels=(Panel(title="Left (N)", lines=(line,)),),
        phases=(),
        told="1 N on 9 March",
    )
    summary = Summary(
        reader=Reader.RUNNER,
        title="Summary of T-001",
        made="for the runner",
        sections=(
            Section(
                heading="Who",
                parts=(
                    Facts(rows=(("Runner", "T-001"),)),
                    Text(words="a text"),
                    Points(items=("one", "two")),
                ),
            ),
            Section(
                heading="What",
                parts=(Grid(columns=("Side",), rows=(("left",), ("right",))), drawing),
            ),
        ),
        foot="T-001",
    )
    assert summary.texts() == (
        "Summary of T-001", "for the runner",
        "Who", "Runner", "T-001", "a text", "one", "two",
        "What", "Side", "left", "right", "Strength", "Left (N)", "1 N on 9 March",
    )  # fmt: skip
