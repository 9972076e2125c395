"""Tables of which each row is one record: people, complaints, programmes, error figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin, Metric, check_figure_fits
from casebook.domain.programmes import Programme, Target, TargetDirection, TargetOn
from casebook.intake.cells import Cell
from casebook.intake.columns import TableKind
from casebook.intake.context import Context, Given, read_column
from casebook.intake.tidy import unknown_metric

# Earlier and later column, and the code of the refusal when they stand the other way round.
ORDERED: dict[TableKind, tuple[str, str, str]] = {
    TableKind.INJURIES: ("onset_on", "returned_on", "return_before_onset"),
    TableKind.CONSENTS: ("given_on", "withdrawn_on", "withdrawn_before_given"),
}
# Dates of what has happened, which therefore cannot lie ahead.
PAST: dict[TableKind, tuple[str, ...]] = {
    TableKind.RUNNERS: ("birth_date", "registered_on"),
    TableKind.INJURIES: ("onset_on", "returned_on", "fully_back_on"),
    TableKind.RUNS: ("run_date",),
    TableKind.CONSENTS: ("given_on", "withdrawn_on"),
}
TEMPO = ("tempo_lower_s", "tempo_hold_s", "tempo_lift_s", "tempo_rest_s")
# Direct identifiers: a message about one says where it stands and not what it is.
IDENTIFIERS = frozenset({"birth_date", "given_name", "family_name"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One row as read; `cells` holds None for what is not given."""

    kind: TableKind
    file: int
    line: int
    cells: Mapping[str, Any]

    def problem(self, code: str, message: str, column: str = "") -> Problem:
        """A problem of this row."""
        given = self.cells.get(column)
        shown = "" if given is None or column in IDENTIFIERS else str(given)
        return Problem(code=code, message=message, row=self.line, column=column, value=shown)


def read_records(context: Context, given: Given) -> list[Record]:
    """Read a table of records; what is wrong is reported and left out."""
    ok = np.ones(given.n_rows, dtype=bool)
    table = given.layout.table
    known = context.metric_numbers

    def metric_is_known(value: Cell, text: str) -> None:
        if str(value) not in known:
            raise unknown_metric(text, context)

    columns = {
        column.name: read_column(
            context, given, column.name, ok, metric_is_known if column.name == "metric" else None
        )
        for column in table.columns
    }
    records = []
    same = context.asked.decisions.same_runners()
    left_out = context.asked.decisions.left_out_runners()
    for row in np.flatnonzero(ok).tolist():
        cells = {
            name: None if column is None else column.values[column.codes[row]]
            for name, column in columns.items()
        }
        code = cells.get("runner")
        if code in left_out:
            context.left_out[given.file] += 1
            continue
        if code in same:
            if table.kind is TableKind.RUNNERS:
                context.renamed[code] = dict(cells)
            cells["runner"] = same[code]
        record = Record(
            kind=table.kind, file=given.file, line=int(given.sheet.lines[row]), cells=cells
        )
        problems = _problems(context, record)
        for problem in problems:
            context.problems.add(given.file, problem)
        if not problems:
            records.append(record)
    return records


def _problems(context: Context, record: Record) -> list[Problem]:
    problems = [
        record.problem(
            "date_in_future",
            f"{column} is later than today ({context.today}); it says what has happened.",
            column,
        )
        for column in PAST.get(record.kind, ())
        if isinstance(record.cells[column], date) and record.cells[column] > context.today
    ]
    ordered = ORDERED.get(record.kind)
    if ordered:
        first, then = record.cells[ordered[0]], record.cells[ordered[1]]
        if first is not None and then is not None and then < first:
            problems.append(
                record.problem(
                    ordered[2],
                    f"{ordered[1]} is {then}, before {ordered[0]} on {first}.",
                    ordered[1],
                )
            )
    try:
        _check_value(context, record)
    except InputRefused as refusal:
        problems.extend(replace(problem, row=record.line) for problem in refusal.problems)
    return problems


def _check_value(context: Context, record: Record) -> None:
    """What a record must be as a value of the domain."""
    cells = record.cells
    if record.kind is TableKind.PROGRAMMES:
        Programme(
            runner=cells["runner"],
            title=cells["title"],
            started_on=cells["started_on"],
            ended_on=cells["ended_on"],
        )
    elif record.kind is TableKind.TARGETS:
        _check_target(context, record)
    elif record.kind is TableKind.INJURIES:
        _check_full_return(record)
    elif record.kind is TableKind.BLOCKS:
        _check_tempo(record)
    elif record.kind is TableKind.ERROR_FIGURES:
        check_figure_fits(error_figure(record), _metric(context, record))
    elif record.kind is TableKind.RUNNERS:
        _check_birth(context, record)


def _metric(context: Context, record: Record) -> Metric:
    return context.metrics[context.metric_numbers[str(record.cells["metric"])]]


def _check_target(context: Context, record: Record) -> None:
    cells = record.cells
    metric = _metric(context, record)
    target = Target(
        metric=metric.key,
        what=TargetOn(cells["what"]),
        direction=TargetDirection(cells["direction"]),
        amount=cells["amount"],
        due_on=cells["due_on"],
    )
    if metric.sided == (target.what is TargetOn.NONE):
        expected = "left, right or asymmetry" if metric.sided else "none"
        raise refuse(
            "what_not_taken",
            f"the target on {metric.key} is set on '{target.what}'; expected {expected}, for the "
            f"metric has {'two sides' if metric.sided else 'no sides'}.",
            column="what",
            value=target.what,
        )


def _check_full_return(record: Record) -> None:
    back = record.cells["fully_back_on"]
    for name, words in (("onset_on", "the onset"), ("returned_on", "the first run")):
        day = record.cells[name]
        if back is not None and day is not None and back < day:
            raise refuse(
                "fully_back_too_early",
                f"fully_back_on is {back}, before {words} on {day}; correct one of them.",
                column="fully_back_on",
                value=back,
            )


def _check_tempo(record: Record) -> None:
    parts = {name: record.cells[name] for name in TEMPO}
    if all(part is None for part in parts.values()):
        return
    lacking = [name for name in TEMPO[:3] if parts[name] is None]
    if lacking or not any(parts.values()):
        raise refuse(
            "tempo_in_part",
            f"{lacking[0] if lacking else TEMPO[0]}: a tempo is given in part or takes no time; "
            "give the seconds down, held and up together (0 where there is none), or none of them.",
            column=lacking[0] if lacking else TEMPO[0],
        )


def _check_birth(context: Context, record: Record) -> None:
    exact, year = record.cells["birth_date"], record.cells["birth_year"]
    if exact is not None and year is not None and exact.year != year:
        raise refuse(
            "birth_year_differs",
            f"birth_year is {year}, but the birth date says another year; correct one of them.",
            column="birth_year",
            value=year,
        )
    if year is not None and year > context.today.year:
        raise refuse(
            "birth_year_out_of_range",
            f"birth_year is {year}, which lies ahead of {context.today.year}.",
            column="birth_year",
            value=year,
        )


def error_figure(record: Record) -> ErrorFigure:
    """The error figure of a record.

    Raises
    ------
    InputRefused
        When its parts do not make one.
    """
    cells = record.cells
    return ErrorFigure(
        metric=cells["metric"],
        applies_to=AppliesTo(cells["applies_to"] or AppliesTo.SIDE_VALUE),
        origin=ErrorOrigin(cells["origin"]),
        between_sd=cells["between_sd"],
        within_sd=cells["within_sd"],
        sem=cells["sem"],
        sem_trials=cells["sem_trials"],
        grade_step=cells["grade_step"],
        published_as=cells["published_as"] or "",
        published_level=cells["published_level"],
        averaged=cells["averaged"] or "",
        population=cells["population"] or "",
        source=cells["source"],
    )


def born_of(record: Record) -> date | None:
    """Earliest day on which the runner of a record can have been born."""
    exact, year = record.cells["birth_date"], record.cells["birth_year"]
    if isinstance(exact, date):
        return exact
    return None if year is None else date(int(year), 1, 1)
