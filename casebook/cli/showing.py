"""Reports in words, for a person at a terminal; with `--json` the object instead."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import typer
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from casebook.cli.objects import (
    flag_object,
    plainly,
    print_object,
    problem_object,
    verdict_object,
)
from casebook.domain import wording
from casebook.domain.metrics import AsymmetryForm, ErrorOrigin, Metric
from casebook.domain.verdicts import Flag, Verdict, What

if TYPE_CHECKING:  # each command imports its own service, and none of the others'
    from casebook.services.flagging import FlagList
    from casebook.services.importing import ImportReport
    from casebook.services.keeping import CheckReport
    from casebook.services.reviewing import Review

# Where nobody watches (a file, a pipe) no width is given: wide enough for a row on one line.
WIDTH_WITHOUT_TERMINAL = 150
MOST_PROBLEMS_SHOWN = 200


def _console() -> Console:
    width = None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL
    return Console(width=width, highlight=False, emoji=False, markup=False, soft_wrap=False)


def _table(*columns: str, right: Iterable[str] = ()) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left")
    return table


def show_review(review: Review, *, as_json: bool) -> None:
    """Show what changed in one runner, and what the verdicts rest on."""
    if as_json:
        print_object(
            {
                "runner": review.runner.code,
                "visits": len(review.visits),
                "verdicts": [verdict_object(verdict) for verdict in review.verdicts],
                "flags": [flag_object(flag) for flag in review.flags],
                "expected_false": review.expected_false,
                "expected_false_course": review.expected_false_course,
                "caution": wording.CAUTION,
            }
        )
        return
    console = _console()
    dates = [visit.visited_on for visit in review.visits]
    span = f", {min(dates)} to {max(dates)}" if dates else ""
    number = len(dates)
    console.print(f"Runner {review.runner.code}: {number} visit{'s' * (number != 1)}{span}\n")
    _show_verdicts(console, review.verdicts, review.metrics)
    _show_flags_of_review(console, review)
    console.print(f"\n{wording.CAUTION}")


def _show_verdicts(
    console: Console, verdicts: Sequence[Verdict], metrics: Mapping[str, Metric]
) -> None:
    if not verdicts:
        console.print("No value has been stored at two visits yet, so nothing can be compared.")
        return
    sources: dict[str, int] = {}
    differences: dict[str, int] = {}
    columns = ("metric", "side", "baseline", "now", "change", "MDC95", "verdict", "error", "alike")
    table = _table(*columns, right=("baseline", "now", "change", "MDC95"))
    shown = ""
    for verdict in verdicts:
        metric = metrics[verdict.metric]
        table.add_row(
            Text("" if verdict.metric == shown else metric.label),
            *_row(verdict, metric),
            _error_words(verdict, sources),
            _alike_words(verdict, differences),
        )
        shown = verdict.metric
    console.print(table)
    console.print(
        "\nMDC95: a change smaller than this is within measurement error, 95 times in 100."
    )
    for source, place in sources.items():
        console.print(f"[{place}] {source}")
    for difference, place in differences.items():
        console.print(f"({_letter(place)}) not like for like: {difference}")


def _row(verdict: Verdict, metric: Metric) -> list[str]:
    unit = wording.unit_words(metric.unit)
    if verdict.what is What.ASYMMETRY:
        unit = wording.asymmetry_unit(verdict.asymmetry_form, metric.unit)
    signed = verdict.what is What.ASYMMETRY and verdict.asymmetry_form is not AsymmetryForm.NONE
    words = wording.call_words(verdict)
    if verdict.which_side_moved is not None:
        words += f"; {wording.SIDES_MOVED[verdict.which_side_moved]}"
    return [
        wording.WHATS[verdict.what],
        wording.number_words(verdict.baseline, unit, signed=signed),
        wording.number_words(verdict.latest, unit, signed=signed),
        wording.number_words(verdict.change, unit, signed=True),
        wording.number_words(verdict.mdc95, unit),
        words,
    ]


def _error_words(verdict: Verdict, sources: dict[str, int]) -> str:
    words = {
        ErrorOrigin.OWN: "own",
        ErrorOrigin.PUBLISHED: "published",
        ErrorOrigin.WITHIN_SESSION: "within session",
        ErrorOrigin.NONE: "none",
    }[verdict.error_origin]
    if not verdict.error_source:
        return words
    return f"{words} [{sources.setdefault(verdict.error_source, len(sources) + 1)}]"


def _alike_words(verdict: Verdict, differences: dict[str, int]) -> str:
    if not verdict.like_for_like and not verdict.not_recorded:
        return "yes"
    difference = wording.like_for_like_words(verdict)
    return f"({_letter(differences.setdefault(difference, len(differences)))})"


def _letter(place: int) -> str:
    letters = "abcdefghijklmnopqrstuvwxyz"
    return letters[place % 26] * (place // 26 + 1)


def _show_flags_of_review(console: Console, review: Review) -> None:
    earlier = [flag for flag in review.flags if flag not in review.open_flags]
    for title, flags in (
        ("Open flags of the latest visit", review.open_flags),
        ("Flags of earlier visits, or acknowledged", earlier),
    ):
        console.print(f"\n{title}: {len(flags) or 'none'}")
        for flag in flags:
            console.print(f"  {flag.visit_date}  {flag.message}{_acknowledged_words(flag)}")
    console.print(
        "Had nothing truly changed in this runner, "
        f"{review.expected_false:.2f} false flags would be expected at the latest visit "
        f"({review.tests} tests), and {review.expected_false_course:.2f} over all visits so far."
    )


def _acknowledged_words(flag: Flag) -> str:
    if not flag.acknowledged:
        return ""
    return f" (acknowledged by {flag.acknowledged_by}: {flag.acknowledged_reason})"


def show_flags(found: FlagList, *, as_json: bool) -> None:
    """Show the flags of the caseload, with how many false ones to expect."""
    if as_json:
        print_object(
            {
                "flags": [flag_object(flag) for flag in found.flags],
                "expected_false": float(found.expected_false),
                "caution": wording.CAUTION,
            }
        )
        return
    console = _console()
    if not found.flags:
        console.print("No open flag.")
    else:
        table = _table("runner", "visit", "why", "what", "acknowledged")
        for flag in found.flags:
            table.add_row(
                Text(flag.runner),
                str(flag.visit_date),
                wording.FLAG_KINDS[flag.kind],
                Text(flag.message),
                Text(flag.acknowledged_reason if flag.acknowledged else "no"),
            )
        console.print(table)
    console.print(
        f"\nIf nothing had truly changed in any of these runners, {found.expected_false:.1f} "
        "false flags would be expected."
    )
    console.print(f"\n{wording.CAUTION}")


def show_import(report: ImportReport, *, dry_run: bool, as_json: bool) -> None:
    """Show what an import did, or every problem that stopped it (on standard error)."""
    if as_json:
        print_object(
            {
                "read": report.read,
                "added": report.added,
                "unchanged": report.unchanged,
                "refused": report.refused,
                "problems": [problem_object(problem) for problem in report.problems],
                "new_runners": plainly(report.new_runners),
                "dry_run": dry_run,
            }
        )
    if report.problems:
        _show_problems(report)
    elif not as_json:
        _show_import_done(report, dry_run=dry_run)


def _show_problems(report: ImportReport) -> None:
    for problem in report.problems[:MOST_PROBLEMS_SHOWN]:
        typer.echo(problem, err=True)
    left = len(report.problems) - MOST_PROBLEMS_SHOWN
    if left > 0:
        typer.echo(f"... and {left} more; --json lists them all.", err=True)
    number = len(report.problems)
    typer.echo(
        f"Nothing was stored: {number} problem{'s' * (number != 1)} to mend first.", err=True
    )


def _show_import_done(report: ImportReport, *, dry_run: bool) -> None:
    console = _console()
    if report.added == 0 and not report.new_runners:
        console.print(f"Nothing new: all {report.read} rows read are stored already.")
        return
    done = "Would add" if dry_run else "Added"
    console.print(
        f"{done} {report.added}; {report.unchanged} were there already; {report.read} rows read."
    )
    if report.new_runners:
        console.print(f"Runners met for the first time: {', '.join(report.new_runners)}")
    if dry_run:
        console.print("Dry run: nothing was stored.")


def show_check(report: CheckReport, *, as_json: bool) -> None:
    """Show whether a casebook is whole, part by part."""
    if as_json:
        print_object({"ok": report.ok, "parts": plainly(report.parts)})
    else:
        table = _table("part", "found", "detail")
        for part in report.parts:
            table.add_row(Text(part.name), "fine" if part.ok else "WRONG", Text(part.detail))
        _console().print(table)
    for part in report.parts:
        if not part.ok:
            typer.echo(f"{part.name}: {part.detail}", err=True)
