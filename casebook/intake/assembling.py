"""Rows of all visit tables put together: which visits there are and what was read at each.

Whatever contradicts itself within the run is refused here, both places named.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from casebook.intake.cells import Cell
from casebook.intake.columns import CONDITION_NAMES
from casebook.intake.context import Context
from casebook.intake.settling import settle_conditions, settle_readings, without_left_out
from casebook.intake.visit_rows import (
    REASON_NAMES,
    SIDE_NAMES,
    Gathered,
    Readings,
    VisitRows,
    Whole,
    joined_readings,
    joined_rows,
)

_SESSIONS = 100
_DAYS = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Visits:
    """The visits of a run, in order of runner, day and session.

    Parameters
    ----------
    runner, day, session : array of int, shape (n_visits,)
    first_row : array of int, shape (n_visits,)
        Row that names the visit first.
    conditions : dict of str to list
        For each condition the value of each visit; None where not given.
    condition_rows : dict of str to array of int, shape (n_visits,)
        Row that gives it; -1 where none does.
    """

    runner: Whole
    day: Whole
    session: Whole
    first_row: Whole
    conditions: dict[str, list[Cell]]
    condition_rows: dict[str, Whole]


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """What was read, one entry for each visit, metric and side.

    Parameters
    ----------
    visit, metric, side : array of int, shape (n_values,)
    n : array of int, shape (n_values,)
        Trials of a mean given as such; 0 where there are trials or a reason.
    mean : array of float, shape (n_values,)
        Mean given as such; NaN otherwise.
    reason : array of int, shape (n_values,)
        -1 unless missing.
    reading : array of int, shape (n_values,)
        A reading that it rests on.
    trial_value, trial_number, trial_reading : array, shape (n_trials,)
        For every trial the value it belongs to (ascending), its number, its reading.
    """

    visit: Whole
    metric: Whole
    side: Whole
    n: Whole
    mean: NDArray[np.float64]
    reason: Whole
    reading: Whole
    trial_value: Whole
    trial_number: Whole
    trial_reading: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembled:
    """All visit tables of a run."""

    rows: VisitRows
    readings: Readings
    visits: Visits
    values: Values
    column_labels: list[str]

    def tell_readings(
        self, context: Context, which: Whole, code: str, message: Callable[[int], str]
    ) -> None:
        """Report readings as refused; `message` is asked with the position within `which`."""
        files = self.rows.file[self.readings.row[which]]
        for file in np.unique(files).tolist():
            here = np.flatnonzero(files == file)
            chosen = which[here]
            context.problems.add_rows(
                file,
                self.rows.line[self.readings.row[chosen]],
                [self.column_labels[label] for label in self.readings.column[chosen].tolist()],
                _at(here, chosen, self, code, message),
            )

    def place(self, row: int) -> str:
        """Where a row stands, in words."""
        return f"row {self.rows.line[row]}"

    def shown(self, reading: int) -> str:
        """A reading in words."""
        reason = int(self.readings.reason[reading])
        if reason >= 0:
            return f"missing ({REASON_NAMES[reason]})"
        number = f"{self.readings.value[reading]:.10g}"
        n = int(self.readings.n[reading])
        return f"{number} (mean of {n})" if n else number


def _at(
    here: Whole, chosen: Whole, assembled: Assembled, code: str, message: Callable[[int], str]
) -> Callable[[int], tuple[str, str, str]]:
    return lambda i: (assembled.shown(int(chosen[i])), code, message(int(here[i])))


def assemble(context: Context, gathered: Gathered) -> Assembled:
    """Put all rows and readings together; report what contradicts itself."""
    rows, readings = without_left_out(
        context, joined_rows(gathered.rows), joined_readings(gathered.readings)
    )
    visits, visit_of_row = _visits(context, gathered, rows)
    labels = [str(label) for label in gathered.column_labels]
    # Of what was gathered nothing is needed any more, and of the rows no condition: of a million
    # values they would take a tenth of the memory.
    gathered.rows.clear()
    gathered.readings.clear()
    rows = replace(rows, conditions={})
    readings = _without_missing_trials(context, rows, readings, visit_of_row)
    readings = settle_readings(context, rows, readings, visit_of_row)
    values, clashes = _values(readings, visit_of_row, len(context.metrics))
    assembled = Assembled(
        rows=rows, readings=readings, visits=visits, values=values, column_labels=labels
    )
    for which, other, code in clashes:
        assembled.tell_readings(
            context, which, code, _clash_message(context, assembled, which, other, code)
        )
    return assembled


def _clash_message(
    context: Context, assembled: Assembled, which: Whole, other: Whole, code: str
) -> Callable[[int], str]:
    readings = assembled.readings

    def message(i: int) -> str:
        reading, earlier = int(which[i]), int(other[i])
        row, earlier_row = int(readings.row[reading]), int(readings.row[earlier])
        same_file = assembled.rows.file[row] == assembled.rows.file[earlier_row]
        file = context.problems.files[int(assembled.rows.file[earlier_row])]
        where = f"{assembled.place(earlier_row)}{'' if same_file else f' of {file}'}"
        what = (
            f"{context.metrics[int(readings.metric[reading])].key} "
            f"{SIDE_NAMES[int(readings.side[reading])]}"
        )
        if code == "duplicate_row":
            return (
                f"{what}{_trial_words(int(readings.trial[reading]))} of this visit stands twice: "
                f"{assembled.shown(reading)} in {assembled.place(row)} and "
                f"{assembled.shown(earlier)} in {where}. Remove one, or number the trials."
            )
        return (
            f"{what} of this visit is given in two ways: {assembled.shown(reading)} in "
            f"{assembled.place(row)} and {assembled.shown(earlier)} in {where}. Keep either "
            "the trials, or one mean, or one reason why it is missing."
        )

    return message


def _trial_words(trial: int) -> str:
    return f", trial {trial}" if trial else ""


def _visits(context: Context, gathered: Gathered, rows: VisitRows) -> tuple[Visits, Whole]:
    key = (rows.runner * _DAYS + rows.day) * _SESSIONS + rows.session
    _, first, visit_of_row = np.unique(key, return_index=True, return_inverse=True)
    conditions: dict[str, list[Cell]] = {}
    condition_rows: dict[str, Whole] = {}
    for name in CONDITION_NAMES:
        book = list(gathered.condition_values[name])
        codes = rows.conditions.get(name)
        if codes is None:
            conditions[name] = [None] * len(first)
            condition_rows[name] = np.full(len(first), -1, dtype=np.int64)
            continue
        given = np.flatnonzero(codes >= 0)
        # The first row of each visit that gives it: assigned backwards, the first one stays.
        source = np.full(len(first), -1, dtype=np.int64)
        source[visit_of_row[given[::-1]]] = given[::-1]
        condition_rows[name] = source
        if name == "note":
            conditions[name] = _joined_notes(book, codes, given, visit_of_row, len(first))
            continue
        differs = given[codes[given] != codes[source[visit_of_row[given]]]]
        if len(differs):
            differs = settle_conditions(context, rows, (name, book), differs, visit_of_row, source)
        _tell_conditions(context, rows, name, book, (differs, source[visit_of_row[differs]]))
        conditions[name] = [None if row < 0 else book[codes[row]] for row in source.tolist()]
    visits = Visits(
        runner=rows.runner[first],
        day=rows.day[first],
        session=rows.session[first],
        first_row=first.astype(np.int64),
        conditions=conditions,
        condition_rows=condition_rows,
    )
    return visits, visit_of_row.astype(np.int64)


def _joined_notes(
    book: list[Cell], codes: Whole, given: Whole, visit_of_row: Whole, n_visits: int
) -> list[Cell]:
    notes: list[dict[str, None]] = [{} for _ in range(n_visits)]
    pairs = np.stack([visit_of_row[given], codes[given]], axis=1)
    if not len(pairs):
        return [None] * n_visits
    for position in np.sort(np.unique(pairs, axis=0, return_index=True)[1]).tolist():
        visit, code = pairs[position].tolist()
        notes[visit][str(book[code])] = None
    return ["; ".join(each) or None for each in notes]


def _tell_conditions(
    context: Context,
    rows: VisitRows,
    name: str,
    book: list[Cell],
    differing: tuple[Whole, Whole],
) -> None:
    which, other = differing
    codes = rows.conditions[name]
    for file in np.unique(rows.file[which]).tolist():
        here = np.flatnonzero(rows.file[which] == file)

        def tell(i: int, here: Whole = here) -> tuple[str, str, str]:
            row, first = int(which[here[i]]), int(other[here[i]])
            same = rows.file[row] == rows.file[first]
            where = "" if same else f" of {context.problems.files[int(rows.file[first])]}"
            return (
                str(book[codes[row]]),
                "conditions_differ",
                f"{name} is {book[codes[row]]} in row {rows.line[row]} and "
                f"{book[codes[first]]} in row {rows.line[first]}{where} of the same visit; a "
                "visit has one. Two measurements on one day are two sessions (column session).",
            )

        context.problems.add_rows(file, rows.line[which[here]], name, tell)


def _without_missing_trials(
    context: Context, rows: VisitRows, readings: Readings, visit_of_row: Whole
) -> Readings:
    """Single missing trials: set aside beside trials that were read, else the value's reason."""
    missing = readings.trial < 0
    if not missing.any():
        return readings
    key = _value_key(readings, visit_of_row, len(context.metrics))
    beside = missing & np.isin(key, key[~missing])
    for file in np.unique(rows.file[readings.row[beside]]).tolist():
        here = np.flatnonzero(beside & (rows.file[readings.row] == file))
        context.warnings.add_rows(
            file, rows.line[readings.row[here]], "missing_reason", _missing_trial(readings, here)
        )
    # Of several missing trials with one reason the first stands for the value.
    alone = np.flatnonzero(missing & ~beside)
    pairs = np.stack([key[alone], readings.reason[alone]], axis=1)
    first = np.unique(pairs, axis=0, return_index=True)[1]
    keep = ~missing
    keep[alone[first]] = True
    return Readings(
        row=readings.row[keep],
        column=readings.column[keep],
        metric=readings.metric[keep],
        side=readings.side[keep],
        trial=np.maximum(readings.trial[keep], 0),
        n=readings.n[keep],
        value=readings.value[keep],
        reason=readings.reason[keep],
    )


def _missing_trial(readings: Readings, here: Whole) -> Callable[[int], tuple[str, str, str]]:
    def tell(i: int) -> tuple[str, str, str]:
        reason = REASON_NAMES[int(readings.reason[here[i]])]
        return (
            reason,
            "trial_missing",
            f"trial {-readings.trial[here[i]]} is missing ({reason}) beside trials that were "
            "read; the value is kept with the trials there are.",
        )

    return tell


def _value_key(readings: Readings, visit_of_row: Whole, n_metrics: int) -> Whole:
    key: Whole = (
        visit_of_row[readings.row] * max(n_metrics, 1) + readings.metric
    ) * 3 + readings.side
    return key


Clash = tuple[Whole, Whole, str]


def _values(readings: Readings, visit_of_row: Whole, n_metrics: int) -> tuple[Values, list[Clash]]:
    visit = visit_of_row[readings.row]
    key = _value_key(readings, visit_of_row, n_metrics)
    order = np.lexsort((np.arange(len(key)), readings.trial, key))
    ordered, trial = key[order], readings.trial[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = ordered[1:] != ordered[:-1]
    value_of = np.cumsum(new) - 1
    starts = np.flatnonzero(new)
    again = np.zeros(len(order), dtype=bool)
    again[1:] = ~new[1:] & (trial[1:] == trial[:-1])
    clashes: list[Clash] = []
    twice = np.flatnonzero(again)
    if len(twice):
        clashes.append((order[twice], order[twice - 1], "duplicate_row"))
    # Means and reasons have trial 0 and therefore stand first.
    mixed = np.flatnonzero((trial > 0) & (trial[starts[value_of]] == 0)) if len(order) else twice
    if len(mixed):
        clashes.append((order[mixed], order[starts[value_of[mixed]]], "given_in_two_ways"))
    first = order[starts]
    is_trial = (trial > 0) & ~again
    if len(mixed):
        is_trial[mixed] = False
    values = Values(
        visit=visit[first],
        metric=readings.metric[first],
        side=readings.side[first],
        n=readings.n[first],
        mean=np.where(readings.n[first] > 0, readings.value[first], np.nan),
        reason=readings.reason[first],
        reading=first,
        trial_value=value_of[is_trial],
        trial_number=trial[is_trial],
        trial_reading=order[is_trial],
    )
    return values, clashes
