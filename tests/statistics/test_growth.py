from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ttest_1samp, ttest_ind

from casebook.statistics.growth.courses import predict_course
from casebook.statistics.growth.model import RandomPart, StepDown, fit_growth
from casebook.statistics.growth.reml import products_of, restricted_log_likelihood
from casebook.statistics.growth.residuals import residuals_of
from casebook.statistics.growth.table import GrowthTable


def a_table(
    *, level: float = 3.0, slope: float = 0.5, noise: float = 1.0, times: int = 5, n: int = 40
) -> GrowthTable:
    random = np.random.default_rng(7)
    subject = np.repeat(np.arange(n), times)
    time = np.tile(np.arange(times, dtype=float), n)
    own = random.normal(size=(n, 2)) * [level, slope]
    value = 20 + 2 * time + own[subject, 0] + own[subject, 1] * time
    return GrowthTable(subject=subject, time=time, value=value + random.normal(0, noise, len(time)))


def test_the_likelihood_is_that_of_the_whole_covariance_written_out() -> None:
    """Restricted likelihood by its definition (Harville 1977), over the full matrix of all rows."""
    table = a_table(n=6)
    fit = fit_growth(table).fit
    line = np.column_stack([np.ones(len(table.time)), table.time])
    own = [line[table.subject == one] for one in range(6)]
    v = np.zeros((30, 30))
    for one, z in enumerate(own):
        place = slice(5 * one, 5 * one + 5)
        v[place, place] = z @ fit.random_covariance @ z.T
    v += fit.residual_variance * np.eye(30)
    inverse = np.linalg.inv(v)
    information = line.T @ inverse @ line
    left = table.value - line @ np.linalg.solve(information, line.T @ inverse @ table.value)
    by_definition = -0.5 * (
        28 * np.log(2 * np.pi)
        + np.linalg.slogdet(v)[1]
        + np.linalg.slogdet(information)[1]
        + left @ inverse @ left
    )
    assert fit.log_likelihood == pytest.approx(by_definition, abs=1e-8)
    assert fit.fixed_covariance == pytest.approx(np.linalg.inv(information), rel=1e-8)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_no_other_random_part_nearby_is_likelier(a: float, b: float, c: float) -> None:
    table = a_table()
    found = fit_growth(table)
    assert found.random is RandomPart.CORRELATED
    fit = found.fit
    line = np.column_stack([np.ones(len(table.time)), table.time])
    products = products_of(table.subject, line, line, table.value)
    nearby = fit.factor + np.array([[a, 0.0], [b, c]])
    assert restricted_log_likelihood(products, nearby) <= fit.log_likelihood + 1e-6


@given(st.floats(0.01, 500.0), st.floats(0.01, 100.0))
def test_units_of_time_and_value_do_not_matter(per_time: float, per_value: float) -> None:
    table = a_table(n=15)
    plain = fit_growth(table)
    other = fit_growth(replace(table, time=table.time * per_time, value=table.value * per_value))
    assert other.random is plain.random
    assert other.fit.fixed * [1, per_time] / per_value == pytest.approx(plain.fit.fixed, rel=1e-4)
    assert other.fit.se * [1, per_time] / per_value == pytest.approx(plain.fit.se, rel=1e-3)


def test_the_order_of_the_rows_does_not_matter() -> None:
    table = a_table(n=15)
    order = np.random.default_rng(1).permutation(len(table.time))
    shuffled = replace(
        table, subject=table.subject[order], time=table.time[order], value=table.value[order]
    )
    assert fit_growth(shuffled).fit.fixed == pytest.approx(fit_growth(table).fit.fixed, rel=1e-9)


@pytest.mark.parametrize(
    ("table", "random", "why"),
    [
        (a_table(slope=0.0, noise=3.0), RandomPart.INTERCEPT, StepDown.AT_THE_EDGE),
        (a_table(level=0.0, slope=0.0, n=25), RandomPart.NONE, StepDown.AT_THE_EDGE),
        (a_table(times=2, n=30), RandomPart.INTERCEPT, StepDown.TOO_FEW_ROWS),
        (a_table(n=1), RandomPart.NONE, StepDown.TOO_FEW_SUBJECTS),
    ],
)
def test_what_the_data_cannot_support_is_given_up_step_by_step_and_named(
    table: GrowthTable, random: RandomPart, why: StepDown
) -> None:
    found = fit_growth(table)
    assert found.random is random
    assert found.given_up[-1][1] is why
    tried = [part for part, _ in found.given_up]
    assert [*tried, found.random] == list(RandomPart)[: len(tried) + 1]


def test_subjects_who_are_a_group_each_do_not_tell_how_far_subjects_lie_apart() -> None:
    """One straight line each, by Gauss's least squares: nothing is left to tell subjects by."""
    table = a_table(n=2)
    found = fit_growth(replace(table, group=table.subject, groups=("one", "two")))
    assert found.random is RandomPart.NONE
    assert {why for _, why in found.given_up} == {StepDown.TOO_FEW_SUBJECTS}
    slope, level = np.polyfit(table.time[:5], table.value[:5], 1)
    assert found.fit.fixed[:2] == pytest.approx([level, slope])


def test_a_fit_that_does_not_settle_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    # Nothing is ever as flat as nothing: stands for a search that stops too early.
    monkeypatch.setattr("casebook.statistics.growth.reml.FLAT", 0.0)
    found = fit_growth(a_table(n=8))
    assert found.random is RandomPart.NONE
    assert {why for _, why in found.given_up} == {StepDown.NOT_CONVERGED}


@pytest.mark.parametrize(
    "table",
    [
        replace(a_table(n=3), time=np.ones(15)),
        GrowthTable(subject=np.arange(2), time=np.arange(2.0), value=np.arange(2.0)),
    ],
)
def test_a_table_without_a_slope_is_refused(table: GrowthTable) -> None:
    with pytest.raises(ValueError, match="apart"):
        fit_growth(table)


def test_courses_of_groups_run_through_their_own_means_and_residuals_are_standardised() -> None:
    table = a_table()
    group = (table.subject % 2).astype(np.int64)
    table = replace(
        table, value=table.value + 5 * group, group=group, groups=("calf", "hip"), group_name="plan"
    )
    found = fit_growth(table, error_variance=0.25)
    assert found.names == ("Intercept", "time", "plan[T.hip]", "time:plan[T.hip]")
    calf, hip = predict_course(found, table, np.array([0.0, 2.0, 4.0]))
    assert (calf.group, hip.group) == ("calf", "hip")
    # Seen on the same days, the common line of a group runs through its means.
    for number, course in enumerate((calf, hip)):
        middle = table.value[(group == number)].mean()
        assert course.mean[1] == pytest.approx(middle, rel=1e-6)
    assert np.all((calf.low < calf.mean) & (calf.mean < calf.high))
    (common,) = predict_course(fit_growth(a_table()), a_table(), np.array([2.0]))
    assert common.group == ""
    spread = residuals_of(found, table).std()
    assert 0.7 < spread < 1.0  # own lines take up a part of it
    assert found.error_share == pytest.approx(0.25 / found.fit.residual_variance)
    assert fit_growth(table).error_share is None
    assert not fit_growth(table).error_too_large


@pytest.mark.parametrize("n", [8, 14])
def test_intervals_of_few_subjects_are_those_of_their_own_slopes(n: int) -> None:
    """Seen on the same days, the common slope is the mean of the subjects' own ones, so that
    Student (1908, Biometrika 6:1-25) has its interval without a model.
    """
    table = a_table(n=n)
    found = fit_growth(table)
    assert found.random is RandomPart.CORRELATED
    assert found.degrees == n - 1
    own = [np.polyfit(np.arange(5.0), one, 1)[0] for one in table.value.reshape(n, 5)]
    low, high = ttest_1samp(own, 0.0).confidence_interval(0.95)
    half = found.wide * found.fit.se[1]
    assert (found.fit.fixed[1] - half, found.fit.fixed[1] + half) == pytest.approx(
        (low, high), rel=1e-4
    )


def test_intervals_of_two_groups_are_those_of_two_samples_of_slopes() -> None:
    table = a_table(n=20)
    group = (table.subject % 2).astype(np.int64)
    found = fit_growth(replace(table, group=group, groups=("calf", "hip")))
    assert found.random is RandomPart.CORRELATED
    assert found.degrees == 18
    own = np.array([np.polyfit(np.arange(5.0), one, 1)[0] for one in table.value.reshape(20, 5)])
    low, high = ttest_ind(own[1::2], own[::2]).confidence_interval(0.95)
    at = found.names.index("time:group[T.hip]")
    half = found.wide * found.fit.se[at]
    assert (found.fit.fixed[at] - half, found.fit.fixed[at] + half) == pytest.approx(
        (low, high), rel=1e-4
    )


def test_an_error_figure_that_is_right_is_hardly_ever_called_too_large() -> None:
    """What scatters by nothing but its error has residuals now above it and now below."""
    random = np.random.default_rng(2)
    subject, time = np.repeat(np.arange(10), 4), np.tile(np.arange(4.0), 10)
    above = called = seen = 0
    for _ in range(60):
        level = random.normal(20, 3, 10)[subject]
        table = GrowthTable(
            subject=subject, time=time, value=level + 2 * time + random.normal(0, 1, 40)
        )
        found = fit_growth(table, most=RandomPart.INTERCEPT, error_variance=1.0)
        assert found.rows_left == 40 - 10 - 1
        above += found.error_share > 1
        called += found.error_too_large
        seen += replace(found, error_variance=4.0).error_too_large
    assert above > 20
    assert called <= 5  # 1.5 expected
    assert seen == 60
