"""What the files themselves say twice or in two ways: decided by the user, or left as it is.

What is left here is refused by whoever puts the readings together, both places named.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from casebook.domain.decisions import Asks, Choice, Question, Shown
from casebook.intake.asking import (
    CONDITION_WORDS,
    condition_words,
    place_words,
    read_words,
    value_title,
    visit_about,
    visit_title,
)
from casebook.intake.cells import Cell
from casebook.intake.context import Context
from casebook.intake.visit_rows import SIDE_NAMES, Readings, VisitRows, Whole, picked

ANY_OF_TWO = (Choice.FIRST, Choice.LAST, Choice.LEAVE_OUT)
_TRIALS = 1_000


def without_left_out(
    context: Context, rows: VisitRows, readings: Readings
) -> tuple[VisitRows, Readings]:
    """Rows and readings without the runners and visits that a decision leaves out."""
    decisions = context.asked.decisions
    runners, visits = decisions.left_out_runners(), decisions.left_out_visits()
    if (not runners and not visits) or not len(rows.line):
        return rows, readings
    keep = np.ones(len(rows.line), dtype=bool)
    for code in runners & set(context.runners):
        keep &= rows.runner != context.runners[code]
    for code, day, session in visits:
        if code in context.runners:
            ordinal = np.datetime64(day, "D").astype(int) + _EPOCH
            keep &= (
                (rows.runner != context.runners[code])
                | (rows.day != ordinal)
                | (rows.session != int(session))
            )
    stays = keep[readings.row]
    context.left_out.update(rows.file[readings.row[~stays]].tolist())
    moved = np.cumsum(keep) - 1
    return picked(rows, keep), _some(readings, stays, moved)


# `date.toordinal` of 1 January 1970.
_EPOCH = 719_163


def _some(readings: Readings, stays: NDArray[np.bool_], moved: Whole | None = None) -> Readings:
    row = readings.row[stays]
    return Readings(
        row=row if moved is None else moved[row],
        column=readings.column[stays],
        metric=readings.metric[stays],
        side=readings.side[stays],
        trial=readings.trial[stays],
        n=readings.n[stays],
        value=readings.value[stays],
        reason=readings.reason[stays],
    )


def settle_readings(
    context: Context, rows: VisitRows, readings: Readings, visit_of_row: Whole
) -> Readings:
    """Readings without those that a decision leaves out: twice given, or given in two ways."""
    n_metrics = max(len(context.metrics), 1)
    for kind in (Asks.TWICE, Asks.TWO_WAYS):
        value = (visit_of_row[readings.row] * n_metrics + readings.metric) * 3 + readings.side
        stays = np.ones(len(value), dtype=bool)
        groups = _twice(value * _TRIALS + readings.trial) if kind is Asks.TWICE else ()
        if kind is Asks.TWO_WAYS:
            groups = _two_ways(value, readings.trial)
        for group in groups:
            if context.asked.idle:
                context.asked.count += 1
                continue
            _settle(context, rows, readings, kind, group, stays)
        if not stays.all():
            context.left_out.update(rows.file[readings.row[~stays]].tolist())
            readings = _some(readings, stays)
    return readings


def _twice(key: Whole) -> Iterator[list[Whole]]:
    """Positions that share a key, each on its own, in the order of the files."""
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    sizes = np.diff(starts, append=len(key))
    for start, size in zip(starts[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        yield [np.array([one]) for one in order[start : start + size].tolist()]


def _two_ways(value: Whole, trial: Whole) -> Iterator[list[Whole]]:
    """For each value given as a whole and in trials: the positions of either."""
    whole = np.unique(value[trial == 0])
    if not len(whole):
        return
    both = whole[np.isin(whole, value[trial > 0])]
    if not len(both):
        return
    order = np.argsort(value, kind="stable")
    for start, stop in zip(
        np.searchsorted(value[order], both).tolist(),
        np.searchsorted(value[order], both, side="right").tolist(),
        strict=True,
    ):
        here = order[start:stop]
        yield [here[trial[here] == 0], here[trial[here] > 0]]


def _settle(
    context: Context,
    rows: VisitRows,
    readings: Readings,
    kind: Asks,
    group: list[Whole],
    stays: NDArray[np.bool_],
) -> None:
    first = int(group[0][0])
    metric = context.metrics[int(readings.metric[first])]
    side = SIDE_NAMES[int(readings.side[first])]
    about = visit_about(context, rows, int(readings.row[first]))
    trial = int(readings.trial[first])
    question = Question(
        kind=kind,
        about=(*about, metric.key, side, *((str(trial),) if kind is Asks.TWICE else ())),
        title=f"{visit_title(about)}: {value_title(metric, side, trial)}",
        shown=tuple(
            Shown(
                where=place_words(context, rows, int(readings.row[int(part[0])])),
                what=", ".join(read_words(metric, readings, one) for one in part.tolist()),
            )
            for part in group
        ),
        choices=ANY_OF_TWO,
    )
    decision = context.asked.ask(question)
    if decision is None:
        return
    kept = {Choice.FIRST: group[0], Choice.LAST: group[-1]}.get(decision.choice)
    stays[np.concatenate(group)] = False
    if kept is not None:
        stays[kept] = True


def settle_conditions(
    context: Context,
    rows: VisitRows,
    condition: tuple[str, list[Cell]],
    differs: Whole,
    visit_of_row: Whole,
    source: Whole,
) -> Whole:
    """Rows that still differ from their visit's first one; a decided visit's source is set.

    Parameters
    ----------
    condition : (str, list)
        Its name, and its distinct values.
    differs : array of int
        Rows that give another value than the first row of their visit that gives one.
    source : array of int, shape (n_visits,)
        Row from which each visit has its value; written to where the last was decided for.
    """
    name, book = condition
    codes = rows.conditions[name]
    settled = np.zeros(len(differs), dtype=bool)
    order = np.argsort(visit_of_row[differs], kind="stable")
    visits, starts = np.unique(visit_of_row[differs[order]], return_index=True)
    for visit, part in zip(visits.tolist(), np.split(order, starts[1:]), strict=True):
        if context.asked.idle:
            context.asked.count += 1
            continue
        first = int(source[visit])
        about = visit_about(context, rows, first)
        distinct = {int(codes[row]): row for row in (first, *differs[part].tolist())}
        decision = context.asked.ask(
            Question(
                kind=Asks.CONDITION_TWICE,
                about=(*about, name),
                title=f"{visit_title(about)}: {CONDITION_WORDS[name]}",
                shown=tuple(
                    Shown(
                        where=place_words(context, rows, row),
                        what=condition_words(name, book[code]),
                    )
                    for code, row in distinct.items()
                ),
                choices=(Choice.FIRST, Choice.LAST),
            )
        )
        if decision is not None:
            settled[part] = True
            if decision.choice is Choice.LAST:
                source[visit] = list(distinct.values())[-1]
    return differs[~settled]
