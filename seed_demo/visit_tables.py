"""The clinic's sheets of visits: a wide one, a tidy one, and one with decimal commas."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Final

from seed_demo.cases import Case, Cell, Table
from seed_demo.diary import CONDITIONS, Seen
from seed_demo.measuring import Reading
from seed_demo.quantities import QUANTITIES

# The clinic kept a wide sheet at first, then a tidy one; since August 2026 another computer
# writes it, with semicolons and decimal commas.
TIDY_FROM: Final = date(2026, 4, 1)
SEMICOLONS_FROM: Final = date(2026, 8, 1)
VISIT_HEAD: Final = ("runner", "visit_date", "kind", *CONDITIONS, "next_due")
TIDY_HEAD: Final = (
    *VISIT_HEAD,
    "metric",
    "side",
    "trial",
    "value",
    "unit",
    "missing_reason",
)
# The other computer's sheet has the hop in metres.
IN_METRES: Final = "hop_distance"


def _pairs(cases: Iterable[Case]) -> list[tuple[Seen, tuple[Reading, ...]]]:
    pairs = [pair for case in cases for pair in zip(case.visits, case.readings, strict=True)]
    return sorted(pairs, key=lambda pair: (pair[0].on, pair[0].character.number))


def _visit_cells(visit: Seen) -> list[Cell]:
    return [
        visit.character.code,
        visit.on,
        visit.kind,
        *(visit.conditions[name] for name in CONDITIONS),
        visit.next_due,
    ]


def wide_visits(cases: Iterable[Case]) -> Table:
    """The old sheet: a row a visit, a column a metric and side, trials parted by blanks."""
    found = [
        (visit, dict(_wide_cell(reading) for reading in readings))
        for visit, readings in _pairs(cases)
        if visit.on < TIDY_FROM
    ]
    filled = {name for _, cells in found for name in cells}
    columns = [name for name in _wide_names() if name in filled]
    rows: list[Sequence[Cell]] = [
        [*_visit_cells(visit), *(cells.get(name, "") for name in columns)] for visit, cells in found
    ]
    return (*VISIT_HEAD, *columns), rows


def _wide_names() -> Iterator[str]:
    for key, quantity in QUANTITIES.items():
        for name in (f"{key}_left", f"{key}_right") if quantity.sided else (key,):
            yield name
            yield f"{name}_missing"


def _wide_cell(reading: Reading) -> tuple[str, str]:
    name = reading.quantity.key + ("" if reading.side == "none" else f"_{reading.side}")
    if reading.missing:
        return f"{name}_missing", reading.missing
    return name, " ".join(_number(trial, reading) for trial in reading.trials)


def tidy_visits(cases: Iterable[Case], *, semicolons: bool) -> Table:
    """The later sheets: a row a trial."""
    rows: list[Sequence[Cell]] = []
    for visit, readings in _pairs(cases):
        if visit.on < TIDY_FROM or (visit.on >= SEMICOLONS_FROM) != semicolons:
            continue
        head = _visit_cells(visit)
        for reading in readings:
            place = [*head, reading.quantity.key, reading.side]
            if reading.missing:
                rows.append([*place, None, None, "", reading.missing])
            for number, trial in enumerate(reading.trials, start=1):
                if semicolons and reading.quantity.key == IN_METRES:
                    rows.append([*place, number, f"{trial / 100:.2f}", "m", ""])
                else:
                    rows.append([*place, number, _number(trial, reading), "", ""])
    return TIDY_HEAD, rows


def _number(trial: float, reading: Reading) -> str:
    return f"{trial:.{reading.quantity.decimals}f}"
