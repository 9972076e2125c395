"""Are stable runners flagged no more often than stated, and how often is a real worsening?

Runners are drawn from the model of measurement error and judged by the product's own
`judge`, many in one call. Prints tables for DEVELOPERS.md; the tests run a small part.

`python -m tests.bench.flag_calibration` takes a few minutes.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from casebook.domain.verdicts import FlagKind
from tests.statistics.simulated_runners import (
    Design,
    FalseFlags,
    false_flags,
    share_flagged,
    simulated,
    stable,
)

SEED = 20_261_125
ASYMMETRIES = (0.0, 0.5, 1.0, 2.0, 4.0, 20.0)
# Between-session and single-trial standard deviation, and trials averaged.
ERRORS = ((1.0, 1.5, 5), (0.2, 3.0, 3), (4.0, 0.5, 1))
BASELINES_AND_VISITS = ((1, 3), (1, 6), (1, 12), (2, 3), (2, 8), (4, 6), (4, 12))
METRICS = (1, 3, 10, 30)
# Correlation of the sides' errors: of the session, of the trial.
CORRELATIONS = ((0.0, 0.0), (0.3, 0.0), (0.6, 0.0), (0.0, 0.6), (0.6, 0.6))
WORSENINGS = (1.0, 1.5, 2.0)
# Among hundreds of designs the largest excess of a right procedure stays within this.
MOST_ERRORS = 4.0


def designs() -> Iterator[tuple[str, Design]]:
    """Every value of each circumstance, each with every asymmetry; the others as usual."""
    usual = Design(metrics=10, visits=6, baselines=2)
    for asymmetry in ASYMMETRIES:
        start = replace(usual, asymmetry=asymmetry)
        for baselines, visits in BASELINES_AND_VISITS:
            name = f"{baselines} of {visits} visits baseline"
            yield name, replace(start, baselines=baselines, visits=visits)
        for between, within, trials in ERRORS:
            name = f"SD {between:g} between, {within:g} within, {trials} trials"
            yield name, replace(start, between_sd=between, within_sd=within, trials=trials)
        for metrics in METRICS:
            yield f"{metrics} metrics", replace(start, metrics=metrics)
        for between, within in CORRELATIONS:
            name = f"sides correlated {between:g} (session), {within:g} (trial)"
            yield name, replace(start, between_correlation=between, within_correlation=within)


def measure_false(design: Design, rng: np.random.Generator, tests: int) -> FalseFlags:
    """False flags among enough stable runners for about so many metrics at later visits."""
    runners = max(50, tests // (design.metrics * (design.visits - design.baselines)))
    return false_flags(simulated(design, stable(design, runners), rng))


def measure_power(
    design: Design, worsening: float, *, gradual: bool, rng: np.random.Generator, runners: int
) -> list[dict[str, float]]:
    """Share of runners flagged at each later visit on the one metric that truly worsened.

    It grew by so many MDC95, after the baseline at once or in equal steps up to the last visit.
    """
    true = stable(design, runners)
    later = design.visits - design.baselines
    share = np.arange(1, later + 1) / later if gradual else np.ones(later)
    sign = np.sign(true[:, :1, 0, 1] - true[:, :1, 0, 0])
    growth = worsening * design.mdc() * share
    # The larger side grows on even runners and the smaller one shrinks on odd ones.
    odd = (np.arange(runners) // 2 % 2 == 1)[:, None]
    true[:, design.baselines :, 0, 1] += np.where(odd, 0.0, sign * growth)
    true[:, design.baselines :, 0, 0] -= np.where(odd, sign * growth, 0.0)
    found = simulated(design, true, rng)
    return [
        share_flagged(found, visit, design.visits)
        for visit in range(design.baselines, design.visits)
    ]


def main(arguments: Sequence[str] = ()) -> int:
    """Print both tables; 1 when stable runners are flagged more often than stated."""
    tests = int(arguments[0]) if arguments else 400_000
    rng = np.random.default_rng(SEED)
    print(f"seed {SEED}; about {tests} metrics at later visits in each design\n")
    worst = _print_false(tests, rng)
    print()
    _print_power(max(200, tests // 100), rng)
    fine = worst <= MOST_ERRORS
    print(
        f"\nlargest excess over the stated number: {worst:.1f} Monte Carlo standard errors "
        f"(at most {MOST_ERRORS:g}){'' if fine else ' - BROKEN'}"
    )
    return 0 if fine else 1


def _print_false(tests: int, rng: np.random.Generator) -> float:
    print("| Design | True asymmetry (SEM) | Visit: seen / stated | Course: seen / stated |")
    print("|---|---|---|---|")
    worst = -np.inf
    for name, design in designs():
        found = measure_false(design, rng, tests)
        worst = max(worst, found.excess)
        print(
            f"| {name} | {design.asymmetry:g} | {found.visit_seen:.4f} ± {found.visit_error:.4f}"
            f" / {found.visit_stated:.4f} | {found.course_seen:.3f} ± {found.course_error:.3f}"
            f" / {found.course_stated:.3f} |",
            flush=True,
        )
    return worst


def _print_power(runners: int, rng: np.random.Generator) -> None:
    print("| Baselines | Metrics | Worsening | 1 MDC95 | 1.5 MDC95 | 2 MDC95 |")
    print("|---|---|---|---|---|---|")
    for baselines, metrics, gradual in itertools.product((1, 2, 4), (1, 10, 30), (False, True)):
        design = Design(baselines=baselines, visits=baselines + 4, metrics=metrics, asymmetry=3.0)
        told = []
        for worsening in WORSENINGS:
            each = measure_power(design, worsening, gradual=gradual, rng=rng, runners=runners)
            told.append(_power_words(each))
        how = "in four steps" if gradual else "at once"
        print(f"| {baselines} | {metrics} | {how} | {' | '.join(told)} |", flush=True)


def _power_words(each: list[dict[str, float]]) -> str:
    first, last = each[0]["any"], each[-1]
    kinds = "/".join(
        f"{100 * last[kind]:.0f}"
        for kind in (
            FlagKind.ASYMMETRY_ABOVE_BASELINE,
            FlagKind.ASYMMETRY_ABOVE_BEST,
            FlagKind.DRIFT,
        )
    )
    return f"{100 * first:.0f} % first, {100 * last['any']:.0f} % fourth visit ({kinds})"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
