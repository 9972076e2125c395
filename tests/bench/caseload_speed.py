"""Judging a whole caseload from the database, beside the least that it could take.

All verdicts and flags of 2,000 runners x 8 visits x 20 metrics x 2 sides (and the asymmetry of
each pair), every metric with an error figure. Everything is measured in one run on one store,
turn by turn, in processor seconds (the store is a file that is read from memory after the first
round), so that a busy machine slows all alike.

Bounds of the project: at most 3 times as long as fetching the same rows bare and doing the
same arithmetic on dense arrays in plain NumPy; at least 50 times less than a loop that fits
each series with statsmodels, at each visit that is judged; linear from 200 to 2,000 runners;
and after one visit is logged only its runner is judged again.
"""

from __future__ import annotations

import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import statsmodels.api as sm
from scipy.special import ndtr
from scipy.stats import chi2

from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.sides import Side
from casebook.domain.visits import Visit, VisitKind, value_of_mean
from casebook.services.cataloguing import adopt_figure, list_metrics
from casebook.services.flagging import list_flags
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.standings import StandingMemo
from tests.bench.caseloads import FIRST_DAY, SIDED, VISITS, make_caseload

FEW, MANY = 200, 2_000
MOST_TIMES_BARE = 3.0
FEWEST_TIMES_FITTED = 50.0
# Ten times the runners in at most so many times the time.
MOST_TIMES_MANY = 12.0
FITTED_SAMPLE = 400
Z = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseloadSpeed:
    """Median processor seconds, and how many runners were judged after one visit was logged.

    `fitted_s` (a line at every visit) and `fitted_once_s` (one line a series) are extrapolated
    from a sample of the series.
    """

    runners: int
    judged_s: float
    fetch_s: float
    arithmetic_s: float
    fitted_once_s: float
    fitted_s: float
    again_s: float
    judged_again: int

    @property
    def times_bare(self) -> float:
        return self.judged_s / (self.fetch_s + self.arithmetic_s)

    @property
    def times_fitted(self) -> float:
        return self.fitted_s / self.judged_s


def make_store(path: Path, runners: int, *, visits: int = VISITS) -> Casebook:
    """A caseload in which every metric has an error figure, so that everything is judged."""
    casebook = make_caseload(path, runners, visits=visits)
    sided = [m for m in list_metrics(casebook) if m.sided and m.scale != "grade"][:SIDED]
    for metric in sided:
        span = abs(metric.plausible_high + metric.plausible_low) / 2
        adopt_figure(
            casebook,
            ErrorFigure(
                metric=metric.key,
                applies_to=AppliesTo.SIDE_VALUE,
                origin=ErrorOrigin.OWN,
                # A little less than the scatter of the numbers, so that flags are raised too.
                between_sd=0.04 * span + 0.001,
                within_sd=0.03 * span + 0.001,
                source="invented for a benchmark",
            ),
        )
    return casebook


def measure(casebook: Casebook, place: Path, runners: int, *, rounds: int = 5) -> CaseloadSpeed:
    """Judge all, fetch bare, and do the arithmetic, in turn; then log a visit and judge again."""
    dense = _dense(_rows(place))
    taken: dict[str, list[float]] = {"judged": [], "fetch": [], "arithmetic": []}
    for number in range(rounds + 1):
        for name, work in (
            ("judged", lambda: list_flags(casebook, all_visits=True)),
            ("fetch", lambda: _rows(place)),
            ("arithmetic", lambda: bare_arithmetic(*dense)),
        ):
            seconds = _seconds(work)
            if number > 0:  # the first round warms what later ones share
                taken[name].append(seconds)
    again_s, judged_again = _after_one_visit(casebook)
    fitted_once_s, fitted_s = _fitted(dense[0], dense[1])
    return CaseloadSpeed(
        runners=runners,
        judged_s=statistics.median(taken["judged"]),
        fetch_s=statistics.median(taken["fetch"]),
        arithmetic_s=statistics.median(taken["arithmetic"]),
        fitted_once_s=fitted_once_s,
        fitted_s=fitted_s,
        again_s=again_s,
        judged_again=judged_again,
    )


def _seconds(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def _rows(place: Path) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    """The same columns of the same rows as the product reads, as the driver gives them."""
    with sqlite3.connect(place) as connection:
        values = connection.execute(
            "SELECT visit.runner_id, value.visit_id, value.metric_id, "
            "CASE value.side WHEN 'left' THEN 0 WHEN 'right' THEN 1 ELSE 2 END, "
            "value.n_trials, value.mean, value.sd "
            "FROM value JOIN visit ON visit.id = value.visit_id WHERE value.mean IS NOT NULL"
        ).fetchall()
        visits = connection.execute(
            "SELECT id, runner_id, visited_on, session, kind, next_due_on, speed_km_h, "
            "incline_pct, frames_per_s, pain_today, surface, footwear, view, assessor "
            "FROM visit ORDER BY runner_id, visited_on, session"
        ).fetchall()
    return values, visits


def _dense(
    rows: tuple[list[tuple[object, ...]], list[tuple[object, ...]]],
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means and trials as (runners, visits, metrics, sides), and the days of the visits."""
    values = np.array(sorted(row[:6] for row in rows[0]), dtype=float)
    shape = (-1, VISITS, SIDED, 2)
    return (
        values[:, 5].reshape(shape),
        values[:, 4].reshape(shape),
        28.0 * np.arange(VISITS),
    )


def bare_arithmetic(means: np.ndarray, trials: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Verdicts and flags with nothing around them: no case is told apart, nothing is checked.

    SEM, asymmetry, change from the first visit, MDC, calls, p of growth, of the best, of the
    line and of the better side; Simes over the kinds and Benjamini-Hochberg over the metrics.
    """
    middle = np.abs(means).mean(axis=(0, 1, 3), keepdims=True)
    sem = np.sqrt((0.05 * middle) ** 2 + (0.03 * middle) ** 2 / trials)
    level = np.concatenate([means, (means[..., 1] - means[..., 0])[..., None]], axis=-1)
    error = np.concatenate([sem, np.hypot(sem[..., 0], sem[..., 1])[..., None]], axis=-1)
    change = level[:, 1:] - level[:, :1]
    se = np.hypot(error[:, 1:], error[:, :1])
    mdc = Z * se
    chance = ndtr(change / se)
    call = np.where(np.abs(change) <= mdc, 2, np.where(change > 0, 1, 0))
    asymmetry, of_asymmetry = level[..., 2], error[..., 2]
    size = np.abs(asymmetry)
    growth = ndtr(-(size[:, 1:] - size[:, :1]) / se[..., 2])
    fell = np.where(size[:, 1:] < size[:, :1], chance[..., 1], 1.0)
    p = np.ones((4, *growth.shape))
    p[0], p[1] = growth, fell
    weight = 1.0 / of_asymmetry**2
    for visit in range(2, VISITS):
        smallest = np.argmin(size[:, :visit], axis=1)[:, None]
        best = np.take_along_axis(asymmetry[:, :visit], smallest, 1)[:, 0]
        best_error = np.take_along_axis(of_asymmetry[:, :visit], smallest, 1)[:, 0]
        gain = size[:, visit] - np.abs(best)
        p[2, :, visit - 1] = visit * ndtr(-gain / np.hypot(best_error, of_asymmetry[:, visit]))
        part = slice(0, visit + 1)
        p[3, :, visit - 1] = _line_p(asymmetry[:, part], weight[:, part], days[part])
    p.sort(axis=0)
    combined = np.minimum((4 * p / np.arange(1, 5)[:, None, None, None]).min(axis=0), 1.0)
    order = np.argsort(combined, axis=2)
    ranked = np.take_along_axis(combined, order, 2) * SIDED / np.arange(1, SIDED + 1)
    q = np.minimum.accumulate(ranked[..., ::-1], axis=2)[..., ::-1]
    flagged = (q <= 0.10) & (np.take_along_axis(combined, order, 2) <= 0.025)
    return np.array([flagged.sum(), (call != 2).sum()])


def _line_p(y: np.ndarray, w: np.ndarray, days: np.ndarray) -> np.ndarray:
    t = days[None, :, None]
    total = w.sum(axis=1)
    middle, mean = (w * t).sum(axis=1) / total, (w * y).sum(axis=1) / total
    apart = t - middle[:, None]
    spread = (w * apart**2).sum(axis=1)
    slope = (w * apart * y).sum(axis=1) / spread
    start, end = mean + slope * (days[0] - middle), mean + slope * (days[-1] - middle)
    left = (w * (y - mean[:, None] - slope[:, None] * apart) ** 2).sum(axis=1)
    wide = np.where(chi2.sf(left, len(days) - 2) <= 0.05, left / (len(days) - 2), 1.0)
    side = np.sign(end)
    se_difference = np.sqrt(wide * (days[-1] - days[0]) ** 2 / spread)
    se_total = np.sqrt(wide * (4 / total + (days[0] + days[-1] - 2 * middle) ** 2 / spread))
    least = np.minimum(side * (end - start) / se_difference, side * (end + start) / se_total)
    return np.asarray(ndtr(-least))


def _fitted(means: np.ndarray, trials: np.ndarray) -> tuple[float, float]:
    """Seconds for weighted lines through all series by statsmodels, from a sample of them.

    A series is a metric's left, right or asymmetry of one runner. First one fit each over all
    visits; then what the product gives, a judgement at every visit: one fit at each from the
    third on.
    """
    series = np.concatenate([means, (means[..., 1] - means[..., 0])[..., None]], axis=-1)
    every = np.moveaxis(series, 1, -1).reshape(-1, VISITS)
    weights = trials.reshape(-1)[:VISITS] / 4.0
    design = sm.add_constant(28.0 * np.arange(VISITS))
    sample = every[:: max(1, len(every) // FITTED_SAMPLE)]

    def fit(visits: Sequence[int]) -> None:
        for values in sample:
            for upto in visits:
                model = sm.WLS(values[:upto], design[:upto], weights=weights[:upto])
                found = model.fit(cov_type="fixed scale")
                _ = found.params, found.bse, found.pvalues, found.conf_int(), found.ssr

    scale = len(every) / len(sample)
    once = _seconds(lambda: fit([VISITS])) * scale
    return once, _seconds(lambda: fit(range(3, VISITS + 1))) * scale


def _after_one_visit(casebook: Casebook) -> tuple[float, int]:
    """Seconds of listing the flags after one more visit, and runners judged for it."""
    memo = StandingMemo()
    list_flags(casebook, memo=memo)
    metric = next(m for m in list_metrics(casebook) if m.sided and m.scale != "grade")
    middle = (metric.plausible_low + metric.plausible_high) / 2
    before = memo.judged
    record_visit(
        casebook,
        Visit(
            runner="B-00007",
            visited_on=FIRST_DAY + timedelta(weeks=4 * VISITS),
            kind=VisitKind.REVIEW,
            values=tuple(
                value_of_mean(metric.key, side, middle, 7) for side in (Side.LEFT, Side.RIGHT)
            ),
        ),
        by="AB",
    )
    seconds = _seconds(lambda: list_flags(casebook, memo=memo))
    return seconds, memo.judged - before


def measure_all(*, few: int = FEW, many: int = MANY, rounds: int = 5) -> tuple[CaseloadSpeed, ...]:
    """Both sizes."""
    measured = []
    for runners in (few, many):
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder) / "casebook.sqlite"
            casebook = make_store(place, runners)
            measured.append(measure(casebook, place, runners, rounds=rounds))
            casebook.close()
    return tuple(measured)


def main() -> int:
    """Print the measure; 1 when a bound is broken."""
    few, many = measure_all()
    growth = many.judged_s / few.judged_s
    fine = (
        many.times_bare <= MOST_TIMES_BARE
        and many.times_fitted >= FEWEST_TIMES_FITTED
        and growth <= MOST_TIMES_MANY * many.runners / few.runners / 10
        and many.judged_again == 1
    )
    for one in (few, many):
        print(
            f"caseload of {one.runners}: all verdicts and flags {one.judged_s:.2f} s; bare fetch "
            f"{one.fetch_s:.2f} s + arithmetic {one.arithmetic_s:.2f} s: {one.times_bare:.1f} "
            f"times (at most {MOST_TIMES_BARE:g}); a statsmodels loop, extrapolated, "
            f"{one.fitted_s:.0f} s: {one.times_fitted:.0f} times as long (at least "
            f"{FEWEST_TIMES_FITTED:g}; with one fit a series {one.fitted_once_s:.0f} s); "
            f"after one visit {1000 * one.again_s:.0f} ms, runners "
            f"judged again: {one.judged_again}"
        )
    print(
        f"{many.runners / few.runners:.0f} times the runners: {growth:.1f} times as long"
        f"{'' if fine else ' - BROKEN'}"
    )
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
