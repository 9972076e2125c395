"""A repeatability study in words and tables, for a person at a terminal."""

from __future__ import annotations

import math
import sys

from rich import box
from rich.console import Console
from rich.table import Table

from casebook.domain import wording
from casebook.domain.metrics import ErrorFigure
from casebook.services.repeating import Study
from casebook.statistics.repeatability.results import Interval, Repeatability

WIDTH_WITHOUT_TERMINAL = 110


def show_study(study: Study, adopted: tuple[ErrorFigure, ...]) -> None:
    """Show the numbers with their intervals, and every warning below them."""
    width = None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL
    console = Console(width=width, highlight=False, emoji=False, markup=False)
    _show_result(console, _title(study), study.result, study.unit)
    if study.sides is not None:
        console.print()
        _show_result(
            console,
            f"Asymmetry, right minus left ({study.sides.asymmetry_form})",
            study.sides.asymmetry,
            study.asymmetry_unit,
        )
        console.print(
            f"Correlation of the errors of left and right: {_number(study.sides.error_correlation)}"
        )
    for note in study.notes:
        console.print(f"\n{note}", end="")
    for figure in adopted:
        console.print(
            f"\nAdopted as the clinic's own error figure of the {figure.applies_to}: "
            f"{figure.published_as}. {figure.source}"
        )
    console.print(f"\n{wording.CAUTION}")


def _title(study: Study) -> str:
    result = study.result
    what = study.metric.label if study.metric is not None else study.place
    return (
        f"{what}: {study.n_runners} subjects, {result.n_sessions} sessions, "
        f"{result.n_values} readings"
    )


def _show_result(console: Console, title: str, result: Repeatability, unit: str) -> None:
    console.print(title)
    table = Table(box=box.SIMPLE, pad_edge=False)
    for name in ("", "estimate", "95 % from", "to"):
        table.add_column(name, justify="right" if name else "left")
    of = f" ({unit})" if unit else ""
    for name, interval in _rows(result, of):
        table.add_row(
            name, _number(interval.estimate), _number(interval.low), _number(interval.high)
        )
    console.print(table)
    _show_limits(console, result)
    for warning in result.warnings:
        console.print(f"Note well: {warning}")
    for note in result.notes:
        console.print(note)


def _rows(result: Repeatability, of: str) -> list[tuple[str, Interval]]:
    def change(level: int, kind: str) -> tuple[str, Interval]:
        found = result.mdc95 if level == 95 else result.mdc90
        return (
            f"MDC{level}, {kind}{of}",
            Interval(
                estimate=getattr(found, kind),
                low=getattr(found, f"{kind}_low"),
                high=getattr(found, f"{kind}_high"),
            ),
        )

    rows = [
        *result.icc.items(),
        (f"SEM, agreement{of}", result.sem_agreement),
        (f"SEM, consistency{of}", result.sem_consistency),
        (f"SEM, within subjects{of}", result.sem_one_way),
        *(change(level, kind) for level in (90, 95) for kind in ("agreement", "consistency")),
    ]
    if result.nested is not None:
        rows += [
            (f"SD between sessions{of}", result.nested.between_sd),
            (f"SD of trials within a session{of}", result.nested.within_sd),
        ]
    if result.log_scale is not None:
        rows.append(("Coefficient of variation (%)", result.log_scale.cv_percent))
    if result.grading is not None:
        kappa = result.grading.quadratic
        rows.append(
            (
                "Kappa, quadratic weights",
                Interval(estimate=kappa.estimate, low=kappa.low, high=kappa.high),
            )
        )
    return rows


def _show_limits(console: Console, result: Repeatability) -> None:
    if result.bland_altman is not None:
        limits = result.bland_altman
        console.print(
            f"Limits of agreement ({limits.difference}): bias {_number(limits.bias)} "
            f"({_number(limits.bias_low)} to {_number(limits.bias_high)}), "
            f"limits {_number(limits.lower)} to {_number(limits.upper)}"
        )
    if result.grading is not None:
        console.print(
            f"95 % of pairs of grades differ by {result.grading.step95} or less: a larger change "
            "counts."
        )


def _number(number: float) -> str:
    return f"{number:.4g}" if math.isfinite(number) else "–"
