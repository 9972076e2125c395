"""Reports in words, for a person at a terminal; with `--json` the object instead."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
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
    verdict_object,
)
from casebook.cli.why_shown import explained_object, show_why
from casebook.domain import wording
from casebook.domain.errors import Problem
from casebook.domain.explaining import BRIDGED
from casebook.domain.metrics import ErrorOrigin, Metric
from casebook.domain.side_story import side_story_words
from casebook.domain.verdicts import Call, Flag, Verdict, What

if TYPE_CHECKING:  # each command imports its own service, and none of the others'
    from casebook.services.flagging import FlagList
    from casebook.services.importing import ImportReport
    from casebook.services.keeping import CheckReport
    from casebook.services.reviewing import Review

# Where nobody watches (a file, a pipe) no width is given: wide enough for a row on one line.
WIDTH_WITHOUT_TERMINAL = 150
MOST_PROBLEMS_SHOWN = 200
ERROR_WORDS = {
    ErrorOrigin.OWN: "own",
    ErrorOrigin.PUBLISHED: "published",
    ErrorOrigin.WITHIN_SESSION: "within session",
    ErrorOrigin.NONE: "none",
}


@dataclass(slots=True)
class Notes:
    """What many rows say alike is said once, below the table, under a number."""

    numbers: dict[str, int] = field(default_factory=dict)

    def mark(self, words: str) -> str:
        """The mark of a note, to stand behind a word; nothing for no words."""
        return f" [{self.numbers.setdefault(words, len(self.numbers) + 1)}]" if words else ""


def terminal() -> Console:
    """Where words and tables for a person go."""
    width = None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL
    return Console(width=width, highlight=False, emoji=False, markup=False, soft_wrap=False)


def plain_table(*columns: str, right: Iterable[str] = ()) -> Table:
    """A table with these columns, and without lines between them."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left")
    return table


def show_review(review: Review, *, as_json: bool, unfolded: bool = False) -> None:
    """Show what changed in one runner, and what the verdicts rest on.

    `unfolded` adds to each verdict the numbers, sources and what would change it.
    """
    if as_json:
        print_object(
            {
                "runner": review.runner.code,
                "visits": len(review.visits),
                "verdicts": [
                    explained_object(review, verdict) if unfolded else verdict_object(verdict)
                    for verdict in review.verdicts
                ],
                "flags": [flag_object(flag) for flag in review.flags],
                "expected_false": review.expected_false,
                "expected_false_course": review.expected_false_course,
                "caution": wording.CAUTION,
            }
        )
        return
    console = terminal()
    dates = [visit.visited_on for visit in review.visits]
    span = f", {min(dates)} to {max(dates)}" if dates else ""
    number = len(dates)
    console.print(f"Runner {review.runner.code}: {number} visit{'s' * (number != 1)}{span}\n")
    _show_verdicts(console, review.verdicts, review.metrics)
    if unfolded:
        show_why(console, review)
    _show_flags_of_review(console, review)
    console.print(f"\n{wording.CAUTION}")


def _show_verdicts(
    console: Console, verdicts: Sequence[Verdict], metrics: Mapping[str, Metric]
) -> None:
    if not verdicts:
        console.print("No value has been stored at two visits yet, so nothing can be compared.")
        return
    notes = Notes()
    columns = ("metric", "side", "baseline", "now", "change", "MDC95", "verdict", "error", "alike")
    table = plain_table(*columns, right=("baseline", "now", "change", "MDC95"))
    shown = ""
    for verdict in verdicts:
        metric = metrics[verdict.metric]
        table.add_row(
            Text("" if verdict.metric == shown else metric.label), *_row(verdict, metric, notes)
        )
        shown = verdict.metric
    console.print(table)
    console.print(
        "\nAsymmetry is right minus left. MDC95: a change smaller than this is within "
        "measurement error. Alike: whether the visits were like for like."
    )
    for words, number in notes.numbers.items():
        console.print(f"[{number}] {words}")


def _row(verdict: Verdict, metric: Metric, notes: Notes) -> list[str]:
    unit = wording.unit_words(metric.unit)
    asymmetry = verdict.what is What.ASYMMETRY
    if asymmetry:
        unit = wording.asymmetry_unit(verdict.asymmetry_form, metric.unit)
    return [
        "asymmetry" if asymmetry else wording.WHATS[verdict.what],
        wording.number_words(verdict.baseline, unit, signed=asymmetry),
        wording.number_words(verdict.latest, unit, signed=asymmetry),
        wording.number_words(verdict.change, unit, signed=True),
        wording.number_words(verdict.mdc95, unit),
        _verdict_words(verdict, metric, notes),
        _error_words(verdict, notes),
        _alike_words(verdict, notes),
    ]


def _error_words(verdict: Verdict, notes: Notes) -> str:
    words = ERROR_WORDS[verdict.error_origin] + notes.mark(verdict.error_source)
    return words + notes.mark(BRIDGED if verdict.bridged else "")


def _verdict_words(verdict: Verdict, metric: Metric, notes: Notes) -> str:
    words = wording.CALLS[verdict.verdict]
    if verdict.reason is not None:
        words += notes.mark(wording.REASONS[verdict.reason])
    if verdict.which_side_moved is not None:
        return f"{words}; {wording.SIDES_MOVED[verdict.which_side_moved]}"
    if verdict.verdict in {Call.IMPROVED, Call.WORSENED}:
        words += notes.mark(side_story_words(verdict, metric))
    return words


def _alike_words(verdict: Verdict, notes: Notes) -> str:
    if not verdict.like_for_like and not verdict.not_recorded:
        return "yes"
    known = "no" if verdict.like_for_like else "not known"
    return known + notes.mark(wording.like_for_like_words(verdict))


def _show_flags_of_review(console: Console, review: Review) -> None:
    earlier = [flag for flag in review.flags if flag not in review.open_flags]
    for title, flags in (
        ("Open flags", review.open_flags),
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
    words = wording.acknowledged_words(flag)
    return f" ({words})" if words else ""


def show_flags(found: FlagList, *, as_json: bool) -> None:
    """Show the flags of the caseload, with how many false ones to expect."""
    if as_json:
        print_object(
            {
                "flags": [flag_object(flag) for flag in found.flags],
                "expected_false": float(found.expected_false),
                "expected_false_course": float(found.expected_false_course),
                "open_prompts": sum(one.open_prompts for one in found.to_look_at),
                "open_pain_flags": sum(one.open_pain_flags for one in found.to_look_at),
                "to_look_at": plainly(found.to_look_at),
                "caution": wording.CAUTION,
            }
        )
        return
    console = terminal()
    if not found.flags:
        console.print("No open flag.")
    else:
        table = plain_table("runner", "visit", "why", "what", "acknowledged")
        for flag in found.flags:
            table.add_row(
                Text(flag.runner),
                str(flag.visit_date),
                wording.FLAG_KINDS[flag.kind],
                Text(flag.message),
                Text(wording.acknowledged_words(flag) or "no"),
            )
        console.print(table)
    console.print(
        f"\nIf nothing had truly changed in any runner, {found.expected_false:.1f} metrics would "
        f"be expected to be flagged falsely at the latest visits, and "
        f"{found.expected_false_course:.1f} over all visits (missed targets left out)."
    )
    console.print(f"\n{_to_look_at_words(found)}")
    console.print(f"\n{wording.CAUTION}")


def _to_look_at_words(found: FlagList) -> str:
    """What no number flags, and which command shows it."""
    prompts = sum(one.open_prompts for one in found.to_look_at)
    pains = sum(one.open_pain_flags for one in found.to_look_at)
    if not found.to_look_at:
        return "Besides these numbers: no open prompt of findings and no recent open flag of pain."
    runners = ", ".join(one.runner for one in found.to_look_at)
    return (
        f"Besides these numbers: {prompts or 'no'} open prompt{'s' * (prompts != 1)} of findings "
        f"and {pains or 'no'} recent open flag{'s' * (pains != 1)} of pain in a programme's weeks "
        f"({runners}). 'casebook cautions RUNNER' shows those of one runner."
    )


def show_import(report: ImportReport, *, as_json: bool) -> None:
    """Show what an import did, or every problem that stopped it (on standard error)."""
    if as_json:
        print_object(report.to_json())
    _show_problems("To be looked at: ", report.warnings, report.more_warnings)
    _show_problems("", report.problems, report.more_problems)
    if report.problems:
        number = len(report.problems) + report.more_problems
        what = "mend or decide" if report.questions else "mend"
        typer.echo(
            f"Nothing was stored: {number} problem{'s' * (number != 1)} to {what} first.", err=True
        )
    elif not as_json:
        _show_import_done(report)


def _show_problems(before: str, problems: Sequence[Problem], more: int) -> None:
    for problem in problems[:MOST_PROBLEMS_SHOWN]:
        typer.echo(f"{before}{problem}", err=True)
    left = len(problems) + more - MOST_PROBLEMS_SHOWN
    if left > 0:
        typer.echo(f"... and {left} more.", err=True)


def _show_import_done(report: ImportReport) -> None:
    console = terminal()
    nothing_new = report.added == 0 and not report.new_runners and not report.left_out
    if nothing_new and report.run_id is None:
        console.print(f"Nothing new: all {report.read} that were read are stored already.")
        return
    done = "would add" if report.dry_run else "added"
    table = plain_table(
        "file", "table", "read", done, "there already", "left out", right=("read", done)
    )
    for file in report.files:
        numbers = (file.read, file.added, file.unchanged, file.left_out)
        table.add_row(Text(file.file), file.table, *(str(number) for number in numbers))
    console.print(table)
    console.print(f"\n{done.capitalize()} {report.added} of {report.read} values and records.")
    if report.new_runners:
        console.print(f"Runners met for the first time: {', '.join(report.new_runners)}")
    if nothing_new:
        console.print("What stored visits had left open was filled in.")
    if report.run_id is not None:
        console.print(f"This was import {report.run_id}; `casebook undo-import` takes it back.")
    if report.dry_run:
        console.print("Dry run: nothing was stored.")


def show_check(report: CheckReport, *, as_json: bool) -> None:
    """Show whether a casebook is whole, part by part."""
    if as_json:
        print_object({"ok": report.ok, "parts": plainly(report.parts)})
    else:
        table = plain_table("part", "found", "detail")
        for part in report.parts:
            table.add_row(Text(part.name), "fine" if part.ok else "WRONG", Text(part.detail))
        terminal().print(table)
    for part in report.parts:
        if not part.ok:
            typer.echo(f"{part.name}: {part.detail}", err=True)
