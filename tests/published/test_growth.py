"""The growth model against published fits and against statsmodels' own."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

from casebook.domain.audit_growth import FitCheck
from casebook.intake.growth_table import GrowthColumns, read_growth_table
from casebook.statistics.growth.model import GrowthFit, RandomPart, fit_growth
from casebook.statistics.growth.reml import fit_reml, products_of
from casebook.statistics.growth.table import GrowthTable

DATA = Path(__file__).parent / "data"


def fitted(name: str, subject: str, time: str, value: str, **more: object) -> GrowthFit:
    columns = GrowthColumns(subject=subject, time=time, value=value, by=more.pop("by", None))  # type: ignore[arg-type]
    table, _, _ = read_growth_table(DATA / name, columns)
    return fit_growth(table, **more)  # type: ignore[arg-type]


def test_reaction_times_by_days_as_a_balanced_design_gives_them_exactly() -> None:
    """Closed form: every subject was seen on the same days.

    The residual variance is the pooled one of the subjects' own lines, the covariance that of
    their coefficients less what the residual brings in. Published to fewer digits in Bates et
    al. 2015, J Stat Softw 67(1): 251.41 (6.82), 10.47 (1.55).
    """
    found = fitted("sleepstudy.csv", "Subject", "Days", "Reaction")
    frame = pd.read_csv(DATA / "sleepstudy.csv")
    design = np.column_stack([np.ones(10), np.arange(10.0)])
    lines, left = [], 0.0
    for _, rows in frame.groupby("Subject"):
        beta, rest, _, _ = np.linalg.lstsq(design, rows.sort_values("Days").Reaction, rcond=None)
        lines.append(beta)
        left += float(rest[0])
    variance = left / (18 * 8)
    covariance = np.cov(np.array(lines).T) - variance * np.linalg.inv(design.T @ design)
    assert found.random is RandomPart.CORRELATED
    assert found.given_up == ()
    assert found.check is FitCheck.AGREES
    assert found.names == ("Intercept", "Days")
    assert found.fit.fixed == pytest.approx(np.mean(lines, axis=0), rel=1e-9)
    assert found.fit.fixed == pytest.approx([251.405104848485, 10.467285959596], rel=1e-9)
    assert found.fit.se == pytest.approx([6.8245565320691, 1.5457888962947], rel=1e-6)
    assert found.fit.residual_variance == pytest.approx(variance, rel=1e-6)
    assert found.fit.random_covariance == pytest.approx(covariance, rel=1e-4)
    assert found.fit.log_likelihood == pytest.approx(-1743.62827196 / 2, abs=1e-7)


@pytest.mark.parametrize(
    ("most", "criterion", "variances"),
    [  # Bates et al. 2015, and the same models computed with that paper's package.
        (RandomPart.INTERCEPT, 1786.46508539, [1378.1785466]),
        (RandomPart.APART, 1743.66929358, [627.56903, 35.85820]),
    ],
)
def test_reaction_times_with_simpler_random_parts(
    most: RandomPart, criterion: float, variances: list[float]
) -> None:
    found = fitted("sleepstudy.csv", "Subject", "Days", "Reaction", most=most)
    assert found.random is most
    assert found.check is FitCheck.AGREES
    assert -2 * found.fit.log_likelihood == pytest.approx(criterion, abs=1e-6)
    assert np.diag(found.fit.random_covariance) == pytest.approx(variances, rel=1e-4)


def test_jaws_growing_by_sex() -> None:
    """Pinheiro & Bates 2000: 16.3406 (1.0185), 0.7844 (0.0860), 1.0321 (1.5957), -0.3048 (0.1347).

    There the other sex is compared with; log-likelihood -216.2908, from memory and recomputed.
    """
    found = fitted("orthodont.csv", "Subject", "age", "distance", by="Sex")
    assert found.names == ("Intercept", "age", "Sex[T.Male]", "age:Sex[T.Male]")
    assert found.fit.fixed == pytest.approx(
        [16.340625 + 1.0321022727, 0.784375 - 0.3048295455, -1.0321022727, 0.3048295455], rel=1e-8
    )
    assert found.fit.se[2:] == pytest.approx([1.59573283328, 0.13473534083], rel=1e-5)
    assert found.fit.log_likelihood == pytest.approx(-216.29083075, abs=1e-7)
    assert found.fit.random_covariance == pytest.approx(
        np.array([[5.78643277644, -0.28962713186], [-0.28962713186, 0.03252447082]]), rel=1e-4
    )


def test_batches_that_do_not_differ_leave_no_random_part() -> None:
    """Box & Tiao 1973: batch variance 0; REML then is the total variance, 13.80630963."""
    frame = pd.read_csv(DATA / "dyestuff2.csv")
    batch = pd.factorize(frame["Batch"])[0].astype(np.int64)
    ones = np.ones((len(frame), 1))
    fit = fit_reml(products_of(batch, ones, ones, frame["Yield"].to_numpy()))
    assert fit.converged
    assert fit.random_covariance == pytest.approx(np.zeros((1, 1)), abs=1e-8)
    assert fit.residual_variance == pytest.approx(13.80630963, rel=1e-8)
    assert fit.fixed == pytest.approx([5.6656], rel=1e-9)
    assert fit.se == pytest.approx([0.6783880613], rel=1e-6)
    assert -2 * fit.log_likelihood == pytest.approx(161.82827781, abs=1e-7)


def test_statsmodels_own_likelihood_is_the_same_and_flat_where_our_fit_ends() -> None:
    random = np.random.default_rng(20261127)
    subject = np.repeat(np.arange(60), random.integers(2, 7, 60))
    time = random.uniform(0.0, 4.0, len(subject))
    own = random.multivariate_normal([0, 0], [[9.0, 0.5], [0.5, 1.0]], 60)
    value = 40 + 0.1 * time + own[subject, 0] + own[subject, 1] * time
    value = value + random.normal(0.0, 1.5, len(subject))
    found = fit_growth(GrowthTable(subject=subject, time=time, value=value))
    assert found.random is RandomPart.CORRELATED
    design = np.column_stack([np.ones(len(time)), time])
    model = MixedLM(value, design, groups=subject, exog_re=design)
    model.reml, model.cov_pen, model.fe_pen = True, None, None
    at = MixedLMParams.from_components(
        fe_params=found.fit.fixed,
        cov_re=found.fit.random_covariance / found.fit.residual_variance,
    )
    assert model.loglike(at) == pytest.approx(found.fit.log_likelihood, abs=1e-8)
    slope = np.concatenate([np.ravel(part) for part in model.score_full(at, calc_fe=True)])
    assert np.abs(slope).max() < 1e-3
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says when it stops early; it is held to less then
        theirs = model.fit(reml=True, method="lbfgs")
    assert found.fit.log_likelihood >= theirs.llf - 1e-6
