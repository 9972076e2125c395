from __future__ import annotations

import pytest

from casebook.domain.audit_growth import FUNNEL_WORDS, RETURN_WORDS, Term, return_words
from casebook.domain.audit_growth_words import (
    NO_GRADES,
    grades_words,
    growth_cautions,
    left_out_words,
    odds_words,
    residual_words,
    term_unit,
    term_words,
)
from casebook.domain.audit_outcomes import On

BOTH = ("injury", "performance")


def test_each_effect_is_said_for_whom_it_is_told() -> None:
    assert term_words(Term.LEVEL, BOTH) == (
        "level at the programme's start, programmes for an injury"
    )
    assert term_words(Term.SLOPE_BY_KIND, BOTH) == (
        "change in a week: programmes for performance less programmes for an injury"
    )
    assert term_words(Term.LEVEL, ()) == "level at the programme's start"
    assert all(term_words(term, ()) for term in Term)
    assert term_unit(Term.STEP, "N") == term_unit(Term.LEVEL, "N") == "N"
    assert term_unit(Term.SLOPE_BY_ADHERENCE, "N") == "N a week"


@pytest.mark.parametrize(
    ("what", "n", "said"),
    [
        ("unlike", 1, "1 value was not like"),
        ("unlike", 4, "4 values were not like"),
        ("without_adherence", 1, "1 runner is without recorded adherence"),
        ("without_baseline_speed", 2, "2 runners are without a speed"),
        ("small_kind", 0, "fewer runners than may be shown"),
        ("phase[T.after]", 0, "No step at the start is told"),
    ],
)
def test_what_was_left_out_is_said_with_the_reason(what: str, n: int, said: str) -> None:
    assert said in left_out_words(what, n)


def test_few_runners_who_were_left_out_are_not_counted() -> None:
    assert left_out_words("without_adherence", 4, 5).startswith("Fewer than 5 runners are")
    assert left_out_words("without_adherence", 5, 5).startswith("5 runners are")


def test_cautions_are_those_that_apply() -> None:
    plain = growth_cautions(On.VALUE, 100, adherence=False, raw=True)
    assert len(plain) == 2
    told = " ".join(growth_cautions(On.ASYMMETRY, 12, adherence=True, raw=False))
    for said in ("crossed over", "no dose", "too short", "not drawn"):
        assert said in told
        assert said not in " ".join(plain)
    assert "too bad" in " ".join(growth_cautions(On.OTHER_SIDE, 99, adherence=False, raw=True))


@pytest.mark.parametrize(
    ("far", "widens", "uneven", "said", "sentences"),
    [
        (False, 0.4, False, "beyond 3 (of normal ones", 1),
        (True, 0.1, False, "look for wrong entries", 2),
        (False, 0.4, True, "grow with the level", 2),
        (True, -0.4, True, "shrink with the level", 3),
    ],
)
def test_residuals_that_should_be_looked_at_are_named(
    far: bool, widens: float, uneven: bool, said: str, sentences: int
) -> None:
    told = residual_words(beyond_2=0.05, beyond_3=0.02, far=far, widens=widens, uneven=uneven)
    assert len(told) == sentences
    assert said in " ".join(told)


def test_odds_are_said_of_a_higher_grade_and_against_whom() -> None:
    assert odds_words("kind[T.performance]", BOTH).endswith(
        "programmes for performance against programmes for an injury"
    )
    assert "at the baseline" in odds_words("baseline", BOTH)
    assert len(grades_words(On.VALUE, rounded=0, small_kind=False)) == 2
    told = " ".join(grades_words(On.WORSE_SIDE, rounded=1, small_kind=True))
    assert "of two alike the right one" in told
    assert "1 mean of several gradings was rounded" in told
    assert "fewer runners" in told
    assert "3 means were rounded" in " ".join(
        grades_words(On.OTHER_SIDE, rounded=3, small_kind=False)
    )


def test_no_word_claims_a_cause_or_ranks_anybody() -> None:
    everything = " ".join([return_words(weekly=True), FUNNEL_WORDS, *NO_GRADES.values()]).lower()
    assert "no ranking" in everything
    assert "foretells no day" in everything
    assert return_words(weekly=False) == RETURN_WORDS
    for claim in ("because of the programme", "effective", "best clinician", "diagnos"):
        assert claim not in everything
