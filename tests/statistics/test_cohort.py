"""Survival, funnel limits and graded outcomes where the data are odd, small or unhelpful."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from casebook.statistics.funnel import OUTER, beyond_chance, funnel_limits
from casebook.statistics.ordinal import NoFit, OrdinalRefusedError, fit_ordinal
from casebook.statistics.survival import at_risk_on, kaplan_meier


def test_without_anybody_let_go_the_curve_is_the_share_that_is_left() -> None:
    time = np.array([9.0, 2.0, 4.0, 4.0, 7.0])
    found = kaplan_meier(time, np.ones(5, dtype=bool))
    assert found.share == pytest.approx([(time > day).mean() for day in found.time])
    assert found.at_risk.tolist() == at_risk_on(time, found.time).tolist() == [5, 4, 2, 1]


def test_a_curve_that_comes_down_to_a_half_exactly_has_its_median_there() -> None:
    found = kaplan_meier(np.array([3.0, 5.0, 8.0, 9.0]), np.array([True, True, False, False]))
    assert found.median[0] == 5.0


def test_to_whom_nothing_happened_has_no_steps_and_no_median() -> None:
    found = kaplan_meier(np.array([3.0, 5.0]), np.array([False, False]))
    assert len(found.time) == len(found.low) == 0
    assert found.median == (None, None, None)
    assert (found.n, found.n_events) == (2, 0)


def test_one_alone_to_whom_it_happened() -> None:
    found = kaplan_meier(np.array([4.0]), np.array([True]))
    assert (found.share[0], found.low[0], found.high[0]) == (0.0, 0.0, 1.0)


@pytest.mark.parametrize("time", [[], [-1.0], [float("nan")], [1.0, 2.0]])
def test_times_that_are_none_are_refused(time: list[float]) -> None:
    with pytest.raises(ValueError, match="at least 0"):
        kaplan_meier(np.array(time), np.array([True] if time else [], dtype=bool))


# Two are watched from the beginning, the others from 2, 4, 5 and 5 on.
ENTRY = np.array([-1.0, -1.0, 2.0, 4.0, 5.0, 5.0])
TIME = np.array([3.0, 6.0, 7.0, 8.0, 9.0, 6.0])
HAPPENED = np.array([True, True, True, False, True, False])


def test_who_is_watched_late_is_at_risk_from_then_on() -> None:
    found = kaplan_meier(TIME, HAPPENED, entry=ENTRY)
    assert found.time.tolist() == [3.0, 6.0, 7.0, 9.0]
    assert found.at_risk.tolist() == [3, 5, 3, 1]
    assert found.share == pytest.approx([2 / 3, 8 / 15, 16 / 45, 0.0])
    # Greenwood's formula by hand.
    parts = np.cumsum([1 / (3 * 2), 1 / (5 * 4), 1 / (3 * 2)])
    assert found.se[:3] == pytest.approx(found.share[:3] * np.sqrt(parts))
    assert at_risk_on(TIME, found.time, entry=ENTRY).tolist() == found.at_risk.tolist()


def test_watching_in_two_pieces_is_the_same_as_in_one() -> None:
    long = TIME > 6.5
    parts = kaplan_meier(
        np.concatenate([np.where(long, 6.5, TIME), TIME[long]]),
        np.concatenate([HAPPENED & ~long, HAPPENED[long]]),
        entry=np.concatenate([ENTRY, np.full(int(long.sum()), 6.5)]),
    )
    whole = kaplan_meier(TIME, HAPPENED, entry=ENTRY)
    assert parts.share == pytest.approx(whole.share)
    assert parts.at_risk.tolist() == whole.at_risk.tolist()


def test_who_was_never_seen_because_it_happened_sooner_bends_a_curve_that_takes_no_note_of_it() -> (
    None
):
    """Times as even as an exponential law has them; who came later than that is not there."""
    time = -np.log1p(-(np.arange(4000) + 0.5) / 4000)
    entry = np.tile(np.linspace(0.05, 1.0, 20), 200)
    seen = entry < time
    time, entry = time[seen], entry[seen]
    happened = np.ones(len(time), dtype=bool)
    late = kaplan_meier(time, happened, entry=entry)
    naive = kaplan_meier(time, happened)
    at = int(np.searchsorted(late.time, 1.0))
    # Of those to whom it had not happened when the first ones came.
    assert late.share[at] == pytest.approx(np.exp(-(1.0 - 0.05)), abs=0.03)
    assert naive.share[at] > 1.3 * np.exp(-(1.0 - 0.05))


@pytest.mark.parametrize("entry", [[3.0, 1.0], [1.0], [np.nan, 1.0]])
def test_an_entry_that_is_not_before_its_time_is_refused(entry: list[float]) -> None:
    with pytest.raises(ValueError, match="before its time"):
        kaplan_meier(np.array([3.0, 4.0]), np.array([True, True]), entry=np.array(entry))


@settings(max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 30), st.booleans()), min_size=1, max_size=40))
def test_the_curve_falls_within_its_interval(rows: list[tuple[int, bool]]) -> None:
    time, happened = (np.array(column) for column in zip(*rows, strict=True))
    found = kaplan_meier(time.astype(float), happened)
    assert np.all(np.diff(found.share) < 1e-12)
    assert np.all((found.low <= found.share + 1e-12) & (found.share <= found.high + 1e-12))
    assert found.events.sum() == happened.sum()


@settings(max_examples=50)
@given(st.floats(0.02, 0.98), st.integers(1, 400), st.sampled_from([0.95, OUTER]))
def test_limits_lie_within_one_runner_of_the_exact_quantiles(
    share: float, total: int, level: float
) -> None:
    (low,), (high,) = funnel_limits(share, np.array([total]), level=level)
    tail = (1 - level) / 2
    below = binom.ppf(tail, total, share) / total
    above = binom.ppf(1 - tail, total, share) / total
    assert max(below - 1 / total, 0) - 1e-9 <= low <= below + 1e-9
    assert above - 1 / total - 1e-9 <= high <= above + 1e-9


def test_larger_groups_have_narrower_limits_and_the_outer_lie_outside() -> None:
    totals = np.array([10, 50, 250])
    low, high = funnel_limits(0.35, totals)
    # Computed in R 4.2.2 from its binomial quantiles.
    assert low == pytest.approx([0.01591528, 0.20986864, 0.28938646], abs=1e-8)
    assert high == pytest.approx([0.60483082, 0.47543386, 0.40767148], abs=1e-8)
    far_low, far_high = funnel_limits(0.35, totals, level=OUTER)
    assert np.all((far_low < low) & (high < far_high))


@settings(max_examples=40)
@given(st.floats(0.02, 0.98), st.integers(1, 60))
def test_counts_are_beyond_chance_as_seldom_as_is_said(share: float, total: int) -> None:
    counts = np.arange(total + 1)
    beyond = beyond_chance(share, counts, np.full(total + 1, total))
    assert binom.pmf(counts[beyond], total, share).sum() <= 0.05 + 1e-9
    # Whatever is rare lies outside the lines as well, never the other way round alone.
    (low,), (high,) = funnel_limits(share, np.array([total]))
    outside = (counts / total < low + 1e-9) | (counts / total > high - 1e-9)
    assert np.all(outside[beyond])


def test_a_count_that_lies_outside_the_lines_need_not_be_rare() -> None:
    overall, totals = 1 / 22, np.array([5])
    assert funnel_limits(overall, totals)[1][0] < 1 / 5  # but one of five has a chance of 21 %
    assert beyond_chance(overall, np.array([1]), totals).tolist() == [False]
    assert beyond_chance(0.5, np.array([0, 10]), np.array([10, 10]), level=OUTER).tolist() == [
        True,
        True,
    ]


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_where_all_are_alike_nobody_lies_beyond(share: float) -> None:
    low, high = funnel_limits(share, np.array([4, 9]))
    assert low.tolist() == high.tolist() == [share, share]


@pytest.mark.parametrize(("share", "total"), [(1.2, 4), (-0.1, 4), (0.5, 0)])
def test_what_is_no_share_is_refused(share: float, total: int) -> None:
    with pytest.raises(ValueError, match="common share"):
        funnel_limits(share, np.array([total]))


def test_two_grades_and_two_groups_have_the_odds_ratio_of_their_table() -> None:
    """Closed form: ad / bc, with Woolf's standard error of its logarithm."""
    grade = np.repeat([1.0, 3.0, 1.0, 3.0], [30, 10, 15, 25])
    found = fit_ordinal(grade, np.repeat([0.0, 1.0], 40)[:, None])
    assert found.log_odds[0] == pytest.approx(np.log(25 * 30 / (15 * 10)), abs=1e-4)
    assert found.se[0] == pytest.approx(np.sqrt(1 / 30 + 1 / 10 + 1 / 15 + 1 / 25), rel=1e-3)
    assert found.thresholds[0] == pytest.approx(np.log(30 / 10), abs=1e-4)
    assert found.grades.tolist() == [1.0, 3.0]


def test_what_a_covariate_is_counted_in_does_not_matter() -> None:
    random = np.random.default_rng(5)
    wide = random.normal(size=(200, 2))
    grade = np.digitize(wide[:, 0] + random.logistic(size=200), [-1.0, 1.0]).astype(float)
    plain, other = fit_ordinal(grade, wide), fit_ordinal(grade, wide * [1000.0, 0.01])
    assert other.log_odds * [1000.0, 0.01] == pytest.approx(plain.log_odds, abs=1e-3)


HALF = np.repeat([0.0, 1.0], 30)


@pytest.mark.parametrize(
    ("grade", "covariates", "why"),
    [
        (np.ones(60), HALF[:, None], NoFit.ONE_GRADE),
        (np.arange(4.0), np.array([[0.0], [1.0], [0.0], [1.0]]), NoFit.TOO_FEW_ROWS),
        (np.tile([0.0, 1.0], 30), np.ones((60, 1)), NoFit.NOT_APART),
        (np.tile([0.0, 1.0], 30), np.column_stack([HALF, 2 * HALF]), NoFit.NOT_APART),
        (np.repeat([0.0, 1.0, 2.0], [30, 15, 15]), HALF[:, None], NoFit.SEPARATED),
    ],
)
def test_grades_that_cannot_be_fitted_are_refused_with_the_reason(
    grade: np.ndarray, covariates: np.ndarray, why: NoFit
) -> None:
    with pytest.raises(OrdinalRefusedError) as refused:
        fit_ordinal(grade, covariates)
    assert refused.value.why is why


def test_a_fit_that_does_not_settle_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    # A search of no step at all stands for one that stops too early.
    monkeypatch.setattr("casebook.statistics.ordinal.STEPS", 0)
    with pytest.raises(OrdinalRefusedError) as refused:
        fit_ordinal(np.tile([0.0, 1.0, 1.0], 20), HALF[:, None])
    assert refused.value.why is NoFit.NOT_CONVERGED


def test_where_clinicians_see_different_runners_many_more_lie_beyond_the_limits() -> None:
    """As the words below the plot say; Spiegelhalter (2005, Stat Med 24:1185-1202) calls it
    overdispersion.
    """
    random, n, times = np.random.default_rng(3), np.full(20, 40), 40
    beyond = {0.0: 0, 0.45: 0}
    for spread in beyond:
        for _ in range(times):
            # With the second, 95 % of the true shares lie between 22 and 62 %.
            odds = np.exp(np.log(0.4 / 0.6) + random.normal(0, spread, 20))
            counts = random.binomial(n, odds / (1 + odds))
            beyond[spread] += int(beyond_chance(counts.sum() / 800, counts, n).sum())
    assert beyond[0.0] / (20 * times) < 0.05
    assert beyond[0.45] / (20 * times) == pytest.approx(0.20, abs=0.05)
