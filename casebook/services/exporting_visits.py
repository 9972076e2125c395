"""Every visit as one tidy table that the import takes back. Not de-identified."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator
from pathlib import Path

from casebook.domain.errors import StoreUnavailable
from casebook.domain.visits import Value, Visit
from casebook.intake.columns import TABLES, TableKind
from casebook.intake.formulas import harmless
from casebook.services.opened import Casebook
from casebook.services.recording import list_visits
from casebook.services.registering import list_runners

COLUMNS = tuple(name for name in TABLES[TableKind.VISITS].names if name != "unit")


def export_visits(casebook: Casebook, path: Path) -> int:
    """Write every value of every visit, under the runners' codes; returns how many rows.

    Left out is what a tidy table has no place for: the SD beside a mean, the error of marked
    points, and visits at which nothing was read. A backup holds these as well. A text that a
    spreadsheet would run as a formula has a ' before it, which the import takes off.

    Raises
    ------
    StoreUnavailable
        When the file is there already or cannot be written.
    """
    written = 0
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file)
            rows.writerow(COLUMNS)
            for runner in list_runners(casebook):
                for stored in list_visits(casebook, runner.code):
                    for row in _rows(stored.visit):
                        rows.writerow(row)
                        written += 1
    except OSError as error:
        raise StoreUnavailable(f"'{path}' cannot be written: {error.strerror}.") from error
    return written


def _rows(visit: Visit) -> Iterator[list[str]]:
    conditions = visit.conditions
    about = {
        "runner": harmless(visit.runner),
        "visit_date": visit.visited_on.isoformat(),
        "session": str(visit.session),
        "kind": visit.kind.value,
        "speed_km_h": _number(conditions.speed_km_h),
        "surface": harmless(conditions.surface),
        "incline_pct": _number(conditions.incline_pct),
        "footwear": harmless(conditions.footwear),
        "view": harmless(conditions.view),
        "frames_per_s": _number(conditions.frames_per_s),
        "assessor": harmless(conditions.assessor),
        "pain_today": _number(conditions.pain_today),
        "next_due": visit.next_due_on.isoformat() if visit.next_due_on else "",
        "note": harmless(visit.note),
    }
    for value in visit.values:
        for trial in _trials(value):
            row = {**about, "metric": value.metric, "side": value.side.value, **trial}
            yield [row.get(name, "") for name in COLUMNS]


def _trials(value: Value) -> Iterator[dict[str, str]]:
    if value.missing_reason is not None:
        yield {"missing_reason": value.missing_reason.value}
    elif value.trials:
        for number, reading in enumerate(value.trials, start=1):
            yield {"trial": str(number), "value": _number(reading)}
    else:
        yield {"value": _number(value.mean), "n_trials": str(value.n_trials)}


def _number(number: float | None) -> str:
    """To the last digit, so that it comes back as the same number."""
    return "" if number is None else f"{number:.17g}" if "e" in repr(number) else repr(number)
