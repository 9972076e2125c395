"""The short 'why' behind a verdict: complete, with the verdict's own numbers, and no causes."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.explaining import BRIDGED, GRADE_YOUR_OWN, MEASURE_YOUR_OWN, why
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    Condition,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
)
from casebook.domain.verdicts import Call, Reason, Regression, Verdict, What
from casebook.domain.wording import REASONS
from tests.builders import a_metric

FIGURE = ErrorFigure(
    metric="test_strength",
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    between_sd=8.0,
    within_sd=9.0,
    source="our repeats, spring",
    population="12 of our runners",
)
OF_SEVEN = ErrorFigure(
    metric="test_strength",
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.PUBLISHED,
    sem=6.0,
    sem_trials=7,
    source="An article (2001)",
)
# SEM of each visit: sqrt(8^2 + 9^2 / 3) = sqrt(91); baseline of two visits: sqrt(91 / 2).
LATEST_SEM, BASELINE_SEM = math.sqrt(91.0), math.sqrt(45.5)
SE = math.hypot(LATEST_SEM, BASELINE_SEM)
MDC = 1.959963984540054 * SE
VERDICT = Verdict(
    metric="test_strength",
    what=What.LEFT,
    baseline=299.5,
    baseline_visits=2,
    latest=331.2,
    latest_date=date(2026, 5, 4),
    change=31.7,
    se_change=SE,
    mdc95=MDC,
    verdict=Call.IMPROVED,
    reason=None,
    which_side_moved=None,
    error_origin=ErrorOrigin.OWN,
    error_source="our repeats, spring",
    like_for_like=(),
    not_recorded=(),
    p_better=0.9967,
    asymmetry_form=AsymmetryForm.PERCENT,
    important_change=20.0,
    p_important=0.842,
    baseline_sem=BASELINE_SEM,
    latest_sem=LATEST_SEM,
    best_sem=8.0,
    latest_trials=3,
)
ASYMMETRY = replace(
    VERDICT,
    what=What.ASYMMETRY,
    baseline=-12.4,
    latest=-3.3,
    change=9.1,
    mdc95=6.5,
    important_change=None,
    p_important=None,
    worse_side=What.RIGHT,
    left_change=1.0,
    left_mdc95=22.0,
    right_change=31.0,
    right_mdc95=22.0,
)
NOTHING_KNOWN: dict[str, Any] = dict.fromkeys(
    (
        "baseline",
        "latest",
        "change",
        "se_change",
        "mdc95",
        "p_better",
        "p_important",
        "baseline_sem",
        "latest_sem",
        "best_sem",
        "latest_trials",
        "left_change",
        "left_mdc95",
        "right_change",
        "right_mdc95",
    )
)
GRADED = a_metric(
    scale=Scale.GRADE,
    unit="1",
    grades=("good", "fair", "poor", "bad"),
    better=Better.LOWER,
    asymmetry_form=AsymmetryForm.DIFFERENCE,
)
STEP = ErrorFigure(
    metric="test_strength",
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    grade_step=1,
    source="regrading",
)
A_GRADE = replace(
    VERDICT,
    baseline=3.0,
    latest=1.0,
    change=-2.0,
    se_change=None,
    mdc95=1.0,
    p_better=None,
    p_important=None,
    important_change=None,
    baseline_sem=None,
    latest_sem=None,
    best_sem=None,
)
CAUSES = re.compile(
    r"because|caus|due to|leads? to|led to|result(s|ed)? (of|in|from)|thanks to|owing|effect|"
    r"worked|helped|therapy|treatment|explain|diagnos",
    re.IGNORECASE,
)


def numbers_in(line: str) -> list[float]:
    """The numbers of a line, with their signs."""
    return [
        float(number.replace("−", "-").replace("+", ""))
        for number in re.findall(r"[−+]?\d+(?:\.\d+)?", line)
    ]


def a_case(call: Call, reason: Reason | None, origin: ErrorOrigin, what: What) -> Verdict:
    start = ASYMMETRY if what is What.ASYMMETRY else replace(VERDICT, what=what)
    return replace(start, verdict=call, reason=reason, error_origin=origin)


@pytest.mark.parametrize("call", Call)
@pytest.mark.parametrize("reason", [None, *Reason])
@pytest.mark.parametrize("empty", [False, True])
@pytest.mark.parametrize("graded", [False, True])
def test_every_verdict_and_reason_is_unfolded_whole_and_names_no_cause(
    call: Call, reason: Reason | None, empty: bool, graded: bool
) -> None:
    metric = GRADED if graded else a_metric()
    for origin in ErrorOrigin:
        for what in What:
            verdict = a_case(call, reason, origin, what)
            if empty:
                verdict = replace(verdict, **NOTHING_KNOWN)
            for figure in (None, STEP if graded else FIGURE):
                found = why(verdict, metric, figure)
                assert found.changes
                for line in found.lines():
                    assert re.fullmatch(r"[A-Z1].*[.)]", line), line
                    assert not CAUSES.search(line), line
                    assert "None" not in line
                    assert "nan" not in line
                if call is Call.CANNOT_SAY and reason is not None:
                    assert REASONS[reason] in found.verdict


def test_the_formula_holds_this_runners_numbers_and_comes_out() -> None:
    formula = why(VERDICT, a_metric(), FIGURE).formula
    assert "331.2 N − 299.5 N = 31.7 N" in formula
    assert "the mean of 2 visits" in formula
    first, second, limit = numbers_in(formula.rsplit("1.96 ×", 1)[1])
    assert limit == pytest.approx(MDC, abs=0.05)
    assert 1.96 * math.hypot(first, second) == pytest.approx(limit, abs=0.1)
    assert (first, second) == pytest.approx((BASELINE_SEM, LATEST_SEM), abs=0.05)


def test_a_single_baseline_visit_is_no_mean_and_a_negative_one_stands_in_brackets() -> None:
    formula = why(replace(ASYMMETRY, baseline_visits=1), a_metric(), FIGURE).formula
    assert "mean of" not in formula
    assert "(each right minus left) = −3.3% − (−12.4%) = 9.1%" in formula


def test_without_both_values_there_is_nothing_to_calculate() -> None:
    cannot = replace(VERDICT, verdict=Call.CANNOT_SAY, reason=Reason.NO_BASELINE, change=None)
    later = why(replace(cannot, baseline=None), a_metric(), None)
    assert later.formula == "Latest = 331 N: the change cannot be calculated."
    earlier = why(replace(cannot, latest=None), a_metric(), None)
    assert earlier.formula == "Baseline = 300 N: the change cannot be calculated."


def test_the_verdict_is_held_against_its_limit_with_digits_that_tell_them_apart() -> None:
    line = why(replace(VERDICT, change=MDC + 0.004), a_metric(), FIGURE).verdict
    change, limit = numbers_in(line)[:2]
    assert change > limit
    assert "Higher counts as better, so this is the better way." in line
    down = replace(VERDICT, change=-31.7, verdict=Call.WORSENED)
    assert "It went down by 31.7 N" in why(down, a_metric(), FIGURE).verdict
    assert "the worse way" in why(down, a_metric(), FIGURE).verdict


def test_no_change_is_not_told_as_proof_that_nothing_changed() -> None:
    found = why(replace(VERDICT, verdict=Call.UNCHANGED, change=5.0), a_metric(), FIGURE)
    assert "within the MDC" in found.verdict
    assert "no proof that nothing changed" in found.verdict
    low, high = numbers_in(found.beside[0])[:2]
    assert (low, high) == pytest.approx((5.0 - MDC, 5.0 + MDC), abs=0.05)


def test_the_chances_stand_beside_the_change() -> None:
    beside = why(VERDICT, a_metric(), FIGURE).beside
    assert "for the better: more than 99 %" in beside[1]
    assert "important change of 20.0 N: 84 %" in beside[2]
    asymmetry = why(ASYMMETRY, a_metric(), FIGURE).beside
    assert "the sides truly differ less than at baseline: more than 99 %" in asymmetry[1]
    assert asymmetry[2].startswith("The worse side (right) gained (+31.0 N); the better side")


def test_what_was_to_be_expected_by_itself_is_told_with_its_formula() -> None:
    regression = Regression(expected=3.1, icc=0.8121, clinic_mean=316.0, runners=34)
    found = why(replace(VERDICT, regression=regression), a_metric(), FIGURE)
    line = found.beside[-1]
    assert "about +3.1 N was to be expected by itself" in line
    assert "(1 − 0.812) × (316.0 − 299.5) ≈ 3.1" in line
    assert "34 others" in line
    assert round((1 - 0.812) * (316.0 - 299.5), 1) == 3.1


def test_the_source_is_told_with_its_origin() -> None:
    own = why(VERDICT, a_metric(), FIGURE).source
    assert "your own repeat measurements (our repeats, spring)" in own
    assert "SD from session to session 8.0 N, SD of single trials 9.0 N" in own
    assert "12 of our runners" in own
    assert "Trials at the latest visit: 3." in own
    published = replace(VERDICT, error_origin=ErrorOrigin.PUBLISHED, error_source="An article")
    told = why(published, a_metric(), OF_SEVEN).source
    assert "published (An article); measured by others" in told
    assert "SEM 6.0 N for a mean of 7 trials" in told
    single = why(published, a_metric(), replace(OF_SEVEN, sem_trials=1)).source
    assert "for a single trial" in single
    nothing = replace(VERDICT, error_origin=ErrorOrigin.NONE, error_source="")
    assert "no error figure" in why(nothing, a_metric(), None).source


def test_a_lower_bound_is_called_one() -> None:
    within = ErrorFigure(
        metric="test_strength",
        applies_to=AppliesTo.SIDE_VALUE,
        origin=ErrorOrigin.WITHIN_SESSION,
        within_sd=9.0,
        source="one session",
    )
    verdict = replace(
        VERDICT, error_origin=ErrorOrigin.WITHIN_SESSION, verdict=Call.UNCHANGED, p_better=None
    )
    found = why(verdict, a_metric(), within)
    assert "It is a lower bound" in found.source
    assert "SD of 9.0 N within a session" in found.source
    assert "MDC95 is at least 1.96 ×" in found.formula
    assert numbers_in(found.formula)[-1] == pytest.approx(MDC, abs=0.05)
    assert "could not be called real either" in found.changes[0]
    assert found.changes[-1] == MEASURE_YOUR_OWN
    assert not any("95 % confidence" in line for line in found.beside)


def test_a_bridged_error_says_so() -> None:
    verdict = replace(VERDICT, bridged=True, verdict=Call.UNCHANGED, best_sem=6.0)
    found = why(verdict, a_metric(), OF_SEVEN)
    assert BRIDGED[1:] in found.source
    line = next(line for line in found.changes if "7 trials" in line)
    assert numbers_in(line)[-1] == pytest.approx(1.96 * math.hypot(BASELINE_SEM, 6.0), abs=0.05)


def test_the_sides_of_an_asymmetry_are_taken_as_independent_and_that_is_said() -> None:
    assert "nothing in common" in why(ASYMMETRY, a_metric(), FIGURE).source
    assert "nothing in common" in why(ASYMMETRY, a_metric(), None).source
    own = replace(FIGURE, applies_to=AppliesTo.ASYMMETRY)
    told = why(ASYMMETRY, a_metric(), own).source
    assert "nothing in common" not in told
    assert "session 8.0%" in told


def test_what_would_count_is_told_with_what_more_trials_would_give() -> None:
    found = why(replace(VERDICT, verdict=Call.UNCHANGED), a_metric(), FIGURE)
    assert numbers_in(found.changes[0])[0] == pytest.approx(MDC, abs=0.05)
    # Six trials: sqrt(64 + 81 / 6); endless ones: 8; against the same baseline.
    trials, doubled, least = numbers_in(found.changes[1])
    assert trials == 6
    assert doubled == pytest.approx(1.96 * math.hypot(BASELINE_SEM, math.sqrt(77.5)), abs=0.05)
    assert least == pytest.approx(1.96 * math.hypot(BASELINE_SEM, 8.0), abs=0.05)


def test_where_more_trials_are_not_known_to_help_that_is_said() -> None:
    unchanged = replace(VERDICT, verdict=Call.UNCHANGED, best_sem=LATEST_SEM)
    found = why(unchanged, a_metric(), OF_SEVEN)
    assert "More trials are not known to lower it" in found.changes[1]
    unknown = why(replace(unchanged, best_sem=None), a_metric(), OF_SEVEN)
    assert len(unknown.changes) == 1


def test_an_asymmetry_that_kept_its_size_but_not_its_side_is_told_by_its_size() -> None:
    same = replace(ASYMMETRY, latest=-12.4, change=0.0, verdict=Call.UNCHANGED)
    assert "asymmetry is the same as at baseline, which is within" in (
        why(same, a_metric(), FIGURE).verdict
    )


def test_a_changed_value_says_which_later_one_would_be_no_change() -> None:
    (line,) = why(VERDICT, a_metric(), FIGURE).changes
    assert numbers_in(line) == pytest.approx([299.5 - MDC, 299.5 + MDC], abs=0.5)
    asymmetry = why(ASYMMETRY, a_metric(), FIGURE).changes[0]
    assert "between 5.9% and 18.9% with the same side larger (left larger)" in asymmetry
    # A force is never below nothing; an angle may be.
    small = replace(VERDICT, baseline=10.0)
    assert "between 0.0 N" in why(small, a_metric(), FIGURE).changes[0]
    angle = a_metric(scale=Scale.INTERVAL, asymmetry_form=AsymmetryForm.DIFFERENCE)
    assert "between −12.9 N" in why(small, angle, FIGURE).changes[0]


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (Reason.NO_ERROR_FIGURE, MEASURE_YOUR_OWN),
        (Reason.ONLY_WITHIN_SESSION, MEASURE_YOUR_OWN),
        (Reason.FEWER_TRIALS_THAN_FIGURE, "With 7 trials or more at each visit"),
        (Reason.NOT_LIKE_FOR_LIKE, "under the conditions of the baseline"),
        (Reason.MISSING, "at both visits"),
        (Reason.NO_BASELINE, "no baseline for it"),
        (Reason.NO_LATER_VISIT, "at a visit after the baseline"),
        (Reason.NO_BETTER_DIRECTION, "yours to judge"),
        (Reason.CROSSED_OVER, "would be worse beyond error"),
        (Reason.FORMULA_REFUSED, "same sign"),
        (None, "Measure it again"),
    ],
)
def test_what_it_takes_to_get_a_verdict_is_told_for_each_reason(
    reason: Reason | None, words: str
) -> None:
    verdict = replace(ASYMMETRY, verdict=Call.CANNOT_SAY, reason=reason)
    assert words in why(verdict, a_metric(), OF_SEVEN).changes[0]


def test_after_crossing_over_the_sizes_that_would_count_are_told() -> None:
    crossed = replace(ASYMMETRY, verdict=Call.CANNOT_SAY, reason=Reason.CROSSED_OVER, latest=11.0)
    larger, smaller = why(crossed, a_metric(), FIGURE).changes
    assert numbers_in(larger) == [18.9]
    assert numbers_in(smaller) == [5.9]
    assert "(left larger)" in smaller
    near = replace(crossed, baseline=-4.0)
    assert len(why(near, a_metric(), FIGURE).changes) == 1


def test_what_differs_is_told_and_whether_it_matters() -> None:
    metric = a_metric(sensitive_to=(Condition.SPEED,))
    unlike = replace(
        VERDICT,
        verdict=Call.CANNOT_SAY,
        reason=Reason.NOT_LIKE_FOR_LIKE,
        like_for_like=(Condition.SPEED, Condition.SURFACE),
    )
    found = why(unlike, metric, FIGURE)
    assert found.verdict.endswith("(speed, surface).")
    assert found.conditions.endswith("This measurement is sensitive to speed.")
    assert not any("confidence" in line for line in found.beside)
    harmless = why(replace(VERDICT, like_for_like=(Condition.SURFACE,)), metric, FIGURE)
    assert "not known to matter" in harmless.conditions
    unknown = why(replace(VERDICT, not_recorded=(Condition.SPEED,)), metric, FIGURE)
    assert "may not be comparable" in unknown.conditions


def test_grades_are_told_in_grades_and_without_standard_errors() -> None:
    found = why(A_GRADE, GRADED, STEP)
    assert "It went down by 2 grades, which is more than the 1 grade" in found.verdict
    assert "1 grade − 3 grades = −2 grades" in found.formula
    assert "SEM" not in found.formula
    assert "stays within 1 grade in 95 % of pairs" in found.source
    assert "between 2 grades and 4 grades" in found.changes[0]
    assert found.beside == ()
    unchanged = why(replace(A_GRADE, verdict=Call.UNCHANGED, change=1.0), GRADED, STEP)
    assert "within the 1 grade" in unchanged.verdict
    assert unchanged.changes == ("A change of more than 1 grade would count.",)
    nothing = replace(
        A_GRADE, verdict=Call.CANNOT_SAY, reason=Reason.NO_ERROR_FIGURE, what=What.ASYMMETRY
    )
    assert why(nothing, GRADED, None).changes[0].startswith(GRADE_YOUR_OWN)
    assert "step of the difference between the sides" in why(nothing, GRADED, None).changes[0]
    published = replace(A_GRADE, error_origin=ErrorOrigin.PUBLISHED)
    assert GRADE_YOUR_OWN in why(published, GRADED, STEP).changes[-1]


@pytest.mark.parametrize(
    ("better", "words"),
    [
        (Better.HIGHER, "Higher counts as better"),
        (Better.LOWER, "Lower counts as better"),
        (Better.RANGE, "Nearer to the target range counts as better"),
        (Better.NONE, "Neither direction counts as better"),
    ],
)
def test_the_better_direction_is_spelled_out(better: Better, words: str) -> None:
    ranged = {"target_low": 1.0, "target_high": 2.0} if better is Better.RANGE else {}
    assert words in why(VERDICT, a_metric(better=better, **ranged), FIGURE).verdict


@given(
    st.floats(-500, 500),
    st.floats(-500, 500),
    st.floats(0.01, 100),
    st.floats(0.01, 100),
    st.sampled_from([Call.IMPROVED, Call.WORSENED, Call.UNCHANGED]),
)
def test_the_numbers_told_are_the_verdicts_own(
    baseline: float, latest: float, baseline_sem: float, latest_sem: float, call: Call
) -> None:
    limit = 1.959963984540054 * math.hypot(baseline_sem, latest_sem)
    change = latest - baseline
    verdict = replace(
        VERDICT,
        baseline=baseline,
        latest=latest,
        change=change,
        mdc95=limit,
        baseline_sem=baseline_sem,
        latest_sem=latest_sem,
        best_sem=0.0,
        verdict=call,
    )
    angle: Metric = a_metric(scale=Scale.INTERVAL, asymmetry_form=AsymmetryForm.DIFFERENCE)
    found = why(verdict, angle, FIGURE)
    told = numbers_in(found.verdict)
    assert told[:2] == pytest.approx([abs(change), limit], abs=0.5, rel=1e-9)
    shown = re.search(r"= (\S+) N − \(?(\S+) N\)? = (\S+) N\.", found.formula)
    assert shown is not None
    for words, number in zip(shown.groups(), (latest, baseline, change), strict=True):
        assert numbers_in(words)[0] == pytest.approx(number, abs=0.51)


def test_without_an_error_there_is_no_mdc_in_the_formula() -> None:
    bare = replace(
        ASYMMETRY,
        verdict=Call.CANNOT_SAY,
        reason=Reason.NO_ERROR_FIGURE,
        error_origin=ErrorOrigin.NONE,
        mdc95=None,
        latest_sem=None,
    )
    assert why(bare, a_metric(), None).formula.endswith("There is no MDC to hold it against.")


def test_an_asymmetry_known_by_its_change_alone_is_told_by_that() -> None:
    alone = replace(ASYMMETRY, latest=None)
    assert why(alone, a_metric(), FIGURE).verdict.startswith("It went up by 9.1%")
