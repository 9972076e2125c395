"""The fixed part of a growth model beyond time: groups, steps, doses; and what is left over."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS
from statsmodels.regression.mixed_linear_model import MixedLM

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.growth.courses import predict_course
from casebook.statistics.growth.model import RandomPart, fit_growth
from casebook.statistics.growth.residuals import (
    residual_checks,
    residuals_of,
    standardised_residuals,
)
from casebook.statistics.growth.table import (
    Covariate,
    GrowthTable,
    fixed_part,
    told_apart,
    without_what_cannot_be_told,
)


def a_cohort(n: int = 60) -> GrowthTable:
    """Runners before and after a start, of two kinds, with a dose and a speed of their own."""
    random = np.random.default_rng(3)
    subject = np.repeat(np.arange(n), 6)
    time = np.tile([-2.0, 0.0, 4.0, 8.0, 12.0, 20.0], n) + random.uniform(-0.9, 0.0, 6 * n)
    kind, dose, speed = (subject % 2), random.normal(size=n)[subject], random.normal(size=n)
    after = (time > 0).astype(float)
    own = random.multivariate_normal([0, 0], [[4.0, 0.0], [0.0, 0.02]], n)[subject]
    value = 20 + own[:, 0] + (0.3 + own[:, 1] + 0.1 * kind + 0.05 * dose) * time
    value = value + 1.5 * after + 0.8 * speed[subject] + random.normal(0, 1.0, 6 * n)
    return GrowthTable(
        subject=subject,
        time=time,
        value=value,
        group=kind.astype(np.int64),
        groups=("injury", "performance"),
        group_name="kind",
        covariates=(
            Covariate(name="phase[T.after]", value=after),
            Covariate(name="baseline_speed", value=speed[subject]),
            Covariate(name="adherence", value=dose, by_time=True),
        ),
    )


def test_the_extended_model_is_that_of_statsmodels_to_three_digits() -> None:
    table = a_cohort()
    found = fit_growth(table, error_variance=0.5)
    assert found.names == (
        "Intercept",
        "time",
        "kind[T.performance]",
        "time:kind[T.performance]",
        "phase[T.after]",
        "baseline_speed",
        "adherence",
        "time:adherence",
    )
    design, _ = fixed_part(table)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says when it stops early; it is held to less then
        theirs = MixedLM(table.value, design, groups=table.subject, exog_re=design[:, :2]).fit(
            reml=True, method="lbfgs"
        )
    assert found.random is RandomPart.CORRELATED
    assert found.check is FitCheck.AGREES
    assert found.fit.fixed == pytest.approx(theirs.fe_params, rel=5e-4, abs=1e-4)
    assert found.fit.se == pytest.approx(theirs.bse_fe, rel=5e-4)
    assert found.fit.log_likelihood >= theirs.llf - 1e-6
    assert found.error_share == pytest.approx(0.5 / found.fit.residual_variance)


def test_the_extended_model_finds_what_is_true() -> None:
    """Three of eight intervals of 99.7 % missing would be a chance below one in a million."""
    found = fit_growth(a_cohort(300))
    true = np.array([20.0, 0.3, 0.0, 0.1, 1.5, 0.8, 0.0, 0.05])
    assert np.all(np.abs(found.fit.fixed - true) < 3 * found.fit.se)


def test_courses_stand_where_the_covariates_are_put() -> None:
    table = a_cohort()
    found = fit_growth(table)
    when = np.array([8.0])
    before, _ = predict_course(found, table, when)
    after, _ = predict_course(found, table, when, at={"phase[T.after]": 1.0, "adherence": 2.0})
    step, dose, by_time = (
        found.fit.fixed[found.names.index(name)]
        for name in ("phase[T.after]", "adherence", "time:adherence")
    )
    assert after.mean - before.mean == pytest.approx([step + 2 * dose + 16 * by_time])


def test_what_the_rows_do_not_tell_apart_is_left_out_and_named() -> None:
    table = a_cohort(10)
    none = np.zeros(60)
    odd = (
        Covariate(name="nothing", value=none),
        Covariate(name="late", value=(table.time > 16).astype(float), by_time=True),
        Covariate(name="twice", value=2 * table.time, by_time=True),
        Covariate(name="still", value=none, by_time=True),
        Covariate(name="only_then", value=(np.arange(60) == 4).astype(float), by_time=True),
    )
    kept, left_out = without_what_cannot_be_told(
        replace(table, group=np.zeros(60, dtype=np.int64), covariates=odd)
    )
    assert left_out == (
        "kind",
        "nothing",
        "time:twice",
        "twice",
        "time:still",
        "still",
        "time:only_then",
    )
    assert [one.name for one in kept.covariates] == ["late", "only_then"]
    assert kept.groups == ()
    assert told_apart(kept)
    assert without_what_cannot_be_told(table) == (table, ())


def test_residuals_are_set_against_where_they_should_lie() -> None:
    table = a_cohort(200)
    found = fit_growth(table)
    checks = residual_checks(found, table)
    line = checks.fitted + residuals_of(found, table) * np.sqrt(found.fit.residual_variance)
    assert line == pytest.approx(table.value)
    # Normal errors of one size: a straight line of quantiles with slope 1, and an even spread.
    assert np.corrcoef(checks.residual, checks.expected)[0, 1] > 0.995
    assert checks.residual.std() == pytest.approx(1.0, abs=0.02)
    assert checks.beyond_2 == pytest.approx(0.0455, abs=0.015)
    assert checks.beyond_3 < 0.01
    assert abs(checks.widens) < 0.1
    assert not checks.far
    assert not checks.uneven
    rows = np.argsort(checks.residual)
    assert np.all(np.diff(checks.expected[rows]) > 0)


@pytest.mark.parametrize("most", list(RandomPart))
def test_residuals_are_in_the_sd_that_the_model_gives_them(most: RandomPart) -> None:
    """R P R of Nobre & Singer (2007, Biometrical Journal 49:863-875), written out as matrices."""
    table = a_cohort(12)
    found = fit_growth(table, most=most)
    x, _ = fixed_part(table)
    line = np.column_stack([np.ones(len(x)), table.time])[:, : len(found.fit.factor)]
    same = table.subject[:, None] == table.subject[None, :]
    noise = found.fit.residual_variance
    v = np.linalg.inv((line @ found.fit.random_covariance @ line.T) * same + noise * np.eye(len(x)))
    p = v - v @ x @ np.linalg.inv(x.T @ v @ x) @ x.T @ v
    left = noise * p @ table.value
    assert standardised_residuals(found, table) == pytest.approx(
        left / (noise * np.sqrt(np.diag(p))), abs=1e-6
    )


def test_without_own_lines_residuals_are_those_of_a_regression() -> None:
    table = a_cohort(8)
    found = fit_growth(table, most=RandomPart.NONE)
    theirs = OLS(table.value, fixed_part(table)[0]).fit().get_influence()
    assert standardised_residuals(found, table) == pytest.approx(theirs.resid_studentized_internal)


def test_a_row_that_a_line_is_bound_to_run_through_tells_nothing() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 9.0])
    table = GrowthTable(
        subject=np.arange(5),
        time=time,
        value=np.array([0.0, 1.5, 1.8, 3.1, 40.0]),
        covariates=(Covariate(name="late", value=(time > 8).astype(float)),),
    )
    found = standardised_residuals(fit_growth(table, most=RandomPart.NONE), table)
    assert found[-1] == 0.0
    assert np.all(np.abs(found[:-1]) > 0.1)


def test_without_any_scatter_residuals_are_in_the_unit_of_the_value() -> None:
    table = a_cohort(8)
    found = fit_growth(table, most=RandomPart.NONE)
    none = replace(found, fit=replace(found.fit, residual_variance=0.0))
    left = residuals_of(found, table) * np.sqrt(found.fit.residual_variance)
    assert standardised_residuals(none, table) == pytest.approx(left)


def test_even_residuals_of_few_rows_are_seldom_called_uneven() -> None:
    """Eight runners seen three times: a rank correlation of 0.2 came by chance in four of ten."""
    random = np.random.default_rng(4)
    subject, time = np.repeat(np.arange(8), 3), np.tile([0.0, 6.0, 12.0], 8)
    alarms = 0
    for _ in range(60):
        level = random.normal(20, 2, 8)[subject]
        value = level - 0.2 * time + random.normal(0, 1, 24)
        table = GrowthTable(subject=subject, time=time, value=value)
        checks = residual_checks(fit_growth(table, most=RandomPart.INTERCEPT), table)
        alarms += checks.far + checks.uneven
    assert alarms <= 12  # more than twice the 5 % of each: hardly ever by chance


def test_a_spread_that_grows_with_the_level_is_seen() -> None:
    table = a_cohort(100)
    random = np.random.default_rng(8)
    value = (10 + table.time) * np.exp(random.normal(0, 0.3, len(table.time)))
    wide = replace(table, value=value, covariates=(), group=None, groups=())
    checks = residual_checks(fit_growth(wide, most=RandomPart.NONE), wide)
    assert checks.widens > 0.3
    assert checks.uneven


def test_a_wrong_entry_is_seen_far_out() -> None:
    table = a_cohort(10)
    value = table.value.copy()
    value[[3, 21, 40]] += [15.0, -15.0, 15.0]
    wrong = replace(table, value=value)
    assert residual_checks(fit_growth(wrong, most=RandomPart.INTERCEPT), wrong).far


def test_residuals_of_a_level_course_have_no_spread_to_grow_with() -> None:
    time = np.tile([0.0, 1.0], 8)
    table = GrowthTable(
        subject=np.repeat(np.arange(8), 2), time=time, value=np.repeat([1.0, 3.0, 3.0, 1.0], 4)
    )
    level = replace(table, value=np.tile([1.0, 1.0, 3.0, 3.0], 4))
    found = fit_growth(level, most=RandomPart.NONE)
    assert residual_checks(found, level).widens == pytest.approx(0.0, abs=1e-9)
