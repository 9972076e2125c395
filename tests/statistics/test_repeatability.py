"""What a repeatability study tells, and what it does where it cannot tell."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.statistics.repeatability.agreement import bland_altman, concordance
from casebook.statistics.repeatability.analysis import analyse
from casebook.statistics.repeatability.cells import Readings, cell_table, readings_of
from casebook.statistics.repeatability.growing import growing_error, log_scale
from casebook.statistics.repeatability.icc import icc_forms, of_mean
from casebook.statistics.repeatability.kappa import (
    Weighting,
    agreement_weights,
    grading,
    kappa_of_many,
    weighted_kappa,
)
from casebook.statistics.repeatability.likelihood import fit_reml
from casebook.statistics.repeatability.mean_squares import analysed, two_way_mean_squares
from casebook.statistics.repeatability.nested import NestedSquares, nested_parts
from casebook.statistics.repeatability.results import Interval, MeanSquares, Method, Repeatability
from casebook.statistics.repeatability.standard_error import (
    difference_interval,
    sem_for_agreement,
    sem_interval,
    sem_of_sum,
)


def of_table(table: list[list[float]] | np.ndarray) -> Readings:
    wide = pd.DataFrame(np.asarray(table, dtype=float))
    names = tuple(f"day {one}" for one in wide.columns)
    wide.columns = pd.Index(names)
    long = wide.assign(subject=np.arange(len(wide))).melt("subject", var_name="session")
    return readings_of(long, sessions=names)


def study(table: list[list[float]] | np.ndarray) -> Repeatability:
    return analyse(of_table(table))


def told(found: Repeatability, words: str) -> bool:
    return any(words in one for one in (*found.warnings, *found.notes))


PLAIN = [[5.0, 6.0], [7.0, 7.5], [9.0, 11.0], [12.0, 12.0], [4.0, 4.5]]


# Where it cannot tell


def test_one_session_without_trials_tells_nothing_about_error_and_says_so() -> None:
    found = study([[5.0], [7.0], [9.0]])
    assert found.method is None
    assert all(math.isnan(one.estimate) for one in found.icc.values())
    assert math.isnan(found.sem_agreement.estimate)
    assert math.isnan(found.mdc95.agreement)
    assert found.bland_altman is None
    assert told(found, "Only one session")
    assert told(found, "Measure the same runners on a second day")


def test_one_session_with_trials_tells_a_lower_bound() -> None:
    found = analyse(trials([[[5.0, 5.5]], [[7.0, 7.5]], [[9.0, 8.0]]]))
    assert found.nested is not None
    assert found.nested.within_sd.estimate == pytest.approx(math.sqrt(0.75 / 3))
    assert math.isnan(found.nested.between_sd.estimate)
    assert math.isnan(found.nested.sem_of_mean.estimate)
    assert told(found, "a lower bound")


def test_one_subject_gives_the_spread_of_sessions_and_no_icc() -> None:
    found = study([[5.0, 6.0, 8.0]])
    assert math.isnan(found.icc["ICC(1,1)"].estimate)
    assert found.sem_one_way.estimate == pytest.approx(np.std([5, 6, 8], ddof=1))
    assert told(found, "Only one subject")


def test_readings_that_are_all_alike_have_no_icc_and_no_error() -> None:
    for gaps in ([[5.0, 5.0], [5.0, 5.0], [5.0, 5.0]], [[5.0, 5.0], [5.0, 5.0], [5.0, np.nan]]):
        found = study(gaps)
        assert math.isnan(found.icc["ICC(2,1)"].estimate)
        assert found.sem_agreement.estimate == 0.0
        assert told(found, "All readings are the same")


def test_readings_that_repeat_exactly_have_an_icc_of_one() -> None:
    found = study([[5.0, 5.0], [7.0, 7.0], [9.0, 9.0], [4.0, 4.0]])
    assert found.icc["ICC(3,1)"] == found.icc["ICC(2,1)"] == Interval(estimate=1, low=1, high=1)
    assert (found.sem_agreement.estimate, found.sem_consistency.high) == (0.0, 0.0)
    assert found.growing_error is None
    assert found.bland_altman is not None
    assert math.isnan(found.bland_altman.p)
    assert told(found, "agree without any error")


def test_a_shift_that_all_share_is_agreement_error_and_not_consistency_error() -> None:
    found = study([[5.0, 6.0], [7.0, 8.0], [9.0, 10.0], [3.0, 4.0]])
    assert found.sem_consistency.estimate == 0.0
    assert found.sem_agreement.estimate == pytest.approx(math.sqrt(0.5))
    assert found.icc["ICC(3,1)"].estimate == 1.0
    assert found.icc["ICC(2,1)"].estimate < 1.0


def test_subjects_of_one_mean_have_an_icc_at_or_below_zero() -> None:
    shift = study([[4.0, 6.0], [4.0, 6.0], [4.0, 6.0]])
    assert math.isnan(shift.icc["ICC(3,1)"].estimate)
    assert shift.icc["ICC(2,1)"].estimate == 0.0
    assert told(shift, "same mean")
    crossed = study([[4.0, 6.0], [6.0, 4.0], [5.0, 5.0]])
    assert crossed.icc["ICC(3,1)"].estimate == pytest.approx(-1.0)
    assert crossed.components is not None
    assert crossed.components.negative == ("subject", "occasion")
    assert told(crossed, "differ no more than repeated measurements")
    assert told(crossed, "no more than their error")


def test_an_agreement_that_no_denominator_allows_is_not_told() -> None:
    squares = MeanSquares(
        subjects=2.0, occasions=5.0, between_subjects=0.1, between_occasions=0.0, error=1.0,
        within=1.0, df_subjects=1, df_occasions=4, df_error=4, df_within=8,
    )  # fmt: skip
    low = squares.between_subjects + 4 * squares.error + 5 * (0 - squares.error) / 2
    assert low > 0
    assert icc_forms(squares, 5)["ICC(2,1)"].estimate < 0
    hopeless = MeanSquares(
        subjects=2.0, occasions=2.0, between_subjects=0.0, between_occasions=0.0, error=1.0,
        within=0.5, df_subjects=1, df_occasions=1, df_error=1, df_within=2,
    )  # fmt: skip
    assert math.isnan(icc_forms(hopeless, 2)["ICC(2,1)"].estimate)


def test_a_reliability_below_what_its_form_can_reach_has_no_mean_form() -> None:
    assert of_mean(-1.0, 2) == -math.inf


def test_subjects_who_share_no_session_are_pointed_out() -> None:
    nan = np.nan
    found = study([[1.0, 2.0, nan, nan], [3.0, 5.0, nan, nan], [nan, nan, 4.0, 5.0],
                   [nan, nan, 7.0, 9.0]])  # fmt: skip
    assert told(found, "share no session")
    assert found.method is Method.REML
    lone = study([[1.0, nan], [nan, 2.0]])
    assert lone.method is None
    assert math.isnan(lone.sem_one_way.estimate)


def test_no_reading_at_all_is_refused() -> None:
    empty = readings_of(pd.DataFrame({"subject": ["a"], "session": ["1"], "value": [np.nan]}))
    with pytest.raises(ValueError, match="no reading"):
        analyse(empty)


def test_two_readings_of_one_cell_need_a_trial() -> None:
    table = pd.DataFrame({"subject": ["a", "a"], "session": ["1", "1"], "value": [1.0, 2.0]})
    with pytest.raises(ValueError, match="same subject, session"):
        readings_of(table)


def test_fewer_than_three_pairs_have_no_limits_of_agreement() -> None:
    assert study([[1.0, 2.0], [3.0, 5.0]]).bland_altman is None
    with pytest.raises(ValueError, match="need 3 or more"):
        bland_altman(np.array([1.0]), np.array([2.0]), difference="")


def test_an_sem_without_degrees_of_freedom_is_not_told() -> None:
    assert math.isnan(sem_interval(4.0, 0).estimate)
    assert math.isnan(sem_interval(math.nan, 5).estimate)
    squares = two_way_mean_squares(np.array(PLAIN))
    without = MeanSquares(
        **{name: getattr(squares, name) for name in squares.__slots__} | {"df_error": 0}
    )
    assert math.isnan(sem_for_agreement(without).estimate)


# What it warns of


def test_few_subjects_get_the_numbers_and_a_warning_about_their_width() -> None:
    assert told(study(PLAIN), "Few subjects (5)")
    rng = np.random.default_rng(3)
    many = rng.normal(50, 5, (40, 1)) + rng.normal(0, 1, (40, 2))
    assert not told(study(many), "Few subjects")


def test_a_systematic_shift_is_pointed_out() -> None:
    rng = np.random.default_rng(4)
    steady = rng.normal(50, 5, (12, 1)) + rng.normal(0, 0.3, (12, 2))
    assert not told(study(steady), "systematically")
    assert told(study(steady + np.array([0.0, 3.0])), "systematically")


def test_an_error_that_grows_with_the_mean_is_found_and_the_log_scale_offered() -> None:
    rng = np.random.default_rng(5)
    size = np.exp(rng.normal(4, 1.0, (30, 1)))
    found = study(size * np.exp(rng.normal(0, 0.1, (30, 2))))
    assert found.growing_error is not None
    assert found.growing_error.grows
    assert told(found, "grows with the mean")
    assert found.log_scale is not None
    assert found.log_scale.cv_percent.low < 10.0 < found.log_scale.cv_percent.high
    assert found.log_scale.ratio_lower is not None
    even = study(rng.normal(50, 10, (30, 1)) + rng.normal(0, 1, (30, 2)))
    assert even.growing_error is not None
    assert not even.growing_error.grows


def test_no_coefficient_of_variation_where_it_has_no_meaning() -> None:
    assert study(np.array(PLAIN) - 8.0).log_scale is None
    assert analyse(of_table(PLAIN), ratio_scale=False).log_scale is None
    assert study([[5.0], [6.0]]).log_scale is None
    assert study(np.array([*PLAIN, [3.0, 5.0]])[:, [0, 1, 0]]).log_scale is not None


def test_a_log_scale_without_an_interval_and_a_huge_one_stay_numbers() -> None:
    found = log_scale(Interval(estimate=40.0, low=math.nan, high=math.nan), None)
    assert math.isinf(found.cv_percent.estimate)
    assert math.isnan(found.cv_percent.low)
    assert found.mdc95_down_percent == pytest.approx(100.0)
    assert found.ratio_bias is None


def test_growth_is_not_asked_of_three_subjects_nor_of_one_size() -> None:
    assert growing_error(np.array(PLAIN)[:3]) is None
    assert growing_error(np.array([[5.0, 5.0]] * 6)) is None


def test_one_pair_of_occasions_makes_a_wide_agreement_interval_and_says_so() -> None:
    assert told(study(PLAIN), "Two occasions only")
    three = [[*row, row[0] + 0.4] for row in PLAIN]
    assert not told(study(three), "Two occasions only")
    assert told(study(three), "Bland-Altman limits compare two")


# Properties


tables = st.integers(2, 6).flatmap(
    lambda k: st.lists(
        st.lists(st.integers(-400, 400).map(lambda n: n / 4), min_size=k, max_size=k),
        min_size=3,
        max_size=8,
    )
)


def numbers(found: Repeatability) -> list[float]:
    intervals = (*found.icc.values(), found.sem_agreement, found.sem_consistency, found.sem_one_way)
    return [end for one in intervals for end in (one.estimate, one.low, one.high)]


@given(tables)
def test_subjects_in_another_order_change_nothing(table: list[list[float]]) -> None:
    assert numbers(study(table[::-1])) == pytest.approx(
        numbers(study(table)), rel=1e-6, abs=1e-6, nan_ok=True
    )


@given(tables, st.integers(-50, 50))
def test_adding_a_constant_changes_no_error(table: list[list[float]], constant: int) -> None:
    moved = np.array(table) + constant
    assert numbers(study(moved)) == pytest.approx(
        numbers(study(table)), rel=1e-6, abs=1e-6, nan_ok=True
    )


@given(tables)
def test_another_unit_scales_the_error_and_leaves_the_icc(table: list[list[float]]) -> None:
    one, other = study(table), study(np.array(table) * 8.0)
    assert [part.estimate for part in other.icc.values()] == pytest.approx(
        [part.estimate for part in one.icc.values()], rel=1e-9, nan_ok=True
    )
    assert other.sem_agreement.estimate == pytest.approx(8.0 * one.sem_agreement.estimate)
    assert other.mdc95.consistency_high == pytest.approx(8.0 * one.mdc95.consistency_high)


@given(tables)
def test_an_estimate_lies_within_its_interval(table: list[list[float]]) -> None:
    found = study(table)
    for interval in (found.sem_agreement, found.sem_consistency, found.sem_one_way):
        slack = 1e-9 * (1 + interval.estimate)
        assert interval.low - slack <= interval.estimate <= interval.high + slack


@given(tables)
def test_turning_the_difference_round_flips_its_sign_and_nothing_else(
    table: list[list[float]],
) -> None:
    pairs = of_table([row[:2] for row in table])
    one = analyse(pairs).bland_altman
    other = analyse(pairs, first_minus_second=True).bland_altman
    assert one is not None
    assert other is not None
    assert other.bias == -one.bias
    assert (other.lower, other.upper) == pytest.approx((-one.upper, -one.lower))
    assert other.exact["pair_lower_low"] == pytest.approx(-one.exact["pair_upper_high"])
    assert one.difference == "day 1 minus day 0"
    assert other.difference == "day 0 minus day 1"


# A full table may be analysed either way: REML is ANOVA where no component is below zero.
@given(tables)
def test_reml_agrees_with_anova_on_a_full_table(table: list[list[float]]) -> None:
    values = np.array(table)
    squares = two_way_mean_squares(values)
    least = min(squares.between_subjects, squares.between_occasions)
    if not 0.01 < squares.error < 0.8 * least:
        return
    _, _, parts = analysed(values)
    row, column = np.nonzero(np.isfinite(values))
    fit = fit_reml(values.ravel(), [row, column])
    assert (*fit.variances, fit.residual) == pytest.approx(
        (parts.subject, parts.occasion, parts.error), rel=1e-4
    )


def test_a_table_with_gaps_and_no_error_at_all_is_told_to_have_none() -> None:
    found = study([[5.0, 6.0, 7.0], [7.0, 8.0, 9.0], [9.0, 10.0, np.nan], [1.0, 2.0, 3.0]])
    assert found.method is Method.REML
    assert found.sem_consistency.estimate == 0.0
    assert told(found, "Some cells are empty")
    same = study([[5.0, 5.0, 5.0], [7.0, 7.0, 7.0], [9.0, 9.0, np.nan], [1.0, 1.0, 1.0]])
    assert (same.sem_consistency.estimate, same.sem_one_way.estimate) == (0.0, 0.0)


# Intervals hold their level: drawn studies in which the truth is known (seeded).
@pytest.mark.simulated
@pytest.mark.parametrize(("n", "k", "of_occasions"), [(8, 2, 0.0), (15, 2, 2.0), (10, 4, 0.5)])
def test_the_interval_of_the_sem_for_agreement_holds_the_truth_often_enough(
    n: int, k: int, of_occasions: float
) -> None:
    rng = np.random.default_rng(17)
    truth, draws, held = math.sqrt(1.0 + of_occasions), 2_000, 0
    df = (n - 1) * (k - 1)
    for error, columns in zip(
        rng.chisquare(df, draws) / df,
        (1.0 + n * of_occasions) * rng.chisquare(k - 1, draws) / (k - 1),
        strict=True,
    ):
        _, low, high = sem_of_sum([(1 / n, columns, k - 1), (1 - 1 / n, error, df)])
        held += low <= truth**2 <= high
    # At least 95 %, less four standard errors of the simulation.
    assert held / draws > 0.95 - 4 * math.sqrt(0.95 * 0.05 / draws)


@pytest.mark.simulated
@pytest.mark.parametrize("ratio", [0.0, 1.0, 4.0])
def test_the_interval_of_a_between_session_part_holds_the_truth_often_enough(ratio: float) -> None:
    rng = np.random.default_rng(18)
    draws, m, df1, df2 = 2_000, 5, 10, 80
    sessions = (1.0 + m * ratio) * rng.chisquare(df1, draws) / df1
    trials_ = rng.chisquare(df2, draws) / df2
    held = 0
    for one, other in zip(sessions, trials_, strict=True):
        _, low, high = difference_interval((one, df1), (other, df2))
        held += low <= m * ratio <= high
    assert held / draws > 0.95 - 4 * math.sqrt(0.95 * 0.05 / draws)


@given(st.floats(0.1, 10), st.integers(2, 40), st.integers(2, 200))
def test_a_between_session_part_is_zero_at_its_low_end_where_the_f_test_finds_none(
    trials_: float, df1: int, df2: int
) -> None:
    from scipy.stats import f

    edge = float(f.ppf(0.975, df1, df2))
    assert difference_interval((trials_ * edge * 0.999, df1), (trials_, df2))[1] == 0.0
    assert difference_interval((trials_ * edge * 1.01, df1), (trials_, df2))[1] > 0.0


# Trials and sessions


def trials(table: list[list[list[float]]]) -> Readings:
    """Subject, session, trial."""
    rows = [
        (subject, f"day {session}", trial, value)
        for subject, sessions in enumerate(table)
        for session, cell in enumerate(sessions)
        for trial, value in enumerate(cell)
    ]
    return readings_of(pd.DataFrame(rows, columns=["subject", "session", "trial", "value"]))


def drawn(n: int, k: int, m: int, sb: float, sw: float, seed: int) -> list[list[list[float]]]:
    rng = np.random.default_rng(seed)
    truth = rng.normal(50, 8, (n, 1, 1))
    values = truth + rng.normal(0, sb, (n, k, 1)) + rng.normal(0, sw, (n, k, m))
    return values.tolist()


def test_the_two_parts_of_a_balanced_study_are_those_of_its_mean_squares() -> None:
    table = np.array(drawn(12, 2, 5, 2.0, 3.0, 1))
    found = analyse(trials(table.tolist())).nested
    assert found is not None
    means = table.mean(axis=2)
    within = float(np.square(table - means[..., None]).sum() / (12 * 2 * 4))
    between = 5 * float(np.square(means - means.mean(axis=1, keepdims=True)).sum() / 12)
    assert found.within_sd.estimate == pytest.approx(math.sqrt(within))
    assert found.between_sd.estimate == pytest.approx(math.sqrt((between - within) / 5))
    assert found.sem_of_mean.estimate == pytest.approx(math.sqrt(between / 5))
    assert found.sem_single.estimate == pytest.approx(
        math.hypot(found.between_sd.estimate, found.within_sd.estimate)
    )
    assert (found.df_sessions, found.df_trials, found.method) == (12, 96, Method.ANOVA)
    assert found.between_sd.low <= 2.0 <= found.between_sd.high
    assert found.within_sd.low <= 3.0 <= found.within_sd.high


# statsmodels' MixedLM, sessions nested in subjects, trials of unequal number.
def test_the_two_parts_of_an_unbalanced_study_are_those_of_statsmodels() -> None:
    from statsmodels.regression.mixed_linear_model import MixedLM

    table = drawn(10, 2, 4, 2.0, 1.5, 2)
    table[0][0] = table[0][0][:2]
    table[3][1] = table[3][1][:3]
    table[5] = table[5][:1]
    found = analyse(trials(table))
    assert found.nested is not None
    assert found.nested.method is Method.REML
    rows = [
        (subject, f"{subject}-{session}", value)
        for subject, sessions in enumerate(table)
        for session, cell in enumerate(sessions)
        for value in cell
    ]
    frame = pd.DataFrame(rows, columns=["subject", "cell", "value"])
    other = MixedLM.from_formula(
        "value ~ 1", frame, groups="subject", re_formula="1", vc_formula={"cell": "0 + C(cell)"}
    ).fit(reml=True)
    assert found.nested.within_sd.estimate**2 == pytest.approx(other.scale, rel=1e-3)
    assert found.nested.between_sd.estimate**2 == pytest.approx(other.vcomp[0], rel=5e-3)
    assert found.nested.subject_sd**2 == pytest.approx(other.cov_re.iloc[0, 0], rel=5e-3)
    assert told(found, "different numbers of trials")
    assert found.trials_least, found.trials_most == (2, 4)


def test_more_trials_never_raise_the_sem_of_a_mean() -> None:
    parts = analyse(trials(drawn(8, 2, 6, 1.0, 3.0, 7))).nested
    assert parts is not None
    assert parts.sem_of_mean.estimate <= parts.sem_single.estimate


@given(st.permutations(range(5)))
def test_trials_in_another_order_change_nothing(order: list[int]) -> None:
    table = np.array(drawn(6, 2, 5, 1.0, 2.0, 9))
    one, other = analyse(trials(table.tolist())), analyse(trials(table[..., order].tolist()))
    assert numbers(one) == pytest.approx(numbers(other))
    assert one.nested is not None
    assert other.nested is not None
    assert one.nested.between_sd.estimate == pytest.approx(other.nested.between_sd.estimate)


def test_sessions_that_differ_no_more_than_their_trials_have_no_part_of_their_own() -> None:
    table = [[[1.0, 9.0], [9.5, 4.0]], [[2.0, 8.0], [7.0, 6.0]], [[4.0, 14.0], [13.0, 8.0]]]
    found = analyse(trials(table))
    assert found.nested is not None
    assert found.nested.between_sd.estimate == 0.0
    assert found.nested.negative == ("session",)
    assert found.nested.between_sd.high > 0.0
    # The SEM of a mean is then that of its trials.
    assert found.nested.sem_of_mean.estimate == pytest.approx(
        found.nested.within_sd.estimate / math.sqrt(2)
    )
    assert told(found, "between-session variance came out below zero")


def test_trials_without_any_spread_leave_all_error_to_the_sessions() -> None:
    found = analyse(trials([[[1.0, 1.0], [2.0, 2.0]], [[4.0, 4.0], [3.5, 3.5]], [[8.0] * 2] * 2]))
    assert found.nested is not None
    assert found.nested.within_sd.estimate == 0.0
    assert found.nested.between_sd.estimate == pytest.approx(found.sem_one_way.estimate)
    assert found.bland_altman is not None
    assert found.bland_altman.single_trial_sd == pytest.approx(found.bland_altman.sd)


def test_one_subject_with_trials_has_parts_without_a_spread_of_subjects() -> None:
    even = analyse(trials([[[1.0, 2.0], [3.0, 5.0], [2.0, 2.5]]])).nested
    ragged = analyse(trials([[[1.0, 2.0, 1.4], [3.0, 5.0], [2.0, 2.5]]])).nested
    for parts in (even, ragged):
        assert parts is not None
        assert math.isnan(parts.subject_sd)
        assert parts.between_sd.estimate > 0.0


def test_means_that_were_given_as_means_have_no_parts() -> None:
    table = pd.DataFrame(
        {"subject": list("aabbcc"), "session": ["1", "2"] * 3, "value": [1.0, 2, 4, 6, 5, 5],
         "trials_in_value": 5}
    )  # fmt: skip
    found = analyse(readings_of(table))
    assert found.nested is None
    assert (found.trials_least, found.trials_most) == (5, 5)
    assert told(found, "means already")
    assert found.bland_altman is not None
    assert found.bland_altman.single_trial_sd is None


def test_limits_without_any_spread_of_means_have_no_limits_of_single_trials() -> None:
    found = analyse(trials([[[1.0, 3.0], [1.0, 3.0]], [[4.0, 6.0]] * 2, [[9.0, 9.5]] * 2]))
    assert found.bland_altman is not None
    assert math.isnan(found.bland_altman.single_trial_lower or 0.0)


def test_the_sem_of_a_mean_with_known_parts_is_found_again() -> None:
    squares = NestedSquares(
        sessions=5 * 4.0 + 9.0, trials=9.0, per_session=5.0, df_sessions=20, df_trials=160,
        subject_variance=25.0, method=Method.ANOVA,
    )  # fmt: skip
    parts = nested_parts(squares)
    assert parts.between_sd.estimate == pytest.approx(2.0)
    assert parts.sem_of_mean.estimate == pytest.approx(math.sqrt(4.0 + 9.0 / 5))
    assert parts.subject_sd == 5.0


# Raters


def rated(raters: int, sessions: int, seed: int = 11, n: int = 8) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    of_rater, of_session = rng.normal(0, 2, raters), rng.normal(0, 1, sessions)
    for subject in range(n):
        truth = rng.normal(50, 6)
        for rater in range(raters):
            for session in range(sessions):
                error = of_rater[rater] + of_session[session] + rng.normal(0, 1)
                rows.append((f"s{subject}", f"day {session}", f"r{rater}", truth + error))
    return pd.DataFrame(rows, columns=["subject", "session", "rater", "value"])


def test_raters_of_one_session_are_compared_and_said_to_leave_out_the_day() -> None:
    found = analyse(readings_of(rated(3, 1)))
    assert (found.n_sessions, found.n_raters, found.occasions) == (1, 3, ("r0", "r1", "r2"))
    assert math.isfinite(found.icc["ICC(2,1)"].estimate)
    assert told(found, "leave out what another day adds")
    assert found.raters is None


def test_raters_and_sessions_are_told_apart_where_every_rater_reads_every_session() -> None:
    found = analyse(readings_of(rated(3, 3)))
    assert found.occasions[0] == "day 0, r0"
    parts = found.raters
    assert parts is not None
    assert set(parts.components) == {
        "subject", "rater", "session", "subject_rater", "subject_session", "error",
    }  # fmt: skip
    assert parts.components["rater"] > parts.components["error"]
    assert parts.sem_other_rater_and_session >= max(parts.sem_same_rater, parts.sem_same_session)


def test_raters_who_read_different_sessions_are_not_told_apart() -> None:
    table = rated(2, 2)
    own = table[(table["rater"] == "r0") == (table["session"] == "day 0")]
    found = analyse(readings_of(own))
    assert found.raters is None
    assert len(found.occasions) == 2
    alike = analyse(readings_of(table.assign(value=3.0)))
    assert alike.raters is None


# Grades


def test_grades_that_never_differ_leave_kappa_untold() -> None:
    found = grading(np.array([[1.0, 1.0]] * 4), (0.0, 1.0, 2.0))
    assert found is not None
    assert math.isnan(found.quadratic.estimate)
    assert found.step95 == 0


def test_nobody_graded_twice_or_one_grade_only_tells_nothing() -> None:
    assert grading(np.array([[1.0, np.nan]]), (0.0, 1.0)) is None
    assert grading(np.array([[0.0, 0.0]]), (0.0,)) is None


def test_the_grade_step_is_what_nineteen_in_twenty_pairs_keep_within() -> None:
    one_apart = np.array([[1.0, 1.0]] * 19 + [[0.0, 1.0]])
    found = grading(one_apart, (0.0, 1.0, 2.0))
    assert found is not None
    assert (found.step95, found.pairs) == (0, 20)
    found = grading(np.vstack([one_apart, [[0.0, 2.0]]]), (0.0, 1.0, 2.0))
    assert found is not None
    assert found.step95 == 1


def test_three_gradings_use_every_pair() -> None:
    places = np.array([[0, 0, 1], [1, 1, 1], [2, 2, 2], [2, 1, 2], [0, np.nan, 0]], dtype=float)
    found = grading(places, (0.0, 1.0, 2.0))
    assert found is not None
    assert found.pairs == 13
    assert found.quadratic.low < found.quadratic.estimate < found.quadratic.high
    two = kappa_of_many(places[:2], 3, np.eye(3))
    assert math.isfinite(two.estimate)
    assert math.isnan(two.se)


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=4, max_size=30))
def test_swapping_the_gradings_leaves_kappa(pairs: list[tuple[int, int]]) -> None:
    table = np.zeros((4, 4))
    for first, second in pairs:
        table[first, second] += 1
    weights = agreement_weights(4, Weighting.QUADRATIC)
    one, other = weighted_kappa(table, weights), weighted_kappa(table.T, weights)
    # A standard error of nothing is the root of what rounding leaves of a variance.
    assert (one.estimate, one.se) == pytest.approx(
        (other.estimate, other.se), abs=1e-6, nan_ok=True
    )


def test_grades_are_analysed_with_their_kappa_and_a_warning_about_few_pairs() -> None:
    readings = of_table([[0, 1], [2, 2], [1, 1], [2, 1], [0, 0]])
    found = analyse(readings, grades=(0.0, 1.0, 2.0))
    assert found.grading is not None
    assert found.log_scale is None
    assert told(found, "5 pairs of grades are few")
    many = analyse(of_table([[0, 0], [1, 1], [2, 2]] * 20), grades=(0.0, 1.0, 2.0))
    assert not told(many, "pairs of grades")
    once = analyse(of_table([[0.0], [1.0]]), grades=(0.0, 1.0))
    assert once.grading is None


def test_means_of_grades_have_no_kappa() -> None:
    found = analyse(trials([[[0.0, 1.0], [1.0, 1.0]], [[2.0, 2.0], [2.0, 1.0]]]), grades=(0, 1, 2))
    assert found.grading is None
    assert told(found, "Kappa is left out")


# Concordance


def test_concordance_without_correlation_has_no_interval() -> None:
    found = concordance(np.array([1.0, 2.0, 3.0, 2.0]), np.array([1.0, 2.0, 1.0, 0.0]))
    assert found.estimate == 0.0
    assert math.isnan(found.low)
    assert math.isnan(found.accuracy)


def test_concordance_is_left_out_where_one_occasion_has_no_spread() -> None:
    assert study([[1.0, 2.0], [1.0, 3.0], [1.0, 5.0]]).concordance is None


def test_the_cells_of_a_table_know_their_trials() -> None:
    table = cell_table(trials([[[1.0, 3.0], [4.0]], [[2.0], [6.0, 8.0]]]))
    assert table.mean.tolist() == [[2.0, 4.0], [2.0, 7.0]]
    assert table.trials.tolist() == [[2, 1], [1, 2]]
    assert table.complete
