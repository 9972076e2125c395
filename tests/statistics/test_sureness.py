"""Shares with their intervals, and stated sureness against what came of it."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, norm, t
from statsmodels.regression.linear_model import OLS

from casebook.statistics.calibration import (
    EDGES,
    Forecast,
    brier_parts,
    brier_score,
    calibration_of,
    calibration_words,
    reliability_points,
)
from casebook.statistics.proportions import clustered, exact, wilson

# Statements of rain and what came, for twelve stated probabilities: share of all forecasts
# and share of those that were followed by rain. From Wilks (1995), Statistical Methods in
# the Atmospheric Sciences, chapter 7, as quoted in the documentation of an R package.
STATED = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]
RAINED = [0.006, 0.019, 0.059, 0.150, 0.277, 0.377, 0.511, 0.587, 0.723, 0.779, 0.934, 0.933]
USED = [
    0.4112, 0.0671, 0.1833, 0.0986, 0.0616, 0.0366, 0.0303, 0.0275, 0.0245, 0.0220, 0.0170,
    0.0203,
]  # fmt: skip

SURENESS = st.integers(0, 100).map(lambda percent: percent / 100)
FORECASTS = st.lists(st.tuples(SURENESS, st.booleans()), min_size=1, max_size=60)


def arrays(told: list[tuple[float, bool]]) -> tuple[np.ndarray, np.ndarray]:
    return (
        np.array([sureness for sureness, _ in told]),
        np.array([held for _, held in told], dtype=float),
    )


@pytest.mark.parametrize(
    ("count", "total", "low", "high", "exact_low", "exact_high"),
    [  # Newcombe (1998) with limits recomputed in R; the last two are those of his small ones.
        (81, 263, 0.2552885199, 0.3662095770, 0.2527367456, 0.3676219226),
        (15, 148, 0.0623863995, 0.1604872417, 0.0578440101, 0.1616504903),
        (0, 29, 0.0, 0.1169697985, 0.0, 0.1194448691),
        (29, 29, 1 - 0.1169697985, 1.0, 1 - 0.1194448691, 1.0),
    ],
)
def test_intervals_of_shares_are_the_published_ones(
    count: int, total: int, low: float, high: float, exact_low: float, exact_high: float
) -> None:
    score, sure = wilson(count, total), exact(count, total)
    assert (score.low, score.high) == pytest.approx((low, high), abs=1e-9)
    assert (sure.low, sure.high) == pytest.approx((exact_low, exact_high), abs=1e-9)


@given(st.integers(1, 80), st.data(), st.sampled_from([0.8, 0.95, 0.99]))
def test_intervals_agree_with_an_independent_library(
    total: int, data: st.DataObject, level: float
) -> None:
    count = data.draw(st.integers(0, total))
    test = binomtest(count, total)
    for ours, method in ((wilson, "wilson"), (exact, "exact")):
        found, theirs = ours(count, total, level=level), test.proportion_ci(level, method)
        assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
        assert 0.0 <= found.low <= found.share <= found.high <= 1.0


def test_a_share_of_alike_trials_is_as_unsure_as_an_independent_library_says() -> None:
    """Rao & Scott (1992, Biometrics 48:577-585): as many trials as would leave it as unsure, and of
    few subjects fewer (Korn & Graubard 1998, Survey Methodology 24:193-201).
    """
    counts, totals = np.array([6, 0, 3, 5, 2, 1]), np.array([6, 4, 3, 6, 2, 5])
    each = np.repeat(np.arange(6), totals)
    held = np.concatenate([np.arange(n) < k for k, n in zip(counts, totals, strict=True)])
    theirs = OLS(held.astype(float), np.ones((26, 1))).fit(
        cov_type="cluster", cov_kwds={"groups": each}
    )
    share = 17 / 26
    n = share * (1 - share) / theirs.cov_params()[0, 0] * (norm.ppf(0.975) / t.ppf(0.975, 5)) ** 2
    found = clustered(counts, totals)
    assert (found.count, found.total, found.share) == (17, 26, share)
    # Wilson's ends are where the score test of n trials just rejects.
    for end in (found.low, found.high):
        assert abs(share - end) / np.sqrt(end * (1 - end) / n) == pytest.approx(norm.ppf(0.975))
    assert found.high - found.low > wilson(17, 26).high - wilson(17, 26).low


def test_a_share_of_alike_trials_is_never_surer_than_of_independent_ones() -> None:
    alike = clustered(np.array([1, 1, 1, 1]), np.array([2, 2, 2, 2]))
    single = wilson(4, 8)
    assert alike.low < single.low < single.high < alike.high
    alone = clustered(np.array([3]), np.array([4]))
    assert (alone.low, alone.high) == (0.0, 1.0)
    none = clustered(np.array([0, 0, 0]), np.array([5, 5, 5]))
    assert none.low == 0.0
    assert none.high > wilson(0, 3).high
    whole = clustered(np.array([5, 5, 5]), np.array([5, 5, 5]))
    assert (whole.low, whole.high) == (pytest.approx(1 - none.high), 1.0)
    for counts, totals in (([1], [0]), ([-1, 2], [4, 4]), ([5], [4]), ([], [])):
        with pytest.raises(ValueError, match="no shares"):
            clustered(np.array(counts, dtype=int), np.array(totals, dtype=int))


def test_the_interval_of_alike_trials_holds_as_often_as_it_says() -> None:
    """Twelve runners of whom each keeps plans in a way of their own: Wilson's held in 77 %."""
    random, held = np.random.default_rng(5), [0, 0]
    for _ in range(400):
        totals = random.integers(1, 7, 12)
        counts = random.binomial(totals, random.beta(0.75, 0.25, 12))
        found, apart = clustered(counts, totals), wilson(int(counts.sum()), int(totals.sum()))
        held[0] += found.low <= 0.75 <= found.high
        held[1] += apart.low <= 0.75 <= apart.high
    assert held[0] > 400 * 0.95 - 3 * (400 * 0.95 * 0.05) ** 0.5
    assert held[1] < 340


@pytest.mark.parametrize(("count", "total"), [(1, 0), (-1, 4), (5, 4)])
def test_what_is_no_share_is_refused(count: int, total: int) -> None:
    for function in (wilson, exact):
        with pytest.raises(ValueError, match="is no share"):
            function(count, total)


def test_the_score_is_that_of_a_librarys_documentation() -> None:
    """The example of scikit-learn's `brier_score_loss`, printed there as 0.037."""
    score = brier_score(np.array([0.1, 0.9, 0.8, 0.3]), np.array([0.0, 1.0, 1.0, 0.0]))
    assert score == pytest.approx(0.0375, abs=1e-12)


def test_the_parts_of_a_published_table_come_out_as_worked_by_hand_in_whole_numbers() -> None:
    totals = [round(10_000 * used) for used in USED]
    rained = [round(total * share) for total, share in zip(totals, RAINED, strict=True)]
    sureness = np.repeat(STATED, totals)
    held = np.concatenate(
        [np.repeat([1.0, 0.0], [r, n - r]) for r, n in zip(rained, totals, strict=True)]
    )
    everything = sum(totals)
    overall = Fraction(sum(rained), everything)
    rows = [
        (Fraction(str(stated)), n, Fraction(r, n))
        for stated, n, r in zip(STATED, totals, rained, strict=True)
    ]
    reliability = sum(n * (stated - came) ** 2 for stated, n, came in rows) / everything
    resolution = sum(n * (came - overall) ** 2 for _, n, came in rows) / everything
    score = (
        sum(n * (came * (1 - stated) ** 2 + (1 - came) * stated**2) for stated, n, came in rows)
        / everything
    )
    found = brier_parts(sureness, held)
    assert found.reliability == pytest.approx(float(reliability), rel=1e-9)
    assert found.resolution == pytest.approx(float(resolution), rel=1e-9)
    assert found.score == pytest.approx(float(score), rel=1e-9)
    assert float(overall) == pytest.approx(0.162, abs=6e-4)  # printed, all rounded
    assert found.uncertainty == pytest.approx(0.162 * 0.838, abs=6e-4)


@given(FORECASTS, st.sampled_from([None, EDGES, (0.0, 0.5, 1.0), (0.0, 1.0)]))
def test_the_parts_add_up_to_the_score_exactly(
    told: list[tuple[float, bool]], edges: tuple[float, ...] | None
) -> None:
    sureness, held = arrays(told)
    found = brier_parts(sureness, held, edges)
    whole = found.reliability - found.resolution + found.uncertainty
    whole += found.within_variance - found.within_covariance
    assert whole == pytest.approx(found.score, abs=1e-12)
    assert found.score == pytest.approx(brier_score(sureness, held), abs=1e-15)
    assert min(found.reliability, found.resolution, found.within_variance) >= 0.0
    if edges is None:
        assert found.within_variance == pytest.approx(0.0, abs=1e-15)
        assert found.within_covariance == pytest.approx(0.0, abs=1e-15)


@given(FORECASTS)
def test_nobody_scores_better_by_stating_something_else_than_what_held(
    told: list[tuple[float, bool]],
) -> None:
    """The score is proper: of all constants the share that held scores best."""
    _, held = arrays(told)
    best = brier_score(np.full(held.shape, held.mean()), held)
    for constant in np.linspace(0.0, 1.0, 11):
        assert best <= brier_score(np.full(held.shape, constant), held) + 1e-12


@given(FORECASTS)
def test_the_diagram_holds_every_forecast_once_and_within_its_group(
    told: list[tuple[float, bool]],
) -> None:
    points = reliability_points(*arrays(told))
    assert sum(point.held.total for point in points) == len(told)
    assert sum(point.held.count for point in points) == sum(held for _, held in told)
    assert all(point.low - 1e-12 <= point.sureness <= point.high + 1e-12 for point in points)


def test_an_end_belongs_to_the_group_that_it_begins_and_certainty_to_the_last() -> None:
    points = reliability_points(np.array([0.2, 0.8, 1.0]), np.array([0.0, 1.0, 1.0]))
    assert [(point.low, point.held.total) for point in points] == [(0.2, 1), (0.8, 2)]


@pytest.mark.parametrize("edges", [(0.0,), (0.1, 1.0), (0.0, 0.9), (0.0, 0.5, 0.5, 1.0)])
def test_groups_that_do_not_rise_from_nought_to_one_are_refused(edges: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="rise from 0 to 1"):
        brier_parts(np.array([0.5]), np.array([1.0]), edges)


@pytest.mark.parametrize(
    ("sureness", "held"), [([], []), ([0.5], [1.0, 0.0]), ([1.5], [1.0]), ([0.5], [0.5])]
)
def test_what_is_no_forecast_is_refused(sureness: list[float], held: list[float]) -> None:
    with pytest.raises(ValueError, match="expected"):
        brier_score(np.array(sureness), np.array(held))


def test_all_kinds_come_first_and_then_each_kind() -> None:
    forecasts = [
        *[Forecast(sureness=0.7, held=number < 7, kind="strength") for number in range(10)],
        *[Forecast(sureness=0.9, held=number < 1, kind="mobility") for number in range(10)],
    ]
    whole, mobility, strength = calibration_of(forecasts)
    assert (whole.kind, mobility.kind, strength.kind) == ("", "mobility", "strength")
    assert whole.held.total == 20
    assert mobility.surer_than_right is True
    assert strength.surer_than_right is None
    assert strength.brier.reliability == pytest.approx(0.0, abs=1e-12)
    assert len(whole.points) == 2


def test_too_few_forecasts_make_no_diagram_and_one_kind_needs_no_second_line() -> None:
    (found,) = calibration_of([Forecast(sureness=0.1, held=True, kind="load")] * 6)
    assert found.too_few
    assert found.points == ()
    assert found.surer_than_right is False
    assert found.brier.skill is None
    assert calibration_of([]) == ()


@pytest.mark.parametrize(
    ("sureness", "held", "words"),
    [(0.7, 7, "which fits what held"), (0.99, 3, "more than held"), (0.05, 9, "less than held")],
)
def test_the_words_say_whether_the_sureness_fits(sureness: float, held: int, words: str) -> None:
    forecasts = [Forecast(sureness=sureness, held=number < held) for number in range(10)]
    told = calibration_words(calibration_of(forecasts)[0], left_out=2)
    assert f"{held} held ({10 * held} %" in told
    assert words in told
    assert "says little" not in told
    assert told.endswith("2 more, with a prediction that can't be told, are not counted here.")
    apart = calibration_words(calibration_of(forecasts)[0], hollow=1)
    assert apart.endswith(
        "Neither held nor failed, and not counted here: 1 in which an asymmetry closed only "
        "because the better side fell."
    )


@pytest.mark.parametrize(
    ("stated", "held", "surer"),
    [
        # Chances by hand: 0.1 of one that holds though 10 % sure, 0.9^5 = 0.59 of none of five.
        ([0.1], 1, None),
        ([0.02], 1, False),
        ([0.98], 0, True),
        ([0.1] * 5, 0, None),
        # 0.1 * 0.9 = 0.09 of both; 0.2 * 0.1 = 0.02 of neither of two.
        ([0.1, 0.9], 2, None),
        ([0.8, 0.9], 0, True),
    ],
)
def test_sureness_is_told_from_what_held_only_beyond_exact_chance(
    stated: list[float], held: int, surer: bool | None
) -> None:
    forecasts = [Forecast(sureness=one, held=at < held) for at, one in enumerate(stated)]
    assert calibration_of(forecasts)[0].surer_than_right is surer


def test_what_chance_makes_of_exact_statements_stands_beside_the_reliability() -> None:
    stated = np.array([0.5, 0.5, 0.9, 0.9, 0.9, 0.9])
    # (0.25 + 0.09) / 6: two of the one group, four of the other.
    parts = brier_parts(stated, np.array([1.0, 0.0, 1.0, 1.0, 1.0, 0.0]))
    assert parts.reliability_by_chance == pytest.approx(0.34 / 6)


def test_sureness_that_is_always_the_same_tells_nothing_apart_and_that_is_said() -> None:
    always = [Forecast(sureness=0.5, held=at % 2 == 0) for at in range(12)]
    told = calibration_words(calibration_of(always)[0])
    assert "tells those that held from no others" in told
    varied = [*always[:10], Forecast(sureness=0.9, held=True), Forecast(sureness=0.1, held=False)]
    assert "from no others" not in calibration_words(calibration_of(varied)[0])


def test_one_hypothesis_is_one_and_says_little() -> None:
    told = calibration_words(calibration_of([Forecast(sureness=0.6, held=True)])[0])
    assert told.startswith("Of 1 hypothesis of which every prediction could be told, 1 held (100 %")
    assert told.endswith("With fewer than 10, this says little yet.")
