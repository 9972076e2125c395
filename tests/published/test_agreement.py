"""Limits of agreement and kappa against published examples and other software."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa

from casebook.statistics.repeatability.agreement import single_reading_sd
from casebook.statistics.repeatability.analysis import analyse
from casebook.statistics.repeatability.cells import readings_of
from casebook.statistics.repeatability.kappa import (
    Weighting,
    agreement_weights,
    grading,
    kappa_of_many,
    weighted_kappa,
)
from casebook.statistics.repeatability.results import BlandAltman, Repeatability
from casebook.statistics.repeatability.tolerance import both_limits_factor, one_limit_factor
from tests.published.repeat_data import published, readings

CLOSED_FORM = 1e-9
THROUGH_A_QUANTILE = 1e-6
NUMERIC_INTEGRATION = 1e-4


def study(name: str, *columns: str) -> Repeatability:
    return analyse(readings(published(name), columns))


def limits(name: str, *columns: str) -> BlandAltman:
    found = study(name, *columns).bland_altman
    assert found is not None
    return found


# Bland & Altman 1986, peak flow by two meters, first readings, large meter minus mini meter.
# Computed by R 4.2.2; the published numbers (from memory) are rounded, and use 2 SD.
def test_the_limits_of_the_peak_flow_example_are_met() -> None:
    found = limits("pefr_bland_altman_1986", "mini1", "wright1")
    assert found.n == 17
    assert (found.bias, found.sd, found.se) == pytest.approx(
        (-2.1176470588, 38.7651298736, 9.4019250035), rel=CLOSED_FORM
    )
    assert (found.bias_low, found.bias_high) == pytest.approx(
        (-22.0488376966, 17.8135435790), rel=THROUGH_A_QUANTILE
    )
    assert (found.lower, found.upper) == pytest.approx(
        (-78.0959054671, 73.8606113495), rel=THROUGH_A_QUANTILE
    )
    assert (round(found.bias, 1), round(found.sd, 1), round(found.se, 1)) == (-2.1, 38.8, 9.4)
    # 2 SD from the rounded -2.1 and 38.8: -79.7 and 75.5 in print.
    assert found.bias - 2 * found.sd == pytest.approx(-79.7, abs=0.1)
    assert found.bias + 2 * found.sd == pytest.approx(75.5, abs=0.1)


# Approximate intervals of the limits (Bland & Altman 1999): computed by R 4.2.2.
def test_the_approximate_intervals_of_the_limits_are_met() -> None:
    found = limits("pefr_bland_altman_1986", "mini1", "wright1")
    assert (found.lower_low, found.lower_high, found.upper_low, found.upper_high) == pytest.approx(
        (-112.85155314, -43.34025779, 39.10496368, 108.61625902), rel=THROUGH_A_QUANTILE
    )


# Exact intervals: factors by R's noncentral t and by numerical integration, independently.
def test_the_exact_intervals_of_the_limits_are_met() -> None:
    found = limits("pefr_bland_altman_1986", "mini1", "wright1").exact
    assert [found[end] for end in ("lower_low", "lower_high", "upper_low", "upper_high")] == (
        pytest.approx([-124.16079829, -53.09493142, 48.85963730, 119.92550418], rel=1e-7)
    )
    pair = [found[f"pair_{end}"] for end in ("lower_low", "lower_high", "upper_low", "upper_high")]
    assert pair == pytest.approx([-121.607668, -59.877365, 55.642071, 117.372374], rel=1e-6)


@pytest.mark.parametrize(
    ("confidence", "factor"), [(0.025, 1.3150293711), (0.5, 1.9982284800), (0.975, 3.1482714397)]
)
def test_the_factors_of_one_limit_are_those_of_noncentral_t(
    confidence: float, factor: float
) -> None:
    assert one_limit_factor(17, confidence) == pytest.approx(factor, abs=NUMERIC_INTEGRATION)


# Two-sided tolerance factors; the first three are tabled (ISO 16269-6, from memory).
@pytest.mark.parametrize(
    ("n", "confidence", "level", "factor"),
    [
        (10, 0.95, 0.95, 3.39342947871),
        (20, 0.95, 0.95, 2.76034617845),
        (10, 0.95, 0.90, 2.85631084858),
        (17, 0.025, 0.95, 1.48999160),
        (17, 0.975, 0.95, 3.08240992),
    ],
)
def test_two_sided_tolerance_factors_are_met(
    n: int, confidence: float, level: float, factor: float
) -> None:
    found = both_limits_factor(n, confidence, level=level)
    assert found == pytest.approx(factor, abs=NUMERIC_INTEGRATION)


# Correlation of difference and mean 0.0837 (p 0.75) in R: no error that grows with the mean.
# Kendall's tau of spread and mean is another test; here it is below zero, so nothing grows.
def test_the_peak_flow_error_does_not_grow_with_the_mean() -> None:
    growing = study("pefr_bland_altman_1986", "mini1", "wright1").growing_error
    assert growing is not None
    assert not growing.grows


# Repeatability of each meter: SD within subjects about zero difference (1986), R 4.2.2.
@pytest.mark.parametrize(
    ("columns", "bias", "sd", "within", "low", "high", "printed"),
    [
        (("wright1", "wright2"), 4.9411764706, 21.7240379195, 15.3066690579,
         11.4859345842, 22.9469009274, 43.2),
        (("mini1", "mini2"), -2.8823529412, 28.8723101625, 19.9108306324,
         14.9408403158, 29.8492020815, 56.4),
    ],
)  # fmt: skip
def test_the_repeatability_of_each_meter_is_met(
    columns: tuple[str, ...], bias: float, sd: float, within: float, low: float, high: float,
    printed: float,
) -> None:  # fmt: skip
    both = readings(published("pefr_bland_altman_1986"), columns)
    found = analyse(both, first_minus_second=True)
    assert found.bland_altman is not None
    assert (found.bland_altman.bias, found.bland_altman.sd) == pytest.approx(
        (bias, sd), rel=CLOSED_FORM
    )
    assert found.sem_one_way.estimate == pytest.approx(within, rel=CLOSED_FORM)
    assert (found.sem_one_way.low, found.sem_one_way.high) == pytest.approx(
        (low, high), rel=THROUGH_A_QUANTILE
    )
    # Published coefficient: twice the SD about zero, which was rounded to one decimal first.
    about_zero = math.sqrt(2) * found.sem_one_way.estimate
    assert 2 * round(about_zero, 1) == pytest.approx(printed, abs=0.05)


# Replicates: means of two readings compared, limits of single ones (Bland & Altman 1999).
def test_the_limits_of_single_readings_are_got_from_means_of_two() -> None:
    table = published("pefr_bland_altman_1986")
    long = table.melt("subject")
    long = long.assign(session=long["variable"].str[:-1], trial=long["variable"].str[-1])
    found = analyse(readings_of(long, sessions=("mini", "wright"))).bland_altman
    assert found is not None
    assert (found.bias, found.sd) == pytest.approx((-6.0294117647, 33.2041368790), rel=CLOSED_FORM)
    assert found.single_trial_sd == pytest.approx(37.6547786203, rel=CLOSED_FORM)
    assert (found.single_trial_lower, found.single_trial_upper) == pytest.approx(
        (-79.83277786, 67.77395433), abs=2e-3
    )  # printed with 1.96 in place of the quantile
    assert found.single_trial_sd == pytest.approx(37.7, abs=0.05)


# Bland & Altman 1999: printed intermediate numbers (from memory), 3 replicates of each method.
def test_the_replicate_formula_gives_the_printed_blood_pressure_limits() -> None:
    sd = single_reading_sd(358.493, (37.408, 83.141), (3, 3))
    assert sd**2 == pytest.approx(438.859, abs=5e-4)
    assert sd == pytest.approx(20.949, abs=5e-4)
    assert (-15.62 - 1.96 * sd, -15.62 + 1.96 * sd) == pytest.approx((-56.68, 25.44), abs=5e-3)


# Altman et al. 2000, p. 31: mean rise 6.6, SD 6.0, SE 1.49, interval 3.4 to 9.8; more digits by
# R t.test. The standardised response mean is bias over SD.
def test_the_blood_pressure_rise_after_exercise_is_met() -> None:
    found = limits("sbp_exercise_altman2000", "before", "after")
    assert (found.bias, found.sd, found.se, found.t) == pytest.approx(
        (6.625, 5.9651767227, 1.4912941807, 4.4424501120), rel=CLOSED_FORM
    )
    assert found.p == pytest.approx(0.000474820695, rel=THROUGH_A_QUANTILE)
    assert (found.bias_low, found.bias_high) == pytest.approx(
        (3.4463816963, 9.8036183037), rel=THROUGH_A_QUANTILE
    )
    assert found.bias / found.sd == pytest.approx(1.1106125280, rel=CLOSED_FORM)
    assert (round(found.bias_low, 1), round(found.bias_high, 1)) == (3.4, 9.8)


# Lin's concordance of the same peak flow readings: R epiR 2.0.57 epi.ccc, z-transform.
def test_lins_concordance_is_that_of_other_software() -> None:
    found = study("pefr_bland_altman_1986", "wright1", "mini1").concordance
    assert found is not None
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (0.9427424314, 0.8504918732, 0.9787262792), rel=THROUGH_A_QUANTILE
    )
    assert found.location_shift == pytest.approx(0.0190302500916, rel=THROUGH_A_QUANTILE)
    assert 1 / found.scale_shift == pytest.approx(0.972509121336, rel=THROUGH_A_QUANTILE)
    assert found.accuracy == pytest.approx(0.999430693136, rel=THROUGH_A_QUANTILE)
    assert found.pearson == pytest.approx(0.9432794469, rel=CLOSED_FORM)


# An identity: doubled readings differ by ln 2 in the logarithm, without any spread.
def test_doubled_readings_have_a_ratio_of_two_on_the_log_scale() -> None:
    table = published("weir_2005")
    found = analyse(readings(table.assign(twice=2 * table["A1"]), ("A1", "twice"))).log_scale
    assert found is not None
    assert found.ratio_bias == pytest.approx(2.0, rel=CLOSED_FORM)
    assert (found.ratio_lower, found.ratio_upper) == pytest.approx((2.0, 2.0), rel=1e-9)


SEXUAL_FUN = published("kappa_sexualfun").iloc[:, 1:].to_numpy(dtype=float)
THREE_BY_THREE = np.array([[0.0, 4.0, 1.0], [0.0, 8.0, 0.0], [0.0, 1.0, 5.0]])


# Hout et al. 1987 in Agresti 1990, and the table of a SAS printout read in the test-suite of
# statsmodels; numbers by R vcd 1.4-11 and statsmodels, which agree.
@pytest.mark.parametrize(
    ("table", "weighting", "kappa", "se", "low", "high"),
    [
        (SEXUAL_FUN, Weighting.UNWEIGHTED, 0.12933025404, 0.068598532481,
         -0.0051203990129, 0.26378090710),
        (SEXUAL_FUN, Weighting.LINEAR, 0.23738062756, 0.078316334778,
         0.0838834319912, 0.39087782312),
        (SEXUAL_FUN, Weighting.QUADRATIC, 0.33204558625, 0.097297521959,
         0.1413459474230, 0.52274522507),
        (THREE_BY_THREE, Weighting.UNWEIGHTED, 0.48416289593, 0.13801357831,
         0.213661253071, 0.75466453878),
        (THREE_BY_THREE, Weighting.LINEAR, 0.47011952191, 0.14574604514,
         0.184462522545, 0.75577652128),
        (THREE_BY_THREE, Weighting.QUADRATIC, 0.45016077170, 0.19223266336,
         0.073391674872, 0.82692986854),
    ],
)  # fmt: skip
def test_kappa_has_its_published_value_and_interval(
    table: np.ndarray, weighting: Weighting, kappa: float, se: float, low: float, high: float
) -> None:
    found = weighted_kappa(table, agreement_weights(len(table), weighting))
    assert (found.estimate, found.se) == pytest.approx((kappa, se), rel=CLOSED_FORM)
    assert (found.low, found.high) == pytest.approx((low, high), rel=THROUGH_A_QUANTILE)


# The printed digits: kappa .129 (.0686) and linear .237 (.0783) from memory; 0.4842 (0.1380) and
# 0.4701 (0.1457) read on the printout.
def test_printed_kappas_are_met() -> None:
    def rounded(table: np.ndarray, weighting: Weighting, digits: int) -> tuple[float, float]:
        found = weighted_kappa(table, agreement_weights(len(table), weighting))
        return round(found.estimate, digits), round(found.se, 4)

    assert rounded(SEXUAL_FUN, Weighting.UNWEIGHTED, 3) == (0.129, 0.0686)
    assert rounded(SEXUAL_FUN, Weighting.LINEAR, 3) == (0.237, 0.0783)
    assert rounded(THREE_BY_THREE, Weighting.UNWEIGHTED, 4) == (0.4842, 0.1380)
    assert rounded(THREE_BY_THREE, Weighting.LINEAR, 4) == (0.4701, 0.1457)


# statsmodels computes kappa and its standard error on its own.
@pytest.mark.parametrize(
    ("weighting", "other"),
    [(Weighting.UNWEIGHTED, None), (Weighting.LINEAR, "linear"), (Weighting.QUADRATIC, "fc")],
)
@pytest.mark.parametrize("table", [SEXUAL_FUN, THREE_BY_THREE], ids=["4x4", "3x3"])
def test_statsmodels_finds_the_same_kappa(
    table: np.ndarray, weighting: Weighting, other: str | None
) -> None:
    expected = cohens_kappa(table, wt=other)
    found = weighted_kappa(table, agreement_weights(len(table), weighting))
    assert (found.estimate, found.se) == pytest.approx((expected.kappa, expected.std_kappa))


# Cohen 1968: proportions and weights of disagreement; .492 and .348 read in R psych's help.
def test_cohens_own_weights_give_his_printed_numbers() -> None:
    proportions = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])
    disagreement = np.array([[0.0, 1.0, 3.0], [1.0, 0.0, 6.0], [3.0, 6.0, 0.0]])
    plain = weighted_kappa(proportions, np.eye(3)).estimate
    weighted = weighted_kappa(proportions, 1 - disagreement / 6).estimate
    assert (plain, weighted) == pytest.approx((0.4915254237, 0.3478260870), rel=CLOSED_FORM)
    assert (round(plain, 3), round(weighted, 3)) == (0.492, 0.348)


# Fleiss 1971: R irr's 0.4302445 read in the tests of statsmodels; statsmodels computes the rest.
def test_fleiss_kappa_of_his_diagnoses_is_met() -> None:
    codes = published("fleiss1971_diagnoses").drop(columns="patient").to_numpy(dtype=float) - 1
    found = kappa_of_many(codes, 5, np.eye(5))
    counts = np.stack([(codes == grade).sum(axis=1) for grade in range(5)], axis=1)
    assert found.estimate == pytest.approx(0.43024452006014074, rel=CLOSED_FORM)
    assert found.estimate == pytest.approx(fleiss_kappa(counts), rel=CLOSED_FORM)


def test_a_table_of_pairs_and_its_single_pairs_give_one_kappa() -> None:
    pairs = [
        (row, column)
        for (row, column), count in np.ndenumerate(THREE_BY_THREE)
        for _ in range(int(count))
    ]
    found = grading(np.array(pairs, dtype=float), (0.0, 1.0, 2.0))
    assert found is not None
    assert found.quadratic.estimate == pytest.approx(0.45016077170, rel=CLOSED_FORM)
    assert (found.pairs, found.step95) == (19, 2)
    assert found.step_shares == pytest.approx((13 / 19, 5 / 19, 1 / 19))
