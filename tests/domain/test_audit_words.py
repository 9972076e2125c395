from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from casebook.domain.audit import (
    Amount,
    AuditChoice,
    Count,
    Excluded,
    Flow,
    Part,
    Step,
    Timeliness,
)
from casebook.domain.audit_outcomes import Audit, MetricOutcome, On, Split
from casebook.domain.audit_words import (
    ADHERENCE,
    EXCLUDED,
    LOST_ON,
    NOT_ENTERED,
    ONS,
    SPLITS,
    STEPS,
    WHY_MISSING,
    arguments_against,
    audience_words,
    count_words,
    part_words,
    past_words,
    range_words,
    reason_words,
    review_words,
)
from casebook.domain.people import Purpose
from casebook.domain.visits import MissingReason


def an_audit(lost: Count, outcomes: tuple[MetricOutcome, ...] = ()) -> Audit:
    return Audit(
        choice=AuditChoice(as_of=date(2026, 11, 1)),
        flow=Flow(steps=((Step.INCLUDED, Count(n=40)), (Step.LOST, lost)), excluded=()),
        completeness=(),
        timeliness=Timeliness(
            reviewed=Count(n=0), days_to_review=None, in_time=Part(name="", count=0, total=0)
        ),
        outcomes=outcomes,
        lost=(),
        returns=(),
        funnels=(),
    )


OUTCOME = MetricOutcome(
    metric="hop", label="Hop", on=On.VALUE, unit="cm", important_change=None,
    splits=((Split.NONE, ()), (Split.ADHERENCE_THIRD, ())),
)  # fmt: skip


def test_for_whose_eyes_an_audit_is_stands_on_it() -> None:
    own = AuditChoice(as_of=date(2026, 11, 1))
    assert "single runners may be drawn" in audience_words(own, drawn=True)
    assert "may be drawn" not in audience_words(own)
    others = audience_words(replace(own, purpose=Purpose.RESEARCH), drawn=True)
    assert "drawn" not in others
    assert "beside another one of the same clinic" in others


def test_an_audit_of_an_earlier_day_says_what_nobody_knew_then() -> None:
    own = AuditChoice(as_of=date(2026, 3, 31))
    told = past_words(own, date(2026, 11, 27))
    assert "counts as if it had been known then" in told
    assert told.endswith("are those of 27 Nov 2026.")
    assert past_words(own, own.as_of) == ""


def test_the_first_review_is_told_by_its_week_for_others_and_of_few_not_at_all() -> None:
    own = AuditChoice(as_of=date(2026, 11, 1))
    few = an_audit(Count(n=0)).timeliness
    assert review_words(few, own) == "not told: too few runners were reviewed"
    found = replace(few, reviewed=Count(n=9), days_to_review=(28.0, 35.0, 42.0))
    others = replace(own, purpose=Purpose.AUDIT)
    assert review_words(found, others).endswith("42, each told by the end of its week), 9 runners")


def test_every_code_of_an_audit_has_words_of_its_own() -> None:
    for words, codes in ((STEPS, Step), (EXCLUDED, Excluded), (ONS, On), (LOST_ON, On),
                         (SPLITS, Split)):  # fmt: skip
        assert set(words) == set(codes)
        assert len(set(words.values())) == len(words)
    assert set(WHY_MISSING) == {*(one.value for one in MissingReason), NOT_ENTERED}
    assert reason_words("equipment") == "equipment failed"


def test_what_is_withheld_says_so_and_nothing_else() -> None:
    assert (Count(n=None).withheld, Count(n=0).withheld) == (True, False)
    assert count_words(Count(n=None)) == "withheld"
    assert part_words(Part(name="improved", count=None, total=None)) == "withheld"
    assert range_words(Amount(n=None), "cm") == "withheld"


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        (Amount(n=9, mean=-2.04, low=-3.0, high=-1.1), "−2.0 cm (−3.0 cm to −1.1 cm)"),
        (Amount(n=1, mean=4.0), "+4.0 cm"),
        (Amount(n=0), "–"),
    ],
)
def test_a_mean_is_told_with_the_interval_that_it_has(amount: Amount, expected: str) -> None:
    assert range_words(amount, "cm") == expected


def test_what_argues_against_an_effect_is_always_told() -> None:
    told = arguments_against(an_audit(Count(n=0)))
    assert any("no group" in one for one in told)
    assert any("nearer to" in one for one in told)
    assert not any("lost" in one for one in told)


def test_those_who_were_lost_are_told_by_their_number_or_as_withheld() -> None:
    assert any(
        "7 of 40 runners were lost" in one for one in arguments_against(an_audit(Count(n=7)))
    )
    hidden = arguments_against(an_audit(Count(n=None)))
    assert any("number is withheld" in one for one in hidden)


def test_many_outcomes_and_thirds_of_adherence_bring_their_own_cautions() -> None:
    one = an_audit(Count(n=0), (OUTCOME,))
    assert ADHERENCE in arguments_against(one)
    assert not any("side by side" in words for words in arguments_against(one))
    several = replace(one, outcomes=(OUTCOME, OUTCOME))
    assert any(
        words.startswith("2 outcomes stand side by side") for words in arguments_against(several)
    )
    bare = replace(OUTCOME, splits=((Split.NONE, ()),))
    assert ADHERENCE not in arguments_against(an_audit(Count(n=0), (bare,)))


def test_no_sentence_claims_a_cause_or_a_diagnosis() -> None:
    told = " ".join(arguments_against(an_audit(Count(n=7), (OUTCOME,)))).lower()
    for word in ("because of the programme", "proves", "diagnos", "effective", "thanks to"):
        assert word not in told
