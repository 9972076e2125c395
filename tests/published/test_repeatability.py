"""Repeatability against published examples and other software; data/repeatability.source.md."""

from __future__ import annotations

import math
from importlib.resources import files
from importlib.resources.abc import Traversable

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from casebook.statistics.repeatability.analysis import analyse
from casebook.statistics.repeatability.likelihood import fit_reml
from casebook.statistics.repeatability.mean_squares import two_way_mean_squares
from casebook.statistics.repeatability.results import Method, Repeatability
from tests.published.repeat_data import DATA, published, readings

CLOSED_FORM = 1e-9
THROUGH_A_QUANTILE = 1e-6
JUDGES = ("J1", "J2", "J3", "J4")


def study(name: str, *columns: str) -> Repeatability:
    return analyse(readings(published(name), columns))


# Estimates and limits printed by R 4.2.2, psych 2.2.9 ICC(lmer = FALSE), to 8 digits; the data
# sets are Shrout & Fleiss 1979, Weir 2005 A and B, and the wine ratings.
ICC = {
    ("icc_shrout_fleiss_1979", JUDGES): {
        "ICC(1,1)": (0.16574177, -0.132932325, 0.72256006),
        "ICC(2,1)": (0.28976378, 0.018786513, 0.76108437),
        "ICC(3,1)": (0.71484071, 0.342464765, 0.94585826),
        "ICC(1,k)": (0.44279713, -0.884442155, 0.91241542),
        "ICC(2,k)": (0.62005055, 0.071136815, 0.92723204),
        "ICC(3,k)": (0.90931554, 0.675674714, 0.98589168),
    },
    ("weir_2005", ("A1", "A2")): {
        "ICC(1,1)": (0.95005310, 0.79212994, 0.98959864),
        "ICC(2,1)": (0.94997507, 0.78695851, 0.98963689),
        "ICC(3,1)": (0.94701614, 0.76067849, 0.98916281),
        "ICC(1,k)": (0.97438690, 0.88400950, 0.99477213),
        "ICC(2,k)": (0.97434586, 0.88077984, 0.99479146),
        "ICC(3,k)": (0.97278715, 0.86407427, 0.99455188),
    },
    ("weir_2005", ("B1", "B2")): {
        "ICC(1,1)": (0.55890973, -0.12332504, 0.89080194),
        "ICC(2,1)": (0.55274889, -0.18317165, 0.89117494),
        "ICC(3,1)": (0.53772767, -0.20050263, 0.88646257),
        "ICC(1,k)": (0.71705208, -0.28134725, 0.94224775),
        "ICC(2,k)": (0.71196172, -0.44849485, 0.94245638),
        "ICC(3,k)": (0.69937958, -0.50157169, 0.93981464),
    },
    ("wine_ratings", ("A", "B", "C", "D")): {
        "ICC(1,1)": (0.72752092, 0.43377283, 0.92669603),
        "ICC(2,1)": (0.72768879, 0.43448966, 0.92670861),
        "ICC(3,1)": (0.72948650, 0.42614603, 0.92789526),
        "ICC(1,k)": (0.91438375, 0.75395532, 0.98060787),
        "ICC(2,k)": (0.91445004, 0.75449622, 0.98061139),
        "ICC(3,k)": (0.91515856, 0.74813712, 0.98094325),
    },
}


@pytest.mark.parametrize(("name", "columns"), ICC, ids=str)
def test_all_six_iccs_have_their_published_values_and_intervals(
    name: str, columns: tuple[str, ...]
) -> None:
    found = study(name, *columns).icc
    for form, (estimate, low, high) in ICC[name, columns].items():
        assert found[form].estimate == pytest.approx(estimate, abs=6e-9), form
        assert found[form].low == pytest.approx(low, rel=THROUGH_A_QUANTILE, abs=6e-9), form
        assert found[form].high == pytest.approx(high, rel=THROUGH_A_QUANTILE), form


# Shrout & Fleiss 1979, published to two decimals (from memory).
def test_shrout_and_fleiss_rounded_table_is_met() -> None:
    found = study("icc_shrout_fleiss_1979", *JUDGES).icc
    published_as = dict(zip(found, (0.17, 0.29, 0.71, 0.44, 0.62, 0.91), strict=True))
    assert {form: round(one.estimate, 2) for form, one in found.items()} == published_as


# Mean squares: exact fractions of the data; printed by R anova(lm()). pingouin 0.7.0 printed the
# last digits of ICC(C,1), which is Cronbach's alpha for k.
def test_the_mean_squares_of_shrout_and_fleiss_data_are_exact() -> None:
    found = study("icc_shrout_fleiss_1979", *JUDGES)
    assert found.method is Method.ANOVA
    squares = found.mean_squares
    assert squares is not None
    assert squares.between_subjects == pytest.approx(11 + 29 / 120, rel=CLOSED_FORM)
    assert squares.between_occasions == pytest.approx(32 + 35 / 72, rel=CLOSED_FORM)
    assert squares.error == pytest.approx(1 + 7 / 360, rel=CLOSED_FORM)
    assert squares.within == pytest.approx(6 + 19 / 72, rel=CLOSED_FORM)
    assert found.icc["ICC(3,1)"].estimate == pytest.approx(0.7148407148407154, rel=CLOSED_FORM)
    assert found.icc["ICC(3,k)"].estimate == pytest.approx(0.9093155423770697, rel=CLOSED_FORM)


# SEM with chi-square interval, MDC at both levels: computed by R 4.2.2.
@pytest.mark.parametrize(
    ("name", "columns", "sem", "low", "high", "mdc95", "mdc90"),
    [
        ("icc_shrout_fleiss_1979", JUDGES,
         1.0096754154, 0.7458521341, 1.5626657782, 2.7986260391, 2.3486810100),
        ("weir_2005", ("A1", "A2"),
         7.5569268130, 4.9964446534, 15.3804022346, 20.9463475410, 17.5787289950),
        ("weir_2005", ("B1", "B2"),
         7.5569268130, 4.9964446534, 15.3804022346, 20.9463475410, 17.5787289950),
        ("wine_ratings", ("A", "B", "C", "D"),
         1.5103807467, 1.1620134704, 2.1584317906, 4.1864849061, 3.5134088873),
    ],
)  # fmt: skip
def test_sem_and_mdc_have_their_tabled_values(
    name: str, columns: tuple[str, ...], sem: float, low: float, high: float, mdc95: float,
    mdc90: float,
) -> None:  # fmt: skip
    found = study(name, *columns)
    assert found.sem_consistency.estimate == pytest.approx(sem, rel=CLOSED_FORM)
    assert found.sem_consistency.low == pytest.approx(low, rel=THROUGH_A_QUANTILE)
    assert found.sem_consistency.high == pytest.approx(high, rel=THROUGH_A_QUANTILE)
    assert found.mdc95.consistency == pytest.approx(mdc95, rel=THROUGH_A_QUANTILE)
    assert found.mdc90.consistency == pytest.approx(mdc90, rel=THROUGH_A_QUANTILE)
    assert found.mdc95.consistency_high / found.mdc95.consistency == pytest.approx(
        high / sem, rel=THROUGH_A_QUANTILE
    )


# SEM within subjects, sqrt(MSW), with its chi-square interval: computed by R 4.2.2.
@pytest.mark.parametrize(
    ("name", "columns", "sem", "low", "high"),
    [
        ("icc_shrout_fleiss_1979", JUDGES, 2.5027762363, 1.8911293420, 3.7011669066),
        ("weir_2005", ("A1", "A2"), 7.3314391493, 4.9520721457, 14.0453576523),
        ("wine_ratings", ("A", "B", "C", "D"), 1.5172617880, 1.1847210491, 2.1107420251),
    ],
)
def test_the_sem_within_subjects_has_its_tabled_value(
    name: str, columns: tuple[str, ...], sem: float, low: float, high: float
) -> None:
    found = study(name, *columns).sem_one_way
    assert found.estimate == pytest.approx(sem, rel=CLOSED_FORM)
    assert found.low == pytest.approx(low, rel=THROUGH_A_QUANTILE)
    assert found.high == pytest.approx(high, rel=THROUGH_A_QUANTILE)


# sqrt(var of occasions + MSE) is sqrt(MSW) where MSC >= MSE (an identity of the mean squares).
def test_the_sem_for_agreement_is_the_one_within_subjects_where_occasions_differ() -> None:
    found = study("icc_shrout_fleiss_1979", *JUDGES)
    assert found.sem_agreement.estimate == pytest.approx(2.5027762363, rel=CLOSED_FORM)
    assert found.mdc95.agreement == pytest.approx(6.9372143147, rel=THROUGH_A_QUANTILE)


# Weir 2005: MSC 30.25 < MSE 57.107, so the variance of trials is negative; taken as zero it
# leaves sqrt(MSE) = 7.5569, and not sqrt(MSW) = 7.3314. It is said in words.
@pytest.mark.parametrize("columns", [("A1", "A2"), ("B1", "B2")])
def test_a_negative_component_is_taken_as_zero_and_explained(columns: tuple[str, ...]) -> None:
    found = study("weir_2005", *columns)
    assert found.components is not None
    assert found.components.occasion == 0.0
    assert found.components.negative == ("occasion",)
    assert found.sem_agreement.estimate == pytest.approx(7.5569268130, rel=CLOSED_FORM)
    assert any("below zero" in warning and "taken as zero" in warning for warning in found.warnings)


# Weir's lesson: the same error, however different the ICC.
def test_the_same_error_gives_the_same_mdc_whatever_the_icc() -> None:
    wide, narrow = study("weir_2005", "A1", "A2"), study("weir_2005", "B1", "B2")
    assert wide.mdc95 == narrow.mdc95
    assert wide.icc["ICC(3,1)"].estimate - narrow.icc["ICC(3,1)"].estimate > 0.4
    limits = wide.bland_altman
    assert limits is not None
    assert limits.sd / math.sqrt(2) == pytest.approx(7.5569268130, rel=CLOSED_FORM)
    assert limits.t == pytest.approx(-0.7278090864, rel=CLOSED_FORM)
    assert limits.p == pytest.approx(0.4903526105, rel=THROUGH_A_QUANTILE)


# REML by R lme4 1.1-31 on the full table and with target 3, judge J2 deleted (n = 23).
def test_reml_is_that_of_lme4_on_a_full_table() -> None:
    table = published("icc_shrout_fleiss_1979")[list(JUDGES)].to_numpy(dtype=float)
    row, column = np.nonzero(np.isfinite(table))
    fit = fit_reml(table.ravel(), [row, column])
    assert (*fit.variances, fit.residual) == pytest.approx(
        (2.5555556, 5.2444444, 1.0194444), rel=1e-6
    )
    assert fit.criterion == pytest.approx(91.27866712, abs=1e-7)


def test_reml_is_that_of_lme4_where_a_cell_is_missing() -> None:
    table = published("icc_shrout_fleiss_1979").astype({"J2": float})
    table.loc[2, "J2"] = np.nan
    found = analyse(readings(table, JUDGES))
    assert found.method is Method.REML
    parts = found.components
    assert parts is not None
    assert (parts.subject, parts.occasion, parts.error) == pytest.approx(
        (2.500909, 5.400188, 1.079679), rel=1e-5
    )
    assert found.icc["ICC(2,1)"].estimate == pytest.approx(0.2784736, rel=1e-5)
    assert found.icc["ICC(3,1)"].estimate == pytest.approx(0.6984632, rel=1e-5)
    values = table[list(JUDGES)].to_numpy(dtype=float)
    row, column = np.nonzero(np.isfinite(values))
    fit = fit_reml(values[np.isfinite(values)], [row, column])
    assert fit.mean == pytest.approx(5.27117417, abs=1e-5)
    assert fit.criterion == pytest.approx(88.81293904, abs=1e-4)


# statsmodels' MixedLM is an independent implementation: the wine ratings, wines in one group.
def test_reml_is_that_of_statsmodels_where_a_cell_is_missing() -> None:
    table = published("wine_ratings").melt("Wine", var_name="judge").drop(index=[3, 17])
    wine, judge = (table[name].factorize()[0] for name in ("Wine", "judge"))
    fit = fit_reml(table["value"].to_numpy(dtype=float), [wine, judge])
    parts = {"wine": "0 + C(Wine)", "judge": "0 + C(judge)"}
    other = MixedLM.from_formula(
        "value ~ 1", table, groups=np.ones(len(table)), re_formula="0", vc_formula=parts
    ).fit(reml=True)
    assert fit.mean == pytest.approx(other.fe_params.iloc[0], rel=1e-4)
    assert fit.residual == pytest.approx(other.scale, rel=1e-3)
    by_name = dict(zip(other.model.exog_vc.names, other.vcomp, strict=True))
    assert fit.variances == pytest.approx((by_name["wine"], by_name["judge"]), rel=1e-3, abs=1e-4)
    # Minus twice the log-likelihood, at least as good as the other's.
    assert fit.criterion <= -2 * other.llf + 1e-4


# NIST StRD SiRstv, certified sums of squares; ICC(1) by mpmath to 60 digits.
def test_certified_sums_of_squares_are_met() -> None:
    table = published("nist_sirstv")
    group, value = table.columns
    numbers = np.stack([part[value].to_numpy(dtype=float) for _, part in table.groupby(group)])
    squares = two_way_mean_squares(numbers)
    assert squares.between_subjects * 4 == pytest.approx(5.11462616e-02, rel=1e-11)
    assert squares.within * 20 == pytest.approx(2.16636560e-01, rel=1e-11)
    assert squares.between_subjects / squares.within == pytest.approx(1.18046237440255, rel=1e-11)
    assert math.sqrt(squares.within) == pytest.approx(1.04076068334656e-01, rel=1e-11)
    total = squares.between_subjects * 4 + squares.within * 20
    assert squares.between_subjects * 4 / total == pytest.approx(1.90999039051129e-01, rel=1e-11)
    wide = analyse(readings(_as_columns(numbers), list("abcde")))
    assert wide.icc["ICC(1,1)"].estimate == pytest.approx(0.0348351867768, rel=1e-9)


# NIST StRD SmLs07: values near 1e12 that differ in the first decimal; certified F 21. In the
# precision of the file's numbers as doubles 1e-3 is what can be had.
def test_large_readings_with_small_differences_keep_their_digits() -> None:
    treatment, value = np.loadtxt(_nist_file("SmLs07"), skiprows=60, unpack=True)
    numbers = np.stack([value[treatment == one] for one in np.unique(treatment)])
    assert numbers.shape == (9, 21)
    squares = two_way_mean_squares(numbers)
    assert squares.between_subjects * 8 == pytest.approx(1.68, rel=1e-3)
    assert squares.within * 180 == pytest.approx(1.8, rel=1e-3)
    assert squares.between_subjects / squares.within == pytest.approx(21.0, rel=1e-3)


def _as_columns(numbers: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(numbers, columns=list("abcde"))


def _nist_file(name: str) -> Traversable:
    return files("scipy") / "stats" / "tests" / "data" / "nist_anova" / f"{name}.dat"


def test_every_data_file_has_its_source_named() -> None:
    told = (DATA / "repeatability.source.md").read_text(encoding="utf-8")
    names = [*{name for name, _ in ICC}, "pefr_bland_altman_1986", "sbp_exercise_altman2000",
             "kappa_sexualfun", "fleiss1971_diagnoses", "nist_sirstv"]  # fmt: skip
    assert all(f"`{name}.csv`" in told for name in names)
