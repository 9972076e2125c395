"""Metrics from marked points in words and tables, for a person at a terminal."""

from __future__ import annotations

import sys

from rich import box
from rich.console import Console
from rich.table import Table

from casebook.domain import wording
from casebook.domain.marking import MarkedAsymmetry, MarkedValue, note_lines
from casebook.domain.metrics import Metric
from casebook.domain.sides import Side
from casebook.services.marking import MarksRead, MarksSaved
from casebook.statistics.geometry_measure import asymmetry_words

WIDTH_WITHOUT_TERMINAL = 130
EXPLAINED = (
    "Error: standard deviation of what marking brings to one trial anew; shared: to all trials "
    "alike (scale, camera, speed, and rounding to whole frames, which is alike where a stride "
    "lasts nearly a whole number of them), so that more trials do not shrink it; of the mean: both "
    "together. It leaves out how the runner varies from step to step and from day to day."
)


def show_marks(read: MarksRead, saved: MarksSaved | None) -> None:
    """Show the values, the asymmetries with their own error, and what to know of the frames."""
    width = None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL
    console = Console(width=width, highlight=False, emoji=False, markup=False)
    measured = read.measured
    if measured.values:
        table = _table("metric", "side", "n", "mean", "error", "shared", "of the mean", "frames")
        for value in measured.values:
            table.add_row(*_row(value, read.metrics[value.metric]))
        console.print(table)
        console.print(EXPLAINED)
    else:
        console.print("No value could be read from these marks.")
    if measured.asymmetries:
        table = _table("right minus left", "difference", "its error", "against independent sides")
        for one in measured.asymmetries:
            table.add_row(*_asymmetry_row(one, read.metrics[one.metric]))
        console.print()
        console.print(table)
    _show_notes(console, read)
    _show_saved(console, saved)
    console.print(f"\n{wording.CAUTION}")


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for place, column in enumerate(columns):
        table.add_column(column, justify="left" if place == 0 or not column else "right")
    return table


def _row(value: MarkedValue, metric: Metric) -> list[str]:
    unit = wording.unit_words(metric.unit)
    frames = [trial.frame for trial in value.trials]
    return [
        metric.label,
        "" if value.side is Side.NONE else value.side,
        str(len(frames)),
        wording.number_words(value.mean, unit),
        *(wording.number_words(sd, unit) for sd in (value.own_sd, value.shared_sd, value.mean_sd)),
        f"{frames[0]}" if len(frames) == 1 else f"{min(frames)} to {max(frames)}",
    ]


def _asymmetry_row(one: MarkedAsymmetry, metric: Metric) -> list[str]:
    unit = wording.unit_words(metric.unit)
    return [
        metric.label,
        wording.number_words(one.value, unit, signed=True),
        wording.number_words(one.sd, unit),
        asymmetry_words(one),
    ]


def _show_notes(console: Console, read: MarksRead) -> None:
    lines = note_lines(read.measured.notes)
    if lines:
        console.print("\nWhat to know of these frames:")
    for line, withheld in lines:
        console.print(f"{'!' if withheld else '-'} {line}")
    for value in read.unlikely:
        metric = read.metrics[value.metric]
        unit = wording.unit_words(metric.unit)
        side = "" if value.side is Side.NONE else f" {value.side}"
        console.print(
            f"! {metric.label}{side}: {wording.number_words(value.mean, unit)} lies outside the "
            f"plausible {metric.plausible_low:g} to {metric.plausible_high:g}: look again at "
            "points, sides and scale."
        )


def _show_saved(console: Console, saved: MarksSaved | None) -> None:
    if saved is None:
        return
    added = saved.saved.added
    console.print(f"\nStored: {added} value{'s' * (added != 1)}.")
    if saved.left_out:
        console.print(
            f"Not stored, for this casebook's catalogue does not have them: "
            f"{', '.join(saved.left_out)}. `casebook init` adds what the starter catalogue has."
        )
