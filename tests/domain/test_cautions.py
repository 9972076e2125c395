"""Prompts to think of a referral: by what was entered alone, never a diagnosis."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.cautions import (
    ADVICE,
    FINDINGS,
    PAIN_SOURCES,
    RULES,
    URGENCIES,
    Finding,
    PainReason,
    Urgency,
    cautions_for,
    pain_flags,
)
from casebook.domain.injuries import Pathology
from casebook.domain.programmes import AdherenceWeek
from tests.builders import an_injury

FIRST = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("findings", "keys"),
    [
        ([], []),
        ([Finding.BONE_TENDERNESS], []),
        ([Finding.NIGHT_PAIN], []),
        ([Finding.BONE_TENDERNESS, Finding.NIGHT_PAIN], ["bone_tenderness_night_pain"]),
        ([Finding.SUSPECTED_BONE_STRESS], ["bone_tenderness_night_pain"]),
        ([Finding.SITE_NAVICULAR], ["high_risk_bone_site"]),
        (
            [Finding.SUSPECTED_BONE_STRESS, Finding.SITE_FEMORAL_NECK],
            ["high_risk_bone_site", "bone_tenderness_night_pain"],
        ),
        ([Finding.NUMBNESS], ["neurological_signs"]),
        (
            [Finding.WEAKNESS, Finding.BLADDER_OR_BOWEL],
            ["cauda_equina_signs", "neurological_signs"],
        ),
        ([Finding.CALF_SWELLING], ["calf_swelling"]),
        ([Finding.ACUTE_TIGHTNESS], ["acute_tightness"]),
        ([Finding.FEVER], ["fever_weight_loss"]),
        ([Finding.WEIGHT_LOSS], ["fever_weight_loss"]),
    ],
)  # fmt: skip
def test_the_findings_entered_call_for_their_prompts_most_urgent_first(
    findings: list[Finding], keys: list[str]
) -> None:
    assert [caution.rule.key for caution in cautions_for(findings)] == keys


@given(st.sets(st.sampled_from(Finding)), st.sampled_from(Finding))
def test_one_more_finding_never_takes_a_prompt_away(found: set[Finding], more: Finding) -> None:
    before = {caution.rule.key for caution in cautions_for(found)}
    after = cautions_for(found | {more})
    assert before <= {caution.rule.key for caution in after}
    assert all(set(caution.findings) <= found | {more} for caution in after)
    urgencies = [list(Urgency).index(caution.rule.urgency) for caution in after]
    assert urgencies == sorted(urgencies)


def test_every_finding_can_lead_to_a_prompt_and_every_prompt_has_a_source() -> None:
    used = {finding for rule in RULES for group in rule.any_of for finding in group}
    assert used == set(Finding) == set(FINDINGS)
    assert set(URGENCIES) == set(Urgency)
    assert all(rule.sources and rule.prompt for rule in RULES)
    assert len({rule.key for rule in RULES}) == len(RULES)


def test_a_prompt_names_its_findings_and_leaves_the_decision_to_the_clinician() -> None:
    (caution,) = cautions_for([Finding.CALF_SWELLING])
    assert caution.words == (
        "A calf that is swollen or warm on one side: consider referral, follow local pathways, at "
        "once. Entered: calf swollen on one side."
    )
    every = " ".join(one.words for one in cautions_for(list(Finding)))
    assert every.count(ADVICE) == len(RULES)
    assert not re.search(r"thrombosis|cancer|fracture|syndrome|\bhas a\b|must", every)


def week(number: int, during: float | None, morning: float | None) -> AdherenceWeek:
    return AdherenceWeek(
        week_start=FIRST + timedelta(weeks=number), sessions_planned=3, sessions_done=3,
        pain_during=during, pain_morning_after=morning,
    )  # fmt: skip


def test_pain_up_to_the_limit_that_does_not_rise_is_within_the_usual_limits() -> None:
    assert pain_flags([week(0, 5.0, 3.0), week(1, 5.0, 4.9), week(2, None, None)]) == ()


def test_pain_beyond_a_limit_or_rising_is_flagged_in_the_order_of_time() -> None:
    weeks = [week(2, 6.0, 3.5), week(0, 2.0, 1.0), week(1, 2.0, None), week(3, 1.0, 7.0)]
    flags = pain_flags(weeks)
    assert [(flag.reason, flag.pain, flag.against) for flag in flags] == [
        (PainReason.DURING_TOO_HIGH, 6.0, 5.0),
        (PainReason.RISING, 3.5, 1.0),
        (PainReason.MORNING_TOO_HIGH, 7.0, 5.0),
        (PainReason.RISING, 7.0, 2.25),
    ]
    told = " ".join(flag.words for flag in flags)
    assert "during the sessions was 6 of 10 in the week of 16 Mar 2026" in told
    assert "the morning after the sessions was 7 of 10" in told
    assert "rose from 1 to 3.5 of 10" in told


def test_a_slow_rise_is_seen_and_one_of_long_ago_is_no_rise() -> None:
    slow = pain_flags([week(number, None, 1.0 + 0.7 * number) for number in range(4)])
    assert [(flag.week.week_start, flag.against) for flag in slow] == [
        (FIRST + timedelta(weeks=3), 1.0)
    ]
    assert pain_flags([week(0, None, 1.0), week(5, None, 3.5)]) == ()


def test_one_good_week_does_not_make_the_usual_pain_a_rise() -> None:
    """A single morning without pain among others is no level that pain rose from."""
    mornings = (2.0, 2.0, 0.0, 2.0, 1.0, 2.0, 2.0)
    assert pain_flags([week(number, None, pain) for number, pain in enumerate(mornings)]) == ()


def test_with_a_bone_stress_injury_any_pain_is_beyond_the_limit() -> None:
    bone = an_injury(pathology=Pathology.BONE_STRESS)
    flags = pain_flags([week(0, 0.0, None), week(1, 1.0, 2.0)], bone)
    assert [(flag.reason, flag.pain) for flag in flags] == [(PainReason.BONE, 2.0)]
    assert ADVICE in flags[0].words
    assert pain_flags([week(1, 1.0, 2.0)], an_injury()) == ()
    assert "never meant for a suspected bone stress injury" in PAIN_SOURCES
