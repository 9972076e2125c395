"""The plain words: complete, side spelled out, and never a cause or a diagnosis."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from enum import StrEnum

import pytest

from casebook.domain import wording
from casebook.domain.metrics import AsymmetryForm, Condition, ErrorOrigin
from casebook.domain.sides import InjurySide
from casebook.domain.verdicts import Call, Flag, FlagKind, Reason, SideMoved, Verdict, What
from casebook.domain.visits import MissingReason, VisitKind
from tests.builders import a_metric, an_injury

VERDICT = Verdict(
    metric="test_strength",
    what=What.ASYMMETRY,
    baseline=8.0,
    baseline_visits=2,
    latest=3.0,
    latest_date=date(2026, 5, 4),
    change=-5.0,
    se_change=1.0,
    mdc95=1.96,
    verdict=Call.IMPROVED,
    reason=None,
    which_side_moved=SideMoved.WORSE_SIDE_GAINED,
    error_origin=ErrorOrigin.PUBLISHED,
    error_source="somebody 2020",
    like_for_like=(),
    not_recorded=(),
    p_better=0.99,
    asymmetry_form=AsymmetryForm.PERCENT,
)


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (wording.CALLS, Call),
        (wording.REASONS, Reason),
        (wording.SIDES_MOVED, SideMoved),
        (wording.ORIGINS, ErrorOrigin),
        (wording.WHATS, What),
        (wording.CONDITIONS, Condition),
        (wording.VISIT_KINDS, VisitKind),
        (wording.MISSING_REASONS, MissingReason),
        (wording.FLAG_KINDS, FlagKind),
    ],
)
def test_everything_that_can_be_said_has_words(
    words: dict[StrEnum, str], kind: type[StrEnum]
) -> None:
    assert set(words) == set(kind)
    assert all(text.strip() for text in words.values())


def test_no_words_speak_of_a_cause() -> None:
    everything = " ".join(
        text
        for words in (wording.CALLS, wording.REASONS, wording.SIDES_MOVED, wording.FLAG_KINDS)
        for text in words.values()
    )
    # "Because the better side fell" is arithmetic on the two sides and may stand.
    assert not re.search(r"\b(caus\w*|diagnos\w*|due to|prove[sn]?|leads? to)\b", everything)


def test_the_caution_says_that_judgement_comes_first_and_when_to_refer() -> None:
    for words in ("never replace", "no diagnosis", "pain at night", "consider referral", "local"):
        assert words in wording.CAUTION


@pytest.mark.parametrize(
    ("number", "unit", "words"),
    [
        (None, "°", "–"),
        (0.0, "°", "0°"),
        (-0.001, "cm", "0.00 cm"),
        (-3.04, "°", "−3.0°"),
        (1234.4, "N", "1234 N"),
        (0.25, "%", "0.25%"),
    ],
)
def test_numbers_have_the_digits_one_can_read(number: float | None, unit: str, words: str) -> None:
    assert wording.number_words(number, unit) == words


def test_a_signed_number_shows_its_sign_but_zero_has_none() -> None:
    assert wording.number_words(2.0, "cm", signed=True) == "+2.0 cm"
    assert wording.number_words(0.0, "cm", signed=True) == "0 cm"


@pytest.mark.parametrize(
    ("unit", "words"),
    [("deg", "°"), ("{steps}/min", "steps/min"), ("N/kg", "N/kg"), ("N.m", "N·m"), ("1", "")],
)
def test_unit_codes_are_written_as_people_write_them(unit: str, words: str) -> None:
    assert wording.unit_words(unit) == words


def test_the_larger_side_is_spelled_out() -> None:
    assert wording.side_words(3.0) == "right larger"
    assert wording.side_words(-3.0) == "left larger"
    assert wording.side_words(0.0) == wording.side_words(None) == "sides equal"


def test_a_verdict_that_cannot_be_given_says_why() -> None:
    assert wording.call_words(VERDICT) == "improved beyond error"
    withheld = replace(VERDICT, verdict=Call.CANNOT_SAY, reason=Reason.NO_ERROR_FIGURE)
    assert wording.call_words(withheld) == "can't say: no error figure: measure your own"


def test_what_differed_and_what_was_not_written_down_are_told_apart() -> None:
    assert wording.like_for_like_words(VERDICT) == "like for like"
    unlike = replace(
        VERDICT,
        like_for_like=(Condition.SPEED, Condition.VIEW),
        not_recorded=(Condition.FOOTWEAR,),
    )
    assert (
        wording.like_for_like_words(unlike)
        == "different: speed, camera view; not recorded: footwear"
    )


@pytest.mark.parametrize(
    ("side", "words"),
    [
        (InjurySide.LEFT, "left knee: tendinopathy (open)"),
        (InjurySide.BOTH, "both sides, knee: tendinopathy (open)"),
        (InjurySide.NONE, "knee: tendinopathy (open)"),
    ],
)
def test_a_complaint_spells_out_its_side(side: InjurySide, words: str) -> None:
    assert wording.complaint_words(an_injury(side=side)) == words


@pytest.mark.parametrize(
    ("kind", "margin", "words"),
    [
        (
            FlagKind.ASYMMETRY_ABOVE_BASELINE,
            4.0,
            "Strength in a test: asymmetry up from 5.0% (right larger) to 12.0% (left larger) "
            "(changes up to 4.0% are within error).",
        ),
        (
            FlagKind.ASYMMETRY_ABOVE_BEST,
            4.0,
            "Strength in a test: asymmetry 12.0% (left larger), larger than the 5.0% (right "
            "larger) at the best of 3 earlier visits (changes up to 4.0% are within error).",
        ),
        (
            FlagKind.DRIFT,
            4.0,
            "Strength in a test: asymmetry drifting up, on a line through 3 visits from 5.0% "
            "(right larger) to 12.0% (left larger) (changes up to 4.0% are within error).",
        ),
        (
            FlagKind.BETTER_SIDE_FELL,
            None,
            "Strength in a test: asymmetry reads smaller, but only because the better side fell "
            "beyond error; the worse side did not gain beyond it (from 5.0% (right larger) to "
            "12.0% (left larger)).",
        ),
        (FlagKind.SYMPTOM_UP, None, "Strength in a test: down from 5 to -12."),
    ],
)
def test_a_flag_says_what_rose_from_what_to_what(
    kind: FlagKind, margin: float | None, words: str
) -> None:
    rise = wording.Rise(start=5.0, end=-12.0, margin=margin, visits=3)
    assert wording.flag_words(kind, a_metric(), rise) == words


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (
            What.LEFT,
            "left side 180 N was missed by more than error at the first visit on or after "
            "its date (from 120 N to 130 N).",
        ),
        (
            What.NONE,
            "180 N was missed by more than error at the first visit on or after its date "
            "(from 120 N to 130 N).",
        ),
        (
            What.ASYMMETRY,
            "an asymmetry of at most 180% was missed by more than error at the first "
            "visit on or after its date (from 120% (right larger) to 130% (right larger)).",
        ),
    ],
)
def test_a_missed_target_says_what_was_aimed_at_and_how_far_it_came(what: What, words: str) -> None:
    rise = wording.Rise(start=120.0, end=130.0, margin=9.0, visits=1, what=what, goal=180.0)
    said = wording.flag_words(FlagKind.TARGET_MISSED, a_metric(), rise)
    assert said == f"Strength in a test: the target of {words}"


def test_an_acknowledgement_says_who_when_why_and_whether_it_is_carried_on() -> None:
    open_flag = Flag(
        runner="T-001",
        visit_date=date(2026, 5, 4),
        session=1,
        metric="test_strength",
        kind=FlagKind.DRIFT,
        p=0.01,
        q=0.05,
        message="",
    )
    assert wording.acknowledged_words(open_flag) == ""
    seen = replace(
        open_flag,
        acknowledged=True,
        acknowledged_by="ab",
        acknowledged_reason="new shoes",
        acknowledged_visit=date(2026, 5, 4),
    )
    assert wording.acknowledged_words(seen) == "acknowledged by ab: new shoes"
    carried = replace(
        seen,
        acknowledged_visit=date(2026, 4, 6),
        acknowledged_at=datetime(2026, 4, 7, 9, tzinfo=UTC),
    )
    assert wording.acknowledged_words(carried) == (
        "acknowledged on 2026-04-07 by ab: new shoes (at the visit of 2026-04-06; not worse "
        "by a standard error since)"
    )
