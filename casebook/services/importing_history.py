"""What an import tells the history: an entry for each visit and each record that it touched."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from casebook.domain.history import Act, Change, Subject, Was, value_content
from casebook.domain.visits import Value, grown_marking_sd, numbers_with_gaps
from casebook.intake.assembling import Assembled
from casebook.intake.context import Context
from casebook.intake.visit_rows import REASON_NAMES, SIDE_NAMES
from casebook.storage import bulk, record_fields

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
# Visits whose numbers are Python objects at a time.
VISITS_AT_ONCE = 1_000


class StoredContents:
    """Stored values as the history holds them, found by their position among the stored."""

    def __init__(self, values: bulk.KeptValues, trials: bulk.KeptTrials) -> None:
        self._values = values
        order = np.lexsort((trials.number, trials.value_id))
        self._owner, self._number = trials.value_id[order], trials.number[order]
        self._reading = trials.reading[order]

    def trials(self, position: int) -> dict[int, float]:
        """Trials of a value by number, ascending; empty where only a mean is stored."""
        key = self._values.value_id[position]
        first, last = np.searchsorted(self._owner, [key, key + 1]).tolist()
        numbers, readings = self._number[first:last], self._reading[first:last]
        return dict(zip(numbers.tolist(), readings.tolist(), strict=True))

    def content(self, position: int) -> dict[str, Any]:
        """A value as `value_content` gives it."""
        values = self._values
        reason = int(values.reason[position])
        if reason >= 0:
            return {"missing": REASON_NAMES[reason]}
        trials = self.trials(position)
        held: dict[str, Any]
        if trials:
            held = trials_content(trials)
        else:
            held = {"mean": float(values.mean[position]), "n": int(values.n_trials[position])}
            if not np.isnan(values.sd[position]):
                held["sd"] = float(values.sd[position])
        if not np.isnan(values.marking_sd[position]):
            held["marking_sd"] = float(values.marking_sd[position])
        return held


def trials_content(trials: Mapping[int, float]) -> dict[str, Any]:
    """Trials by number, ascending, as the history holds them."""
    gaps = numbers_with_gaps(tuple(trials))
    return {"trials": list(trials.values())} | ({"numbers": list(gaps)} if gaps else {})


@dataclass(frozen=True, slots=True, kw_only=True)
class Retaken:
    """A stored value that gave way to the file's.

    Parameters
    ----------
    was : dict
        Content as in the history.
    value : Value
        What stands in its place.
    trials : dict of int to float
        Its trials by number.
    """

    was: dict[str, Any]
    value: Value
    trials: dict[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenVisits:
    """Where everything of a run was written, and what a stored visit was before.

    Parameters
    ----------
    visit_id, runner_id, before, revision : array of int, shape (n_visits,)
        `before` is the revision until now, 0 for a new visit.
    touched : array of bool, shape (n_visits,)
    kept : array of int, shape (n_values,)
        Position among the stored values; -1 where the value is new, less where it stays out.
    new_trial : array of bool, shape (n_trials,)
        Trials that were added.
    columns : dict of int to dict
        For each stored visit the columns written: (was, now).
    retaken : dict of int to Retaken
        By value.
    reasons : dict of int to str
        By visit, why something stored gave way.
    """

    visit_id: Whole
    runner_id: Whole
    before: Whole
    revision: Whole
    touched: Flags
    kept: Whole
    new_trial: Flags
    columns: Mapping[int, Mapping[str, tuple[Any, Any]]]
    contents: StoredContents
    retaken: Mapping[int, Retaken] = field(default_factory=dict)
    reasons: Mapping[int, str] = field(default_factory=dict)


RowOf = Any


def visit_changes(
    context: Context, assembled: Assembled, written: WrittenVisits, row_of: RowOf
) -> Iterator[Change]:
    """One change for each visit that the run touched.

    Parameters
    ----------
    row_of : callable
        Given the number of a new visit: the columns of its row.
    """
    names = [[f"value:{metric.key}:{side}" for side in SIDE_NAMES] for metric in context.metrics]
    n_visits = len(written.visit_id)
    value_starts = np.searchsorted(assembled.values.visit, np.arange(n_visits + 1))
    for start in range(0, n_visits, VISITS_AT_ONCE):
        stop = min(n_visits, start + VISITS_AT_ONCE)
        fields = _value_fields(
            assembled, written, names, (int(value_starts[start]), int(value_starts[stop]))
        )
        for visit in np.flatnonzero(written.touched[start:stop]).tolist():
            yield _change(written, start + visit, fields.get(start + visit, {}), row_of)


Fields = dict[str, tuple[Was, Was]]


def _change(written: WrittenVisits, visit: int, values: Fields, row_of: RowOf) -> Change:
    visit_id, runner_id = int(written.visit_id[visit]), int(written.runner_id[visit])
    if not written.before[visit]:
        row = record_fields.fields_of(Subject.VISIT, row_of(visit))
        fields: Fields = {name: (None, content) for name, content in row.items()}
        fields |= values
        act, reason = Act.RECORDED, written.reasons.get(visit, "")
    else:
        columns = {
            name: (record_fields.plain(was), record_fields.plain(now))
            for name, (was, now) in written.columns.get(visit, {}).items()
        }
        moved = (int(written.before[visit]), int(written.revision[visit]))
        fields = {"revision": moved, **columns, **values}
        reason = written.reasons.get(visit, "")
        act = Act.AMENDED if reason else Act.ADDED
    return Change(
        act=act,
        subject=Subject.VISIT,
        subject_id=visit_id,
        fields=fields,
        runner_id=runner_id,
        visit_id=visit_id,
        reason=reason,
    )


def _value_fields(
    assembled: Assembled, written: WrittenVisits, names: list[list[str]], part: tuple[int, int]
) -> dict[int, Fields]:
    """Fields of the values of some visits, by visit; values that stayed as they were left out."""
    values = assembled.values
    first, last = part
    here = slice(first, last)
    trials = slice(*np.searchsorted(values.trial_value, [first, last]).tolist())
    readings = assembled.readings.value[values.trial_reading[trials]].tolist()
    numbers, added = values.trial_number[trials].tolist(), written.new_trial[trials].tolist()
    bounds = np.searchsorted(values.trial_value[trials], np.arange(first, last + 1)).tolist()
    fields: dict[int, Fields] = {}
    for i, (visit, metric, side, n, mean, reason, kept) in enumerate(
        zip(
            values.visit[here].tolist(),
            values.metric[here].tolist(),
            values.side[here].tolist(),
            values.n[here].tolist(),
            values.mean[here].tolist(),
            values.reason[here].tolist(),
            written.kept[here].tolist(),
            strict=True,
        )
    ):
        low, high = bounds[i], bounds[i + 1]
        was: Was = None
        now: Was
        if kept >= 0:
            again = written.retaken.get(first + i)
            if again is not None:
                was, now = again.was, value_content(again.value)
            elif any(added[low:high]):
                fresh = zip(numbers[low:high], readings[low:high], added[low:high], strict=True)
                was, now = _grown(written.contents, kept, [(n, r) for n, r, new in fresh if new])
            else:
                continue
        elif kept < -1:
            continue
        elif reason >= 0:
            now = {"missing": REASON_NAMES[reason]}
        elif n > 0:
            now = {"mean": mean, "n": n}
        else:
            now = trials_content(dict(zip(numbers[low:high], readings[low:high], strict=True)))
        fields.setdefault(visit, {})[names[metric][side]] = (was, now)
    return fields


def _grown(
    contents: StoredContents, position: int, added: list[tuple[int, float]]
) -> tuple[Was, Was]:
    """What a stored value was and is once it has further trials."""
    was, before = contents.content(position), contents.trials(position)
    after = dict(sorted({**before, **dict(added)}.items()))
    now = trials_content(after)
    if "marking_sd" in was:
        now["marking_sd"] = grown_marking_sd(was["marking_sd"], len(before), len(after))
    return was, now
