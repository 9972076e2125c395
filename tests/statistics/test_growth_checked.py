"""A fit of a growth model before its second judge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.growth.checked import checked_fit
from casebook.statistics.growth.model import RandomPart, fit_growth
from casebook.statistics.growth.reml import RemlFit, fit_reml, products_of
from casebook.statistics.growth.residuals import residual_checks
from casebook.statistics.growth.table import GrowthTable


def some_rows(n: int = 21) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows of subjects seen 2 to 6 times, on days of their own, in no order."""
    random = np.random.default_rng(11)
    subject = random.permutation(np.repeat(np.arange(n), random.integers(2, 7, n)))
    line = np.column_stack([np.ones(len(subject)), random.uniform(0, 6, len(subject))])
    own = random.multivariate_normal([0, 0], [[6.0, 0.5], [0.5, 0.8]], n)
    value = line @ [30.0, 0.4] + np.sum(own[subject] * line, axis=1)
    return subject, line, value + random.normal(0, 1.0, len(subject))


CASES = pytest.mark.parametrize(("columns", "correlated"), [(1, True), (2, False), (2, True)])


def fitted(columns: int, *, correlated: bool) -> RemlFit:
    subject, line, value = some_rows()
    products = products_of(subject, line, line[:, :columns], value)
    return fit_reml(products, correlated=correlated)


def judged(fit: RemlFit, columns: int, *, correlated: bool) -> tuple[RemlFit, FitCheck]:
    subject, line, value = some_rows()
    return checked_fit(subject, line, line[:, :columns], value, fit, correlated=correlated)


@CASES
def test_a_fit_at_the_top_is_confirmed_and_stays_as_it_is(columns: int, correlated: bool) -> None:
    fit = fitted(columns, correlated=correlated)
    assert judged(fit, columns, correlated=correlated) == (fit, FitCheck.AGREES)


@CASES
@pytest.mark.parametrize("wrong", ["variance", "fixed", "likelihood"])
def test_a_fit_that_is_not_is_put_right_by_the_other(
    columns: int, correlated: bool, wrong: str
) -> None:
    fit = fitted(columns, correlated=correlated)
    off = {
        "variance": replace(fit, factor=fit.factor * 1.05),
        "fixed": replace(fit, fixed=fit.fixed + 0.01 * fit.se),
        "likelihood": replace(fit, log_likelihood=fit.log_likelihood + 0.001),
    }[wrong]
    other, check = judged(off, columns, correlated=correlated)
    assert check is FitCheck.REFITTED
    # As near as statsmodels' own search comes to the top.
    assert other.fixed == pytest.approx(fit.fixed, rel=1e-3)
    assert other.se == pytest.approx(fit.se, rel=5e-3)
    assert other.random_covariance == pytest.approx(fit.random_covariance, abs=0.05)
    assert other.random_covariance == pytest.approx(
        other.residual_variance * other.factor @ other.factor.T
    )
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-3)


@pytest.mark.parametrize(
    "settings",
    # No step at all stands for a search that stops too early, no such way for one that breaks off.
    [{"method": "lbfgs", "maxiter": 1}, {"method": "newton"}],
)
def test_where_the_other_finds_nothing_either_it_is_said(
    monkeypatch: pytest.MonkeyPatch, settings: dict[str, object]
) -> None:
    fit = fitted(2, correlated=True)
    wrong = replace(fit, log_likelihood=fit.log_likelihood + 1)
    monkeypatch.setattr("casebook.statistics.growth.checked.SETTINGS", settings)
    assert judged(wrong, 2, correlated=True) == (wrong, FitCheck.UNCONFIRMED)


def test_a_line_without_any_scatter_has_no_other_fit() -> None:
    subject, line, _ = some_rows()
    value = line @ [3.0, 2.0]
    fit = fit_reml(products_of(subject, line, line, value))
    assert checked_fit(subject, line, line, value, fit)[1] is FitCheck.UNCONFIRMED


def test_a_table_without_any_scatter_is_one_line_and_raises_no_alarm() -> None:
    subject, line, _ = some_rows()
    table = GrowthTable(subject=subject, time=line[:, 1], value=line @ [3.0, 2.0])
    found = fit_growth(table)
    assert found.random is RandomPart.NONE
    assert found.fit.fixed == pytest.approx([3.0, 2.0])
    assert residual_checks(found, table).fitted == pytest.approx(table.value)


@pytest.mark.parametrize("level", [0.0, 20.0, 0.1])
def test_values_that_are_all_the_same_have_a_standard_error(level: float) -> None:
    """What is left of their squares is rounding, and may fall below 0."""
    subject, line, value = some_rows()
    same = np.full(len(value), level)
    found = fit_growth(GrowthTable(subject=subject, time=line[:, 1], value=same))
    assert np.all(found.fit.se >= 0)
    assert found.fit.residual_variance >= 0


def test_a_growth_model_says_what_its_judge_said() -> None:
    subject, line, value = some_rows()
    table = GrowthTable(subject=subject, time=line[:, 1], value=value)
    assert fit_growth(table).check is FitCheck.AGREES
    assert fit_growth(table, most=RandomPart.NONE).check is FitCheck.CLOSED_FORM
